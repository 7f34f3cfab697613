//! What regulation takes from a core whose bandwidth budget runs out: first whether any can, then how much.
//!
//! Computes: for each core the greatest rate at which a task on it asks for memory against its budget; where some may ask for
//! more, the time that a window and a job of each of its partitions lose at the most.
//! Source: memory bandwidth regulation: Yun and others, RTAS 2013 (from memory); the sum over jobs is derived here.
//! Assumptions: declared peak rates of trusted partitions hold over every regulation period, declared requests over every job.
//! Symbols: `G` regulation period, `q` lines of the budget in it, `N` line requests of a job.
//! Where every task stays within the budget, a core executes one job at a time, so no period's budget runs out. Else what others
//! have asked for in the period in which a window begins is forgotten at that period's end: a window loses `G` at its begin. And
//! a partition whose tasks may ask for more stalls by itself: the first time perhaps for what went before, each further time
//! after `q` requests of its own. With `N_1 ... N_n` requests of the jobs of a busy window these are at most
//! `ceil((N_1 + ... + N_n) / q)` stalls, no more than the sum of `ceil(N_k / q)`, and each takes less than `G`. So each job is charged
//! `ceil(N / q) G`, and blocking, where there is any, that of the partition's greatest `N`.
//! Invariants and why it ends: plain arithmetic over the tasks.
//! Differs from the source: the sum over jobs and the begin of a window.
//! Checked by: the survey vessel's peak rates and budgets; runs with regulation of cores that ask for too much.

use super::scope::Scope;
use claim::{Assumption, Basis, Kind, Status, Unit, Verdict};
use model::system::{Guest, PeakRate};
use quantity::{CoreId, Duration, PartitionId, Ppm, Rate, TaskId};

const NS_PER_S: u128 = 1_000_000_000;

/// # Errors
/// Why it is not shown that no budget of the core runs out.
pub(super) fn require_none(scope: &Scope<'_>, core: CoreId) -> Result<(), String> {
    if scope.system.platform.regulation.is_none() {
        return Ok(());
    }
    let budget = budget(scope, core)?;
    scope.partitions_on(core).into_iter().try_for_each(|partition| require_within_budget(scope, partition, budget))
}

/// Why it is not shown that no core of a partition is throttled; none where it is shown.
pub(super) fn of_partition(scope: &Scope<'_>, partition: PartitionId) -> Option<String> {
    let virtual_cores = 0..scope.system.partition(partition).virtual_cores.value;
    let mut cores = virtual_cores.flat_map(|virtual_core| scope.home_cores(partition, virtual_core));
    cores.find_map(|core| require_none(scope, core).err())
}

/// How much every window of a partition loses at its begin on a core that may be throttled, in ns.
///
/// # Errors
/// That what the partition itself asks for is not known.
pub(super) fn head_ns(scope: &Scope<'_>, partition: PartitionId, core: CoreId) -> Result<u64, String> {
    if require_none(scope, core).is_ok() {
        return Ok(0);
    }
    require_known(scope, partition)?;
    Ok(period_ns(scope))
}

/// How long a job stalls at the most by what its own partition asks for on that core, in ns.
///
/// # Errors
/// Which datum is missing, or that the budget holds no line.
pub(super) fn stall_ns(scope: &Scope<'_>, id: TaskId, core: Option<CoreId>) -> Result<u64, String> {
    let (Some(core), true) = (core, scope.system.platform.regulation.is_some()) else { return Ok(0) };
    let budget = budget(scope, core)?;
    if require_within_budget(scope, scope.system.task(id).partition, budget).is_ok() {
        return Ok(0);
    }
    let label = scope.system.task_label(id);
    let requests = scope.system.task(id).line_requests.as_ref();
    let requests = requests.ok_or_else(|| format!("`line_requests` of `{label}` is not given"))?.value;
    let lines = lines_in_period(scope, budget)?;
    Ok(requests.div_ceil(lines).saturating_mul(period_ns(scope)))
}

fn period_ns(scope: &Scope<'_>) -> u64 {
    scope.system.platform.regulation.as_ref().map_or(0, |regulation| regulation.period.value.ns())
}

/// The whole lines that a budget holds in a regulation period.
fn lines_in_period(scope: &Scope<'_>, budget: u64) -> Result<u64, String> {
    let line = scope.system.board.interconnect.as_ref().map(|interconnect| interconnect.line.value.get());
    let bytes = u128::from(budget) * u128::from(period_ns(scope)) / NS_PER_S;
    let lines = line.and_then(|line| bytes.checked_div(u128::from(line))).and_then(|lines| u64::try_from(lines).ok());
    lines.filter(|&lines| lines > 0).ok_or_else(|| "a bandwidth budget holds no line in a regulation period".to_owned())
}

/// The core's budget, in bytes per second.
fn budget(scope: &Scope<'_>, core: CoreId) -> Result<u64, String> {
    let masters = scope.system.board.interconnect.iter().flat_map(|interconnect| &interconnect.masters);
    let master = masters.into_iter().position(|master| master.core == Some(core));
    let budget = scope.plan.bandwidth.iter().find(|budget| Some(budget.master) == master);
    let found = budget.map(|budget| budget.budget.bytes_per_s());
    found.ok_or_else(|| {
        let name = scope.core_name(core);
        format!("the plan gives core {name} no bandwidth budget, so it may be throttled")
    })
}

fn require_within_budget(scope: &Scope<'_>, partition: PartitionId, budget: u64) -> Result<(), String> {
    require_known(scope, partition)?;
    scope.tasks(partition).iter().try_for_each(|&task| require_within(scope, task, budget))
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
    let Peak { bytes, ns } = peak(scope, id)?;
    if bytes.checked_mul(NS_PER_S).is_some_and(|scaled| scaled <= u128::from(budget) * ns) {
        return Ok(());
    }
    let label = scope.system.task_label(id);
    Err(format!("`{label}` may ask for more than its core's bandwidth budget and be throttled"))
}

/// The greatest rate at which a task asks for memory: so many bytes in so many ns.
struct Peak {
    bytes: u128,
    ns: u128,
}

impl Peak {
    /// In millionths of a budget, rounded up.
    fn of_budget(&self, budget: u64) -> u64 {
        let scaled = self.bytes.saturating_mul(NS_PER_S).saturating_mul(Ppm::ONE.get().into());
        let share = scaled.div_ceil((u128::from(budget) * self.ns).max(1));
        u64::try_from(share).unwrap_or(u64::MAX).min(quantity::LIMIT)
    }
}

/// # Errors
/// That the rate is not known.
fn peak(scope: &Scope<'_>, id: TaskId) -> Result<Peak, String> {
    let task = scope.system.task(id);
    let label = scope.system.task_label(id);
    if task.line_requests.as_ref().is_some_and(|requests| requests.value == 0) {
        return Ok(Peak { bytes: 0, ns: 1 });
    }
    match task.peak_rate.as_ref().map(|rate| rate.value) {
        Some(PeakRate::AtMost(rate)) => Ok(Peak { bytes: rate.bytes_per_s().into(), ns: NS_PER_S }),
        Some(PeakRate::Even) => even(scope, id),
        None => {
            Err(format!("`{label}` declares no peak rate, so its line requests may come in one burst and be throttled"))
        }
    }
}

/// Requests spread evenly over the time that the job executes alone.
fn even(scope: &Scope<'_>, id: TaskId) -> Result<Peak, String> {
    let task = scope.system.task(id);
    let line = scope.system.board.interconnect.as_ref().map(|interconnect| interconnect.line.value.get());
    let (Some(requests), Some(wcet), Some(line)) = (&task.line_requests, &task.wcet, line) else {
        let label = scope.system.task_label(id);
        return Err(format!("the peak rate of `{label}` is unknown, so its core may be throttled"));
    };
    Ok(Peak { bytes: u128::from(requests.value) * u128::from(line), ns: wcet.value.ns().into() })
}

/// One verdict for each regulated core: whether its budget can run out.
pub(super) fn check(scope: &Scope<'_>) -> Vec<Verdict> {
    if scope.system.platform.regulation.is_none() {
        return Vec::new();
    }
    let masters = scope.system.board.interconnect.iter().flat_map(|interconnect| &interconnect.masters);
    masters.filter_map(|master| master.core).map(|core| verdict(scope, core)).collect()
}

fn verdict(scope: &Scope<'_>, core: CoreId) -> Verdict {
    let basis = Basis {
        analysis: "throttling",
        source: "Yun, Yao, Pellizzoni, Caccamo and Sha, RTAS 2013 (from memory)",
        assumptions: vec![Assumption::InputsValid, Assumption::BudgetsRegulated],
    };
    let subject = format!("throttling/{}", scope.core_name(core));
    let place = scope.system.core(core).name.span;
    let base = Verdict {
        unit: Unit::Ppm,
        limit: Some(Ppm::ONE.get()),
        ..scope.claim(Kind::Bandwidth, subject, basis, place, String::new())
    };
    let budget = match budget(scope, core) {
        Ok(budget) => budget,
        Err(missing) => return Verdict { reason: Some(missing), ..base },
    };
    let partitions = scope.partitions_on(core);
    let unknown = partitions.iter().filter_map(|&partition| require_known(scope, partition).err());
    let tasks = || partitions.iter().flat_map(|&partition| scope.tasks(partition)).copied();
    let over =
        tasks().filter_map(|id| Some(format!("{}{}", require_within(scope, id, budget).err()?, told(scope, id, core))));
    let faults: Vec<String> = unknown.chain(over).collect();
    let peaks: Result<Vec<u64>, String> = tasks().map(|id| Ok(peak(scope, id)?.of_budget(budget))).collect();
    let bound = peaks.ok().map(|peaks| peaks.into_iter().fold(0, u64::max));
    if faults.is_empty() {
        let reason = bound.map(|bound| {
            let (asked, budget) = (Ppm::new(bound), Rate::from_bytes_per_s(budget));
            format!("no task asks for more than {asked} of the budget of {budget}")
        });
        return Verdict { status: Status::Shown, bound, reason, ..base };
    }
    Verdict { status: Status::NotShown, bound, reason: Some(faults.join("; ")), ..base }
}

/// How long a job may stall, where that is known.
fn told(scope: &Scope<'_>, id: TaskId, core: CoreId) -> String {
    stall_ns(scope, id, Some(core))
        .map_or_else(|_| String::new(), |stall_ns| format!(", a job for up to {}", Duration::from_ns(stall_ns)))
}
