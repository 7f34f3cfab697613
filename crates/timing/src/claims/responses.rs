//! Worst responses against deadlines, task by task.
//!
//! Computes: for each task of a partition its worst response under the supply that it has, and the largest growth of that
//! task alone.
//! Source: the response analyses, `crate::response`, and `crate::multiprocessor`.
//! Assumptions: inputs valid; windows enforced, budgets or shares given; interrupts pended; round-robin and masters listed
//! where line requests count; frame-aligned tasks arrive as declared; no core throttled.
//! Symbols: times in ns.
//! Invariants and why it ends: as the analyses. A violation is claimed only with a scenario that passes the
//! deadline: the bound's own where it is attained, else one with less in it that surely can happen.
//! Differs from the source: nothing.
//! Checked by: the survey vessel through this door, cases with one datum taken away each, and small systems of every
//! supply and guest in `tests/`.

use super::partition_supply::{self, Given, Losses};
use super::results::Results;
use super::scope::Scope;
use super::waits::Waits;
use super::{charge, judged_waits, locking, opaque, response_parts, throttling, witness};
use crate::response::{self, Bound, Deadlines, Exactness, Inexact, Response};
use crate::supply::{Supply, SupplyKind};
use crate::task_set::{Policy, Release, Task, TaskSet};
use crate::{multiprocessor, sensitivity, witness::Scenario};
use claim::{Assumption, Basis, Growth, Kind, Relation, Status, Unit, Verdict, Witness};
use model::system::{self, CorePolicy, DeadlinePhase, Guest};
use quantity::{CoreId, Duration, PartitionId, TaskId};

/// One virtual core of a partition, or all of them where its tasks run on whichever is free, analysed.
pub(super) struct Analysed {
    pub(super) ids: Vec<TaskId>,
    pub(super) tasks: Vec<Task>,
    pub(super) set: TaskSet,
    /// The supply; of the first virtual core where there are several.
    pub(super) supply: Supply,
    /// The supplies of all virtual cores, where the tasks run on whichever is free; else empty.
    pub(super) cluster: Vec<Supply>,
    pub(super) responses: Vec<Response>,
    pub(super) basis: Basis,
    /// Whether the responses are those of free-running release.
    pub(super) as_free_running: bool,
    /// Whether release points that keep to the frame are taken in any phase, since the core's frame does not keep to
    /// the others': the responses cover them and none is known to be attained.
    pub(super) covers_aligned: bool,
    /// Why throttling cannot be excluded; none where stalls are counted.
    pub(super) throttled: Option<String>,
    /// What was counted as lost of windows and jobs.
    pub(super) losses: Losses,
    /// How much later than by the supply its time may come, from an instant within a window; the tasks are released as much later.
    pub(super) late_ns: u64,
    /// The same without losses that need not be, where some are counted: what happens there surely can.
    pub(super) without_losses: Option<Box<Analysed>>,
}

impl Analysed {
    /// What surely can happen: this, or where losses are counted that need not be, what is without them.
    pub(super) fn sure(&self) -> &Self {
        self.without_losses.as_deref().unwrap_or(self)
    }

    /// Whether every deadline is shown to hold.
    pub(super) fn is_shown(&self) -> bool {
        let mut responses = self.responses.iter().zip(&self.tasks);
        let meets = |(response, task): (&Response, &Task)| {
            response.bound().is_some_and(|bound| bound.response_ns <= task.deadline_ns)
        };
        self.throttled.is_none() && responses.all(meets)
    }

    /// Other numbers of the same tasks; none where these are too large.
    pub(super) fn set_of(&self, tasks: &[Task]) -> Option<TaskSet> {
        TaskSet::with_policy(tasks, self.set.policy()).ok()
    }

    /// Whether every deadline is shown to hold, were `set` the tasks and `supplies` the supplies.
    pub(super) fn would_meet(&self, supplies: &[Supply], set: &TaskSet) -> bool {
        match supplies {
            [supply] if self.cluster.is_empty() => Deadlines::new(supply, set).are_met(set),
            supplies => multiprocessor::deadlines_met(supplies, set),
        }
    }

    /// The supply, or those of all virtual cores.
    pub(super) fn supplies(&self) -> &[Supply] {
        if self.cluster.is_empty() { std::slice::from_ref(&self.supply) } else { &self.cluster }
    }

    /// The largest common factor on all charged times, in ppm, with which every deadline is shown to hold.
    pub(super) fn common_factor_ppm(&self) -> u64 {
        if self.cluster.is_empty() {
            return sensitivity::common_factor_ppm(&self.supply, &self.set);
        }
        sensitivity::common_factor_by(&self.set, |set| multiprocessor::deadlines_met(&self.cluster, set))
    }

    /// For each task alone the largest charged time with which every deadline is shown to hold, in ns.
    fn largest_charged_ns(&self) -> Vec<u64> {
        if self.cluster.is_empty() {
            return sensitivity::largest_charged_ns(&self.supply, &self.set);
        }
        sensitivity::largest_charged_by(&self.set, |set| multiprocessor::deadlines_met(&self.cluster, set))
    }

    /// Whether a demand above the supply surely delays each of the tasks without end.
    fn overload_is_sure(&self) -> bool {
        self.cluster.is_empty() && self.supply.kind() != SupplyKind::ProportionalShare
    }
}

/// The tasks of one virtual core, analysed or why not.
pub(super) type VirtualCore = (Vec<TaskId>, Result<Analysed, String>);

/// Every virtual core of `partition` that has tasks.
pub(super) fn analyse(scope: &Scope<'_>, partition: PartitionId) -> Vec<VirtualCore> {
    let mut cores: Vec<_> = scope.tasks(partition).iter().map(|&id| virtual_core_of(scope, id)).collect();
    cores.sort_unstable();
    cores.dedup();
    let mixed = cores.len() > 1 && cores.contains(&None);
    let of_core = |core: Option<u32>| {
        let ids = ids_on(scope, partition, core);
        let found = if mixed { Err(MIXED.to_owned()) } else { core_of(scope, partition, core, &ids) };
        (ids, found)
    };
    cores.into_iter().map(of_core).collect()
}

/// Why tasks have no response where some can run on the virtual core of others.
const MIXED: &str = "some tasks of the partition are pinned to a virtual core and some are not, which is not analysed";

/// Why tasks on no virtual core of their own are no workload of one.
pub(super) const UNPINNED: &str = "tasks that are pinned to none of several virtual cores belong to no one of them";

/// The virtual core that a task runs on; none where it is pinned to none of several.
pub(super) fn virtual_core_of(scope: &Scope<'_>, id: TaskId) -> Option<u32> {
    let task = scope.system.task(id);
    let only = (scope.system.partition(task.partition).virtual_cores.value == 1).then_some(0);
    task.virtual_core.as_ref().map(|core| core.value).or(only)
}

/// The active tasks of a partition on one virtual core, or those on none.
pub(super) fn ids_on(scope: &Scope<'_>, partition: PartitionId, core: Option<u32>) -> Vec<TaskId> {
    scope.tasks(partition).iter().copied().filter(|&id| virtual_core_of(scope, id) == core).collect()
}

/// Whether the partition's deadlines hold in the phase of the frame, and these cores keep to it. A core of one's own gives the
/// same in every phase.
pub(super) fn in_phase(scope: &Scope<'_>, partition: PartitionId, cores: &[CoreId]) -> bool {
    let keeps = |&core: &CoreId| {
        matches!(scope.policy(core), Some(CorePolicy::WindowTable { synchronised: true, .. } | CorePolicy::Dedicated))
    };
    scope.system.deadline_phase(partition) == DeadlinePhase::Frame && cores.iter().all(keeps)
}

/// One virtual core. Where a budget may run out, stalls are counted if every deadline is shown to hold with them; else
/// nothing is said of them, and nothing is shown.
fn core_of(
    scope: &Scope<'_>,
    partition: PartitionId,
    virtual_core: Option<u32>,
    ids: &[TaskId],
) -> Result<Analysed, String> {
    let declared = analyse_core(scope, partition, virtual_core, ids, Losses::DECLARED)?;
    if declared.throttled.is_none() {
        return Ok(declared);
    }
    let stalled = analyse_core(scope, partition, virtual_core, ids, Losses::STALLED).ok();
    Ok(stalled.filter(Analysed::is_shown).unwrap_or(declared))
}

fn analyse_core(
    scope: &Scope<'_>,
    partition: PartitionId,
    virtual_core: Option<u32>,
    ids: &[TaskId],
    losses: Losses,
) -> Result<Analysed, String> {
    let policy = policy(scope, partition)?;
    let all = 0..scope.system.partition(partition).virtual_cores.value;
    let virtual_cores = virtual_core.map_or(all, |only| only..only + 1);
    let given = virtual_cores.clone().map(|vc| partition_supply::supply(scope, partition, vc, losses));
    let given: Vec<Given> = given.collect::<Result<_, _>>()?;
    let late_ns = given.iter().map(|given| given.late_ns).fold(0, u64::max);
    let interrupted = given.iter().any(|given| given.interrupted);
    let supplies: Vec<Supply> = given.into_iter().map(|given| given.supply).collect();
    let cores: Vec<CoreId> = virtual_cores.flat_map(|vc| scope.home_cores(partition, vc)).collect();
    let in_phase = in_phase(scope, partition, &cores);
    let core = cores.first().copied();
    let (tasks, bounds) = tasks(scope, policy, ids, core, in_phase)?;
    let tasks = delayed(scope, tasks, ids, core, losses, late_ns)?;
    let set = TaskSet::with_policy(&tasks, policy).map_err(|error| error.to_string())?;
    let supply = supplies.first().cloned().ok_or("the partition has no virtual core")?;
    let cluster = if virtual_core.is_none() { supplies } else { Vec::new() };
    let covers_aligned = !in_phase && covers_aligned(scope, partition, ids);
    let mut responses = if cluster.is_empty() {
        response::worst_responses(&supply, &set)
    } else {
        multiprocessor::worst_responses(&cluster, &set)
    };
    for (response, bound) in responses.iter_mut().zip(bounds) {
        let covers = covers_aligned.then_some(Inexact::TakenAsFreeRunning);
        let stalled = losses.stalled.then_some(Inexact::Throttled);
        let interrupted = interrupted.then_some(Inexact::HandledAtOnce);
        bound.or(covers).or(stalled).or(interrupted).into_iter().for_each(|why| only_covers(response, why));
    }
    let without_losses = match losses.stalled || interrupted {
        false => None,
        true => Some(Box::new(analyse_core(scope, partition, virtual_core, ids, Losses::NONE)?)),
    };
    let throttled = cores.iter().find_map(|&core| throttling::require_none(scope, core).err());
    let as_free_running = !cluster.is_empty() || response::taken_as_free_running(&supply, &set);
    let analysis = if cluster.is_empty() { analysis_of(policy, as_free_running) } else { ON_SEVERAL_CORES };
    Ok(Analysed {
        basis: basis(scope, analysis, supply.kind(), as_free_running, losses),
        throttled: throttled.filter(|_| !losses.stalled),
        losses,
        late_ns,
        ids: ids.to_vec(),
        tasks,
        set,
        supply,
        cluster,
        responses,
        as_free_running,
        covers_aligned,
        without_losses,
    })
}

/// The tasks, each released as much later as its time may come later than by the supply, and charged with its stalls where
/// these count.
///
/// # Errors
/// Why a stall is not known.
pub(super) fn delayed(
    scope: &Scope<'_>,
    tasks: Vec<Task>,
    ids: &[TaskId],
    core: Option<CoreId>,
    losses: Losses,
    late_ns: u64,
) -> Result<Vec<Task>, String> {
    let stall_ns = |&id: &TaskId| if losses.stalled { throttling::stall_ns(scope, id, core) } else { Ok(0) };
    let stalls_ns: Vec<u64> = ids.iter().map(stall_ns).collect::<Result<_, _>>()?;
    let longest_ns = stalls_ns.iter().copied().fold(0, u64::max);
    let delayed = |(task, stall_ns): (Task, u64)| Task {
        charged_ns: task.charged_ns.saturating_add(stall_ns),
        jitter_ns: task.jitter_ns.saturating_add(late_ns),
        // Whoever blocks may stall meanwhile.
        blocking_ns: if task.blocking_ns > 0 { task.blocking_ns.saturating_add(longest_ns) } else { 0 },
        ..task
    };
    Ok(tasks.into_iter().zip(stalls_ns).map(delayed).collect())
}

/// Whether deadlines need to hold in the frame's phase and some release keeps to it.
fn covers_aligned(scope: &Scope<'_>, partition: PartitionId, ids: &[TaskId]) -> bool {
    let aligned = |&id: &TaskId| matches!(scope.system.task(id).release.value, system::Release::FrameAligned { .. });
    scope.system.deadline_phase(partition) == DeadlinePhase::Frame && ids.iter().any(aligned)
}

fn only_covers(response: &mut Response, why: Inexact) {
    if let Response::Bounded(bound) = response
        && bound.exactness.is_exact()
    {
        bound.exactness = Exactness::Bound(why);
    }
}

/// By which rule the guest chooses among its jobs.
///
/// # Errors
/// That nobody knows.
pub(super) fn policy(scope: &Scope<'_>, partition: PartitionId) -> Result<Policy, String> {
    match scope.system.partition(partition).guest.value {
        Guest::FixedPriority => Ok(Policy::FixedPriority),
        Guest::Edf => Ok(Policy::EarliestDeadline),
        Guest::Cooperative => Ok(Policy::Cooperative),
        Guest::Opaque(_) => Err("how an opaque guest schedules its tasks is not known".to_owned()),
    }
}

/// What follows single jobs does so only under preemptive fixed priorities.
///
/// # Errors
/// The guest's policy, where it is another.
pub(super) fn require_fixed_priority(scope: &Scope<'_>, partition: PartitionId) -> Result<(), String> {
    let other = match policy(scope, partition)? {
        Policy::FixedPriority => return Ok(()),
        Policy::EarliestDeadline => "earliest deadline first",
        Policy::Cooperative => "a cooperative guest",
    };
    Err(format!("the single jobs of `{}` are not followed under {other}", scope.partition_name(partition)))
}

/// The tasks that run together, and which bound the blocking of each is, where named resources are in it.
///
/// # Errors
/// Which datum is missing.
pub(super) fn tasks(
    scope: &Scope<'_>,
    policy: Policy,
    ids: &[TaskId],
    core: Option<CoreId>,
    in_phase: bool,
) -> Result<(Vec<Task>, Vec<Option<Inexact>>), String> {
    (0..ids.len()).map(|k| task(scope, policy, ids, k, core, in_phase)).collect()
}

fn task(
    scope: &Scope<'_>,
    policy: Policy,
    ids: &[TaskId],
    k: usize,
    core: Option<CoreId>,
    in_phase: bool,
) -> Result<(Task, Option<Inexact>), String> {
    let id = ids[k];
    let task = scope.system.task(id);
    let label = scope.system.task_label(id);
    let priority = match (&task.priority, policy) {
        (Some(priority), _) => priority.value,
        (None, Policy::EarliestDeadline) => 0,
        (None, _) => return Err(format!("`priority` of `{label}` is not given")),
    };
    let jitter = scope
        .system
        .jitter(id)
        .ok_or_else(|| format!("neither `jitter` of `{label}` nor `platform.release_jitter` is given"))?;
    let nonpreemptable = scope.system.platform.nonpreemptable.map(|given| given.value);
    let blocking = locking::blocking(scope, policy, ids, k, nonpreemptable)?;
    let task = Task {
        priority: priority.into(),
        period_ns: task.period.value.ns(),
        deadline_ns: task.deadline.value.ns(),
        charged_ns: charge::charged_ns(scope, id, core)?,
        jitter_ns: jitter.ns(),
        blocking_ns: blocking.ns,
        release: match task.release.value {
            system::Release::FrameAligned { offset } if in_phase && !task.sporadic => {
                Release::FrameAligned { offset_ns: offset.ns() }
            }
            _ => Release::FreeRunning,
        },
    };
    Ok((task, blocking.bound))
}

/// The page of an analysis, and what it rests on.
type Source = (&'static str, &'static str);

const ON_SEVERAL_CORES: Source =
    ("multiprocessor", "Shin, Easwaran and Lee, ECRTS 2008; Bertogna and Cirinei, RTSS 2007 (from memory)");

fn analysis_of(policy: Policy, as_free_running: bool) -> Source {
    match policy {
        Policy::EarliestDeadline => ("edf", "Spuri, INRIA report 2772, 1996; Zhang and Burns, 2009 (from memory)"),
        Policy::Cooperative => (
            "cooperative",
            "George, Rivierre and Spuri, INRIA report 2966, 1996; Davis and others, Real-Time Systems 35, 2007 (from memory)",
        ),
        Policy::FixedPriority if as_free_running => (
            "free-running",
            "Joseph and Pandya 1986; Audsley and others 1993; Lehoczky, RTSS 1990; Lipari and Bini, ECRTS 2003 (from memory)",
        ),
        Policy::FixedPriority => ("frame-aligned", "Lehoczky, RTSS 1990; Tindell, York 1994 (from memory)"),
    }
}

fn basis(
    scope: &Scope<'_>,
    (analysis, source): Source,
    kind: SupplyKind,
    as_free_running: bool,
    losses: Losses,
) -> Basis {
    let mut assumptions = assumptions_of(kind);
    assumptions.extend([Assumption::RoundRobin, Assumption::MastersListed]);
    if scope.system.platform.regulation.is_some() {
        assumptions.push(if losses.stalled { Assumption::BudgetsRegulated } else { Assumption::NotThrottled });
    }
    if !as_free_running {
        assumptions.extend([Assumption::FramesSynchronised, Assumption::ReleasedAsDeclared]);
    }
    assumptions.sort_unstable();
    Basis { analysis, source, assumptions }
}

/// What a supply of that kind takes for granted.
pub(super) fn assumptions_of(kind: SupplyKind) -> Vec<Assumption> {
    let promise = match kind {
        SupplyKind::WindowTable => Some(Assumption::WindowsEnforced),
        SupplyKind::BudgetServer => Some(Assumption::BudgetsServed),
        SupplyKind::ProportionalShare => Some(Assumption::ShareWithinQuantum),
        SupplyKind::DedicatedCore | SupplyKind::InterruptedCore => None,
    };
    let always = [Assumption::InputsValid, Assumption::InterruptsPended];
    let mut assumptions: Vec<_> = always.into_iter().chain(promise).collect();
    assumptions.sort_unstable();
    assumptions
}

/// One verdict for each task.
pub(super) fn check(scope: &Scope<'_>, partition: PartitionId, results: &Results) -> Vec<Verdict> {
    let mut verdicts: Vec<_> = opaque::check(scope, partition).into_iter().collect();
    for (ids, found) in results.cores(partition) {
        match found {
            Err(reason) => verdicts.extend(ids.iter().map(|&id| open(scope, id, no_basis(scope), reason.clone()))),
            Ok(analysed) => verdicts.extend(verdicts_of(scope, analysed, results.waits(scope))),
        }
    }
    verdicts
}

/// The basis of a response of which nothing is known.
fn no_basis(scope: &Scope<'_>) -> Basis {
    basis(scope, analysis_of(Policy::FixedPriority, true), SupplyKind::WindowTable, true, Losses::DECLARED)
}

fn open(scope: &Scope<'_>, id: TaskId, basis: Basis, reason: String) -> Verdict {
    let task = scope.system.task(id);
    Verdict {
        limit: Some(task.deadline.value.ns()),
        unit: Unit::Nanoseconds,
        relation: Relation::AtMost,
        ..scope.claim(Kind::Response, scope.system.task_label(id), basis, task.name.span, reason)
    }
}

fn verdicts_of(scope: &Scope<'_>, analysed: &Analysed, waits: &Waits) -> Vec<Verdict> {
    let largest = analysed.largest_charged_ns();
    let verdict = |(k, largest_charged_ns): (usize, u64)| {
        let charged_ns = analysed.tasks[k].charged_ns;
        let growth = Some(Growth { charged_ns, largest_charged_ns });
        let base = Verdict { growth, ..open(scope, analysed.ids[k], analysed.basis.clone(), String::new()) };
        let parts = analysed.responses[k].bound().map(|bound| response_parts::of_bound(scope, analysed, k, bound));
        let (parts, untold) = match parts {
            Some(Ok(parts)) => (parts, None),
            Some(Err(why)) => (Vec::new(), Some(why)),
            None => (Vec::new(), None),
        };
        let base = Verdict { parts, untold, ..base };
        judged_waits::choose(scope, analysed, k, judge(scope, analysed, k, base), waits.get(&analysed.ids[k]))
    };
    largest.into_iter().enumerate().map(verdict).collect()
}

pub(super) fn judge(scope: &Scope<'_>, analysed: &Analysed, k: usize, base: Verdict) -> Verdict {
    match &analysed.responses[k] {
        Response::GaveUp(why) if why.is_failed_test() => {
            Verdict { status: Status::NotShown, reason: Some(why.to_string()), ..base }
        }
        Response::GaveUp(why) => Verdict { reason: Some(why.to_string()), ..base },
        Response::Unbounded(shortfall) => {
            let span = Duration::from_ns(analysed.supply.frame_ns());
            let of = match analysed.supply.kind() {
                SupplyKind::WindowTable => "frame of ",
                SupplyKind::BudgetServer => "server period of ",
                SupplyKind::ProportionalShare | SupplyKind::DedicatedCore | SupplyKind::InterruptedCore => "",
            };
            let passes = format!("no bound: the demand passes the supply by {shortfall} in each {of}{span}");
            let sure = analysed.sure();
            if !sure.overload_is_sure() || !matches!(sure.responses[k], Response::Unbounded(_)) {
                let reason = format!("{passes}; some response of the partition may grow without end");
                return Verdict { status: Status::NotShown, reason: Some(reason), ..base };
            }
            let reason = format!("{passes}, so responses grow without end");
            let witness = witness::of_overload(scope, sure, k).unwrap_or_else(|| Witness::of_fact(&*reason));
            Verdict { status: Status::Violated, reason: Some(reason), witness: Some(witness), ..base }
        }
        Response::Bounded(bound) => {
            // What throttling would add is in no bound.
            let exact = bound.exactness.is_exact() && analysed.throttled.is_none();
            let base = Verdict { bound: Some(bound.response_ns), exact, ..base };
            if bound.response_ns <= analysed.tasks[k].deadline_ns {
                within_deadline(analysed, bound, base)
            } else {
                past_deadline(scope, analysed, k, bound, base)
            }
        }
    }
}

fn within_deadline(analysed: &Analysed, bound: &Bound, base: Verdict) -> Verdict {
    if let Some(why) = &analysed.throttled {
        return Verdict { status: Status::NotShown, reason: Some(why.clone()), ..base };
    }
    let reason = match bound.exactness {
        Exactness::Exact => None,
        Exactness::Bound(why) => Some(format!("a bound: {why}")),
    };
    Verdict { status: Status::Shown, reason, ..base }
}

fn past_deadline(scope: &Scope<'_>, analysed: &Analysed, k: usize, bound: &Bound, base: Verdict) -> Verdict {
    let over = Duration::from_ns(bound.response_ns - analysed.tasks[k].deadline_ns);
    let reason = format!("the bound passes the deadline by {over}");
    let sure = analysed.sure();
    let late = sure.responses[k].bound().filter(|bound| bound.response_ns > sure.tasks[k].deadline_ns);
    match late.and_then(|bound| witness::of_miss(scope, sure, k, bound)) {
        Some(witness) => Verdict { status: Status::Violated, reason: Some(reason), witness: Some(witness), ..base },
        None => {
            let reason = match bound.exactness {
                Exactness::Exact => reason,
                Exactness::Bound(why) => format!("{reason}; {why}"),
            };
            Verdict { status: Status::NotShown, reason: Some(reason), ..base }
        }
    }
}

/// The scenario behind `bound`, which these responses hold for task `k`.
pub(super) fn scenario_of(analysed: &Analysed, k: usize, bound: &Bound) -> Option<Scenario> {
    if analysed.without_losses.is_some() {
        return None; // When they are lost, nobody says.
    }
    crate::witness::scenario(&analysed.supply, &analysed.set, k, bound, analysed.as_free_running)
}
