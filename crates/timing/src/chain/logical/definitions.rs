//! Reaction time and held data age as they are defined, job by job.

use super::{LogicalError, LogicalTask, LogicalTasks};
use crate::arithmetic;
use crate::response::JOB_LIMIT;

impl LogicalTasks {
    /// The longest reaction time by its definition, in ns: over every read of the first task, from the read before it
    /// to the output of the job chain that it begins.
    ///
    /// # Errors As [`Self::longest_ns`], the limit being that of the first task's jobs.
    pub fn reaction_ns(&self, chain: &[usize]) -> Result<u64, LogicalError> {
        let tasks = self.named(chain)?;
        let first = *tasks.first().ok_or(LogicalError::Empty)?;
        greatest_over_jobs(&tasks, first, |arrival| output(&tasks, arrival) - (arrival - i128::from(first.period_ns)))
    }

    /// The longest held data age by its definition, in ns: over every output of the last task, from the first task's
    /// read behind it to the next output.
    ///
    /// # Errors As [`Self::longest_ns`], the limit being that of the last task's jobs.
    pub fn age_ns(&self, chain: &[usize]) -> Result<u64, LogicalError> {
        let tasks = self.named(chain)?;
        let (last, before) = tasks.split_last().ok_or(LogicalError::Empty)?;
        let next_output = |arrival: i128| arrival + i128::from(last.period_ns) + i128::from(last.deadline_ns);
        greatest_over_jobs(&tasks, *last, |arrival| next_output(arrival) - source(before, arrival))
    }
}

/// When the last of `tasks` writes what the first of them reads at `arrival`.
pub(super) fn output(tasks: &[LogicalTask], arrival: i128) -> i128 {
    let written = |read: i128, task: &LogicalTask| read + i128::from(task.deadline_ns);
    let (first, rest) = tasks.split_first().expect("a chain that is followed has a task");
    rest.iter().fold(written(arrival, first), |write, task| written(next(task, write), task))
}

/// When the first of `tasks` read what somebody after the last of them reads at `read`; that instant itself where
/// there is none.
pub(super) fn source(tasks: &[LogicalTask], read: i128) -> i128 {
    tasks.iter().rev().fold(read, |read, task| previous(task, read - i128::from(task.deadline_ns)))
}

fn next(task: &LogicalTask, instant: i128) -> i128 {
    instant + (i128::from(task.offset_ns) - instant).rem_euclid(i128::from(task.period_ns))
}

fn previous(task: &LogicalTask, instant: i128) -> i128 {
    instant - (instant - i128::from(task.offset_ns)).rem_euclid(i128::from(task.period_ns))
}

/// The greatest `span` over the arrivals of `walked` in one hyperperiod of `tasks`.
pub(super) fn greatest_over_jobs(
    tasks: &[LogicalTask],
    walked: LogicalTask,
    span: impl Fn(i128) -> i128,
) -> Result<u64, LogicalError> {
    let periods = tasks.iter().map(|task| task.period_ns);
    let hyperperiod_ns = arithmetic::lcm_of(periods).ok_or(LogicalError::HyperperiodTooLong)?;
    let jobs = hyperperiod_ns / walked.period_ns;
    if jobs > JOB_LIMIT {
        return Err(LogicalError::TooManyJobs);
    }
    let arrival = |k: u64| i128::from(walked.offset_ns) + i128::from(k) * i128::from(walked.period_ns);
    let greatest = (0..jobs).map(|k| span(arrival(k))).max().unwrap_or(0);
    u64::try_from(greatest).map_err(|_| LogicalError::TooLong)
}
