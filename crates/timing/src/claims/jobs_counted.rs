//! How many jobs of which task the busy window behind a bound counts.
//!
//! Computes: for each policy the jobs that the response's equation counts at its solution, and what blocks.
//! Source: the equations of `crate::response`.
//! Assumptions: those of the bound.
//! Symbols: times in ns, from the busy window's begin.
//! Invariants and why it ends: plain arithmetic. What is counted fills what is supplied up to the completion, which whoever tells the
//! parts asks for.
//! Differs from the source: nothing.
//! Checked by: the parts of every bound of the vessel under every policy, which add up.

use super::responses::Analysed;
use crate::response::cooperative::longest_begun_ns;
use crate::response::edf::blocking_before_ns;
use crate::task_set::{Release, Task};

/// A busy window up to the completion of the job looked at; instants from its begin.
pub(super) struct Window {
    pub(super) start_ns: u64,
    pub(super) arrival_ns: i64,
    pub(super) finish_ns: u64,
    pub(super) job: u64,
    pub(super) at_boot: bool,
}

/// How many jobs of which task a busy window counts.
pub(super) struct JobsCounted {
    /// The task looked at.
    pub(super) k: usize,
    /// Each task that is counted, with its jobs.
    pub(super) each: Vec<(usize, u64)>,
    pub(super) blocking_ns: u64,
}

impl JobsCounted {
    /// Fixed priorities in any phase: all more urgent jobs that arrive before the completion.
    pub(super) fn in_any_phase(core: &Analysed, k: usize, window: &Window) -> Self {
        let released = |task: &Task| window.released_before_end(task);
        let jobs_of = |other: usize| if other == k { window.job + 1 } else { released(&core.tasks[other]) };
        Self::of_level(core, k, window, core.set.blocking_ns[core.set.position[k]], jobs_of)
    }

    /// Fixed priorities where arrivals keep to the frame, and the window begins there in the hyperperiod.
    pub(super) fn in_phase(core: &Analysed, k: usize, window: &Window, phase_ns: i64) -> Self {
        let jobs_of = |other: usize| window.jobs_in_phase(phase_ns, &core.tasks[other], other == k);
        Self::of_level(core, k, window, core.set.blocking_ns[core.set.position[k]], jobs_of)
    }

    /// A cooperative guest: all more urgent jobs that arrive up to the instant at which the job begins.
    pub(super) fn until_begun(core: &Analysed, k: usize, window: &Window) -> Self {
        let done_ns = core.supply.supply_ns(window.start_ns, window.finish_ns);
        let before_ns = done_ns.saturating_sub(core.tasks[k].charged_ns);
        let begins_ns = core.supply.span_for_ns(window.start_ns, before_ns + 1).unwrap_or(0).saturating_sub(1);
        let released = |task: &Task| begins_ns.saturating_add(window.jitter_ns(task)) / task.period_ns + 1;
        let jobs_of = |other: usize| if other == k { window.job + 1 } else { released(&core.tasks[other]) };
        Self::of_level(core, k, window, longest_begun_ns(&core.set, core.set.position[k]), jobs_of)
    }

    /// Earliest deadline first: all jobs that arrive before the completion and are due before the job looked at, or with it where they
    /// go first, as all do with `all_ties`.
    pub(super) fn by_deadline(core: &Analysed, k: usize, window: &Window, all_ties: bool) -> Self {
        let own_ns = core.tasks[k].deadline_ns;
        let due_ns = window.arrival_ns + own_ns as i64; // Both are below 2^53.
        let jobs_of = |other: usize| {
            let task = &core.tasks[other];
            if other == k {
                return window.job + 1;
            }
            let goes_first = all_ties || (task.deadline_ns, k) >= (own_ns, other);
            let after_first_ns =
                due_ns - task.deadline_ns as i64 + window.jitter_ns(task) as i64 - i64::from(!goes_first);
            let due = u64::try_from(after_first_ns).map_or(0, |after_ns| after_ns / task.period_ns + 1);
            due.min(window.released_before_end(task))
        };
        let each = core.set.given.iter().map(|&other| (other, jobs_of(other))).collect();
        Self { k, each, blocking_ns: window.blocking_ns(core, blocking_before_ns(&core.set, due_ns)) }
    }

    fn of_level(core: &Analysed, k: usize, window: &Window, blocking_ns: i64, jobs_of: impl Fn(usize) -> u64) -> Self {
        let level = core.set.level(core.set.position[k]).map(|position| core.set.given[position]);
        let each = level.map(|other| (other, jobs_of(other))).collect();
        Self { k, each, blocking_ns: window.blocking_ns(core, blocking_ns) }
    }

    /// Whether they take exactly what is supplied up to the completion.
    pub(super) fn fill(&self, core: &Analysed, window: &Window) -> bool {
        let work_ns = |&(other, jobs): &(usize, u64)| jobs.saturating_mul(core.tasks[other].charged_ns);
        let all_ns = self.each.iter().map(work_ns).fold(self.blocking_ns, u64::saturating_add);
        all_ns == core.supply.supply_ns(window.start_ns, window.finish_ns)
    }
}

impl Window {
    /// In the first frame every job is released at once.
    fn jitter_ns(&self, task: &Task) -> u64 {
        if self.at_boot { 0 } else { task.jitter_ns }
    }

    fn released_before_end(&self, task: &Task) -> u64 {
        self.finish_ns.saturating_add(self.jitter_ns(task)).div_ceil(task.period_ns)
    }

    /// In the first frame nobody has begun, and what that frame lacks goes before all jobs. Times are not negative.
    fn blocking_ns(&self, core: &Analysed, otherwise_ns: i64) -> u64 {
        if self.at_boot { core.supply.boot_loss_ns() } else { otherwise_ns as u64 }
    }

    /// How many jobs of a task that keeps to the frame count: those whose latest release is not before the window, and that arrive
    /// before its end, or of the task looked at up to the job looked at.
    fn jobs_in_phase(&self, phase_ns: i64, task: &Task, own: bool) -> u64 {
        let offset_ns = match task.release {
            Release::FrameAligned { offset_ns } => offset_ns,
            Release::FreeRunning => 0,
        };
        let since_first = |ns: i64| i128::from(phase_ns) + i128::from(ns) - i128::from(offset_ns);
        let period_ns = i128::from(task.period_ns);
        let before = |ns: i128| -(-ns).div_euclid(period_ns);
        let end_ns = if own { self.arrival_ns + 1 } else { self.finish_ns as i64 };
        let jobs = before(since_first(end_ns)) - before(since_first(0) - i128::from(self.jitter_ns(task)));
        u64::try_from(jobs).unwrap_or(0)
    }
}
