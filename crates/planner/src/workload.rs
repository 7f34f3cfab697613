//! What one virtual core of a partition must finish, and whether a supply lets it.

use crate::problem::growth_ppm;
use model::System;
use model::system::{GrowthSubject, Guest, OpaqueNeed};
use quantity::{CoreId, Duration, PartitionId, Ppm, ScheduleId, TaskId};
use timing::response::{self, Response};
use timing::supply::Supply;
use timing::{Policy, Task, TaskSet, claims};

/// The work of one virtual core of a partition in one module schedule.
#[derive(Debug, Clone)]
pub(crate) enum Workload {
    /// Tasks.
    Tasks { names: Vec<String>, tasks: Vec<Task>, set: Box<TaskSet> },
    /// An opaque guest that needs a share of a core, at most so late.
    Share { name: String, rate: Ppm, delay: Duration },
    /// No active task.
    Nothing,
    /// It cannot be analysed; the sentence says which datum or analysis is missing.
    Unknown(String),
}

/// Whether a supply is enough.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Finding {
    Met,
    /// What misses, one clause each, such as `OBJT.trk responds in 60 ms, its deadline is 50 ms`.
    Missed(Vec<String>),
    /// Nothing was computed, and why.
    Unknown(String),
}

impl Workload {
    /// The work of a virtual core, were its windows on `core`.
    pub(crate) fn of(system: &System, schedule: ScheduleId, id: PartitionId, virtual_core: u32, core: CoreId) -> Self {
        let partition = system.partition(id);
        let name = &partition.name.value;
        match &partition.guest.value {
            Guest::Opaque(OpaqueNeed::Periodic { budget, period }) => Self::of_opaque(name, *budget, *period),
            Guest::Opaque(OpaqueNeed::Rate { rate, delay }) => {
                Self::Share { name: name.clone(), rate: *rate, delay: *delay }
            }
            Guest::FixedPriority | Guest::Edf | Guest::Cooperative => {
                let policy = claims::policy_of(system, schedule, id);
                let found =
                    policy.and_then(|policy| Ok((policy, claims::tasks_of(system, schedule, id, virtual_core, core)?)));
                match found {
                    Ok((policy, tasks)) => Self::of_tasks(system, id, policy, tasks),
                    Err(missing) => Self::Unknown(missing),
                }
            }
        }
    }

    /// The amount in every period, wherever the period begins, is one task that may begin at any instant.
    fn of_opaque(name: &str, budget: Duration, period: Duration) -> Self {
        let task = Task {
            priority: 0,
            period_ns: period.ns(),
            deadline_ns: period.ns(),
            charged_ns: budget.ns(),
            jitter_ns: 0,
            blocking_ns: 0,
            release: timing::Release::FreeRunning,
        };
        match TaskSet::new(&[task]) {
            Ok(set) => Self::Tasks { names: vec![name.to_owned()], tasks: vec![task], set: Box::new(set) },
            Err(error) => Self::Unknown(format!("the need of {name} is not analysed: {error}")),
        }
    }

    /// Tasks, longer by what a growth rule wants them to bear.
    fn of_tasks(system: &System, id: PartitionId, policy: Policy, mut tasks: Vec<(TaskId, Task)>) -> Self {
        if tasks.is_empty() {
            return Self::Nothing;
        }
        let subjects = [GrowthSubject::Partition(id), GrowthSubject::Partitions];
        let growth_ppm = subjects.map(|subject| growth_ppm(system, subject)).into_iter().fold(0, u64::max);
        tasks.iter_mut().for_each(|(_, task)| task.charged_ns = grown(task.charged_ns, growth_ppm));
        let name = |task: &TaskId| match growth_ppm {
            0 => system.task_label(*task),
            ppm => format!("{}, grown by {},", system.task_label(*task), Ppm::new(ppm)),
        };
        let alone: Vec<Task> = tasks.iter().map(|(_, task)| *task).collect();
        match TaskSet::with_policy(&alone, policy) {
            Ok(set) => {
                Self::Tasks { names: tasks.iter().map(|(id, _)| name(id)).collect(), tasks: alone, set: Box::new(set) }
            }
            Err(error) => Self::Unknown(error.to_string()),
        }
    }

    /// Whether everything ends in time under `supply`, which counts from the frame's begin.
    pub(crate) fn judge(&self, supply: &Supply) -> Finding {
        match self.judge_by(supply, response::worst_responses) {
            // A frame-aligned analysis may end at its limit; the bound in any phase covers it.
            Finding::Unknown(_) => self.judge_any_phase(supply),
            found => found,
        }
    }

    /// The same in whatever phase the supply stands to the frame.
    pub(crate) fn judge_any_phase(&self, supply: &Supply) -> Finding {
        self.judge_by(supply, response::worst_in_any_phase)
    }

    fn judge_by(&self, supply: &Supply, responses: fn(&Supply, &TaskSet) -> Vec<Response>) -> Finding {
        match self {
            Self::Nothing => Finding::Met,
            Self::Unknown(why) => Finding::Unknown(why.clone()),
            Self::Share { name, rate, delay } => judge_share(name, *rate, *delay, supply),
            Self::Tasks { names, tasks, set } => {
                let late = names.iter().zip(tasks).zip(responses(supply, set));
                found(late.map(|((name, task), response)| keeps(name, task.deadline_ns, &response)).collect())
            }
        }
    }
}

/// A miss counts more than an answer that was not found.
fn found(each: Vec<Finding>) -> Finding {
    let unknown = each.iter().find(|one| matches!(one, Finding::Unknown(_))).cloned();
    let misses = each.into_iter().filter_map(|one| match one {
        Finding::Missed(misses) => Some(misses),
        Finding::Met | Finding::Unknown(_) => None,
    });
    let misses: Vec<String> = misses.flatten().collect();
    match unknown {
        _ if !misses.is_empty() => Finding::Missed(misses),
        Some(unknown) => unknown,
        None => Finding::Met,
    }
}

/// Whether a response keeps its deadline, in words where it does not.
fn keeps(name: &str, deadline_ns: u64, response: &Response) -> Finding {
    let deadline = Duration::from_ns(deadline_ns);
    match response {
        Response::Bounded(bound) if bound.response_ns <= deadline_ns => Finding::Met,
        Response::Bounded(bound) => {
            let response = Duration::from_ns(bound.response_ns);
            Finding::Missed(vec![format!("{name} responds in {response}, its deadline is {deadline}")])
        }
        Response::Unbounded(shortfall) => Finding::Missed(vec![format!(
            "{name} and what is more urgent need {} more in every frame than there is",
            Duration::from_ns(shortfall.ceil_ns())
        )]),
        Response::GaveUp(why) => Finding::Unknown(format!("the response of {name} was not found: {why}")),
    }
}

/// Whether every span `t` holds at least `rate * (t - delay)`. It is enough to look from every window end to every
/// later window start of one frame, and at the whole frame: between those the supply rises at the full rate.
fn judge_share(name: &str, rate: Ppm, delay: Duration, supply: &Supply) -> Finding {
    let frame = supply.frame_ns();
    let scaled = |supply_ns: u64| u128::from(supply_ns) * 1_000_000;
    let needed = |span_ns: u64| u128::from(rate.get()) * u128::from(span_ns);
    let mut misses = Vec::new();
    if needed(frame) > scaled(supply.per_frame_ns()) {
        misses.push(format!("{name} needs {rate} of a core, its windows give less"));
    }
    let windows = supply.windows();
    let late = windows.iter().any(|from| {
        windows.iter().any(|to| {
            let span = (to.start_ns + 2 * frame - from.end_ns) % frame;
            needed(span.saturating_sub(delay.ns())) > scaled(supply.supply_ns(from.end_ns, span))
        })
    });
    if late {
        misses.push(format!("{name} gets its {rate} of a core later than after {delay}"));
    }
    if misses.is_empty() { Finding::Met } else { Finding::Missed(misses) }
}

/// An execution time grown by a share, rounded down as the margin is judged.
fn grown(charged_ns: u64, growth_ppm: u64) -> u64 {
    let more = u128::from(charged_ns) * u128::from(growth_ppm) / 1_000_000;
    charged_ns.saturating_add(u64::try_from(more).unwrap_or(u64::MAX))
}
