//! Which tasks have no worst response, and which of those still matter to the others.

use super::supply::Supply;
use super::{Policy, SmallTask};

/// For each task, whether the demand at its level is above the usable share of the supply. Where the earliest
/// deadline goes first, all tasks are one level.
pub(super) fn overloaded_tasks(tasks: &[SmallTask], supply: &Supply, policy: Policy) -> Vec<bool> {
    let (usable, cycle) = (u128::from(supply.usable()), u128::from(supply.cycle()));
    let all_periods: u128 = tasks.iter().map(|task| u128::from(task.period)).product();
    let is_overloaded = |priority| {
        let demand: u128 = tasks
            .iter()
            .filter(|task| policy == Policy::EarliestDeadline || task.priority >= priority)
            .map(|task| u128::from(task.wcet) * (all_periods / u128::from(task.period)))
            .sum();
        demand * cycle > usable * all_periods
    };
    tasks.iter().map(|task| is_overloaded(task.priority)).collect()
}

/// The tasks that take part in the exploration.
///
/// A task whose responses grow without end is left out where no bounded task lends any blocking: it is
/// less urgent than every bounded task, and without blocking a less urgent job never delays one. A
/// cooperative guest waits for the begun job of any task, so there all take part while any is bounded.
pub(super) fn tasks_that_matter(tasks: &[SmallTask], policy: Policy, overloaded: &[bool]) -> Vec<usize> {
    let all = 0..tasks.len();
    let waits = |task: usize| policy == Policy::Cooperative || tasks[task].blocking > 0;
    let lends = all.clone().any(|task| !overloaded[task] && waits(task));
    all.filter(|&task| lends || !overloaded[task]).collect()
}
