//! What is known of every task that runs in one module schedule: where the other claims in time begin.

use super::partition_supply::Losses;
use super::responses::{self, Analysed, VirtualCore};
use super::scope::Scope;
use crate::response::Response;
use quantity::{PartitionId, TaskId};
use std::collections::BTreeMap;

/// The responses of one module schedule.
pub(super) struct Results {
    partitions: BTreeMap<PartitionId, Vec<VirtualCore>>,
}

/// The times of one task that other claims build on, in ns.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct TaskTimes {
    pub(super) period_ns: u64,
    pub(super) deadline_ns: u64,
    pub(super) jitter_ns: u64,
    /// The charged time of a job, C'.
    pub(super) charged_ns: u64,
    /// The shortest execution of a job; 1 ns, the least that any job takes, where none is declared.
    pub(super) shortest_ns: u64,
    /// Completion minus arrival at the most, by the task's own release kind and phase.
    pub(super) response_ns: u64,
    /// Whether some run attains that response.
    pub(super) exact: bool,
    /// What keeps the response from being shown although it is bounded; what builds on it is not shown either.
    pub(super) caveat: Option<String>,
}

impl Results {
    /// Analyses every partition that runs in the schedule.
    pub(super) fn of(scope: &Scope<'_>) -> Self {
        let partitions = scope.running_partitions();
        Self { partitions: partitions.map(|partition| (partition, responses::analyse(scope, partition))).collect() }
    }

    /// The virtual cores of a partition that have tasks, analysed or why not.
    pub(super) fn cores(&self, partition: PartitionId) -> &[VirtualCore] {
        self.partitions.get(&partition).map_or(&[], Vec::as_slice)
    }

    /// The virtual core of a task, where it is analysed, and the place of the task in it.
    pub(super) fn analysed(&self, scope: &Scope<'_>, id: TaskId) -> Option<(&Analysed, usize)> {
        let cores = self.cores(scope.system.task(id).partition).iter();
        let mut found = cores.filter_map(|(_, found)| found.as_ref().ok());
        found.find_map(|core| Some((core, core.ids.iter().position(|&other| other == id)?)))
    }

    /// What the responses of tasks that share a virtual core count as lost.
    pub(super) fn losses(&self, scope: &Scope<'_>, ids: &[TaskId]) -> Losses {
        let analysed = ids.first().and_then(|&id| self.analysed(scope, id));
        analysed.map_or(Losses::DECLARED, |(core, _)| core.losses)
    }

    /// The times of a task.
    ///
    /// # Errors
    /// Why its response is not bounded, or that it does not run in this schedule.
    pub(super) fn task(&self, scope: &Scope<'_>, id: TaskId) -> Result<TaskTimes, String> {
        let label = || scope.system.task_label(id);
        let partition = scope.system.task(id).partition;
        let mut cores = self.cores(partition).iter();
        match cores.find_map(|(ids, found)| Some((ids.iter().position(|&other| other == id)?, found))) {
            None => Err(format!("`{}` does not run in the module schedule `{}`", label(), scope.name())),
            Some((_, Err(why))) => Err(format!("the response of `{}` is not known: {why}", label())),
            Some((k, Ok(analysed))) => times(scope, analysed, k),
        }
    }
}

fn times(scope: &Scope<'_>, analysed: &Analysed, k: usize) -> Result<TaskTimes, String> {
    let id = analysed.ids[k];
    let label = || scope.system.task_label(id);
    let bound = match &analysed.responses[k] {
        Response::Bounded(bound) => bound,
        Response::Unbounded(_) => return Err(format!("`{}` has no bound: the demand passes the supply", label())),
        Response::GaveUp(why) => return Err(format!("the response of `{}` is not known: {why}", label())),
    };
    let task = &analysed.tasks[k];
    Ok(TaskTimes {
        period_ns: task.period_ns,
        deadline_ns: task.deadline_ns,
        jitter_ns: task.jitter_ns,
        charged_ns: task.charged_ns,
        shortest_ns: scope.system.task(id).bcet.map_or(1, |bcet| bcet.value.ns().max(1)),
        response_ns: bound.response_ns,
        exact: bound.exactness.is_exact(),
        caveat: analysed.throttled.clone(),
    })
}
