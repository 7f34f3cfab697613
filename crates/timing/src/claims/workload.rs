//! The tasks of a partition as the claims take them, for whoever looks for a plan that they will judge.

use super::responses;
use super::scope::Scope;
use crate::task_set::{Policy, Task};
use model::System;
use plan::Plan;
use quantity::{CoreId, PartitionId, ScheduleId, TaskId};

/// By which rule the guest of a partition chooses among its jobs.
///
/// # Errors
/// That nobody knows.
pub fn policy_of(system: &System, schedule: ScheduleId, partition: PartitionId) -> Result<Policy, String> {
    responses::policy(&Scope::of(system, &Plan::default(), schedule), partition)
}

/// The tasks of one virtual core of a partition in a module schedule, were its windows on `core`: charged times, jitter,
/// blocking and release as [`super::check`] takes them. Empty where none is active.
///
/// # Errors
/// Which datum is missing, or what of it this version does not analyse.
pub fn tasks_of(
    system: &System,
    schedule: ScheduleId,
    partition: PartitionId,
    virtual_core: u32,
    core: CoreId,
) -> Result<Vec<(TaskId, Task)>, String> {
    let no_plan = Plan::default();
    let scope = Scope::of(system, &no_plan, schedule);
    let policy = responses::policy(&scope, partition)?;
    let ids = responses::ids_on(&scope, partition, Some(virtual_core));
    if !responses::ids_on(&scope, partition, None).is_empty() {
        return Err(responses::UNPINNED.to_owned());
    }
    let in_phase = responses::in_phase(&scope, partition, &[core]);
    let (tasks, _) = responses::tasks(&scope, policy, &ids, Some(core), in_phase)?;
    Ok(ids.into_iter().zip(tasks).collect())
}
