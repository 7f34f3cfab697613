//! What one virtual core of a partition must finish, and whether a supply lets it.

use quantity::{Duration, PartitionId, Ppm, TaskId};
use model::System;
use model::system::{DeadlinePhase, Guest, OpaqueNeed, Release};
use timing::response::{self, Response, free_running};
use timing::supply::WindowSupply;
use timing::{Task, TaskSet};

/// The work of one virtual core of a partition in one module schedule.
#[derive(Debug, Clone)]
pub(crate) enum Workload {
    /// Fixed-priority tasks.
    Tasks {
        names: Vec<String>,
        deadlines_ns: Vec<u64>,
        periods_ns: Vec<u64>,
        set: TaskSet,
    },
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
    /// The work of a virtual core; `active` lists the tasks that run in the schedule, all where `None`.
    pub(crate) fn of(system: &System, id: PartitionId, virtual_core: u32, active: Option<&[TaskId]>) -> Self {
        let partition = system.partition(id);
        let name = &partition.name.value;
        match &partition.guest.value {
            Guest::FixedPriority => Self::of_tasks(system, id, virtual_core, active),
            Guest::Opaque(OpaqueNeed::Periodic { budget, period }) => Self::of_opaque(name, *budget, *period),
            Guest::Opaque(OpaqueNeed::Rate { rate, delay }) => {
                Self::Share { name: name.clone(), rate: *rate, delay: *delay }
            }
            Guest::Edf => Self::Unknown(format!("the planner does not analyse tasks by earliest deadline first, as in {name}")),
            Guest::Cooperative => Self::Unknown(format!("the planner does not analyse cooperative tasks, as in {name}")),
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
            Ok(set) => Self::Tasks { names: vec![name.to_owned()], deadlines_ns: vec![period.ns()], periods_ns: vec![period.ns()], set },
            Err(error) => Self::Unknown(format!("the need of {name} is not analysed: {error}")),
        }
    }

    fn of_tasks(system: &System, id: PartitionId, virtual_core: u32, active: Option<&[TaskId]>) -> Self {
        let runs = |task: &TaskId| {
            let here = system.task(*task).virtual_core.map_or(0, |v| v.value) == virtual_core;
            here && active.is_none_or(|active| active.contains(task))
        };
        let ids: Vec<TaskId> = system.partition(id).tasks.iter().copied().filter(runs).collect();
        if ids.is_empty() {
            return Self::Nothing;
        }
        let tasks = |blocking_ns| -> Result<Vec<Task>, String> {
            ids.iter().map(|task| analysable(system, *task, blocking_ns)).collect()
        };
        let tasks = blocking_ns(system, &ids).and_then(tasks);
        match tasks.and_then(|tasks| TaskSet::new(&tasks).map_err(|error| error.to_string())) {
            Ok(set) => Self::Tasks {
                names: ids.iter().map(|task| system.task_label(*task)).collect(),
                deadlines_ns: ids.iter().map(|task| system.task(*task).deadline.ns()).collect(),
                periods_ns: ids.iter().map(|task| system.task(*task).period.ns()).collect(),
                set,
            },
            Err(missing) => Self::Unknown(missing),
        }
    }

    /// Whether everything ends in time under `supply`, which counts from the frame's begin.
    pub(crate) fn judge(&self, supply: &WindowSupply) -> Finding {
        self.judge_by(supply, response::worst_responses)
    }

    /// The same in whatever phase the supply stands to the frame.
    pub(crate) fn judge_any_phase(&self, supply: &WindowSupply) -> Finding {
        self.judge_by(supply, free_running::worst_responses)
    }

    fn judge_by(&self, supply: &WindowSupply, responses: fn(&WindowSupply, &TaskSet) -> Vec<Response>) -> Finding {
        match self {
            Self::Nothing => Finding::Met,
            Self::Unknown(why) => Finding::Unknown(why.clone()),
            Self::Share { name, rate, delay } => judge_share(name, *rate, *delay, supply),
            Self::Tasks { names, deadlines_ns, set, .. } => {
                let late = names.iter().zip(deadlines_ns).zip(responses(supply, set));
                found(late.map(|((name, deadline), response)| keeps(name, *deadline, &response)).collect())
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
fn judge_share(name: &str, rate: Ppm, delay: Duration, supply: &WindowSupply) -> Finding {
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

fn analysable(system: &System, id: TaskId, blocking_ns: u64) -> Result<Task, String> {
    let task = system.task(id);
    let label = system.task_label(id);
    let missing = |what: &str| format!("the {what} of {label} is not given");
    let wcet = task.wcet.ok_or_else(|| missing("longest execution time"))?.ns();
    let switch = system.platform.context_switch.ok_or("the platform's context switch is not given")?.ns();
    let interference = interference_ns(system, id).ok_or_else(|| missing("interference by line requests"))?;
    let charged = wcet.saturating_add(interference).saturating_add(switch.saturating_mul(2));
    Ok(Task {
        priority: i64::from(task.priority.ok_or_else(|| missing("priority"))?.value),
        period_ns: task.period.ns(),
        deadline_ns: task.deadline.ns(),
        charged_ns: charged,
        jitter_ns: system.jitter(id).ok_or_else(|| missing("release jitter"))?.ns(),
        blocking_ns,
        release: release(system, id),
    })
}

/// Deadlines that must hold in any phase are those of free-running tasks.
fn release(system: &System, id: TaskId) -> timing::Release {
    let task = system.task(id);
    match (system.deadline_phase(task.partition), task.release.value) {
        (DeadlinePhase::Frame, Release::FrameAligned { offset }) => {
            timing::Release::FrameAligned { offset_ns: offset.ns() }
        }
        _ => timing::Release::FreeRunning,
    }
}

/// `N (M - 1) L` for the whole job, rounded up once; `None` where something of it is unknown.
fn interference_ns(system: &System, id: TaskId) -> Option<u64> {
    let path = system.board.interconnect.as_ref()?;
    let others = path.masters.len().saturating_sub(1) as u128;
    if others == 0 {
        return Some(0);
    }
    let requests = u128::from(system.task(id).line_requests?.value);
    let rate = u128::from(path.guaranteed.bytes_per_s());
    let bytes = requests.checked_mul(others)?.checked_mul(u128::from(path.line.get()))?;
    bytes.checked_mul(1_000_000_000)?.checked_add(rate.checked_sub(1)?).and_then(|ns| u64::try_from(ns / rate).ok())
}

/// The longest blocking that any of the tasks may meet; none where there is only one.
fn blocking_ns(system: &System, ids: &[TaskId]) -> Result<u64, String> {
    if ids.len() < 2 {
        return Ok(0);
    }
    let each = ids.iter().map(|task| {
        let missing = || format!("the blocking time of {} is not given", system.task_label(*task));
        system.blocking(*task).map(Duration::ns).ok_or_else(missing)
    });
    each.collect::<Result<Vec<u64>, String>>().map(|all| all.into_iter().fold(0, u64::max))
}
