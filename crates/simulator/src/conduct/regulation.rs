//! Bandwidth regulation of what jobs ask for: a core that has used its budget of lines in a regulation period executes nothing
//! until the next one.
//!
//! **Computes** when a core has used its budget. Jobs ask for their lines evenly over their charged time.
//! **Symbols.** Lines are counted in millionths, rounded down for each stretch of execution; times in nanoseconds.
//! **Invariants.** Only cores are watched on which some job asks for more than the budget allows on the average, so a
//! plan whose budgets are wide enough costs nothing. Between two changes of what a core executes its rate is constant, so
//! the next instant at which the budget is used up lies in the running period or at one place of every whole one.
//! **Checked by** cases counted by hand, below and in the tests of protections.

use crate::Scenario;
use crate::machine::{Bus, Machine};
use crate::protection::Protection;
use crate::scenario::Contention;

const MILLION: u128 = 1_000_000;

/// The regulation of all cores.
#[derive(Debug, Default)]
pub(super) struct Regulation {
    period_ns: u64,
    cores: Vec<Option<Used>>,
}

/// What one core has used.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Used {
    budget: u128,
    used: u128,
    /// Counted up to here.
    since: u64,
    /// What it executes asks for that many lines in that time.
    requests: u64,
    over_ns: u64,
    /// Which change of what it executes was the last.
    change: u32,
}

impl Regulation {
    /// A run begins; where regulation is off, no core is watched.
    pub(super) fn clear(&mut self, machine: &Machine, scenario: &Scenario) {
        self.cores.clear();
        let bus = machine.bus.as_ref().filter(|_| scenario.protections.has(Protection::Regulation));
        self.period_ns = bus.and_then(|bus| bus.regulation_ns).unwrap_or(0);
        let used = |core| Used::of(core, machine, bus?, (self.period_ns, scenario.contention));
        self.cores.extend((0..machine.cores.len()).map(used));
    }

    /// Whether any core is watched.
    pub(super) fn watches(&self) -> bool {
        self.cores.iter().any(Option::is_some)
    }

    /// Whether that core is watched.
    pub(super) fn watches_core(&self, core: usize) -> bool {
        self.cores[core].is_some()
    }

    /// From `now` on what a core executes asks for so many lines in so long a time, or for none. When its budget will be used up,
    /// and the number of this change.
    pub(super) fn runs(&mut self, core: usize, asks: Option<(u64, u64)>, now: u64) -> Option<(u64, u32)> {
        let period_ns = self.period_ns;
        let used = self.cores[core].as_mut()?;
        used.settle(now, period_ns);
        (used.requests, used.over_ns) = asks.unwrap_or((0, 1));
        used.change = used.change.wrapping_add(1);
        Some((used.used_up(now, period_ns)?, used.change))
    }

    /// The end of the regulation period in which a core has used its budget, unless it executes something else by now.
    pub(super) fn throttled_until(&self, core: usize, change: u32, now: u64) -> Option<u64> {
        let used = self.cores[core].filter(|used| used.change == change)?;
        debug_assert!(used.requests > 0, "who asks for nothing uses no budget");
        Some((now / self.period_ns + 1).saturating_mul(self.period_ns))
    }
}

impl Used {
    /// Watched where a job that may execute there asks for more on the average than the budget holds.
    fn of(core: usize, machine: &Machine, bus: &Bus, (period_ns, contention): (u64, Contention)) -> Option<Self> {
        let budget = bus.masters.iter().find(|master| master.core == Some(core))?.budget_lines?;
        let here = |partition: usize| {
            let lanes = machine.partitions[partition].lanes.clone();
            machine.lanes[lanes].iter().any(|lane| lane.cores.contains(&core))
        };
        let too_many = |task: &crate::machine::Task| {
            let asked = u128::from(task.line_requests) * u128::from(period_ns);
            here(task.partition) && asked > u128::from(budget) * u128::from(task.most_ns(contention))
        };
        let watched = period_ns > 0 && machine.tasks.iter().any(too_many);
        let budget = u128::from(budget) * MILLION;
        watched.then_some(Self { budget, used: 0, since: 0, requests: 0, over_ns: 1, change: 0 })
    }

    fn lines(&self, ns: u64) -> u128 {
        let asked = u128::from(self.requests) * MILLION;
        asked.saturating_mul(u128::from(ns)) / u128::from(self.over_ns)
    }

    fn settle(&mut self, now: u64, period_ns: u64) {
        let begin = now / period_ns * period_ns;
        if self.since < begin {
            (self.used, self.since) = (0, begin);
        }
        self.used += self.lines(now - self.since);
        self.since = now;
    }

    /// When the budget is used up if nothing changes; `None` where it never is.
    fn used_up(&self, now: u64, period_ns: u64) -> Option<u64> {
        if self.requests == 0 {
            return None;
        }
        let time_for = |lines: u128| {
            let whole = lines.saturating_mul(u128::from(self.over_ns)).div_ceil(u128::from(self.requests) * MILLION);
            u64::try_from(whole).unwrap_or(u64::MAX)
        };
        let end = (now / period_ns + 1).saturating_mul(period_ns);
        let now_used = now.saturating_add(time_for(self.budget.saturating_sub(self.used)));
        let whole = time_for(self.budget);
        if now_used < end {
            Some(now_used)
        } else if whole < period_ns {
            Some(end.saturating_add(whole))
        } else {
            None
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A budget of 5 lines in each 50 ns; 10 lines in 40 ns are asked for.
    fn used() -> Used {
        Used { budget: 5 * MILLION, used: 0, since: 0, requests: 10, over_ns: 40, change: 0 }
    }

    #[test]
    fn a_budget_is_used_up_in_this_period_or_the_next() {
        // 5 lines take 20.
        assert_eq!(used().used_up(0, 50), Some(20));
        assert_eq!(used().used_up(29, 50), Some(49));
        // From 30 on they would take until the period's end, and in the next one until 70.
        assert_eq!(used().used_up(30, 50), Some(70));
        assert_eq!(Used { over_ns: 100, ..used() }.used_up(7, 50), None);
        assert_eq!(Used { requests: 0, ..used() }.used_up(7, 50), None);
    }

    #[test]
    fn what_was_used_is_counted_from_the_periods_begin() {
        let mut core = used();
        core.settle(12, 50);
        assert_eq!(core.used, 3 * MILLION);
        core.settle(16, 50);
        assert_eq!(core.used, 4 * MILLION);
        core.settle(58, 50);
        assert_eq!((core.used, core.since), (2 * MILLION, 58));
    }
}
