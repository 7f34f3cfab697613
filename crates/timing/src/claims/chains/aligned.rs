//! The jobs that keep to the frame: when they read at the earliest and write at the latest.

use super::links::Link;
use crate::arithmetic;
use crate::chain::{Earliest, JobTimes, earliest_jobs};
use crate::claims::partition_supply;
use crate::claims::responses;
use crate::claims::results::Results;
use crate::claims::scope::Scope;
use crate::response::{self, JOB_LIMIT};
use crate::supply::Supply;
use crate::task_set::{Policy, Release, Task, TaskSet};
use diagnostic::Located;
use model::system::{self, CorePolicy, Guest, RunGrant};
use quantity::{Duration, PartitionId, TaskId};
use std::collections::BTreeMap;

/// The virtual cores that chains have passed through, each analysed once.
pub(in crate::claims) struct Aligned<'a> {
    scope: &'a Scope<'a>,
    results: &'a Results,
    cores: BTreeMap<(PartitionId, u32), Result<AlignedCore, String>>,
}

/// One virtual core whose windows keep to the frame.
struct AlignedCore {
    ids: Vec<TaskId>,
    tasks: Vec<Task>,
    /// The jobs' earliest times, task by task; of a free-running task none.
    earliest: Vec<Earliest>,
    /// The jobs' latest responses, task by task; none where some task of the core is free-running.
    responses_ns: Option<Vec<Vec<i64>>>,
}

impl<'a> Aligned<'a> {
    pub(in crate::claims) fn new(scope: &'a Scope<'a>, results: &'a Results) -> Self {
        Self { scope, results, cores: BTreeMap::new() }
    }

    /// The jobs of the task of `link`.
    ///
    /// # Errors
    /// Why they do not keep to the frame, or are not followed.
    pub(super) fn jobs(&mut self, link: &Link) -> Result<JobTimes, String> {
        if link.logical {
            return logical_jobs(link, self.offset_ns(link.id)?, self.scope.frame_ns());
        }
        Ok(self.core_of(link.id)?.task(link.id)?.jobs(link.times.response_ns))
    }

    /// By how much the completions of a task that keeps to the frame vary against its arrivals, in ns, none of its
    /// jobs responding later than `response_ns`.
    ///
    /// # Errors Why they do not keep to the frame, or are not followed.
    pub(in crate::claims) fn jitter_ns(&mut self, id: TaskId, response_ns: u64) -> Result<u64, String> {
        Ok(self.core_of(id)?.task(id)?.jitter_ns(response_ns))
    }

    /// # Errors
    /// Why the task does not keep to the frame.
    fn offset_ns(&self, id: TaskId) -> Result<u64, String> {
        let scope = self.scope;
        let task = scope.system.task(id);
        let core = responses::virtual_core_of(scope, id).ok_or(responses::UNPINNED)?;
        match task.release.value {
            system::Release::FreeRunning => Err("it is free-running".to_owned()),
            system::Release::FrameAligned { offset } => {
                require_synchronised(scope, task.partition, core).map(|()| offset.ns())
            }
        }
    }

    /// The virtual core of a task, its jobs followed.
    fn core_of(&mut self, id: TaskId) -> Result<&AlignedCore, String> {
        self.offset_ns(id)?;
        let (scope, results) = (self.scope, self.results);
        let core = responses::virtual_core_of(scope, id).ok_or(responses::UNPINNED)?;
        let partition = scope.system.task(id).partition;
        let found = self.cores.entry((partition, core));
        found.or_insert_with(|| analyse(scope, results, partition, core)).as_ref().map_err(Clone::clone)
    }

    /// Whether the reader of two tasks in a row surely begins after a job of the writer that is released before.
    pub(super) fn waits_for(&self, writer: &Link, reader: &Link) -> bool {
        let scope = self.scope;
        let place = |link: &Link| (scope.system.task(link.id).partition, responses::virtual_core_of(scope, link.id));
        let priority = |link: &Link| scope.system.task(link.id).priority.as_ref().map(|priority| priority.value);
        let fixed = scope.system.partition(place(reader).0).guest.value == Guest::FixedPriority;
        let here = place(writer) == place(reader) && place(reader).1.is_some();
        fixed && here && !writer.logical && !reader.logical && priority(writer) > priority(reader)
    }
}

/// # Errors
/// Which core does not keep to the frame that all count from.
fn require_synchronised(scope: &Scope<'_>, partition: PartitionId, virtual_core: u32) -> Result<(), String> {
    if matches!(scope.grant(partition), Some(RunGrant::Server { .. } | RunGrant::Share { .. })) {
        return Err(format!("`{}` is not granted windows", scope.partition_name(partition)));
    }
    let tables = scope.tables_of(partition, virtual_core);
    let keeps =
        |policy: Option<&CorePolicy>| matches!(policy, Some(CorePolicy::WindowTable { synchronised: true, .. }));
    match tables.iter().find(|table| !keeps(scope.policy(table.core))) {
        Some(table) => Err(format!(
            "the frame of core {} is not declared synchronised with the others",
            scope.core_name(table.core)
        )),
        None if tables.is_empty() => Err(format!("`{}` has no windows in a table", scope.partition_name(partition))),
        None => Ok(()),
    }
}

fn logical_jobs(link: &Link, offset_ns: u64, frame_ns: u64) -> Result<JobTimes, String> {
    let times = &link.times;
    let hyperperiod_ns = hyperperiod_ns([times.period_ns, frame_ns])?;
    let first_ns = offset_ns % times.period_ns;
    let arrivals_ns = || (0..hyperperiod_ns / times.period_ns).map(|job| (first_ns + job * times.period_ns) as i64);
    let writes_ns = arrivals_ns().map(|arrival_ns| arrival_ns + link.write_ns() as i64).collect();
    Ok(JobTimes::new(times.period_ns, first_ns, 0, arrivals_ns().collect(), writes_ns))
}

/// The lcm of the periods, where it has few enough jobs.
fn hyperperiod_ns(periods_ns: impl IntoIterator<Item = u64> + Clone) -> Result<u64, String> {
    let hyperperiod_ns =
        arithmetic::lcm_of(periods_ns.clone().into_iter()).filter(|&ns| ns <= crate::supply::MAX_TIME_NS);
    let jobs = |ns: u64| periods_ns.into_iter().map(|period_ns| ns / period_ns).fold(0, u64::saturating_add);
    let followed = hyperperiod_ns.filter(|&ns| jobs(ns) <= JOB_LIMIT);
    followed.ok_or_else(|| format!("the hyperperiod has more than {JOB_LIMIT} jobs to follow"))
}

fn analyse(scope: &Scope<'_>, results: &Results, partition: PartitionId, core: u32) -> Result<AlignedCore, String> {
    responses::require_fixed_priority(scope, partition)?;
    let ids = responses::ids_on(scope, partition, Some(core));
    // What the responses count as lost, chains count too.
    let losses = results.losses(scope, &ids);
    let given = partition_supply::supply(scope, partition, core, losses)?;
    let physical = scope.tables_of(partition, core).first().map(|table| table.core);
    let (tasks, _) = responses::tasks(scope, Policy::FixedPriority, &ids, physical, true)?;
    let tasks = responses::delayed(scope, tasks, &ids, physical, losses, given.late_ns)?;
    let supply = given.supply;
    let set = TaskSet::new(&tasks).map_err(|error| error.to_string())?;
    let aligned = tasks.iter().filter(|task| task.release != Release::FreeRunning);
    let periods_ns: Vec<u64> = aligned.map(|task| task.period_ns).chain([supply.frame_ns()]).collect();
    let hyperperiod_ns = hyperperiod_ns(periods_ns)?;
    let shortest_ns: Vec<u64> =
        ids.iter().map(|&id| results.task(scope, id).map_or(1, |times| times.shortest_ns)).collect();
    let earliest = earliest_jobs(&earliest_supply(scope, partition, core)?, &set, &shortest_ns, hyperperiod_ns);
    Ok(AlignedCore {
        earliest: earliest.ok_or_else(|| format!("`{}` has no supply", scope.partition_name(partition)))?,
        responses_ns: response::responses_of_aligned_jobs(&supply, &set),
        ids,
        tasks,
    })
}

/// The usable windows as they are at the earliest: their heads taken off, no slip.
fn earliest_supply(scope: &Scope<'_>, partition: PartitionId, core: u32) -> Result<Supply, String> {
    let platform = &scope.system.platform;
    // That both are given was asked for the supply itself.
    let part_ns = |part: &Option<Located<Duration>>| part.as_ref().map_or(0, |part| part.value.ns());
    let head_ns = part_ns(&platform.switch).saturating_add(part_ns(&platform.refill));
    let tables = scope.tables_of(partition, core).into_iter();
    let windows: Vec<_> = tables.flat_map(|table| table.merged(partition, core, scope.system.frame.value)).collect();
    partition_supply::supply_of(&windows, scope.frame_ns(), head_ns).map_err(|error| error.to_string())
}

impl AlignedCore {
    /// # Errors
    /// That the task does not keep to the frame.
    fn task(&self, id: TaskId) -> Result<AlignedTask<'_>, String> {
        let k = self.ids.iter().position(|&other| other == id).ok_or("it does not run here")?;
        let task = &self.tasks[k];
        let Release::FrameAligned { offset_ns } = task.release else { return Err("it is free-running".to_owned()) };
        let responses_ns = self.responses_ns.as_ref().map(|responses_ns| &responses_ns[k][..]);
        Ok(AlignedTask { task, first_ns: offset_ns % task.period_ns, earliest: &self.earliest[k], responses_ns })
    }
}

/// The jobs of one task in one hyperperiod.
struct AlignedTask<'a> {
    task: &'a Task,
    first_ns: u64,
    earliest: &'a Earliest,
    responses_ns: Option<&'a [i64]>,
}

impl AlignedTask<'_> {
    fn arrival_ns(&self, job: usize) -> i64 {
        self.first_ns as i64 + job as i64 * self.task.period_ns as i64
    }

    /// The latest response of a job; that of any job where they are not told apart.
    fn response_ns(&self, job: usize, of_any_ns: u64) -> i64 {
        // Both lists cover the same hyperperiod.
        self.responses_ns.map_or(of_any_ns as i64, |responses_ns| responses_ns[job])
    }

    fn jobs(&self, of_any_ns: u64) -> JobTimes {
        let reads_ns = self.earliest.starts_ns.clone();
        let write_ns = |job| self.arrival_ns(job) + self.response_ns(job, of_any_ns);
        let writes_ns = (0..reads_ns.len()).map(write_ns).collect();
        JobTimes::new(self.task.period_ns, self.first_ns, self.task.jitter_ns, reads_ns, writes_ns)
    }

    /// By how much the completions vary against the arrivals.
    fn jitter_ns(&self, of_any_ns: u64) -> u64 {
        let finishes_ns = &self.earliest.finishes_ns;
        let latest = (0..finishes_ns.len()).map(|job| self.response_ns(job, of_any_ns)).max().unwrap_or(0);
        let earliest = (0..finishes_ns.len()).map(|job| finishes_ns[job] - self.arrival_ns(job)).min().unwrap_or(0);
        (latest - earliest).unsigned_abs()
    }
}
