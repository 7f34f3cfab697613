//! What becomes of one partition when the schedule changes.

use super::Change;
use crate::claims::initialisation::{self, Place, Start};
use crate::claims::partition_supply::{self, Losses};
use crate::claims::ports;
use crate::claims::responses::{self, Analysed};
use crate::claims::restart::FirstOutput;
use crate::response;
use crate::startup;
use crate::supply::{Supply, SupplyKind};
use crate::task_set::{Policy, Task, TaskSet};
use crate::transition::{self, Active, ChangingTask};
use claim::{Part, PartKind};
use model::system::{CorePolicy, PortEnd};
use quantity::{Duration, PartitionId, TaskId};
use std::collections::BTreeMap;

/// What becomes of a partition.
pub(super) enum Fate {
    /// It has windows in neither, or the same windows and tasks in both.
    Unchanged,
    /// It has windows no more.
    Stops(String),
    /// It goes on, and its deadlines are kept; with what is worth saying.
    GoesOn(Option<String>),
    /// It starts anew: what passes from the change until it is back.
    Restarts(Vec<Part>, Option<String>),
    /// It is not shown that it keeps its deadlines.
    Endangered(String),
    /// Something is not known.
    Unknown(String),
}

impl Fate {
    pub(super) fn unknown(&self) -> Option<&str> {
        if let Self::Unknown(why) = self { Some(why) } else { None }
    }

    pub(super) fn problem(&self) -> Option<&str> {
        if let Self::Endangered(why) = self { Some(why) } else { None }
    }

    pub(super) fn restart(&self) -> Option<&[Part]> {
        if let Self::Restarts(parts, _) = self { Some(parts) } else { None }
    }

    pub(super) fn note(&self) -> Option<&str> {
        match self {
            Self::Stops(note) => Some(note),
            Self::GoesOn(note) | Self::Restarts(_, note) => note.as_deref(),
            Self::Unchanged | Self::Endangered(_) | Self::Unknown(_) => None,
        }
    }
}

pub(super) fn of_partition(change: &Change<'_>, partition: PartitionId) -> Fate {
    let (from, to) = (&change.from.0, &change.to.0);
    let name = from.partition_name(partition);
    match (from.is_idle(partition), to.is_idle(partition)) {
        (true, true) => return Fate::Unchanged,
        (false, true) => return Fate::Stops(format!("`{name}` stops")),
        (_, false) => {}
    }
    if keeps_out(change, partition) {
        return Fate::Unchanged;
    }
    let Some(action) = &from.system.partition(partition).schedule_change else {
        return Fate::Unknown(initialisation::missing(from, "schedule_change", partition));
    };
    let found = match Start::of_change(action.value) {
        Some(start) => restarts(change, partition, start),
        None if from.is_idle(partition) => {
            let why = "comes back without a warm or cold start, and what it had under way when it lost its windows is not followed";
            Ok(Fate::Endangered(format!("`{name}` {why}")))
        }
        None => goes_on(change, partition),
    };
    found.unwrap_or_else(Fate::Unknown)
}

/// Whether a change of schedule does not reach the partition: none of its cores has a window table, and the same tasks
/// are active.
fn keeps_out(change: &Change<'_>, partition: PartitionId) -> bool {
    let (from, to) = (&change.from.0, &change.to.0);
    let virtual_cores = 0..from.system.partition(partition).virtual_cores.value;
    let mut policies = virtual_cores.flat_map(|core| from.policies_of(partition, core)).peekable();
    policies.peek().is_some()
        && policies.all(|policy| !matches!(policy, CorePolicy::WindowTable { .. }))
        && from.tasks(partition) == to.tasks(partition)
        && from
            .system
            .partition(partition)
            .schedule_change
            .is_none_or(|action| Start::of_change(action.value).is_none())
}

/// From the change: action, initialisation from the first frame's begin, first output where that task is active.
fn restarts(change: &Change<'_>, partition: PartitionId, start: Start) -> Result<Fate, String> {
    let (to, results) = (&change.to.0, &change.to.1);
    let restart = to.system.partition(partition).restart.clone().unwrap_or_default();
    let missing = |key| initialisation::missing(to, key, partition);
    let work_ns = initialisation::work_ns(to, partition, start)?;
    let action_ns = restart.action.ok_or_else(|| missing("action"))?.value.ns();
    let ends_with = restart.ends_with.ok_or_else(|| missing("ends_with"))?.value;
    let done = Place::of(to, partition)?.done(action_ns, work_ns);
    let done = done.ok_or_else(|| initialisation::never(to, partition))?;
    let name = to.partition_name(partition);
    let mut parts = vec![Part::new(name, PartKind::Action, action_ns)];
    parts.extend(initialisation::parts(to, partition, done.at_ns - action_ns, work_ns));
    let mut caveat = None;
    if ports::runs(to, PortEnd::Task(ends_with)) {
        let output = FirstOutput::of(to, results, ends_with)?;
        parts.extend(output.parts());
        caveat = output.caveat;
    }
    if let Some(why) = caveat {
        return Ok(Fate::Endangered(format!("`{name}`: {why}")));
    }
    let after = Duration::from_ns(claim::sum_of_parts(&parts));
    Ok(Fate::Restarts(parts, Some(format!("`{name}` starts {} and is back {after} after the change", start.word()))))
}

/// A virtual core of the partition in one schedule, with the tasks that are active there.
struct Side {
    supply: Supply,
    tasks: BTreeMap<TaskId, Task>,
    caveat: Option<String>,
}

fn goes_on(change: &Change<'_>, partition: PartitionId) -> Result<Fate, String> {
    let mut notes = Vec::new();
    for virtual_core in 0..change.from.0.system.partition(partition).virtual_cores.value {
        let old = side(change.from, partition, virtual_core)?;
        let new = side(change.to, partition, virtual_core)?;
        if let Some(why) = old.caveat.as_ref().or(new.caveat.as_ref()) {
            return Ok(Fate::Endangered(format!("`{}`: {why}", change.from.0.partition_name(partition))));
        }
        // A window that goes on across the frame's begin pays its head again.
        if old.supply == new.supply && old.tasks == new.tasks && new.supply.boot_ns() == 0 {
            continue;
        }
        let policy = responses::policy(&change.from.0, partition)?;
        let tasks = joined(&old, &new);
        let responses = if [&old, &new].iter().all(|side| side.supply.kind() == SupplyKind::WindowTable) {
            across_tables(&old.supply, &new.supply, &tasks, policy)
        } else if old.supply == new.supply {
            with_all_tasks(&old.supply, &tasks, policy)
        } else {
            let name = change.from.0.partition_name(partition);
            return Err(format!("what `{name}` is given changes without a window table, which is not followed"));
        };
        if let Some(problem) = missed(change, &tasks, responses.as_deref()) {
            return Ok(Fate::Endangered(problem));
        }
        notes.extend(longer_wait(change, partition, &old.supply, &new.supply));
    }
    Ok(Fate::GoesOn(Some(notes.join("; ")).filter(|note| !note.is_empty())))
}

fn side(known: &super::Known<'_>, partition: PartitionId, virtual_core: u32) -> Result<Side, String> {
    let (scope, results) = known;
    let ids = responses::ids_on(scope, partition, Some(virtual_core));
    if ids.is_empty() {
        if !responses::ids_on(scope, partition, None).is_empty() {
            return Err(responses::UNPINNED.to_owned());
        }
        let given = partition_supply::supply(scope, partition, virtual_core, Losses::DECLARED)?;
        return Ok(Side { supply: given.supply, tasks: BTreeMap::new(), caveat: None });
    }
    let mut cores = results.cores(partition).iter();
    let found = cores.find_map(|(of_core, found)| (*of_core == ids).then_some(found));
    let in_schedule = |why: &String| {
        format!("the responses of `{}` in `{}` are not known: {why}", scope.partition_name(partition), scope.name())
    };
    let Analysed { supply, tasks, throttled, .. } = match found {
        Some(Ok(analysed)) => analysed,
        Some(Err(why)) => return Err(in_schedule(why)),
        None => return Err(in_schedule(&"they were not analysed".to_owned())),
    };
    let tasks = ids.into_iter().zip(tasks.iter().cloned()).collect();
    Ok(Side { supply: supply.clone(), tasks, caveat: throttled.clone() })
}

/// A task of either schedule, each of its numbers the larger one, and when it is active.
type Joined = (TaskId, Task, Active);

/// In the order of the file.
fn joined(old: &Side, new: &Side) -> Vec<Joined> {
    let mut ids: Vec<_> = old.tasks.keys().chain(new.tasks.keys()).copied().collect();
    ids.sort_unstable();
    ids.dedup();
    ids.iter().filter_map(|&id| joined_task(id, old.tasks.get(&id), new.tasks.get(&id))).collect()
}

/// A task as both sides have it; none where neither has it.
fn joined_task(id: TaskId, old: Option<&Task>, new: Option<&Task>) -> Option<Joined> {
    let (one, active) = match (old, new) {
        (Some(old), Some(_)) => (old, Active::Throughout),
        (Some(old), None) => (old, Active::Before),
        (None, Some(new)) => (new, Active::After),
        (None, None) => return None,
    };
    let most = |of: fn(&Task) -> u64| old.map_or(0, of).max(new.map_or(0, of));
    let task = Task {
        charged_ns: most(|task| task.charged_ns),
        jitter_ns: most(|task| task.jitter_ns),
        blocking_ns: most(|task| task.blocking_ns),
        ..*one
    };
    Some((id, task, active))
}

/// The responses across the change from one table to the other, in ns.
fn across_tables(old: &Supply, new: &Supply, tasks: &[Joined], policy: Policy) -> Option<Vec<u64>> {
    let tasks: Vec<_> = tasks.iter().map(|(_, task, active)| ChangingTask::of(task, *active)).collect();
    transition::worst_responses(old, new, &tasks, policy).ok()
}

/// The responses where the supply stays, with the tasks of both schedules always active, in ns: arrivals that cease or begin
/// are among those that a bound covers.
fn with_all_tasks(supply: &Supply, tasks: &[Joined], policy: Policy) -> Option<Vec<u64>> {
    let tasks: Vec<_> = tasks.iter().map(|&(_, task, _)| task).collect();
    let set = TaskSet::with_policy(&tasks, policy).ok()?;
    let responses = response::worst_in_any_phase(supply, &set);
    responses.iter().map(|response| response.bound().map(|bound| bound.response_ns)).collect()
}

/// The first task that is not shown to keep its deadline across the change.
fn missed(change: &Change<'_>, tasks: &[Joined], responses: Option<&[u64]>) -> Option<String> {
    let system = change.from.0.system;
    let Some(responses) = responses else {
        let label = system.task_label(tasks.first()?.0);
        return Some(format!("no bound was found on the responses of `{label}` and its partition across the change"));
    };
    tasks.iter().zip(responses).find_map(|((id, task, _), &response_ns)| {
        (response_ns > task.deadline_ns).then(|| {
            let label = system.task_label(*id);
            let (response, deadline) = (Duration::from_ns(response_ns), Duration::from_ns(task.deadline_ns));
            format!("a job of `{label}` may respond after {response} across the change, and {deadline} are allowed")
        })
    })
}

/// Tells of a wait across the change that is longer than any in either schedule.
fn longer_wait(change: &Change<'_>, partition: PartitionId, old: &Supply, new: &Supply) -> Option<String> {
    let last_end_ns = old.windows().last()?.end_ns;
    let first_ns = startup::done_from_frame_begin_ns(new, 0, 1)? - 1;
    let across_ns = old.frame_ns() - last_end_ns + first_ns;
    let usual_ns = old.blackout_ns()?.max(new.blackout_ns()?);
    (across_ns > usual_ns).then(|| {
        let (across, usual) = (Duration::from_ns(across_ns), Duration::from_ns(usual_ns));
        let name = change.from.0.partition_name(partition);
        format!("`{name}` waits {across} across the change, and at most {usual} in either schedule")
    })
}
