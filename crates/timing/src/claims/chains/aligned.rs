//! The jobs that keep to the frame: when they read at the earliest and write at the latest.

use super::links::Link;
use crate::chain::{JobTimes, earliest_starts};
use crate::claims::results::Results;
use crate::claims::scope::Scope;
use crate::claims::{partition_supply, responses};
use crate::response::{self, JOB_LIMIT};
use crate::supply::Supply;
use crate::task_set::{Release, Task, TaskSet};
use crate::arithmetic;
use diagnostic::Located;
use model::system::{self, CorePolicy, Guest};
use quantity::{Duration, PartitionId, TaskId};
use std::collections::BTreeMap;

/// The virtual cores that chains have passed through, each analysed once.
pub(super) struct Aligned<'a> {
    scope: &'a Scope<'a>,
    results: &'a Results,
    cores: BTreeMap<(PartitionId, u32), Result<AlignedCore, String>>,
}

/// One virtual core whose windows keep to the frame.
struct AlignedCore {
    ids: Vec<TaskId>,
    tasks: Vec<Task>,
    /// The jobs' earliest starts, task by task; of a free-running task none.
    starts_ns: Vec<Vec<i64>>,
    /// The jobs' latest responses, task by task; none where some task of the core is free-running.
    responses_ns: Option<Vec<Vec<i64>>>,
}

impl<'a> Aligned<'a> {
    pub(super) fn new(scope: &'a Scope<'a>, results: &'a Results) -> Self {
        Self { scope, results, cores: BTreeMap::new() }
    }

    /// The jobs of the task of `link`.
    ///
    /// # Errors
    /// Why they do not keep to the frame, or are not followed.
    pub(super) fn jobs(&mut self, link: &Link) -> Result<JobTimes, String> {
        let (scope, results) = (self.scope, self.results);
        let task = scope.system.task(link.id);
        let system::Release::FrameAligned { offset } = task.release.value else {
            return Err(format!("`{}` is free-running", link.label));
        };
        let core = responses::virtual_core_of(scope, link.id).ok_or(responses::UNPINNED)?;
        require_synchronised(scope, task.partition, core)?;
        if link.logical {
            return logical_jobs(link, offset.ns(), scope.frame_ns());
        }
        let found = self.cores.entry((task.partition, core));
        let core = found.or_insert_with(|| analyse(scope, results, task.partition, core)).as_ref();
        core.map_err(Clone::clone)?.jobs(link)
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
    let tables = scope.tables_of(partition, virtual_core);
    let keeps = |policy: Option<&CorePolicy>| matches!(policy, Some(CorePolicy::WindowTable { synchronised: true, .. }));
    match tables.iter().find(|table| !keeps(scope.policy(table.core))) {
        Some(table) => {
            Err(format!("the frame of core {} is not declared synchronised with the others", scope.core_name(table.core)))
        }
        None if tables.is_empty() => Err(format!("`{}` has no windows", scope.partition_name(partition))),
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
    let hyperperiod_ns = arithmetic::lcm_of(periods_ns.clone().into_iter()).filter(|&ns| ns <= crate::supply::MAX_TIME_NS);
    let jobs = |ns: u64| periods_ns.into_iter().map(|period_ns| ns / period_ns).fold(0, u64::saturating_add);
    let followed = hyperperiod_ns.filter(|&ns| jobs(ns) <= JOB_LIMIT);
    followed.ok_or_else(|| format!("the hyperperiod has more than {JOB_LIMIT} jobs to follow"))
}

fn analyse(scope: &Scope<'_>, results: &Results, partition: PartitionId, core: u32) -> Result<AlignedCore, String> {
    responses::require_fixed_priority(scope, partition)?;
    let ids = responses::ids_on(scope, partition, Some(core));
    let supply = partition_supply::supply(scope, partition, core)?;
    let physical = scope.tables_of(partition, core).first().map(|table| table.core);
    let tasks = responses::tasks(scope, &ids, physical, true)?;
    let set = TaskSet::new(&tasks).map_err(|error| error.to_string())?;
    let aligned = tasks.iter().filter(|task| task.release != Release::FreeRunning);
    let periods_ns: Vec<u64> = aligned.map(|task| task.period_ns).chain([supply.frame_ns()]).collect();
    let hyperperiod_ns = hyperperiod_ns(periods_ns)?;
    let shortest_ns: Vec<u64> =
        ids.iter().map(|&id| results.task(scope, id).map_or(1, |times| times.shortest_ns)).collect();
    let earliest = earliest_supply(scope, partition, core)?;
    let starts_ns = earliest_starts(&earliest, &set, &shortest_ns, hyperperiod_ns);
    Ok(AlignedCore {
        starts_ns: starts_ns.ok_or_else(|| format!("`{}` has no supply", scope.partition_name(partition)))?,
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
    fn jobs(&self, link: &Link) -> Result<JobTimes, String> {
        let k = self.ids.iter().position(|&id| id == link.id);
        let k = k.ok_or_else(|| format!("`{}` does not run here", link.label))?;
        let (task, starts_ns) = (&self.tasks[k], &self.starts_ns[k]);
        let Release::FrameAligned { offset_ns } = task.release else {
            return Err(format!("`{}` is free-running", link.label));
        };
        let first_ns = offset_ns % task.period_ns;
        let response_ns = |job: usize| match &self.responses_ns {
            // Both lists cover the same hyperperiod.
            Some(responses_ns) => responses_ns[k][job],
            None => link.times.response_ns as i64,
        };
        let arrival_ns = |job: usize| first_ns as i64 + job as i64 * task.period_ns as i64;
        let writes_ns = (0..starts_ns.len()).map(|job| arrival_ns(job) + response_ns(job)).collect();
        Ok(JobTimes::new(task.period_ns, first_ns, task.jitter_ns, starts_ns.clone(), writes_ns))
    }
}
