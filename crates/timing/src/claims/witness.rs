//! Scenarios of missed deadlines in the words of the system file.

use super::responses::{Analysed, scenario_of};
use super::scope::Scope;
use crate::response::{self, Bound, Exactness, free_running};
use crate::task_set::{Policy, Task};
use crate::witness::{Holder, Job, Scenario, Stretch, scenario};
use claim::{Segment, Witness, WitnessRelease};
use quantity::{Duration, TaskId};

/// A scenario in which task `k` passes its deadline, if one is known for this `bound`.
pub(super) fn of_miss(scope: &Scope<'_>, analysed: &Analysed, k: usize, bound: &Bound) -> Option<Witness> {
    if analysed.covers_aligned || !analysed.cluster.is_empty() {
        return None; // What is free to arrive in the bound may never arrive so; on several cores nothing is run.
    }
    if bound.exactness != Exactness::Exact {
        return of_less(scope, analysed, k);
    }
    let Some(scenario) = scenario_of(analysed, k, bound) else {
        return Some(long_witness(scope, analysed, k, bound));
    };
    Some(render(scope, &analysed.ids, k, &analysed.tasks[k], bound, &scenario))
}

/// The same for a task without a bound: its first job that is late.
pub(super) fn of_overload(scope: &Scope<'_>, analysed: &Analysed, k: usize) -> Option<Witness> {
    if analysed.covers_aligned {
        return None;
    }
    let alone = without_equals(analysed, k);
    let preemptive_priorities = analysed.set.policy() == Policy::FixedPriority;
    if !analysed.as_free_running || !analysed.supply.kind().is_exact() || !preemptive_priorities {
        return None;
    }
    let set = analysed.set_of(&alone.tasks)?;
    let bound = free_running::first_miss(&analysed.supply, &set, alone.k)?;
    let scenario = scenario(&analysed.supply, &set, alone.k, &bound, true)?;
    Some(render(scope, &alone.ids, alone.k, &analysed.tasks[k], &bound, &scenario))
}

/// A bound that may not be attained: what remains when equals stay away and nothing blocks surely can happen.
fn of_less(scope: &Scope<'_>, analysed: &Analysed, k: usize) -> Option<Witness> {
    let alone = without_equals(analysed, k);
    let set = analysed.set_of(&alone.tasks)?;
    let found = if analysed.as_free_running {
        response::worst_in_any_phase(&analysed.supply, &set)
    } else {
        response::worst_responses(&analysed.supply, &set)
    };
    let bound = found[alone.k].bound().filter(|bound| bound.exactness.is_exact())?;
    if bound.response_ns <= analysed.tasks[k].deadline_ns {
        return None;
    }
    if !analysed.as_free_running && alone.tasks.len() < analysed.tasks.len() {
        // The equals cannot stay away, so this is no run to replay, only a response surely passed.
        return Some(Witness::of_fact(summary_of(scope, analysed, k, bound)));
    }
    let scenario = scenario(&analysed.supply, &set, alone.k, bound, analysed.as_free_running)?;
    Some(render(scope, &alone.ids, alone.k, &analysed.tasks[k], bound, &scenario))
}

/// The scenario behind `bound`, if it can be told job by job.
pub(super) fn of_bound(scope: &Scope<'_>, analysed: &Analysed, k: usize, bound: &Bound) -> Option<Witness> {
    if analysed.covers_aligned || !analysed.cluster.is_empty() {
        return None; // As for a miss.
    }
    let scenario = scenario_of(analysed, k, bound)?;
    Some(render(scope, &analysed.ids, k, &analysed.tasks[k], bound, &scenario))
}

struct Alone {
    ids: Vec<TaskId>,
    tasks: Vec<Task>,
    k: usize,
}

/// The tasks without the equals of task `k`, nothing blocking; by deadline none is equal. A frame-aligned equal cannot stay away, but what it
/// would add only ends the job later.
fn without_equals(analysed: &Analysed, k: usize) -> Alone {
    let priority = analysed.tasks[k].priority;
    let by_deadline = analysed.set.policy() == Policy::EarliestDeadline;
    let stays = |&other: &usize| other == k || by_deadline || analysed.tasks[other].priority != priority;
    let kept: Vec<usize> = (0..analysed.tasks.len()).filter(stays).collect();
    Alone {
        ids: kept.iter().map(|&other| analysed.ids[other]).collect(),
        tasks: kept.iter().map(|&other| Task { blocking_ns: 0, ..analysed.tasks[other] }).collect(),
        k: kept.iter().take_while(|&&other| other != k).count(),
    }
}

fn summary(scope: &Scope<'_>, id: TaskId, phase_ns: u64, bound: &Bound, deadline_ns: u64) -> String {
    let frame = if bound.at_boot { "first frame" } else { "frame" };
    let told = format!(
        "with the busy window beginning at {} of the {frame}, `{}` completes {} after its arrival",
        Duration::from_ns(phase_ns),
        scope.system.task_label(id),
        Duration::from_ns(bound.response_ns),
    );
    match bound.response_ns.checked_sub(deadline_ns) {
        Some(over_ns @ 1..) => format!("{told}, {} past its deadline", Duration::from_ns(over_ns)),
        _ => told,
    }
}

fn phase_ns(scope: &Scope<'_>, bound: &Bound) -> u64 {
    bound.busy_start_ns.rem_euclid(scope.frame_ns() as i64) as u64 // A frame is at most 2^53 ns.
}

fn summary_of(scope: &Scope<'_>, analysed: &Analysed, k: usize, bound: &Bound) -> String {
    summary(scope, analysed.ids[k], phase_ns(scope, bound), bound, analysed.tasks[k].deadline_ns)
}

/// A scenario of too many jobs to list.
fn long_witness(scope: &Scope<'_>, analysed: &Analysed, k: usize, bound: &Bound) -> Witness {
    let phase_ns = phase_ns(scope, bound);
    let text = summary_of(scope, analysed, k, bound);
    let completes_ns = bound.arrival_ns - bound.busy_start_ns + bound.response_ns as i64;
    Witness { phase_ns: Some(phase_ns), completes_ns: u64::try_from(completes_ns).ok(), ..Witness::of_fact(text) }
}

fn render(scope: &Scope<'_>, ids: &[TaskId], k: usize, task: &Task, bound: &Bound, scenario: &Scenario) -> Witness {
    let label = |index: usize| scope.system.task_label(ids[index]);
    let release = |job: &Job| WitnessRelease {
        task: label(job.task),
        job: job.number,
        arrival_ns: job.arrival_ns,
        release_ns: job.release_ns,
        execution_ns: job.execution_ns,
    };
    let segment = |stretch: &Stretch| Segment {
        what: match stretch.holder {
            Holder::Task(index) => label(index),
            Holder::Blocking => "blocking".to_owned(),
            Holder::Blackout => "blackout".to_owned(),
            Holder::Idle => "idle".to_owned(),
        },
        start_ns: stretch.start_ns,
        end_ns: stretch.end_ns,
    };
    Witness {
        summary: summary(scope, ids[k], scenario.phase_ns, bound, task.deadline_ns),
        phase_ns: Some(scenario.phase_ns),
        releases: scenario.jobs.iter().map(release).collect(),
        timeline: scenario.timeline.iter().map(segment).collect(),
        completes_ns: Some(scenario.completes_ns),
    }
}
