//! Checks of sense: what is well-formed and still cannot be meant.
//!
//! One check or small group in a file, each with a code of its own. A check of one element looks at its fields, so
//! that it runs although another key of the element is wrong; values that could not be read are absent there.

mod accepted;
mod addresses;
mod boot;
mod budgets;
mod builders;
mod caches;
mod chains;
mod channels;
mod containment;
mod core_sets;
mod cores;
mod devices;
mod devicetree;
mod escalation_window;
mod flow;
mod frame;
mod grants;
mod growth;
mod health;
mod hyperperiod;
mod locking;
mod masters;
mod messages;
mod network;
mod opaque;
mod passing;
mod pinning;
mod placement;
mod priorities;
mod protection;
mod queues;
mod regions;
mod restart;
mod roles;
mod schedules;
mod shared;
mod stress;
mod task_times;
mod traffic;

use crate::read::{Context, Document, Fields};

/// Runs every check.
pub(crate) fn check(doc: &Document, cx: &mut Context) {
    let checks = [
        accepted::check,
        addresses::check,
        boot::check,
        budgets::check,
        builders::check,
        caches::check,
        chains::check,
        channels::check,
        containment::check,
        core_sets::check,
        cores::check,
        devices::check,
        devicetree::check,
        escalation_window::check,
        flow::check,
        frame::check,
        grants::check,
        growth::check,
        health::check,
        hyperperiod::check,
        locking::check,
        masters::check,
        messages::check,
        network::check,
        opaque::check,
        passing::check,
        pinning::check,
        placement::check,
        priorities::check,
        protection::check,
        queues::check,
        regions::check,
        restart::check,
        roles::check,
        schedules::check,
        shared::check,
        stress::check,
        task_times::check,
        traffic::check,
    ];
    checks.iter().for_each(|check| check(doc, cx));
}

/// The name of an element as it stands in messages.
fn name(fields: &Fields) -> String {
    fields.text("name").map_or_else(|| "without a name".to_owned(), |name| format!("`{}`", name.value))
}

/// The name of a task as it stands in messages.
fn task_name(doc: &Document, index: usize) -> String {
    doc.names.tasks.name(index).map_or_else(|| "without a name".to_owned(), |name| format!("`{name}`"))
}
