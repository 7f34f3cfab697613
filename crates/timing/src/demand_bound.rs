//! The processor demand of earliest deadline first.
//!
//! Computes: the most work that jobs which arrive and are due within a span can ask for; the span beyond which that
//! never passes the span itself; whether a core of its own bears the tasks; whether a supply does.
//! Source: Baruah, Rosier & Howell 1990 (Algorithms and complexity concerning the preemptive scheduling of periodic,
//! real-time tasks on one processor, Real-Time Systems 2); the limit L* as Buttazzo 2011 writes it (Hard Real-Time
//! Computing Systems, 3rd ed., chapter 4); jitter as an earlier deadline after Spuri 1996; from the longest span downward,
//! past all that one demand covers: Zhang & Burns 2009 (quick processor-demand analysis, IEEE Transactions on Computers
//! 58). From memory.
//! Assumptions: preemptive earliest deadline first; free-running tasks; a core of its own and no blocking for
//! [`on_own_core`], blocking once in a busy period for [`under_supply`].
//! Symbols: `T`, `D`, `J`, `C'` of a task, `t` a span, all in ns; `U` the sum of `C' / T`; `H` the lcm of the periods.
//! `demand(t) = sum of max(0, floor((t + J - D) / T) + 1) C'`, `L* = sum of max(0, T + J - D) C' / T / (1 - U)`.
//! Invariants and why it ends: demand changes only where a deadline falls, each such instant is visited once, and
//! none beyond the smaller of `L*` and `H`: `demand(t + H) <= demand(t) + U H`. Their number is limited. Under a supply
//! `demand(t) + B(t) <= S(s, t)` has to hold for every start `s` and span `t`; `B(t)` as in `crate::response::edf`. The least
//! span that fails lies within the longest busy period: past its end, only what is released later counts, from a start
//! that gives no more. Where the demand of `t` is supplied by `u <= t`, no span from `u` to `t` fails, so the search goes
//! on below `u`. As spans grow, blocking falls at the two longest deadlines only: three searches.
//! Differs from the source: exact fractions, jitter, the exact supply from every start, blocking.
//! Checked by: published examples of the corpus, a count of single jobs below, and for every small system the worst
//! responses, which are within the deadlines exactly where the supply bears the demand.

use crate::arithmetic;
use crate::demand::{self, Shortfall};
use crate::response::edf::{blocking_before_ns, lcm_ns, two_latest_ns, whole_length_ns};
use crate::response::free_running::at_boot;
use crate::supply::{BusyStart, Supply};
use crate::task_set::TaskSet;

/// The greatest number of deadlines that are visited.
const DEADLINE_LIMIT: u32 = 1 << 22;

/// The work in ns of all jobs that can arrive and be due within a span of `span_ns`, saturating at `u64::MAX`.
pub fn demand_bound_ns(tasks: &TaskSet, span_ns: u64) -> u64 {
    let of_task = |k: usize| {
        let due_ns = i128::from(span_ns) + i128::from(tasks.jitter_ns[k]) - i128::from(tasks.deadline_ns[k]);
        let jobs = (due_ns.div_euclid(i128::from(tasks.period_ns[k])) + 1).max(0);
        jobs as u128 * tasks.charged_ns[k] as u128
    };
    let work_ns = (0..tasks.len()).map(of_task).fold(0, u128::saturating_add);
    u64::try_from(work_ns).unwrap_or(u64::MAX)
}

/// The least common multiple of all periods, in ns; none where it passes `u64`.
pub fn hyperperiod_ns(tasks: &TaskSet) -> Option<u64> {
    arithmetic::lcm_of(tasks.period_ns.iter().map(|&period_ns| period_ns as u64))
}

/// `L*` as an exact fraction of ns in lowest terms: no longer span has a demand above itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limit {
    /// The upper part, in ns.
    pub numerator_ns: u128,
    /// The lower part.
    pub denominator: u128,
}

/// The limit `L*`; none where the tasks ask for the whole core or more, or their numbers pass 128 bits.
pub fn limit(tasks: &TaskSet) -> Option<Limit> {
    let hyperperiod_ns = hyperperiod_ns(tasks)?;
    let spare_ns = u128::from(hyperperiod_ns).checked_sub(work_of(tasks, hyperperiod_ns))?;
    let mut numerator_ns: u128 = 0;
    for k in 0..tasks.len() {
        let slack_ns = (tasks.period_ns[k] + tasks.jitter_ns[k] - tasks.deadline_ns[k]).max(0) as u128;
        let more_ns = slack_ns.checked_mul(work_of_one(tasks, k, hyperperiod_ns))?;
        numerator_ns = numerator_ns.checked_add(more_ns)?;
    }
    let common = num_integer::gcd(numerator_ns, spare_ns);
    (spare_ns > 0).then(|| Limit { numerator_ns: numerator_ns / common, denominator: spare_ns / common })
}

/// The work of the jobs of one hyperperiod; each term is below 2^117, and no set holds 2^11 tasks that long.
fn work_of(tasks: &TaskSet, hyperperiod_ns: u64) -> u128 {
    (0..tasks.len()).map(|k| work_of_one(tasks, k, hyperperiod_ns)).fold(0, u128::saturating_add)
}

fn work_of_one(tasks: &TaskSet, k: usize, hyperperiod_ns: u64) -> u128 {
    tasks.charged_ns[k] as u128 * u128::from(hyperperiod_ns / tasks.period_ns[k] as u64)
}

/// Whether a core that runs nothing else meets every deadline.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OwnCore {
    /// No span has a demand above itself.
    Borne,
    /// This is the shortest span whose demand is above itself.
    Passed {
        /// The span, in ns.
        span_ns: u64,
    },
    /// The tasks ask for more than the core in the long run.
    Overloaded,
    /// Too many deadlines, or a hyperperiod past `u64`; nothing is claimed.
    GaveUp,
}

/// Judges the demand of every span against the span.
pub fn on_own_core(tasks: &TaskSet) -> OwnCore {
    let Some(hyperperiod_ns) = hyperperiod_ns(tasks) else { return OwnCore::GaveUp };
    if work_of(tasks, hyperperiod_ns) > u128::from(hyperperiod_ns) {
        return OwnCore::Overloaded;
    }
    let longest_ns = match limit(tasks) {
        Some(limit) => (limit.numerator_ns / limit.denominator).min(u128::from(hyperperiod_ns)) as u64,
        None => hyperperiod_ns,
    };
    first_passed(tasks, longest_ns)
}

fn first_passed(tasks: &TaskSet, longest_ns: u64) -> OwnCore {
    // A deadline within the jitter is passed at the span 0 already, so later ones need no care.
    let first_due = |k: usize| (tasks.deadline_ns[k] - tasks.jitter_ns[k]).max(0) as u64;
    let mut due_ns: Vec<u64> = (0..tasks.len()).map(first_due).collect();
    for _ in 0..DEADLINE_LIMIT {
        let Some(span_ns) = due_ns.iter().copied().min().filter(|&span_ns| span_ns <= longest_ns) else {
            return OwnCore::Borne;
        };
        if demand_bound_ns(tasks, span_ns) > span_ns {
            return OwnCore::Passed { span_ns };
        }
        for (due_ns, &period_ns) in due_ns.iter_mut().zip(&tasks.period_ns) {
            if *due_ns == span_ns {
                *due_ns = span_ns.saturating_add(period_ns as u64);
            }
        }
    }
    OwnCore::GaveUp
}

/// Whether a supply meets every deadline.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum UnderSupply {
    /// No span has a demand above what it is supplied at the least.
    Borne,
    /// The demand of this span can be above its supply.
    Passed {
        /// The span, in ns.
        span_ns: u64,
    },
    /// The tasks ask for more than the supply in the long run.
    Overloaded(Shortfall),
    /// Too many steps; nothing is claimed.
    GaveUp,
}

/// Judges the demand of every span against the supply from every start.
pub fn under_supply(supply: &Supply, tasks: &TaskSet) -> UnderSupply {
    if let Some(shortfall) = demand::shortfall(supply, tasks, 0..tasks.len()) {
        return UnderSupply::Overloaded(shortfall);
    }
    let lost_ns = supply.boot_loss_ns() as i64; // At most some frames of supply.
    let boot = at_boot(supply, tasks).map(TaskSet::without_blocking);
    let any = Spans { supply, tasks, starts: supply.busy_starts(), first_ns: 0 };
    let at_boot =
        boot.as_ref().map(|boot| Spans { supply, tasks: boot, starts: &[BusyStart::FRAME_BEGIN], first_ns: lost_ns });
    let verdicts = [Some(any), at_boot].into_iter().flatten().map(|spans| spans.judge());
    verdicts.into_iter().find(|verdict| *verdict != UnderSupply::Borne).unwrap_or(UnderSupply::Borne)
}

/// The spans of busy periods that begin at `starts`.
struct Spans<'a> {
    supply: &'a Supply,
    tasks: &'a TaskSet,
    starts: &'a [BusyStart],
    /// Work that goes before all jobs.
    first_ns: i64,
}

impl Spans<'_> {
    fn judge(&self) -> UnderSupply {
        let Some(longest_ns) = self.longest_ns() else { return UnderSupply::GaveUp };
        let [second_ns, latest_ns] = two_latest_ns(self.tasks);
        let mut steps = DEADLINE_LIMIT;
        let ranges =
            [(latest_ns, longest_ns), (second_ns, latest_ns.saturating_sub(1)), (0, second_ns.saturating_sub(1))];
        let found = ranges.map(|(from_ns, to_ns)| self.search(from_ns, to_ns.min(longest_ns), &mut steps));
        found.into_iter().find(|verdict| *verdict != UnderSupply::Borne).unwrap_or(UnderSupply::Borne)
    }

    /// No longer span needs a look: the longest busy period, or where that has no end one lcm of periods and frame and the
    /// longest deadline.
    fn longest_ns(&self) -> Option<i64> {
        let tasks = self.tasks;
        let latest_ns = tasks.deadline_ns.iter().copied().fold(0, i64::max);
        let most_ns = lcm_ns(self.supply, tasks).saturating_add(latest_ns);
        let blocking_ns = tasks.blocking_ns.iter().copied().fold(self.first_ns, i64::max);
        let length = |&start: &BusyStart| whole_length_ns(self.supply, tasks, start, blocking_ns, most_ns);
        self.starts.iter().map(length).try_fold(0, |longest_ns, length_ns| Some(longest_ns.max(length_ns?)))
    }

    /// Looks at the spans from `to_ns` down to `from_ns`.
    fn search(&self, from_ns: i64, to_ns: i64, steps: &mut u32) -> UnderSupply {
        let mut span_ns = self.last_due_ns(to_ns);
        while let Some(here_ns) = span_ns.filter(|&here_ns| here_ns >= from_ns) {
            if *steps == 0 {
                return UnderSupply::GaveUp;
            }
            *steps -= 1;
            let supplied_by_ns = self.supplied_by_ns(self.work_ns(here_ns));
            if supplied_by_ns > here_ns as u64 {
                return UnderSupply::Passed { span_ns: here_ns as u64 };
            }
            let below_ns = (supplied_by_ns as i64).min(here_ns - 1);
            span_ns = self.last_due_ns(below_ns);
        }
        UnderSupply::Borne
    }

    fn work_ns(&self, span_ns: i64) -> u64 {
        let before_ns = (self.first_ns + blocking_before_ns(self.tasks, span_ns)) as u64;
        demand_bound_ns(self.tasks, span_ns as u64).saturating_add(before_ns)
    }

    /// From the latest start, when the work is done.
    fn supplied_by_ns(&self, work_ns: u64) -> u64 {
        let spans = self.starts.iter().map(|start| self.supply.span_for_ns(start.at_ns(), work_ns));
        spans.map(|span_ns| span_ns.unwrap_or(u64::MAX)).fold(0, u64::max)
    }

    /// The last instant up to `span_ns` at which a job can be due; one due within its jitter is due at 0.
    fn last_due_ns(&self, span_ns: i64) -> Option<i64> {
        let tasks = self.tasks;
        let of_task = |k: usize| {
            let first_ns = tasks.deadline_ns[k] - tasks.jitter_ns[k];
            let jobs = span_ns.checked_sub(first_ns)?.div_euclid(tasks.period_ns[k]);
            (jobs >= 0).then(|| (first_ns + jobs * tasks.period_ns[k]).max(0))
        };
        if span_ns < 0 { None } else { (0..tasks.len()).filter_map(of_task).max() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::task_set::{Release, Task};

    /// Tasks of `(period, deadline, charged, jitter)`.
    fn set(tasks: &[(u64, u64, u64, u64)]) -> TaskSet {
        let task = |&(period_ns, deadline_ns, charged_ns, jitter_ns)| Task {
            priority: 0,
            period_ns,
            deadline_ns,
            charged_ns,
            jitter_ns,
            blocking_ns: 0,
            release: Release::FreeRunning,
        };
        TaskSet::new(&tasks.iter().map(task).collect::<Vec<_>>()).expect("well-formed tasks")
    }

    fn limit_of(tasks: &[(u64, u64, u64, u64)]) -> Option<(u128, u128)> {
        limit(&set(tasks)).map(|limit| (limit.numerator_ns, limit.denominator))
    }

    /// The work of one task's jobs counted job by job: the first arrives at 0 and is released as late as its jitter
    /// lets it, which begins the span; the others are released as soon as that allows.
    fn counted(&(period, deadline, charged, jitter): &(u64, u64, u64, u64), span: u64) -> u64 {
        let deadlines = (0..).map(|job| job * period + deadline);
        deadlines.take_while(|due| *due <= jitter + span).map(|_| charged).sum()
    }

    /// Buttazzo 2011, processor demand example (from memory): L* = 25, U = 11 / 12, demand of 16 at 16.
    #[test]
    fn published_demand_and_limit() {
        let tasks = [(6, 4, 2, 0), (8, 5, 2, 0), (9, 7, 3, 0)];
        let demand = [(4, 2), (5, 4), (7, 7), (10, 9), (13, 11), (16, 16), (21, 18), (22, 20)];
        for (span, work) in demand {
            assert_eq!(demand_bound_ns(&set(&tasks), span), work, "at {span}");
        }
        assert_eq!(limit_of(&tasks), Some((25, 1)));
        assert_eq!(hyperperiod_ns(&set(&tasks)), Some(72));
        assert_eq!(on_own_core(&set(&tasks)), OwnCore::Borne);
    }

    /// A worked exercise of public course notes: L* = 4.5, one deadline to look at.
    #[test]
    fn published_limit_between_two_ticks() {
        let tasks = [(4, 3, 1, 0), (9, 9, 3, 0), (12, 10, 3, 0)];
        assert_eq!(limit_of(&tasks), Some((9, 2)));
        assert_eq!(on_own_core(&set(&tasks)), OwnCore::Borne);
    }

    #[test]
    fn demand_is_that_of_the_jobs_counted_one_by_one() {
        let tasks = [(6, 4, 2, 0), (8, 5, 2, 3), (9, 14, 1, 2), (10, 30, 1, 25)];
        for span in 0..200 {
            let expected: u64 = tasks.iter().map(|task| counted(task, span)).sum();
            assert_eq!(demand_bound_ns(&set(&tasks), span), expected, "at {span}");
        }
    }

    #[test]
    fn no_span_from_the_limit_on_is_passed() {
        let tasks = [(6, 5, 1, 3), (8, 5, 2, 1), (9, 12, 3, 2)];
        let limit = limit(&set(&tasks)).expect("U is below 1");
        for span in (limit.numerator_ns / limit.denominator) as u64 + 1..500 {
            assert!(demand_bound_ns(&set(&tasks), span) <= span, "at {span}");
        }
    }

    #[test]
    fn exactly_full_one_tick_over_and_more_than_all() {
        assert_eq!(on_own_core(&set(&[(2, 2, 1, 0), (4, 4, 2, 0)])), OwnCore::Borne);
        assert_eq!(limit_of(&[(2, 2, 1, 0), (4, 4, 2, 0)]), None, "the whole core is asked for");
        assert_eq!(on_own_core(&set(&[(2, 2, 1, 0), (4, 3, 2, 0)])), OwnCore::Borne);
        assert_eq!(on_own_core(&set(&[(2, 1, 1, 0), (4, 2, 2, 0)])), OwnCore::Passed { span_ns: 2 });
        assert_eq!(on_own_core(&set(&[(4, 2, 1, 3)])), OwnCore::Passed { span_ns: 0 });
        assert_eq!(on_own_core(&set(&[(2, 2, 2, 0), (9, 9, 1, 0)])), OwnCore::Overloaded);
        assert_eq!(on_own_core(&set(&[])), OwnCore::Borne);
    }

    #[test]
    fn extreme_numbers_are_answered() {
        let long = (1 << 50) - 1;
        assert_eq!(demand_bound_ns(&set(&[(1, 1, 1 << 40, 0)]), u64::MAX), u64::MAX);
        assert_eq!(on_own_core(&set(&[(long, long, 1, 0), (long - 1, long, 1, 0)])), OwnCore::GaveUp);
    }
}
