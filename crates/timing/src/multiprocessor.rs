//! Tasks that run on whichever of several virtual cores is free.
//!
//! Computes: for every task of a partition that is scheduled globally over its virtual cores whether no job misses its
//! deadline, and under fixed priorities a bound on its response.
//! Source: the test by the window of one job: Baker 2003; carry-in of at most all cores but one, seen from the last instant
//! at which some core was not busy: Baruah 2007; supply of several virtual cores: Shin, Easwaran & Lee 2008 (Hierarchical
//! scheduling framework for virtual clustering of multiprocessors, ECRTS 2008); workload within a window and response bound:
//! Bertogna & Cirinei 2007. From memory.
//! Assumptions: whoever waits goes on at once on any virtual core of the partition that has supply and no more urgent work;
//! a job executes on one at a time; blocking once on each virtual core in a busy window.
//! Symbols: `m` virtual cores; `sbf(L)` sum of their least supplies in spans of `L`; `C'`, `T`, `D`, `J`, `B`; the job looked at
//! is one of task `k`, released `D_k - J_k` before its deadline `d` at the latest; `a` the last instant before the release from
//! which on all supply goes to jobs due by `d`; `L = d - a`, so `L >= D_k - J_k`; times in ns. If the job is not done by `d`
//! it has executed for at most `C'_k - 1`, and all other supply went to the others:
//! `sum of min(W_i(L), L - C'_k + 1) + own + m B + m (C'_k - 1) >= sbf(L)`. No deadline is missed where this fails for all `L`.
//! Earliest deadline first: `W_i = max(0, floor((L + J_i - D_i) / T_i) + 1) C'_i`, but for at most `m - 1` tasks, which had work
//! left at `a`: `floor(L / T_i) C'_i + min(C'_i, L mod T_i)`, as the first deadline that is missed is looked at. Fixed
//! priorities: `a` is the release; of each more urgent task with its response `R_i`: `N C'_i + min(C'_i, X - N T_i)` with
//! `X = L + R_i - C'_i` and `N = floor(X / T_i)`, and `J_k` and the least such `L` bound the response.
//! Invariants and why it ends: the left side never falls as `L` grows. Where it is below `sbf` at `u <= L` already, none between
//! fails, and the search goes on below `u`. Beyond the span at which the long-run rates have parted, none fails. Fewer than
//! `m + 1` of the minima take their right side where the test passes, so executing less than `C'_k - 1` fails no other way.
//! Under fixed priorities every round lengthens `L`. A limit on the steps guards extreme inputs. Work saturates, and no supply
//! is above what it saturates at.
//! Differs from the source: supply of each virtual core, not one of all; strict inequality on whole ns; jitter, blocking.
//! Checked by: simulated runs of small sets, never later; one virtual core, where the bounds cover the exact responses.

use crate::demand::{PerFrame, enclose, shortfall_of};
use crate::response::{Bound, Exactness, GaveUp, Inexact, Response};
use crate::supply::Supply;
use crate::task_set::{Policy, TaskSet};
use num_bigint::BigUint;
use num_integer::Integer;

/// Steps of the search for one task.
const STEP_LIMIT: u32 = 1 << 14;
/// No longer span is looked at, in ns.
const LONGEST_NS: i64 = 1 << 54;

/// Bounds on the responses of `tasks` over all virtual cores of a partition, in the order in which the tasks were given. Under
/// earliest deadline first a bound is the deadline itself. [`Response::Unbounded`] says that the demand of all tasks passes
/// what all virtual cores supply, so that some response grows without end, not whose.
///
/// A cooperative guest is taken as one whose jobs all go before the one looked at.
pub fn worst_responses(supplies: &[Supply], tasks: &TaskSet) -> Vec<Response> {
    let cluster = Cluster { supplies, tasks };
    let Some(supply) = cluster.per_frame() else {
        return vec![Response::GaveUp(GaveUp::MayWaitTooLong); tasks.len()];
    };
    if let Some(shortfall) = shortfall_of(&supply, tasks, 0..tasks.len()) {
        return vec![Response::Unbounded(Box::new(shortfall)); tasks.len()];
    }
    let by_position = match tasks.policy() {
        Policy::EarliestDeadline => cluster.by_deadline(),
        Policy::FixedPriority | Policy::Cooperative => cluster.by_priority(),
    };
    tasks.position.iter().map(|&position| by_position[position].clone()).collect()
}

/// Whether every task is shown to meet its deadline.
pub fn deadlines_met(supplies: &[Supply], tasks: &TaskSet) -> bool {
    let found = worst_responses(supplies, tasks);
    found
        .iter()
        .enumerate()
        .all(|(k, found)| found.bound().is_some_and(|bound| bound.response_ns <= tasks.deadline_ns(k)))
}

fn covered(response_ns: i64) -> Response {
    Response::Bounded(Bound {
        response_ns: response_ns as u64, // At most a deadline.
        busy_start_ns: 0,
        arrival_ns: 0,
        job: 0,
        exactness: Exactness::Bound(Inexact::SeveralCores),
        at_boot: false,
    })
}

struct Cluster<'a> {
    supplies: &'a [Supply],
    tasks: &'a TaskSet,
}

impl Cluster<'_> {
    fn cores(&self) -> i64 {
        self.supplies.len() as i64
    }

    /// What all virtual cores supply in a frame; none where they have no common one.
    fn per_frame(&self) -> Option<PerFrame> {
        let frame_ns = self.supplies.first()?.frame_ns();
        let alike = self.supplies.iter().all(|supply| supply.frame_ns() == frame_ns);
        let supplied_ns = self.supplies.iter().map(Supply::per_frame_ns).fold(0, u64::saturating_add);
        alike.then_some(PerFrame { supplied_ns, frame_ns })
    }

    /// The least supply of all virtual cores; where a first frame is short of some, less that.
    fn least_supply_ns(&self, span_ns: i64) -> i64 {
        let of = |supply: &Supply| supply.least_supply_ns(span_ns as u64).saturating_sub(supply.boot_loss_ns());
        self.supplies.iter().map(of).fold(0, u64::saturating_add).min(i64::MAX as u64) as i64
    }

    /// The least span whose supply is above `work_ns`; none up to `most_ns`.
    fn span_above(&self, work_ns: i64, most_ns: i64) -> Option<i64> {
        if self.least_supply_ns(most_ns) <= work_ns {
            return None;
        }
        let (mut too_short_ns, mut enough_ns) = (0, most_ns);
        while enough_ns - too_short_ns > 1 {
            let middle_ns = too_short_ns.midpoint(enough_ns);
            if self.least_supply_ns(middle_ns) > work_ns {
                enough_ns = middle_ns;
            } else {
                too_short_ns = middle_ns;
            }
        }
        Some(enough_ns)
    }

    /// What the job of task `k` and those that block it take beside the others.
    fn own_ns(&self, k: usize, blocking_ns: i64) -> i64 {
        self.cores().saturating_mul(blocking_ns + self.tasks.charged_ns[k] - 1)
    }

    fn by_deadline(&self) -> Vec<Response> {
        let verdicts: Vec<_> = (0..self.tasks.len()).map(|k| self.meets_deadline(k)).collect();
        let all_meet = verdicts.iter().all(Result::is_ok);
        let response = |(k, verdict): (usize, Result<(), GaveUp>)| match verdict {
            Ok(()) if all_meet => covered(self.tasks.deadline_ns[k]),
            Ok(()) => Response::GaveUp(GaveUp::AnotherMayBeLate),
            Err(why) => Response::GaveUp(why),
        };
        verdicts.into_iter().enumerate().map(response).collect()
    }

    /// Whether no first missed deadline is one of task `k`.
    fn meets_deadline(&self, k: usize) -> Result<(), GaveUp> {
        let tasks = self.tasks;
        if tasks.deadline_ns[k] > tasks.period_ns[k] {
            return Err(GaveUp::DeadlineAbovePeriod);
        }
        let shortest_ns = tasks.deadline_ns[k] - tasks.jitter_ns[k];
        if shortest_ns < tasks.charged_ns[k] {
            return Err(GaveUp::MayWaitTooLong);
        }
        let mut span_ns = self.longest_span_ns(k).ok_or(GaveUp::MayWaitTooLong)?.max(shortest_ns);
        for _ in 0..STEP_LIMIT {
            let work_ns = self.work_by_deadline_ns(k, span_ns);
            let enough_ns = self.span_above(work_ns, span_ns).ok_or(GaveUp::MayWaitTooLong)?;
            span_ns = enough_ns - 1;
            if span_ns < shortest_ns {
                return Ok(());
            }
        }
        Err(GaveUp::BusyWindowTooLong)
    }

    /// Beyond this the supply has outgrown the work for good; none where it never does, or too late.
    fn longest_span_ns(&self, k: usize) -> Option<i64> {
        let tasks = self.tasks;
        let shares = |numerator: i64, denominator: i64| enclose(numerator as u128, denominator as u128);
        let used = (0..tasks.len()).map(|i| shares(tasks.charged_ns[i], tasks.period_ns[i]).1).sum::<u128>();
        let given = |supply: &Supply| shares(supply.per_frame_ns() as i64, supply.frame_ns() as i64).0;
        let apart = self.supplies.iter().map(given).sum::<u128>().checked_sub(used).filter(|&apart| apart > 0)?;
        // Within an own period more than the line of its share each task has at most two jobs and what its jitter adds.
        let ahead = |i: usize| {
            let late_ns = (tasks.period_ns[i] + tasks.jitter_ns[i] - tasks.deadline_ns[i]).max(0);
            tasks.charged_ns[i].saturating_mul(2 + late_ns / tasks.period_ns[i])
        };
        let behind = |supply: &Supply| {
            let within_lead_ns = supply.lead_ns().min(LONGEST_NS as u64);
            (supply.per_frame_ns() + within_lead_ns + supply.boot_loss_ns()) as i64
        };
        let ahead_ns = (0..tasks.len()).map(ahead).fold(0, i64::saturating_add);
        let behind_ns = self.supplies.iter().map(behind).fold(0, i64::saturating_add);
        let apart_ns = ahead_ns.saturating_add(behind_ns).saturating_add(self.own_ns(k, self.most_blocked_ns()));
        if apart_ns >= LONGEST_NS {
            return None;
        }
        let span_ns = ((apart_ns as u128) << 64) / apart + 1;
        i64::try_from(span_ns).ok().filter(|&span_ns| span_ns <= LONGEST_NS)
    }

    fn most_blocked_ns(&self) -> i64 {
        self.tasks.blocking_ns.iter().copied().fold(0, i64::max)
    }

    /// The left side of the test for task `k` under earliest deadline first.
    fn work_by_deadline_ns(&self, k: usize, span_ns: i64) -> i64 {
        let mut carried_ns = Vec::with_capacity(self.tasks.len());
        let mut work_ns = self.own_ns(k, self.most_blocked_ns());
        for i in 0..self.tasks.len() {
            let (fresh_ns, carrying_ns) =
                if i == k { self.earlier_own_ns(k, span_ns) } else { self.others_ns(i, k, span_ns) };
            work_ns = work_ns.saturating_add(fresh_ns);
            carried_ns.push((carrying_ns - fresh_ns).max(0));
        }
        carried_ns.sort_unstable_by(|a, b| b.cmp(a));
        carried_ns.into_iter().take(self.supplies.len() - 1).fold(work_ns, i64::saturating_add)
    }

    /// The work of another task, without and with some left at the begin.
    fn others_ns(&self, i: usize, k: usize, span_ns: i64) -> (i64, i64) {
        let tasks = self.tasks;
        let (charged_ns, period_ns) = (tasks.charged_ns[i], tasks.period_ns[i]);
        let due_ns = span_ns + tasks.jitter_ns[i] - tasks.deadline_ns[i];
        let fresh_ns = (due_ns.div_euclid(period_ns) + 1).max(0).saturating_mul(charged_ns);
        let most_ns = span_ns - tasks.charged_ns[k] + 1;
        (fresh_ns.min(most_ns), carried_in_ns(span_ns, charged_ns, period_ns).min(most_ns))
    }

    /// The same of earlier jobs of task `k`, which are done by the arrival of the one looked at.
    fn earlier_own_ns(&self, k: usize, span_ns: i64) -> (i64, i64) {
        let tasks = self.tasks;
        let (charged_ns, period_ns) = (tasks.charged_ns[k], tasks.period_ns[k]);
        let before_ns = span_ns - (tasks.deadline_ns[k] - tasks.jitter_ns[k]);
        let fresh_ns = (before_ns / period_ns).saturating_mul(charged_ns);
        let carrying_ns = carried_in_ns((span_ns - period_ns).max(0), charged_ns, period_ns);
        (fresh_ns.min(before_ns), carrying_ns.min(before_ns))
    }

    fn by_priority(&self) -> Vec<Response> {
        let tasks = self.tasks;
        let mut found: Vec<Response> = Vec::with_capacity(tasks.len());
        for k in 0..tasks.len() {
            let response = match self.response_by_priority(k, &found) {
                Ok(response_ns) => covered(response_ns),
                Err(why) => Response::GaveUp(why),
            };
            found.push(response);
        }
        // Equals count on each other's deadlines.
        let is_late = |found: &[Response], k: usize| found[k].bound().is_none();
        let late: Vec<bool> =
            (0..tasks.len()).map(|k| is_late(&found, k) || self.that_delay(k).any(|i| is_late(&found, i))).collect();
        for (k, response) in found.iter_mut().enumerate() {
            if late[k] && response.bound().is_some() {
                *response = Response::GaveUp(GaveUp::AnotherMayBeLate);
            }
        }
        found
    }

    /// `J` and the least span in which a job of task `k` is surely done; `before` are the responses of the more urgent ones.
    fn response_by_priority(&self, k: usize, before: &[Response]) -> Result<i64, GaveUp> {
        let tasks = self.tasks;
        let others: Vec<(usize, i64)> = self
            .that_delay(k)
            .map(|i| match before.get(i) {
                Some(Response::Bounded(bound)) => Ok((i, bound.response_ns as i64)),
                Some(_) => Err(GaveUp::AnotherMayBeLate),
                None => Ok((i, tasks.deadline_ns[i])),
            })
            .collect::<Result<_, _>>()?;
        let most_ns = tasks.deadline_ns[k].min(tasks.period_ns[k]) - tasks.jitter_ns[k];
        let mut span_ns = tasks.charged_ns[k];
        for _ in 0..STEP_LIMIT {
            if span_ns > most_ns {
                return Err(GaveUp::MayWaitTooLong);
            }
            let limit_ns = span_ns - tasks.charged_ns[k] + 1;
            let mut others_ns: Vec<i64> = others.iter().map(|&(i, r_ns)| self.in_window_ns(i, r_ns, span_ns)).collect();
            let own_ns = self.own_ns(k, tasks.blocking_ns[k]);
            let work_ns = others_ns.iter().map(|&ns| ns.min(limit_ns)).fold(own_ns, i64::saturating_add);
            let enough_ns = self.span_above(work_ns, most_ns).ok_or(GaveUp::MayWaitTooLong)?;
            // While as many as there are cores fill the window, no supply is enough; their work does not shrink.
            others_ns.sort_unstable_by(|a, b| b.cmp(a));
            let filled_ns =
                others_ns.get(self.supplies.len() - 1).map_or(0, |&ns| ns.saturating_add(tasks.charged_ns[k]));
            let enough_ns = enough_ns.max(filled_ns);
            if enough_ns <= span_ns {
                return Ok(tasks.jitter_ns[k] + span_ns);
            }
            span_ns = enough_ns;
        }
        Err(GaveUp::BusyWindowTooLong)
    }

    /// The tasks whose jobs can go before one of task `k`: all, in a guest whose begun jobs are not displaced.
    fn that_delay(&self, k: usize) -> impl Iterator<Item = usize> {
        let end = if self.tasks.policy() == Policy::Cooperative { self.tasks.len() } else { self.tasks.level(k).end };
        (0..end).filter(move |&i| i != k)
    }

    /// The most work of a task in a window, its first job there as late as its response lets it.
    fn in_window_ns(&self, i: usize, response_ns: i64, span_ns: i64) -> i64 {
        let (charged_ns, period_ns) = (self.tasks.charged_ns[i], self.tasks.period_ns[i]);
        let reach_ns = (span_ns + response_ns - charged_ns).max(0);
        let jobs = reach_ns / period_ns;
        jobs.saturating_mul(charged_ns).saturating_add(charged_ns.min(reach_ns % period_ns))
    }
}

/// The most work of jobs that are due within a span, the last at its end, and have met their deadlines so far.
fn carried_in_ns(span_ns: i64, charged_ns: i64, period_ns: i64) -> i64 {
    (span_ns / period_ns).saturating_mul(charged_ns).saturating_add(charged_ns.min(span_ns % period_ns))
}

/// What the densities of jobs say of several cores.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Density {
    /// All jobs are done in time by earliest deadline first.
    Borne,
    /// Nothing is known.
    Open,
    /// In the long run they are more than all cores.
    Overloaded,
}

/// The density test of Goossens, Funk & Baruah 2003 (from memory): jobs `(work, within)` in ns, one stream each, on `cores`
/// cores: `sum <= cores - (cores - 1) greatest`, by exact fractions. Where `within` is the period, a sum above the cores is an
/// overload.
pub fn density_of(streams: &[(u64, u64)], cores: u64) -> Density {
    let common = streams.iter().fold(BigUint::from(1u8), |common, stream| common.lcm(&BigUint::from(stream.1.max(1))));
    let shares: Vec<BigUint> = streams.iter().map(|&(work, within)| &common / within.max(1) * work).collect();
    let sum: BigUint = shares.iter().sum();
    let greatest = shares.iter().max().cloned().unwrap_or_default();
    if sum > &common * cores {
        Density::Overloaded
    } else if sum + greatest * cores.saturating_sub(1) <= common * cores {
        Density::Borne
    } else {
        Density::Open
    }
}
