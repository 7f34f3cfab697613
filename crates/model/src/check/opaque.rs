//! An opaque guest says what it needs, whole and in one way; no other guest does. A guest with tasks has some.

use super::name;
use crate::read::{Context, Document, Fields, GuestKind, guest_of};
use diagnostic::codes::partition::{NO_TASKS, OPAQUE_NEED};
use diagnostic::{Diagnostic, Located};

pub(super) fn check(doc: &Document, cx: &mut Context) {
    for (index, partition) in doc.root.tables("partition").enumerate() {
        let Some(guest) = guest_of(partition) else { continue };
        need(partition, guest).into_iter().for_each(|fault| cx.report(fault));
        let has_tasks = doc.tasks_of(index).next().is_some();
        // A task that could not be read may have been meant for it.
        if guest.value != GuestKind::Opaque && !has_tasks && !cx.has_errors() {
            let fault =
                Diagnostic::new(&NO_TASKS, partition.span, format!("partition {} has no task", name(partition)));
            cx.report(fault.help("add a [[partition.task]] or a row of a table of tasks, or say guest = \"opaque\""));
        }
    }
}

fn need(partition: &Fields, guest: Located<GuestKind>) -> Option<Diagnostic> {
    let opaque = guest.value == GuestKind::Opaque;
    let Some(span) = partition.key_span("need") else {
        let message = format!("the guest of partition {} is opaque and says nothing of its need", name(partition));
        let help = "add [partition.need] with `budget` and `period`, or with `rate` and `delay`";
        return opaque.then(|| Diagnostic::new(&OPAQUE_NEED, guest.span, message).help(help));
    };
    if !opaque {
        let message = format!("partition {} has a need and its guest is not opaque", name(partition));
        let help = "leave out [partition.need]: what this guest needs follows from its tasks";
        return Some(Diagnostic::new(&OPAQUE_NEED, span, message).also(guest.span, "the guest").help(help));
    }
    let given = partition.table("need").map(|need| ["budget", "period", "rate", "delay"].map(|key| need.has(key)))?;
    if matches!(given, [true, true, false, false] | [false, false, true, true]) {
        return None;
    }
    let message =
        format!("the need of partition {} is neither a budget with a period nor a rate with a delay", name(partition));
    let help = "give `budget` and `period`, or `rate` and `delay`, and nothing of the other pair";
    Some(Diagnostic::new(&OPAQUE_NEED, span, message).help(help))
}
