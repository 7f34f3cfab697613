//! Free-running release: worst responses when no task's arrivals know the frame.
//!
//! Computes: for every task of a partition the worst response over all phases of all tasks against
//! the window table and each other.
//! Source: critical instant and busy window: Liu & Layland 1973; Lehoczky 1990 (arbitrary
//! deadlines); Tindell, Burns & Wellings 1994 (jitter, blocking); busy windows that begin where a
//! static partition's window ends: Mok, Feng & Chen 2001. Warm starts: Sjödin & Hansson 1998.
//! Assumptions: preemptive fixed priorities, one core; blocking once in a busy window; jitter of
//! each job for itself; jobs of a task in order.
//! Symbols: `s` busy-window start; `q` own job of the busy window, from 0; `B`, `C'`, `T`, `J`
//! of a task; `S(s, t)` supply; all times in ns.
//! `finish(q) = min { t : S(s, t) >= B + (q + 1) C' + sum of ceil((t + J_j) / T_j) C'_j }`,
//! `R = max over s and q of finish(q) + J - q T`.
//! Where a window's head takes some of the first frame alone (`lost` ns), one more busy window begins there with `B` and
//! every `J` zero and `lost` in `B`'s place: no arrival is earlier, and a release before the head's end gains nothing.
//! Invariants and why it ends: every round adds at least one release, and work never shrinks. The
//! busy window of a start ends when the own next job cannot have arrived by the finish. Demand
//! above supply is answered at once with its shortfall. Otherwise one lcm of periods and frame is enough:
//! one lcm later no job finishes more than one lcm later. A limit on the rounds guards extreme inputs.
//! Differs from the source: the exact supply from every window end, not the least supply curve,
//! which may take one span from one phase and the next from another.
//! Checked by: published examples under full supply, the vessel's 39 responses, the brute-force oracle, runs
//! of the first frame.

use super::{Bound, Exactness, GaveUp, Inexact, Response};
use crate::scratch::Scratch;
use crate::supply::{BusyStart, Cursor, FARTHEST_NS, NEVER, Supply};
use crate::task_set::TaskSet;
use crate::{arithmetic, demand};

/// Rounds of one first-job search; a longer one is left to the search of the whole busy window.
const FIRST_JOB_ROUNDS: u32 = 1 << 16;
/// Rounds of the whole busy-window search of one task.
pub(super) const BUSY_WINDOW_ROUNDS: u32 = 1 << 22;

/// The worst response of every task, in the order in which the tasks were given.
pub fn worst_responses(supply: &Supply, tasks: &TaskSet) -> Vec<Response> {
    let worst = worst_from(supply, tasks, supply.busy_starts());
    match at_boot(supply, tasks) {
        Some(boot) => {
            let of_boot = worst_from(supply, &boot, &[BusyStart::FRAME_BEGIN]).into_iter().map(Response::begun_at_boot);
            worst.into_iter().zip(of_boot).map(|(any, boot)| any.or_at_boot(boot)).collect()
        }
        None => worst,
    }
}

/// The tasks at the begin of the first frame, where some of its supply is lost.
pub(crate) fn at_boot(supply: &Supply, tasks: &TaskSet) -> Option<TaskSet> {
    (supply.boot_ns() > 0).then(|| tasks.at_boot(supply.boot_loss_ns()))
}

/// The worst response of every task over busy windows from `starts`.
fn worst_from(supply: &Supply, tasks: &TaskSet, starts: &[BusyStart]) -> Vec<Response> {
    let mut scratch = Scratch::new(First { finish_ns: -1, start_ns: 0 }, tasks.len());
    let first = scratch.as_mut_slice();
    first_jobs(supply, tasks, starts, first);
    let covered = !tasks.all_free_running();
    let answer = |&position: &usize| {
        let worst = match first[position].settled(tasks.jitter_ns[position]) {
            Some(worst) => worst,
            None => match whole_busy_window(supply, tasks, starts, position) {
                Ok(worst) => worst,
                Err(none) => return none,
            },
        };
        Response::Bounded(worst.bound(exactness(supply, tasks, position, covered)))
    };
    tasks.position.iter().map(answer).collect()
}

/// The first job of the busy window that surely passes the deadline, for the task at `index` of the list given,
/// although its responses may have no bound. None where no job of at most the limit does, or the more urgent tasks
/// leave it nothing.
pub fn first_miss(supply: &Supply, tasks: &TaskSet, index: usize) -> Option<Bound> {
    let position = tasks.position[index];
    if position >= tasks.before_overload() {
        return None;
    }
    let deadline_ns = tasks.deadline_ns[position];
    // Within this time the work of all tasks together cannot pass 2^61 ns, however overloaded they are.
    let horizon_ns = FARTHEST_NS / (4 * (tasks.len() as i64 + 1));
    let mut search = Search { jobs: u64::MAX, horizon_ns, enough_ns: deadline_ns, rounds: BUSY_WINDOW_ROUNDS };
    let mut next_ns = Scratch::new(0, tasks.len());
    let mut busy = BusyWindow { supply, tasks, next_ns: next_ns.as_mut_slice() };
    let from = |&start: &BusyStart| {
        let mut worst = NOTHING_YET;
        search.follow(&mut busy, start, position, &mut worst);
        (worst.response_ns > deadline_ns).then_some(worst)
    };
    let earliest = supply.busy_starts().iter().filter_map(from).min_by_key(|worst| worst.job)?;
    Some(earliest.bound(exactness(supply, tasks, position, !tasks.all_free_running())))
}

/// Whether every task meets its deadline; every charged time is within its period and deadline. The start that a
/// deadline is missed from is moved to the front, since the next trial often misses from there too.
pub(super) fn deadlines_met(supply: &Supply, tasks: &TaskSet, starts: &mut [BusyStart]) -> bool {
    let mut next_ns = Scratch::new(0, tasks.len());
    let mut busy = BusyWindow { supply, tasks, next_ns: next_ns.as_mut_slice() };
    let missed = (0..starts.len()).find(|&k| !first_deadlines_met(&mut busy, starts[k]));
    if let Some(missed) = missed {
        starts.swap(0, missed);
        return false;
    }
    let beyond_period = (0..tasks.len()).filter(|&k| tasks.deadline_ns[k] > tasks.period_ns[k]);
    beyond_period
        .map(|position| (position, whole_busy_window(supply, tasks, starts, position)))
        .all(|(position, worst)| worst.is_ok_and(|worst| worst.response_ns <= tasks.deadline_ns[position]))
}

/// Whether from `start` every task whose deadline is within its period meets it; then only its first job counts.
fn first_deadlines_met(busy: &mut BusyWindow<'_>, start: BusyStart) -> bool {
    let tasks = busy.tasks;
    busy.first_jobs(start, &tasks.first_deadline_ns, |position, finish_ns| {
        finish_ns <= tasks.first_deadline_ns[position] || tasks.deadline_ns[position] > tasks.period_ns[position]
    })
}

/// The latest completion found so far, counted from the arrival of its job.
#[derive(Clone, Copy)]
pub(super) struct Worst {
    pub(super) response_ns: i64,
    busy_start_ns: i64,
    arrival_ns: i64,
    job: u64,
}

pub(super) const NOTHING_YET: Worst = Worst { response_ns: 0, busy_start_ns: 0, arrival_ns: 0, job: 0 };

fn exactness(supply: &Supply, tasks: &TaskSet, position: usize, covered: bool) -> Exactness {
    if let Some(why) = Inexact::of_supply(supply.kind()) {
        Exactness::Bound(why)
    } else if tasks.has_equal(position) {
        Exactness::Bound(Inexact::EqualPriority)
    } else if !tasks.blocking_attained[position] {
        Exactness::Bound(Inexact::BlockerTooShort)
    } else if covered {
        Exactness::Bound(Inexact::TakenAsFreeRunning)
    } else {
        Exactness::Exact
    }
}

/// The latest finish of a first job from any start; [`NEVER`] where from some start the own next job can have arrived
/// by then, so that the whole busy window has to be looked at.
#[derive(Clone, Copy)]
struct First {
    finish_ns: i64,
    start_ns: i64,
}

impl First {
    fn settled(self, jitter_ns: i64) -> Option<Worst> {
        (self.finish_ns != NEVER).then(|| Worst {
            response_ns: self.finish_ns + jitter_ns,
            busy_start_ns: self.start_ns,
            arrival_ns: self.start_ns - jitter_ns,
            job: 0,
        })
    }
}

/// The latest first jobs by position.
fn first_jobs(supply: &Supply, tasks: &TaskSet, starts: &[BusyStart], latest: &mut [First]) {
    let (countable, overloaded) = latest.split_at_mut(tasks.before_overload());
    overloaded.fill(First { finish_ns: NEVER, start_ns: 0 });
    let limits_ns = &tasks.first_limit_ns[..countable.len()];
    let mut next_ns = Scratch::new(0, tasks.len());
    let mut busy = BusyWindow { supply, tasks, next_ns: next_ns.as_mut_slice() };
    for &start in starts {
        busy.first_jobs(start, limits_ns, |position, finish_ns| {
            let finish_ns = if finish_ns > limits_ns[position] { NEVER } else { finish_ns };
            if finish_ns > countable[position].finish_ns {
                countable[position] = First { finish_ns, start_ns: start.at_ns };
            }
            true
        });
    }
}

impl Worst {
    pub(super) fn bound(self, exactness: Exactness) -> Bound {
        Bound {
            response_ns: self.response_ns as u64, // A sum of times that are not negative.
            busy_start_ns: self.busy_start_ns,
            arrival_ns: self.arrival_ns,
            job: self.job,
            exactness,
            at_boot: false,
        }
    }

    /// Takes a job of the busy window from `start` if it responds later; both instants count from there.
    pub(super) fn take_later(&mut self, start: BusyStart, job: u64, arrival_ns: i64, finish_ns: i64) {
        let response_ns = finish_ns - arrival_ns;
        if response_ns > self.response_ns {
            *self = Self { response_ns, busy_start_ns: start.at_ns, arrival_ns: start.at_ns + arrival_ns, job };
        }
    }
}

fn whole_busy_window(
    supply: &Supply,
    tasks: &TaskSet,
    starts: &[BusyStart],
    position: usize,
) -> Result<Worst, Response> {
    if let Some(shortfall) = demand::shortfall(supply, tasks, tasks.level(position)) {
        return Err(Response::Unbounded(Box::new(shortfall)));
    }
    let jobs = jobs_of_one_lcm(supply, tasks, position);
    let mut search = Search { jobs, horizon_ns: FARTHEST_NS, enough_ns: NEVER, rounds: BUSY_WINDOW_ROUNDS };
    let mut next_ns = Scratch::new(0, tasks.len());
    let mut busy = BusyWindow { supply, tasks, next_ns: next_ns.as_mut_slice() };
    let mut worst = NOTHING_YET;
    for &start in starts {
        if !search.follow(&mut busy, start, position, &mut worst) {
            return Err(Response::GaveUp(GaveUp::BusyWindowTooLong));
        }
    }
    Ok(worst)
}

/// How far the own jobs of a busy window are followed.
struct Search {
    /// At most so many jobs.
    jobs: u64,
    /// No finish after this, in ns from the start.
    horizon_ns: i64,
    /// No further once some response is above this, in ns.
    enough_ns: i64,
    /// Rounds left, over all starts.
    rounds: u32,
}

impl Search {
    /// Follows the own jobs of the busy window from one start; false where rounds or horizon are used up.
    fn follow(&mut self, busy: &mut BusyWindow<'_>, start: BusyStart, position: usize, worst: &mut Worst) -> bool {
        let tasks = busy.tasks;
        let level = tasks.level(position);
        let mut work = busy.restart(start, position);
        let mut arrival_ns = -tasks.jitter_ns[position];
        for job in 0..self.jobs {
            let finish_ns = work.settle(&mut busy.next_ns[level.clone()], tasks, self.horizon_ns, &mut self.rounds);
            if finish_ns > self.horizon_ns {
                return false;
            }
            worst.take_later(start, job, arrival_ns, finish_ns);
            arrival_ns += tasks.period_ns[position];
            if finish_ns <= arrival_ns || worst.response_ns > self.enough_ns {
                break;
            }
            work.counted_ns += tasks.charged_ns[position];
        }
        true
    }
}

/// The own jobs in one lcm of the frame and the periods of the level; without end where it passes `u64`.
pub(super) fn jobs_of_one_lcm(supply: &Supply, tasks: &TaskSet, position: usize) -> u64 {
    let periods = tasks.period_ns[tasks.level(position)].iter().map(|&period_ns| period_ns as u64);
    let lcm_ns = arithmetic::lcm_of(periods.chain([supply.frame_ns()]));
    lcm_ns.map_or(u64::MAX, |lcm_ns| lcm_ns / tasks.period_ns[position] as u64)
}

/// Busy windows of one partition, one after the other.
struct BusyWindow<'a> {
    supply: &'a Supply,
    tasks: &'a TaskSet,
    /// The next release of each other task that the work so far does not hold yet.
    next_ns: &'a mut [i64],
}

impl<'a> BusyWindow<'a> {
    /// Tells `take` for each of the first positions, one for each of `limits_ns`, the finish of its first job from
    /// `start`, or some instant above its limit where it finishes later; ends early, with false, where `take` says so.
    ///
    /// It goes on from the work of one position to the next: a less urgent task finishes no sooner.
    #[inline]
    fn first_jobs(&mut self, start: BusyStart, limits_ns: &[i64], mut take: impl FnMut(usize, i64) -> bool) -> bool {
        let tasks = self.tasks;
        let mut work = Work::new(self.supply, start);
        let mut blocked_before_ns = 0;
        for (position, &limit_ns) in limits_ns.iter().enumerate() {
            // More blocking and the own job, where that does not count too much; nothing is counted before the first.
            let blocking_ns = tasks.blocking_ns[position];
            let more_ns = tasks.charged_ns[position] + blocking_ns - blocked_before_ns;
            blocked_before_ns = blocking_ns;
            if more_ns >= 0 && tasks.follows_alone(position) {
                work.counted_ns += more_ns;
            } else {
                work = self.restart(start, position);
            }
            let others_end = tasks.others_end(position);
            let mut rounds = FIRST_JOB_ROUNDS;
            let finish_ns = work.settle(&mut self.next_ns[..others_end], tasks, limit_ns, &mut rounds);
            self.next_ns[position] = tasks.first_limit_ns[position];
            work.earliest_ns = work.earliest_ns.min(self.next_ns[position]);
            if !take(position, finish_ns) {
                return false;
            }
        }
        true
    }

    /// Blocking and the first job at `position`, before any other release.
    fn restart(&mut self, start: BusyStart, position: usize) -> Work<'a> {
        let level = self.tasks.level(position);
        for (next_ns, jitter_ns) in self.next_ns[level.clone()].iter_mut().zip(&self.tasks.jitter_ns[level]) {
            *next_ns = -jitter_ns;
        }
        self.next_ns[position] = NEVER; // Own jobs are added one by one.
        let mut work = Work::new(self.supply, start);
        work.counted_ns = self.tasks.blocking_ns[position] + self.tasks.charged_ns[position];
        work.earliest_ns = i64::MIN; // Not known before the first look.
        work
    }
}

/// The work of one busy window, grown release by release up to a fixed point.
struct Work<'a> {
    cursor: Cursor<'a>,
    /// Blocking, own jobs, and every other job released before the instant looked at.
    counted_ns: i64,
    /// No job that is not counted yet is released before this, so that most last rounds need no look at the tasks.
    earliest_ns: i64,
}

impl<'a> Work<'a> {
    fn new(supply: &'a Supply, start: BusyStart) -> Self {
        Self { cursor: Cursor::new(supply, start), counted_ns: 0, earliest_ns: NEVER }
    }

    /// Adds releases until none falls before the finish; then that finish, or the first instant above `limit_ns`;
    /// [`NEVER`] where the rounds are used up.
    #[inline(always)]
    fn settle(&mut self, next_ns: &mut [i64], tasks: &TaskSet, limit_ns: i64, rounds: &mut u32) -> i64 {
        let charged_ns = &tasks.charged_ns[..next_ns.len()];
        let period_ns = &tasks.period_ns[..next_ns.len()];
        while *rounds > 0 {
            *rounds -= 1;
            let finish_ns = self.cursor.finish(self.counted_ns);
            if finish_ns > limit_ns || finish_ns <= self.earliest_ns {
                return finish_ns;
            }
            let released = release_before(finish_ns, next_ns, charged_ns, period_ns);
            self.earliest_ns = released.earliest_ns;
            if released.work_ns == 0 {
                return finish_ns;
            }
            self.counted_ns += released.work_ns;
        }
        NEVER
    }
}

/// What a look at the tasks found.
struct Released {
    /// The work of the jobs that are counted now.
    work_ns: i64,
    /// The earliest release that is not.
    earliest_ns: i64,
}

/// Counts the jobs that are released before `instant_ns` and not counted yet.
#[inline(always)]
fn release_before(instant_ns: i64, next_ns: &mut [i64], charged_ns: &[i64], period_ns: &[i64]) -> Released {
    let mut released = Released { work_ns: 0, earliest_ns: NEVER };
    for ((next_ns, &charged_ns), &period_ns) in next_ns.iter_mut().zip(charged_ns).zip(period_ns) {
        if *next_ns < instant_ns {
            if instant_ns - *next_ns > 8 * period_ns {
                let jobs = (instant_ns - 1 - *next_ns) / period_ns;
                *next_ns += jobs * period_ns;
                released.work_ns += jobs * charged_ns;
            }
            while *next_ns < instant_ns {
                *next_ns += period_ns;
                released.work_ns += charged_ns;
            }
        }
        released.earliest_ns = released.earliest_ns.min(*next_ns);
    }
    released
}
