//! Chains under logical execution time: read at arrival, written at arrival plus deadline.
//!
//! Computes: the longest reaction time of a chain of such tasks, which is its longest held data age too, exactly.
//! Source: the definitions and their equality: Günzel and others, "On the equivalence of maximum reaction time and
//! maximum data age for cause-effect chains", ECRTS 2023; logical execution time in chains: Martinez, Sañudo,
//! Bertogna 2018.
//! Assumptions: arrivals at `offset + k T` on one clock; every job has completed by its deadline.
//! Symbols: `T` period, `O` offset, `D` deadline, `H` lcm of the chain's periods, all in ns (or ticks of their gcd);
//! `next(z)` the first arrival at or after `z`, `prev(z)` the last at or before it.
//! Invariants and why it ends: a write at `z` is read by the arrival `next(z)`, and what an arrival `a` reads was
//! written by the arrival `prev(a - D)` of the task before. These are adjoint: `next(b + D) <= a` exactly if
//! `b <= prev(a - D)`. Take the jobs `m` of any one task, `z(m)` the chain's output of what job `m` reads and `s(m)` the
//! first task's read behind it. The greatest `z(m) - s(m - 1)` is the longest reaction time: whoever reads after
//! `s(m - 1)` passes job `m` or a later one. It is the longest held age too: the output before `z(m)` comes from
//! `s(m - 1)` or later. All of it repeats with `H`; the jobs of the slowest task are the fewest. Their number is
//! limited.
//! Differs from the source: one pass over the slowest task's jobs stands for both enumerations.
//! Checked by: both definitions job by job ([`LogicalTasks::reaction_ns`], [`LogicalTasks::age_ns`]), which every
//! claim is held to as well; the published chains; a peer that shares nothing with this.

mod definitions;
mod narrow;

use crate::response::JOB_LIMIT;
use narrow::NarrowTasks;

/// A task that reads at its arrival and writes at its arrival plus its deadline; every time in ns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LogicalTask {
    /// Distance of two arrivals.
    pub period_ns: u64,
    /// Some arrival.
    pub offset_ns: u64,
    /// From an arrival to its write.
    pub deadline_ns: u64,
}

/// Why a chain has no answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LogicalError {
    /// The chain has no task.
    Empty,
    /// There is no task of that index.
    NoSuchTask(usize),
    /// The task of that index has a period of zero.
    PeriodZero(usize),
    /// The hyperperiod of the chain passes 64 bits.
    HyperperiodTooLong,
    /// The hyperperiod of the chain has more jobs of its slowest task than [`JOB_LIMIT`].
    TooManyJobs,
    /// The answer passes 64 bits.
    TooLong,
}

impl std::fmt::Display for LogicalError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Empty => write!(f, "the chain has no task"),
            Self::NoSuchTask(k) => write!(f, "there is no task {k}"),
            Self::PeriodZero(k) => write!(f, "task {k} has a period of zero"),
            Self::HyperperiodTooLong => write!(f, "the hyperperiod of the chain passes 64 bits"),
            Self::TooManyJobs => write!(f, "the hyperperiod of the chain has more than {JOB_LIMIT} jobs to follow"),
            Self::TooLong => write!(f, "the times of the chain pass 64 bits"),
        }
    }
}

impl std::error::Error for LogicalError {}

/// The tasks that chains are made of, prepared once.
#[derive(Clone, Debug)]
pub struct LogicalTasks {
    tasks: Vec<LogicalTask>,
    /// The same in ticks, where they are small numbers.
    narrow: Option<NarrowTasks>,
}

impl LogicalTasks {
    /// Prepares `tasks`; chains name them by their index here.
    ///
    /// # Errors
    /// [`LogicalError::PeriodZero`].
    pub fn new(tasks: &[LogicalTask]) -> Result<Self, LogicalError> {
        if let Some(k) = tasks.iter().position(|task| task.period_ns == 0) {
            return Err(LogicalError::PeriodZero(k));
        }
        let within_period = |task: &LogicalTask| LogicalTask { offset_ns: task.offset_ns % task.period_ns, ..*task };
        let tasks: Vec<_> = tasks.iter().map(within_period).collect();
        Ok(Self { narrow: NarrowTasks::new(&tasks), tasks })
    }

    /// The longest reaction time of the chain of tasks `chain`, which is the longest held data age too, in ns.
    ///
    /// # Errors
    /// A [`LogicalError`] where the chain is empty, names no task, or has too long a hyperperiod.
    pub fn longest_ns(&self, chain: &[usize]) -> Result<u64, LogicalError> {
        match self.narrow.as_ref().and_then(|narrow| narrow.longest_ns(chain)) {
            Some(longest_ns) => Ok(longest_ns),
            None => self.longest_of_wide_ns(chain),
        }
    }

    /// The same in numbers wide enough for any input.
    fn longest_of_wide_ns(&self, chain: &[usize]) -> Result<u64, LogicalError> {
        let tasks = self.named(chain)?;
        // Of equal ones any will do.
        let slowest = (0..tasks.len()).max_by_key(|&k| tasks[k].period_ns).ok_or(LogicalError::Empty)?;
        let (before, from) = tasks.split_at(slowest);
        let span = |arrival: i128| {
            let output = definitions::output(from, arrival);
            let read_before = definitions::source(before, arrival - i128::from(from[0].period_ns));
            output - read_before
        };
        definitions::greatest_over_jobs(&tasks, from[0], span)
    }

    fn named(&self, chain: &[usize]) -> Result<Vec<LogicalTask>, LogicalError> {
        let named = |&k: &usize| self.tasks.get(k).copied().ok_or(LogicalError::NoSuchTask(k));
        chain.iter().map(named).collect()
    }
}

#[cfg(test)]
mod tests;
