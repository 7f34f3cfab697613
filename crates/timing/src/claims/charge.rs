//! What a job is charged: its execution time alone, what others lengthen it by, two switches.
//!
//! Computes: `C' = WCET + (M - 1) (N L + X) + 2 switches`, with `L` the time of one line at the guaranteed rate.
//! Source: round-robin among masters, one outstanding request each: each request waits for at most one
//! of every other master; common practice, no source. The sensitivity `X`: Davis, Griffin and Bate, ECRTS 2021 (from memory).
//! Assumptions: round-robin; every master listed: an active core that is not leaves no bound.
//! Symbols: `N` line requests of a job; `X` its sensitivity to one other master; `M` masters; times in ns. The waiting is rounded up once for the whole job.
//! Invariants and why it ends: plain arithmetic, checked.
//! Differs from the source: nothing.
//! Checked by: the survey vessel's 39 charged times.

use super::ports_cost::port_cost_ns;
use super::scope::Scope;
use crate::task_set;
use model::system::{Board, Interconnect, Task};
use quantity::{Bytes, CoreId, TaskId};

/// The charged time of a job of `task` on `core`, in ns.
///
/// # Errors
/// Which datum is missing, or that the sum is too large.
pub(super) fn charged_ns(scope: &Scope<'_>, id: TaskId, core: Option<CoreId>) -> Result<u64, String> {
    let task = scope.system.task(id);
    let missing = |what: &str| format!("`{what}` of `{}` is not given", scope.system.task_label(id));
    let wcet_ns = task.wcet.as_ref().ok_or_else(|| missing("wcet"))?.value.ns();
    let switch = scope.system.platform.context_switch.as_ref().ok_or("`platform.context_switch` is not given")?;
    let waiting_ns = waiting_ns(&scope.system.board, task, core, || missing("line_requests"))?;
    let switches_ns = switch.value.ns().saturating_mul(2);
    let ports_ns = port_cost_ns(scope.system, id)?;
    wcet_ns
        .checked_add(waiting_ns)
        .and_then(|sum| sum.checked_add(switches_ns))
        .and_then(|sum| sum.checked_add(ports_ns))
        .ok_or_else(|| format!("the charged time of `{}` is too large", scope.system.task_label(id)))
}

/// The part of a charged time by which others lengthen a job, in ns.
pub(super) fn waiting_of(scope: &Scope<'_>, id: TaskId, charged_ns: u64) -> u64 {
    let switches_ns = scope.system.platform.context_switch.map_or(0, |switch| switch.value.ns().saturating_mul(2));
    let alone_ns = scope.system.task(id).wcet.map_or(0, |wcet| wcet.value.ns());
    let ports_ns = port_cost_ns(scope.system, id).unwrap_or(0);
    charged_ns.saturating_sub(alone_ns).saturating_sub(switches_ns).saturating_sub(ports_ns)
}

/// The tasks of those ids, were there nobody to wait for.
pub(super) fn without_waiting(scope: &Scope<'_>, ids: &[TaskId], tasks: &[task_set::Task]) -> Vec<task_set::Task> {
    let alone = |(&id, task): (&TaskId, &task_set::Task)| task_set::Task {
        charged_ns: task.charged_ns - waiting_of(scope, id, task.charged_ns),
        ..*task
    };
    ids.iter().zip(tasks).map(alone).collect()
}

/// A core that is in use asks for lines too: where it is not listed, nobody's waiting is bounded.
fn require_all_listed(board: &Board, interconnect: &Interconnect) -> Result<(), String> {
    let listed = |core: CoreId| interconnect.masters.iter().any(|master| master.core == Some(core));
    let cores = board.cores.iter().enumerate();
    match cores.into_iter().find(|&(index, core)| core.active && !listed(CoreId::new(index))) {
        Some((_, core)) => Err(format!("core {} is active and no master of the interconnect", core.name.value)),
        None => Ok(()),
    }
}

fn waiting_ns(board: &Board, task: &Task, core: Option<CoreId>, missing: impl Fn() -> String) -> Result<u64, String> {
    let (requests, each_ns) = (requests_of(task), sensitivity_ns(task));
    if requests == Some(0) && each_ns == 0 {
        return Ok(0);
    }
    let interconnect =
        board.interconnect.as_ref().ok_or("`board.interconnect` is not given, and others are waited for there")?;
    require_all_listed(board, interconnect)?;
    let others = interconnect.masters.iter().filter(|master| master.core.is_none() || master.core != core).count();
    if others == 0 {
        return Ok(0);
    }
    let requests = requests.ok_or_else(missing)?;
    let lines = requests.checked_mul(others as u64);
    let bytes = lines.and_then(|lines| lines.checked_mul(interconnect.line.value.get()));
    let time = bytes.and_then(|bytes| interconnect.guaranteed.value.time_for(Bytes::new(bytes)));
    let lengthened_ns = each_ns.checked_mul(others as u64);
    time.zip(lengthened_ns)
        .and_then(|(time, lengthened_ns)| time.ns().checked_add(lengthened_ns))
        .ok_or_else(|| "the waiting time of line requests is too large, or the guaranteed rate is zero".to_owned())
}

/// The line requests of a job that are counted one by one: what a sensitivity is declared for holds those that are not.
pub(super) fn requests_of(task: &Task) -> Option<u64> {
    task.line_requests.map(|requests| requests.value).or(task.sensitivity.and(Some(0)))
}

/// By how much one other master lengthens a job, beside what its counted requests wait.
pub(super) fn sensitivity_ns(task: &Task) -> u64 {
    task.sensitivity.map_or(0, |each| each.value.ns())
}
