//! What the bound of a response on whichever virtual core is free is made of.
//!
//! Computes: the own job, its switches, what other masters make up, and the rest, which is delay by others and by the supply.
//! Source: the same bound, were there no other master.
//! Assumptions: those of the bound.
//! Symbols: times in ns.
//! Invariants and why it ends: two bounds are subtracted.
//! Differs from the source: nothing.
//! Checked by: the alarm on parts that do not add up; a small partition by hand.

use super::charge;
use super::response_parts::shared_evenly;
use super::responses::Analysed;
use super::scope::Scope;
use crate::multiprocessor;
use crate::task_set::Policy;
use claim::{Part, PartKind};
use model::system::Master;
use quantity::{CoreId, TaskId};
use std::collections::BTreeSet;

/// The parts of a bound of task `k`. No busy window tells whose time each instant of several virtual cores is, so that by how much it is lower
/// with nobody to wait for is what it owes to all other masters.
///
/// # Errors
/// Why it is not told.
pub(super) fn of_bound(scope: &Scope<'_>, core: &Analysed, k: usize, bound_ns: u64) -> Result<Vec<Part>, &'static str> {
    if core.set.policy() == Policy::EarliestDeadline {
        return Err("on whichever virtual core is free it is the deadline itself that is shown to be kept");
    }
    if core.losses.stalled {
        return Err("stalls of a bandwidth budget are in it, on whichever virtual core is free");
    }
    let without_ns = without_waiting_ns(scope, core, k).filter(|without_ns| *without_ns <= bound_ns);
    let without_ns = without_ns.ok_or("the same bound without other masters is not known")?;
    let (id, charged_ns) = (core.ids[k], core.tasks[k].charged_ns);
    let own = scope.system.task_label(id);
    let switches_ns = scope.system.platform.context_switch.map_or(0, |switch| switch.value.ns().saturating_mul(2));
    let executing_ns = charged_ns - charge::waiting_of(scope, id, charged_ns) - switches_ns;
    let delay_ns = without_ns.saturating_sub(executing_ns).saturating_sub(switches_ns);
    let mut parts = vec![
        Part::new(&*own, PartKind::Delay, delay_ns),
        Part::new(&*own, PartKind::Executing, executing_ns),
        Part::new(own, PartKind::Switches, switches_ns),
    ];
    let others = other_masters(scope, core);
    let others: Vec<&str> = others.iter().map(String::as_str).collect();
    let waits = shared_evenly(bound_ns - without_ns, &others);
    parts.extend(waits.into_iter().map(|(name, ns)| Part::new(name, PartKind::Interference, ns)));
    Ok(parts)
}

/// All masters but the one that the job executes on. Of its own cores it is on one, and it is not known on which: every other one is
/// told as any of them.
fn other_masters(scope: &Scope<'_>, core: &Analysed) -> Vec<String> {
    let home: BTreeSet<CoreId> = core.ids.iter().flat_map(|&id| home_cores(scope, id)).collect();
    let masters = scope.system.board.interconnect.as_ref().map_or(&[][..], |interconnect| &interconnect.masters);
    let (own, others): (Vec<_>, Vec<_>) =
        masters.iter().partition(|master| master.core.is_some_and(|core| home.contains(&core)));
    let name = |master: &Master| master.name.value.clone();
    let any = own.iter().map(|master| name(master)).collect::<Vec<_>>().join(" or ");
    let own_others = std::iter::repeat_n(any, own.len().saturating_sub(1));
    own_others.chain(others.into_iter().map(name)).collect()
}

/// Where the virtual cores of a task's partition run.
fn home_cores(scope: &Scope<'_>, id: TaskId) -> impl Iterator<Item = CoreId> {
    let partition = scope.system.task(id).partition;
    let virtual_cores = 0..scope.system.partition(partition).virtual_cores.value;
    virtual_cores.flat_map(move |virtual_core| scope.home_cores(partition, virtual_core))
}

/// The same bound, were there no other master.
fn without_waiting_ns(scope: &Scope<'_>, core: &Analysed, k: usize) -> Option<u64> {
    let tasks = charge::without_waiting(scope, &core.ids, &core.tasks);
    let responses = multiprocessor::worst_responses(&core.cluster, &core.set_of(&tasks)?);
    Some(responses[k].bound()?.response_ns)
}
