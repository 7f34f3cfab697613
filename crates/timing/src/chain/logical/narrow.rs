//! The same walk in 32-bit ticks of the times' greatest common divisor, with remainders by multiplication.

use super::LogicalTask;
use crate::response::JOB_LIMIT;
use num_integer::{gcd, lcm};

/// All tasks in ticks.
#[derive(Clone, Debug)]
pub(super) struct NarrowTasks {
    tasks: Vec<NarrowTask>,
    tick_ns: u64,
}

/// A task in ticks: constants of the two steps.
#[derive(Clone, Copy, Debug)]
struct NarrowTask {
    /// `2^64 / T` rounded up, modulo `2^64`.
    reciprocal: u64,
    period: u32,
    /// `T - 1 - O`.
    ahead: u32,
    /// `T - O - D` modulo `2^32`.
    behind: u32,
    deadline: u32,
    /// `T - 1 + D`.
    reach: u32,
}

impl NarrowTask {
    fn new(task: &LogicalTask, tick_ns: u64) -> Option<Self> {
        let ticks = |ns: u64| u32::try_from(ns / tick_ns).ok();
        let (period, offset, deadline) = (ticks(task.period_ns)?, ticks(task.offset_ns)?, ticks(task.deadline_ns)?);
        Some(Self {
            reciprocal: (u64::MAX / u64::from(period)).wrapping_add(1),
            period,
            ahead: period - 1 - offset, // An offset lies within its period.
            behind: (period - offset).wrapping_sub(deadline),
            deadline,
            reach: (period - 1).checked_add(deadline)?,
        })
    }

    /// `value mod T`, exact for all values and periods of 32 bits: Lemire, Kaser, Kurz, "Faster remainder by direct
    /// computation", 2019.
    #[inline]
    fn remainder(&self, value: u32) -> u32 {
        let fraction = self.reciprocal.wrapping_mul(u64::from(value));
        ((u128::from(fraction) * u128::from(self.period)) >> 64) as u32
    }

    /// The first arrival at or after `instant`.
    #[inline]
    fn next(&self, instant: u32) -> u32 {
        instant + (self.period - 1) - self.remainder(instant + self.ahead)
    }

    /// The write of the first arrival at or after `write`.
    #[inline]
    fn next_write(&self, write: u32) -> u32 {
        write + self.reach - self.remainder(write + self.ahead)
    }

    /// The arrival whose write is the last one at or before `read`, which is at least `T + D`.
    #[inline]
    fn read_before(&self, read: u32) -> u32 {
        read - self.deadline - self.remainder(read.wrapping_add(self.behind))
    }
}

impl NarrowTasks {
    /// None where a time does not fit.
    pub(super) fn new(tasks: &[LogicalTask]) -> Option<Self> {
        let times = tasks.iter().flat_map(|task| [task.period_ns, task.offset_ns, task.deadline_ns]);
        let tick_ns = times.fold(0, gcd).max(1);
        let tasks: Option<Vec<_>> = tasks.iter().map(|task| NarrowTask::new(task, tick_ns)).collect();
        Some(Self { tasks: tasks?, tick_ns })
    }

    /// The longest reaction time in ns; none where the chain is empty, names no task, or has a walk that does not fit.
    pub(super) fn longest_ns(&self, chain: &[usize]) -> Option<u64> {
        let (mut slowest, mut at) = (self.tasks.get(*chain.first()?)?, 0);
        let mut span: u64 = 0;
        for (place, &k) in chain.iter().enumerate() {
            let task = self.tasks.get(k)?;
            span += u64::from(task.reach) + 1;
            if task.period > slowest.period {
                (slowest, at) = (task, place);
            }
        }
        let hyperperiod = self.hyperperiod(chain, slowest.period)?;
        // The walk begins a span after 0 and reaches a hyperperiod and a span further.
        if 2 * span + u64::from(slowest.period) + hyperperiod > u64::from(u32::MAX) {
            return None;
        }
        let begin = slowest.next(span as u32);
        let greatest = self.greatest(chain, at, begin, begin + hyperperiod as u32);
        u64::from(greatest).checked_mul(self.tick_ns)
    }

    /// The least common multiple of the periods, in ticks; none where the slowest task has too many jobs in it.
    #[inline]
    fn hyperperiod(&self, chain: &[usize], slowest: u32) -> Option<u64> {
        let mut hyperperiod = slowest;
        for &k in chain {
            let task = &self.tasks[k];
            if task.remainder(hyperperiod) != 0 {
                hyperperiod = u32::try_from(lcm(u64::from(hyperperiod), u64::from(task.period))).ok()?;
            }
        }
        (u64::from(hyperperiod) <= JOB_LIMIT.saturating_mul(u64::from(slowest))).then_some(u64::from(hyperperiod))
    }

    /// The greatest span over the slowest task's arrivals in `[begin, end)`; it stands at `at` in the chain.
    #[inline]
    fn greatest(&self, chain: &[usize], at: usize, begin: u32, end: u32) -> u32 {
        let (before, from) = chain.split_at(at);
        let slowest = &self.tasks[from[0]];
        let mut greatest = 0;
        let mut arrival = begin;
        while arrival < end {
            let mut write = arrival + slowest.deadline;
            for &k in &from[1..] {
                write = self.tasks[k].next_write(write);
            }
            let mut read = arrival - slowest.period;
            for &k in before.iter().rev() {
                read = self.tasks[k].read_before(read);
            }
            greatest = greatest.max(write - read);
            arrival += slowest.period;
        }
        greatest
    }
}
