//! Worst responses against deadlines, task by task.
//!
//! Computes: for each task of a fixed-priority partition its worst response under the plan's windows,
//! and the largest growth of that task alone.
//! Source: the response analyses, `crate::response`.
//! Assumptions: inputs valid, windows enforced, interrupts pended; round-robin and masters listed
//! where line requests count; frame-aligned tasks arrive as declared; no core throttled.
//! Symbols: times in ns.
//! Invariants and why it ends: as the analyses. A violation is claimed only with a scenario that passes the
//! deadline: the bound's own where it is attained, else one with less in it that surely can happen.
//! Differs from the source: nothing.
//! Checked by: the survey vessel through this door, and cases with one datum taken away each.

use super::scope::Scope;
use super::{charge, partition_supply, throttling, witness};
use crate::response::{self, Bound, Exactness, Inexact, Response};
use crate::supply::Supply;
use crate::task_set::{Release, Task, TaskSet};
use crate::{sensitivity, witness::Scenario};
use claim::{Assumption, Basis, Growth, Kind, Relation, Status, Unit, Verdict, Witness};
use model::system::{self, CorePolicy, DeadlinePhase, Guest};
use quantity::{CoreId, Duration, PartitionId, TaskId};

/// One virtual core of a partition, analysed.
pub(super) struct Analysed {
    pub(super) ids: Vec<TaskId>,
    pub(super) tasks: Vec<Task>,
    pub(super) set: TaskSet,
    pub(super) supply: Supply,
    pub(super) responses: Vec<Response>,
    pub(super) basis: Basis,
    /// Whether the responses are those of free-running release.
    pub(super) as_free_running: bool,
    /// Whether release points that keep to the frame are taken in any phase, since the core's frame does not keep to
    /// the others': the responses cover them and none is known to be attained.
    pub(super) covers_aligned: bool,
    /// Why throttling cannot be excluded.
    pub(super) throttled: Option<String>,
}

/// The tasks of one virtual core, analysed or why not.
pub(super) type VirtualCore = (Vec<TaskId>, Result<Analysed, String>);

/// Every virtual core of `partition` that has tasks.
pub(super) fn analyse(scope: &Scope<'_>, partition: PartitionId) -> Vec<VirtualCore> {
    let mut cores: Vec<_> = scope.tasks(partition).iter().map(|&id| virtual_core_of(scope, id)).collect();
    cores.sort_unstable();
    cores.dedup();
    let of_core = |core: Option<u32>| {
        let ids = ids_on(scope, partition, core);
        let found = match core {
            Some(core) => analyse_core(scope, partition, core, &ids),
            None => Err(UNPINNED.to_owned()),
        };
        (ids, found)
    };
    cores.into_iter().map(of_core).collect()
}

/// Why tasks on no virtual core of their own have no response.
pub(super) const UNPINNED: &str =
    "tasks that are pinned to none of several virtual cores are not analysed by this version";

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

/// Whether the partition's deadlines hold in the phase of the frame, and these cores keep to it.
pub(super) fn in_phase(scope: &Scope<'_>, partition: PartitionId, cores: &[CoreId]) -> bool {
    let keeps = |&core: &CoreId| matches!(scope.policy(core), Some(CorePolicy::WindowTable { synchronised: true, .. }));
    scope.system.deadline_phase(partition) == DeadlinePhase::Frame && cores.iter().all(keeps)
}

fn analyse_core(
    scope: &Scope<'_>,
    partition: PartitionId,
    virtual_core: u32,
    ids: &[TaskId],
) -> Result<Analysed, String> {
    require_fixed_priority(scope, partition)?;
    let supply = partition_supply::supply(scope, partition, virtual_core)?;
    let cores: Vec<CoreId> = scope.tables_of(partition, virtual_core).iter().map(|table| table.core).collect();
    let in_phase = in_phase(scope, partition, &cores);
    let tasks = tasks(scope, ids, cores.first().copied(), in_phase)?;
    let set = TaskSet::new(&tasks).map_err(|error| error.to_string())?;
    let covers_aligned = !in_phase && covers_aligned(scope, partition, ids);
    let mut responses = response::worst_responses(&supply, &set);
    if covers_aligned {
        responses.iter_mut().for_each(only_covers);
    }
    let as_free_running = response::taken_as_free_running(&supply, &set);
    Ok(Analysed {
        basis: basis(scope, as_free_running),
        throttled: cores.iter().find_map(|&core| throttling::require_none(scope, core).err()),
        ids: ids.to_vec(),
        tasks,
        set,
        supply,
        responses,
        as_free_running,
        covers_aligned,
    })
}

/// Whether deadlines need to hold in the frame's phase and some release keeps to it.
fn covers_aligned(scope: &Scope<'_>, partition: PartitionId, ids: &[TaskId]) -> bool {
    let aligned = |&id: &TaskId| matches!(scope.system.task(id).release.value, system::Release::FrameAligned { .. });
    scope.system.deadline_phase(partition) == DeadlinePhase::Frame && ids.iter().any(aligned)
}

fn only_covers(response: &mut Response) {
    if let Response::Bounded(bound) = response
        && bound.exactness.is_exact()
    {
        bound.exactness = Exactness::Bound(Inexact::TakenAsFreeRunning);
    }
}

pub(super) fn require_fixed_priority(scope: &Scope<'_>, partition: PartitionId) -> Result<(), String> {
    let other = match scope.system.partition(partition).guest.value {
        Guest::FixedPriority => return Ok(()),
        Guest::Edf => "earliest deadline first",
        Guest::Cooperative => "cooperative scheduling",
        Guest::Opaque(_) => "an opaque guest",
    };
    Err(format!("{other} is not analysed by this version"))
}

pub(super) fn tasks(
    scope: &Scope<'_>,
    ids: &[TaskId],
    core: Option<CoreId>,
    in_phase: bool,
) -> Result<Vec<Task>, String> {
    let lowest = ids.iter().filter_map(|&id| scope.system.task(id).priority.as_ref().map(|p| p.value)).min();
    ids.iter().map(|&id| task(scope, id, core, in_phase, lowest)).collect()
}

fn task(
    scope: &Scope<'_>,
    id: TaskId,
    core: Option<CoreId>,
    in_phase: bool,
    lowest: Option<u32>,
) -> Result<Task, String> {
    let task = scope.system.task(id);
    let label = scope.system.task_label(id);
    let priority = task.priority.as_ref().ok_or_else(|| format!("`priority` of `{label}` is not given"))?.value;
    let jitter = scope
        .system
        .jitter(id)
        .ok_or_else(|| format!("neither `jitter` of `{label}` nor `platform.release_jitter` is given"))?;
    let suffers_blocking = lowest.is_some_and(|lowest| lowest < priority);
    Ok(Task {
        priority: priority.into(),
        period_ns: task.period.value.ns(),
        deadline_ns: task.deadline.value.ns(),
        charged_ns: charge::charged_ns(scope, id, core)?,
        jitter_ns: jitter.ns(),
        blocking_ns: if suffers_blocking { blocking_ns(scope, id)? } else { 0 },
        release: match task.release.value {
            system::Release::FrameAligned { offset } if in_phase && !task.sporadic => {
                Release::FrameAligned { offset_ns: offset.ns() }
            }
            _ => Release::FreeRunning,
        },
    })
}

fn blocking_ns(scope: &Scope<'_>, id: TaskId) -> Result<u64, String> {
    let task = scope.system.task(id);
    let label = scope.system.task_label(id);
    let of_partition = scope.tasks(task.partition).iter().map(|&other| scope.system.task(other));
    if task.blocking.is_none() && of_partition.into_iter().any(|other| !other.sections.is_empty()) {
        return Err(format!(
            "blocking through named resources is not analysed by this version; give `blocking` of `{label}`"
        ));
    }
    let blocking = scope.system.blocking(id);
    let missing = || format!("neither `blocking` of `{label}` nor `platform.nonpreemptable` is given");
    blocking.map(Duration::ns).ok_or_else(missing)
}

fn basis(scope: &Scope<'_>, as_free_running: bool) -> Basis {
    let mut assumptions =
        vec![Assumption::InputsValid, Assumption::RoundRobin, Assumption::MastersListed, Assumption::WindowsEnforced];
    if scope.system.platform.regulation.is_some() {
        assumptions.push(Assumption::NotThrottled);
    }
    if !as_free_running {
        assumptions.extend([Assumption::FramesSynchronised, Assumption::ReleasedAsDeclared]);
    }
    assumptions.push(Assumption::InterruptsPended);
    let (analysis, source) = if as_free_running {
        (
            "free-running",
            "Joseph and Pandya 1986; Audsley and others 1993; Lehoczky, RTSS 1990; Lipari and Bini, ECRTS 2003 (from memory)",
        )
    } else {
        ("frame-aligned", "Lehoczky, RTSS 1990; Tindell, York 1994 (from memory)")
    };
    Basis { analysis, source, assumptions }
}

/// One verdict for each task.
pub(super) fn check(scope: &Scope<'_>, partition: PartitionId, cores: &[VirtualCore]) -> Vec<Verdict> {
    let mut verdicts: Vec<_> = opaque_verdict(scope, partition).into_iter().collect();
    for (ids, found) in cores {
        match found {
            Err(reason) => verdicts.extend(ids.iter().map(|&id| open(scope, id, basis(scope, true), reason.clone()))),
            Ok(analysed) => verdicts.extend(verdicts_of(scope, analysed)),
        }
    }
    verdicts
}

/// An opaque guest has a need but no tasks to hang it on.
fn opaque_verdict(scope: &Scope<'_>, partition: PartitionId) -> Option<Verdict> {
    let guest = &scope.system.partition(partition).guest;
    let reason = require_fixed_priority(scope, partition).err()?;
    let opaque = matches!(guest.value, Guest::Opaque(_)) && scope.tasks(partition).is_empty();
    let subject = scope.partition_name(partition).to_owned();
    opaque.then(|| scope.claim(Kind::Response, subject, basis(scope, true), guest.span, reason))
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

fn verdicts_of(scope: &Scope<'_>, analysed: &Analysed) -> Vec<Verdict> {
    let largest = sensitivity::largest_charged_ns(&analysed.supply, &analysed.set);
    let verdict = |(k, largest_charged_ns): (usize, u64)| {
        let charged_ns = analysed.tasks[k].charged_ns;
        let growth = Some(Growth { charged_ns, largest_charged_ns });
        let base = Verdict { growth, ..open(scope, analysed.ids[k], analysed.basis.clone(), String::new()) };
        judge(scope, analysed, k, base)
    };
    largest.into_iter().enumerate().map(verdict).collect()
}

fn judge(scope: &Scope<'_>, analysed: &Analysed, k: usize, base: Verdict) -> Verdict {
    match &analysed.responses[k] {
        Response::GaveUp(why) => Verdict { reason: Some(why.to_string()), ..base },
        Response::Unbounded(shortfall) => {
            let reason = format!(
                "no bound: the demand passes the supply by {shortfall} in each frame of {}, so responses grow without end",
                scope.system.frame.value
            );
            let witness = witness::of_overload(scope, analysed, k).unwrap_or_else(|| Witness::of_fact(&*reason));
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
    match witness::of_miss(scope, analysed, k, bound) {
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
    crate::witness::scenario(&analysed.supply, &analysed.set, k, bound, analysed.as_free_running)
}
