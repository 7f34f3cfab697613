//! Which jobs a busy window counts, as the policy of the guest has it.
//!
//! Computes: how many jobs of each task can go before one own job is done, in a busy window of some length.
//! Source: the equations of `crate::response`.
//! Assumptions: those of the policy's response.
//! Symbols: `T`, `J`, `D` of a task; instants in ns from the busy window's begin.
//! Invariants and why it ends: plain arithmetic; no count falls where the busy window is longer.
//! Differs from the source: nothing.
//! Checked by: the parts of every bound of the vessel under every policy, which add up.

use crate::task_set::{Release, TaskSet};
use std::cmp::Reverse;
use std::ops::Range;

/// Which jobs count, of all that delay a job.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Which {
    /// Those that arrive before the busy window's end, as early and as dense as they can be.
    Arriving,
    /// Those that arrive before its end and whose latest release is not before its begin, which stands there in the hyperperiod.
    InPhase { begin_ns: i64 },
    /// Those that arrive before this instant of it, in which the job has begun that nobody displaces.
    Begun { before_ns: i64 },
    /// Those that arrive before its end and are due before this instant, or at it where they go first, as all do with `all_ties`.
    Due { by_ns: i64, all_ties: bool },
}

/// What a busy window counts for one own job.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Counted {
    /// The own task.
    pub(crate) position: usize,
    /// No own job counts that arrives at this instant or later.
    pub(crate) own_before_ns: i64,
    pub(crate) which: Which,
}

impl Counted {
    /// The tasks whose jobs count.
    pub(crate) fn positions(&self, tasks: &TaskSet) -> Range<usize> {
        match self.which {
            Which::Due { .. } => 0..tasks.len(),
            _ => tasks.level(self.position),
        }
    }

    /// How many jobs of the task at `at` count in a busy window of `span_ns`.
    pub(crate) fn jobs(&self, tasks: &TaskSet, at: usize, span_ns: i64) -> i64 {
        let end_ns = match self.which {
            Which::Begun { before_ns } => span_ns.min(before_ns),
            _ => span_ns,
        };
        let end_ns = if at == self.position { end_ns.min(self.own_before_ns) } else { end_ns };
        match self.which {
            Which::InPhase { begin_ns } => in_phase(tasks, at, begin_ns, end_ns),
            Which::Due { by_ns, all_ties } => {
                let ties = all_ties || goes_first(tasks, at, self.position);
                arriving(tasks, at, end_ns).min(due(tasks, at, by_ns, ties))
            }
            Which::Arriving | Which::Begun { .. } => arriving(tasks, at, end_ns),
        }
    }
}

/// Whether of two jobs that are due at one instant that of the task at `at` can go before that of the one at `position`.
pub(crate) fn goes_first(tasks: &TaskSet, at: usize, position: usize) -> bool {
    let of = |k: usize| (Reverse(tasks.deadline_ns[k]), tasks.given[k]);
    of(at) <= of(position)
}

fn arriving(tasks: &TaskSet, at: usize, end_ns: i64) -> i64 {
    ceil_div(end_ns + tasks.jitter_ns[at], tasks.period_ns[at]).max(0)
}

fn due(tasks: &TaskSet, at: usize, by_ns: i64, ties: bool) -> i64 {
    let after_first_ns = by_ns - tasks.deadline_ns[at] + tasks.jitter_ns[at] - i64::from(!ties);
    (after_first_ns.div_euclid(tasks.period_ns[at]) + 1).max(0)
}

fn in_phase(tasks: &TaskSet, at: usize, begin_ns: i64, end_ns: i64) -> i64 {
    let period_ns = tasks.period_ns[at];
    let from_first_ns = first_in_phase_ns(tasks, at, begin_ns) - begin_ns;
    ceil_div(end_ns - from_first_ns, period_ns).max(0)
}

/// The arrival of the first job of a task that keeps to the frame whose latest release is not before `begin_ns`.
pub(crate) fn first_in_phase_ns(tasks: &TaskSet, at: usize, begin_ns: i64) -> i64 {
    let offset_ns = match tasks.release[at] {
        Release::FrameAligned { offset_ns } => offset_ns as i64, // Below 2^53.
        Release::FreeRunning => 0,
    };
    let period_ns = tasks.period_ns[at];
    offset_ns + ceil_div(begin_ns - tasks.jitter_ns[at] - offset_ns, period_ns) * period_ns
}

fn ceil_div(a: i64, b: i64) -> i64 {
    -(-a).div_euclid(b)
}
