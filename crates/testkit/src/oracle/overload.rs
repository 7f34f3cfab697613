//! Which tasks have no worst response, and which of those still matter to the others.

use super::{Policy, SmallSystem};

/// For each task, whether the demand at its level is above the usable share of the frame. Where the earliest
/// deadline goes first, all tasks are one level.
pub(super) fn overloaded_tasks(system: &SmallSystem, policy: Policy) -> Vec<bool> {
    let usable = (0..system.frame).filter(|&tick| is_usable(&system.windows, tick)).count() as u128;
    let frame = u128::from(system.frame);
    let all_periods: u128 = system.tasks.iter().map(|task| u128::from(task.period)).product();
    let is_overloaded = |priority| {
        let demand: u128 = system
            .tasks
            .iter()
            .filter(|task| policy == Policy::EarliestDeadline || task.priority >= priority)
            .map(|task| u128::from(task.wcet) * (all_periods / u128::from(task.period)))
            .sum();
        demand * frame > usable * all_periods
    };
    system.tasks.iter().map(|task| is_overloaded(task.priority)).collect()
}

/// The tasks that take part in the exploration.
///
/// A task whose responses grow without end is left out where no bounded task lends any blocking: it is
/// less urgent than every bounded task, and without blocking a less urgent job never delays one. A
/// cooperative guest waits for the begun job of any task, so there all take part while any is bounded.
pub(super) fn tasks_that_matter(system: &SmallSystem, policy: Policy, overloaded: &[bool]) -> Vec<usize> {
    let all = 0..system.tasks.len();
    let waits = |task: usize| policy == Policy::Cooperative || system.tasks[task].blocking > 0;
    let lends = all.clone().any(|task| !overloaded[task] && waits(task));
    all.filter(|&task| lends || !overloaded[task]).collect()
}

pub(super) fn is_usable(windows: &[(u32, u32)], tick: u32) -> bool {
    windows.iter().any(|&(start, end)| start <= tick && tick < end)
}
