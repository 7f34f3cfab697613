//! Earliest deadline first: worst responses when no task's arrivals know the frame.
//!
//! Computes: for every task of a partition the worst response over all phases of all tasks against the supply and each
//! other, deadlines of any length, jitter.
//! Source: deadline busy periods: Spuri 1996 (Analysis of deadline scheduled real-time systems, INRIA report 2772, from
//! memory); the exact supply from every window end is ours, by the argument for fixed priorities: a busy period that begins
//! elsewhere gets no less in any span than one that begins at the last window end before it, and nothing else in it
//! depends on where it begins.
//! Assumptions: preemptive earliest deadline first, one core; a job of an earlier deadline that becomes ready goes first at
//! once, but for blocking once in a busy period; jitter of each job for itself; jobs of a task in order.
//! Symbols: `s` the busy period's begin; `a` arrival of the job looked at, counted from `s`; `d = a + D` its deadline;
//! `C'`, `T`, `J`, `B` of a task; `S(s, t)` supply; all times in ns. Of another task `j` there are jobs in order from an
//! arrival at `-J_j` on; `n_j(d)` of them are due before `d`, or at `d` and go first.
//! `f(a) = min { t : S(s, t) >= B(d) + (floor((a + J) / T) + 1) C' + sum of min(n_j(d), ceil((t + J_j) / T_j)) C'_j }`,
//! `R = max over s and a of f(a) - a`. `B(d)` is the greatest blocking time of the tasks with `D - J <= d`, and 0 where no
//! task has a deadline above `d`: whoever blocks has begun before `s` and is due after `d`.
//! Invariants and why it ends: between two instants at which some `n_j`, or the number of own jobs, grows, `f` stays and the
//! response falls, so only those `a` count, and only below the busy period of all tasks; or below one lcm of periods and
//! frame: one lcm later no job finishes more than one lcm later. Demand above supply is answered at once with its
//! shortfall. A limit on the rounds guards extreme inputs.
//! Differs from the source: supply; equal deadlines as the order of jobs has them. A job that is released late may find one of
//! an equal deadline begun, so with own jitter all of those are counted; the bound is called exact where that adds nothing.
//! Checked by: the demand test of `crate::demand_bound` (feasible exactly where every response is within its deadline), the
//! brute-force oracle, replayed scenarios.

use super::free_running::{self, BUSY_WINDOW_ROUNDS, NOTHING_YET, Worst};
use super::{Exactness, GaveUp, Inexact, Response};
use crate::counted::goes_first;
use crate::supply::{BusyStart, Cursor, NEVER, Supply};
use crate::task_set::TaskSet;
use crate::{arithmetic, demand};

/// The worst response of every task, in the order in which the tasks were given.
pub fn worst_responses(supply: &Supply, tasks: &TaskSet) -> Vec<Response> {
    if let Some(shortfall) = demand::shortfall(supply, tasks, 0..tasks.len()) {
        return vec![Response::Unbounded(Box::new(shortfall)); tasks.len()];
    }
    let any_frame = BusyPeriods::new(supply, tasks, supply.busy_starts(), 0);
    let boot = free_running::at_boot(supply, tasks).map(TaskSet::without_blocking);
    let lost_ns = supply.boot_loss_ns() as i64; // At most some frames of supply.
    let at_boot = boot.as_ref().map(|boot| BusyPeriods::new(supply, boot, &[BusyStart::FRAME_BEGIN], lost_ns));
    let answer = |&position: &usize| {
        let any = any_frame.response(position);
        match &at_boot {
            Some(boot) => any.or_at_boot(boot.response(position).begun_at_boot()),
            None => any,
        }
    };
    tasks.position.iter().map(answer).collect()
}

/// The busy period of all tasks together from one start, in ns; at most `most_ns`, and none where the rounds are used up.
pub(crate) fn whole_length_ns(
    supply: &Supply,
    tasks: &TaskSet,
    start: BusyStart,
    first_ns: i64,
    most_ns: i64,
) -> Option<i64> {
    let mut cursor = Cursor::new(supply, start);
    let mut length_ns = 1;
    for _ in 0..BUSY_WINDOW_ROUNDS {
        let work_ns = (0..tasks.len()).map(|k| released_before(tasks, k, length_ns) * tasks.charged_ns[k]).sum::<i64>();
        let later_ns = cursor.finish(first_ns + work_ns);
        if later_ns >= most_ns {
            return Some(most_ns);
        }
        if later_ns <= length_ns {
            return Some(later_ns);
        }
        length_ns = later_ns;
    }
    None
}

/// The lcm of the frame and all periods, and at most the greatest number.
pub(crate) fn lcm_ns(supply: &Supply, tasks: &TaskSet) -> i64 {
    let periods = tasks.period_ns.iter().map(|&period_ns| period_ns as u64);
    let lcm_ns = arithmetic::lcm_of(periods.chain([supply.frame_ns()]));
    lcm_ns.and_then(|lcm_ns| i64::try_from(lcm_ns).ok()).unwrap_or(NEVER)
}

/// The greatest blocking time of tasks that can have a job due by `deadline_ns`, where some other task can have begun a job
/// that is due later; positions go by deadline.
pub(crate) fn blocking_before_ns(tasks: &TaskSet, deadline_ns: i64) -> i64 {
    let [second_ns, latest_ns] = two_latest_ns(tasks);
    let latest = tasks.len().wrapping_sub(1);
    let blocked = |k: &usize| {
        let others_ns = if *k == latest { second_ns } else { latest_ns };
        tasks.deadline_ns[*k] - tasks.jitter_ns[*k] <= deadline_ns && deadline_ns < others_ns
    };
    (0..tasks.len()).filter(blocked).map(|k| tasks.blocking_ns[k]).fold(0, i64::max)
}

/// The two longest deadlines, the longest last; below all numbers where there are fewer tasks. From the one up to the other, and outside
/// of both, [`blocking_before_ns`] never falls.
pub(crate) fn two_latest_ns(tasks: &TaskSet) -> [i64; 2] {
    let mut longest = tasks.deadline_ns.iter().rev().copied();
    let latest_ns = longest.next().unwrap_or(i64::MIN);
    [longest.next().unwrap_or(i64::MIN), latest_ns]
}

/// The jobs that can be released within `span_ns` of the begin, which is above 0.
fn released_before(tasks: &TaskSet, k: usize, span_ns: i64) -> i64 {
    (span_ns + tasks.jitter_ns[k] - 1) / tasks.period_ns[k] + 1
}

/// The busy periods of one partition that begin at `starts`.
struct BusyPeriods<'a> {
    supply: &'a Supply,
    tasks: &'a TaskSet,
    starts: &'a [BusyStart],
    /// Work that goes before all jobs, whatever their deadlines.
    first_ns: i64,
    /// The busy period of all tasks, by start; none where it was not found.
    lengths_ns: Option<Vec<i64>>,
    /// One lcm of the periods and the frame.
    lcm_ns: i64,
}

impl<'a> BusyPeriods<'a> {
    fn new(supply: &'a Supply, tasks: &'a TaskSet, starts: &'a [BusyStart], first_ns: i64) -> Self {
        let lcm_ns = lcm_ns(supply, tasks);
        let most_blocked_ns = tasks.blocking_ns.iter().copied().fold(first_ns, i64::max);
        let length_ns = |&start: &BusyStart| whole_length_ns(supply, tasks, start, most_blocked_ns, lcm_ns);
        let lengths_ns = starts.iter().map(length_ns).collect();
        Self { supply, tasks, starts, first_ns, lengths_ns, lcm_ns }
    }

    fn response(&self, position: usize) -> Response {
        let jitter = self.tasks.jitter_ns[position] > 0;
        let in_order = self.worst(position, false);
        let found = if jitter { self.worst(position, true) } else { in_order };
        match (found, in_order) {
            (Some(found), Some(in_order)) => {
                let ties = found.worst.response_ns > in_order.worst.response_ns;
                let found = if ties { found } else { in_order };
                Response::Bounded(found.worst.bound(self.exactness(found.blocked, ties)))
            }
            _ => Response::GaveUp(GaveUp::BusyWindowTooLong),
        }
    }

    fn exactness(&self, blocked: bool, ties: bool) -> Exactness {
        if let Some(why) = Inexact::of_supply(self.supply.kind()) {
            Exactness::Bound(why)
        } else if blocked {
            Exactness::Bound(Inexact::DeadlineBlocking)
        } else if !self.tasks.all_free_running() {
            Exactness::Bound(Inexact::TakenAsFreeRunning)
        } else if ties {
            Exactness::Bound(Inexact::EqualDeadline)
        } else {
            Exactness::Exact
        }
    }

    /// The worst job of the task; with `all_ties` every other job of an equal deadline goes first. None where the rounds are
    /// used up.
    fn worst(&self, position: usize, all_ties: bool) -> Option<Found> {
        let mut found = Found { worst: NOTHING_YET, blocked: false };
        let mut rounds = BUSY_WINDOW_ROUNDS;
        for (&start, &length_ns) in self.starts.iter().zip(self.lengths_ns.as_ref()?) {
            let end_ns = length_ns.min(self.lcm_ns - self.tasks.jitter_ns[position]);
            let mut period = BusyPeriod::new(self, start, position, all_ties);
            while let Some(arrival_ns) = period.next_arrival(end_ns) {
                let (finish_ns, blocked) = period.finish(arrival_ns, &mut rounds)?;
                let later_ns = found.worst.response_ns;
                found.worst.take_later(start, period.own_jobs as u64 - 1, arrival_ns, finish_ns);
                if found.worst.response_ns > later_ns {
                    found.blocked = blocked;
                }
            }
        }
        Some(found)
    }
}

/// The worst job found, and whether blocking is in its response.
#[derive(Clone, Copy)]
struct Found {
    worst: Worst,
    blocked: bool,
}

/// The arrivals of jobs of one task from which on some more job goes first, one after the other.
pub(crate) struct Candidates {
    /// The earliest one, as early as the jitter lets it.
    earliest_ns: i64,
    /// The arrival from which one more job of each task goes first; for the own task its next arrival.
    next_ns: Vec<i64>,
}

impl Candidates {
    /// With `all_ties` every other job of an equal deadline goes first.
    pub(crate) fn new(tasks: &TaskSet, position: usize, all_ties: bool) -> Self {
        let next_ns = |k: usize| {
            let due_ns = tasks.deadline_ns[k] - tasks.jitter_ns[k];
            due_ns - tasks.deadline_ns[position] + i64::from(!all_ties && !goes_first(tasks, k, position))
        };
        Self { earliest_ns: -tasks.jitter_ns[position], next_ns: (0..tasks.len()).map(next_ns).collect() }
    }

    /// The next one, before `end_ns`; the first is the earliest, wherever that is. `more` is told of each task how many more of its jobs go
    /// first from there on.
    pub(crate) fn next(&mut self, tasks: &TaskSet, end_ns: i64, mut more: impl FnMut(usize, i64)) -> Option<i64> {
        let arrival_ns = self.next_ns.iter().copied().fold(NEVER, i64::min).max(self.earliest_ns);
        if arrival_ns >= end_ns.max(self.earliest_ns + 1) {
            return None;
        }
        for (k, next_ns) in self.next_ns.iter_mut().enumerate() {
            if *next_ns <= arrival_ns {
                let jobs = (arrival_ns - *next_ns) / tasks.period_ns[k] + 1;
                *next_ns += jobs * tasks.period_ns[k];
                more(k, jobs);
            }
        }
        Some(arrival_ns)
    }
}

/// One busy period, for later and later jobs of one task.
struct BusyPeriod<'a> {
    periods: &'a BusyPeriods<'a>,
    start: BusyStart,
    position: usize,
    candidates: Candidates,
    /// How many jobs of each other task go first.
    due: Vec<i64>,
    own_jobs: i64,
    cursor: Cursor<'a>,
    finish_ns: i64,
    blocking_ns: i64,
}

impl<'a> BusyPeriod<'a> {
    fn new(periods: &'a BusyPeriods<'a>, start: BusyStart, position: usize, all_ties: bool) -> Self {
        Self {
            periods,
            start,
            position,
            candidates: Candidates::new(periods.tasks, position, all_ties),
            due: vec![0; periods.tasks.len()],
            own_jobs: 0,
            cursor: Cursor::new(periods.supply, start),
            finish_ns: 1,
            blocking_ns: 0,
        }
    }

    /// The next arrival that counts, before `end_ns`.
    fn next_arrival(&mut self, end_ns: i64) -> Option<i64> {
        let due = &mut self.due;
        let arrival_ns = self.candidates.next(self.periods.tasks, end_ns, |k, jobs| due[k] += jobs)?;
        self.own_jobs += std::mem::take(&mut self.due[self.position]);
        Some(arrival_ns)
    }

    /// When the job that arrives then is done at the latest, and whether it is blocked; none where the rounds are used up.
    fn finish(&mut self, arrival_ns: i64, rounds: &mut u32) -> Option<(i64, bool)> {
        let tasks = self.periods.tasks;
        let blocking_ns = blocking_before_ns(tasks, arrival_ns + tasks.deadline_ns[self.position]);
        if blocking_ns < self.blocking_ns {
            self.cursor = Cursor::new(self.periods.supply, self.start);
            self.finish_ns = 1;
        }
        self.blocking_ns = blocking_ns;
        let own_ns = self.own_jobs * tasks.charged_ns[self.position];
        let before_ns = self.periods.first_ns + blocking_ns + own_ns;
        while *rounds > 0 {
            *rounds -= 1;
            let others = |k: usize| self.due[k].min(released_before(tasks, k, self.finish_ns)) * tasks.charged_ns[k];
            let later_ns = self.cursor.finish(before_ns + (0..tasks.len()).map(others).sum::<i64>());
            if later_ns <= self.finish_ns {
                return Some((self.finish_ns, blocking_ns > 0));
            }
            if later_ns == NEVER {
                return None;
            }
            self.finish_ns = later_ns;
        }
        None
    }
}
