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
use crate::counted::{Counted, Which};
use crate::interference::Latest;
use crate::response::cooperative::longest_begun_ns;
use crate::response::edf::blocking_before_ns;
use crate::supply::NEVER;
use crate::task_set::Policy;

/// A busy window up to the completion of the job looked at; instants from its begin.
pub(super) struct Window {
    /// Where it begins in the supply's table.
    pub(super) start_ns: u64,
    pub(super) arrival_ns: i64,
    pub(super) finish_ns: u64,
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
    /// Those of a busy window that waits for memory in full; `begin_ns` is where it begins in the hyperperiod, where arrivals keep to
    /// the frame. None where they do not take exactly what is supplied up to the completion.
    pub(super) fn of_window(core: &Analysed, k: usize, window: &Window, begin_ns: i64) -> Option<Self> {
        let due_by_ns = window.arrival_ns + core.tasks[k].deadline_ns as i64; // Both are below 2^53.
        let of = |which: Which, blocking_ns: i64| {
            let own_before_ns = if matches!(which, Which::Due { .. }) { NEVER } else { window.arrival_ns + 1 };
            let counted = Counted { position: core.set.position[k], own_before_ns, which };
            Some(Self::new(core, k, window, &counted, window.blocking_ns(core, blocking_ns)))
                .filter(|jobs| jobs.fill(core, window))
        };
        let blocked_ns = core.set.blocking_ns[core.set.position[k]];
        match core.set.policy() {
            Policy::FixedPriority if core.as_free_running => of(Which::Arriving, blocked_ns),
            Policy::FixedPriority => of(Which::InPhase { begin_ns }, blocked_ns),
            Policy::Cooperative => of(
                Which::Begun { before_ns: window.begun_ns(core, k) },
                longest_begun_ns(&core.set, core.set.position[k]),
            ),
            Policy::EarliestDeadline => {
                let by_deadline = |all_ties: bool| {
                    of(Which::Due { by_ns: due_by_ns, all_ties }, blocking_before_ns(&core.set, due_by_ns))
                };
                // Whether all ties are in the bound is not told with it.
                by_deadline(false).or_else(|| by_deadline(true))
            }
        }
    }

    /// Those of a busy window that waits for no more than others ask for.
    pub(super) fn of_latest(core: &Analysed, k: usize, window: &Window, latest: &Latest) -> Self {
        Self::new(core, k, window, &latest.counted, latest.first_ns)
    }

    fn new(core: &Analysed, k: usize, window: &Window, counted: &Counted, blocking_ns: u64) -> Self {
        let at_boot = window.at_boot.then(|| core.set.at_boot(core.supply.boot_loss_ns()));
        let set = at_boot.as_ref().unwrap_or(&core.set);
        let jobs = |at: usize| (set.given[at], counted.jobs(set, at, window.finish_ns as i64) as u64); // No count is negative.
        Self { k, each: counted.positions(set).map(jobs).collect(), blocking_ns }
    }

    /// Whether they take exactly what is supplied up to the completion.
    fn fill(&self, core: &Analysed, window: &Window) -> bool {
        let work_ns = |&(other, jobs): &(usize, u64)| jobs.saturating_mul(core.tasks[other].charged_ns);
        let all_ns = self.each.iter().map(work_ns).fold(self.blocking_ns, u64::saturating_add);
        all_ns == core.supply.supply_ns(window.start_ns, window.finish_ns)
    }
}

impl Window {
    /// In the first frame nobody has begun, and what that frame lacks goes before all jobs. Times are not negative.
    fn blocking_ns(&self, core: &Analysed, otherwise_ns: i64) -> u64 {
        if self.at_boot { core.supply.boot_loss_ns() } else { otherwise_ns as u64 }
    }

    /// The end of the first instant in which the job that completes at the end, once begun displaced by nobody, has the core.
    fn begun_ns(&self, core: &Analysed, k: usize) -> i64 {
        let done_ns = core.supply.supply_ns(self.start_ns, self.finish_ns);
        let before_ns = done_ns.saturating_sub(core.tasks[k].charged_ns);
        core.supply.span_for_ns(self.start_ns, before_ns + 1).unwrap_or(0) as i64 // No later than the completion.
    }
}
