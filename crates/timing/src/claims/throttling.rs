//! Whether a core can be throttled by its bandwidth budget: the charged times have no term for that.
//!
//! Computes: whether every task of every partition on the core asks for memory at no more than the
//! rate of the core's budget.
//! Source: memory bandwidth regulation: Yun and others, RTAS 2013 (from memory).
//! Assumptions: declared peak rates of trusted partitions hold over every regulation period.
//! Symbols: rates in bytes a second.
//! Invariants and why it ends: one pass over the tasks; a core executes one job at a time, so the greatest rate of
//! any bounds the core's.
//! Differs from the source: no stall is computed; where none can be excluded the claim is *not shown*.
//! Checked by: the survey vessel's peak rates and budgets.

use super::scope::Scope;
use model::system::{Guest, PeakRate};
use quantity::{CoreId, PartitionId, TaskId};

const NS_PER_S: u128 = 1_000_000_000;

/// # Errors
/// Why it is not shown that no budget of the core runs out.
pub(super) fn require_none(scope: &Scope<'_>, core: CoreId) -> Result<(), String> {
    if scope.system.platform.regulation.is_none() {
        return Ok(());
    }
    let name = scope.core_name(core);
    let master =
        scope.system.board.interconnect.as_ref().and_then(|i| i.masters.iter().position(|m| m.core == Some(core)));
    let budget = scope.plan.bandwidth.iter().find(|budget| Some(budget.master) == master);
    let budget =
        budget.ok_or_else(|| format!("the plan gives core {name} no bandwidth budget, so it may be throttled"))?;
    for partition in scope.partitions_on(core) {
        require_known(scope, partition)?;
        for &task in scope.tasks(partition) {
            require_within(scope, task, budget.budget.bytes_per_s())?;
        }
    }
    Ok(())
}

/// Why it is not shown that no core of a partition is throttled; none where it is shown.
pub(super) fn of_partition(scope: &Scope<'_>, partition: PartitionId) -> Option<String> {
    let virtual_cores = 0..scope.system.partition(partition).virtual_cores.value;
    let mut cores = virtual_cores.flat_map(|virtual_core| scope.home_cores(partition, virtual_core));
    cores.find_map(|core| require_none(scope, core).err())
}

/// What an opaque or an untrusted partition asks memory for is known to nobody, whatever it declares.
fn require_known(scope: &Scope<'_>, partition: PartitionId) -> Result<(), String> {
    let found = scope.system.partition(partition);
    let name = scope.partition_name(partition);
    if matches!(found.guest.value, Guest::Opaque(_)) {
        return Err(format!("the memory traffic of `{name}` is unknown, so its core may be throttled"));
    }
    if found.untrusted {
        return Err(format!("`{name}` is untrusted, so it may use up its core's bandwidth budget at any time"));
    }
    Ok(())
}

fn require_within(scope: &Scope<'_>, id: TaskId, budget: u64) -> Result<(), String> {
    let task = scope.system.task(id);
    let label = scope.system.task_label(id);
    if task.line_requests.as_ref().is_some_and(|requests| requests.value == 0) {
        return Ok(());
    }
    let within = match task.peak_rate.as_ref().map(|rate| rate.value) {
        Some(PeakRate::AtMost(rate)) => rate.bytes_per_s() <= budget,
        Some(PeakRate::Even) => even_rate_within(scope, id, budget)?,
        None => {
            return Err(format!(
                "`{label}` declares no peak rate, so its line requests may come in one burst and be throttled"
            ));
        }
    };
    if within {
        Ok(())
    } else {
        Err(format!("`{label}` may ask for more than its core's bandwidth budget and be throttled"))
    }
}

/// Whether requests spread evenly over the time that the job executes alone stay within the budget.
fn even_rate_within(scope: &Scope<'_>, id: TaskId, budget: u64) -> Result<bool, String> {
    let task = scope.system.task(id);
    let label = scope.system.task_label(id);
    let line = scope.system.board.interconnect.as_ref().map(|interconnect| interconnect.line.value.get());
    let (Some(requests), Some(wcet), Some(line)) = (&task.line_requests, &task.wcet, line) else {
        return Err(format!("the peak rate of `{label}` is unknown, so its core may be throttled"));
    };
    let bytes = u128::from(requests.value) * u128::from(line);
    let allowed = u128::from(budget) * u128::from(wcet.value.ns());
    Ok(bytes.checked_mul(NS_PER_S).is_some_and(|scaled| scaled <= allowed))
}
