//! Cooperative guests: worst responses when a begun job is not displaced by its own partition.
//!
//! Computes: for every task of a partition the worst response over all phases, fixed priorities, windows that suspend
//! whoever runs.
//! Source: George, Rivierre & Spuri 1996 (INRIA report 2966) and Davis, Burns, Bril & Lukkien 2007 (Real-Time Systems 35) for
//! the jobs of a busy window without displacement; from memory. The supply is ours, with window ends as starts by the same
//! argument as for [`super::free_running`].
//! Assumptions: one core; a job begins where the partition has supply, and has then executed for 1 ns at least before
//! another can arrive; jitter of each job for itself; jobs of a task in order.
//! Symbols: `s` busy-window start; `q` own job of the busy window, from 0; `B` the greatest `C' - 1` of the less urgent tasks;
//! `C'`, `T`, `J` of a task; `S(s, t)` supply; all times in ns. Before job `q` begins at `w` all of
//! `W(w) = B + q C' + sum of (floor((w + J_j) / T_j) + 1) C'_j` is done, what arrives at `w` itself included, and the core is
//! there: `w = min { t : S(s, t + 1) >= W(t) + 1 }`. From then on only windows suspend it:
//! `finish(q) = min { t : S(s, t) >= W(w) + C' }`, `R = max over s and q of finish(q) + J - q T`.
//! Invariants and why it ends: every round adds a release. All own jobs of the busy window of the level count, since one that
//! begins late leaves work behind itself; where its demand equals its supply, those of one lcm of periods and frame: one
//! lcm later no job finishes more than one lcm later. Demand above supply is answered at once with its shortfall.
//! Exact for distinct priorities: the work before `w` is the most that can be there, since whoever executes between `s` and
//! `w` has begun before `s` or is of the level, and it is there where all of the level is released at `s` and the longest
//! less urgent job begins 1 ns before.
//! Differs from the source: supply; equal priorities count as going first, both ways.
//! Checked by: the brute-force oracle, a closed form on a core of its own, replayed scenarios.

use super::free_running::{self, BUSY_WINDOW_ROUNDS, NOTHING_YET, Worst, jobs_of_one_lcm};
use super::{Exactness, GaveUp, Inexact, Response};
use crate::demand;
use crate::supply::{BusyStart, Cursor, NEVER, Supply};
use crate::task_set::TaskSet;

/// The worst response of every task, in the order in which the tasks were given.
pub fn worst_responses(supply: &Supply, tasks: &TaskSet) -> Vec<Response> {
    let boot = free_running::at_boot(supply, tasks);
    let answer = |&position: &usize| {
        if let Some(shortfall) = demand::shortfall(supply, tasks, tasks.level(position)) {
            return Response::Unbounded(Box::new(shortfall));
        }
        let blocking_ns = longest_begun_ns(tasks, position);
        let any = response(supply, tasks, supply.busy_starts(), position, blocking_ns);
        match &boot {
            // Nothing has begun, and what the first frame lacks goes before all jobs.
            Some(boot) => {
                let lost_ns = supply.boot_loss_ns() as i64; // At most some frames of supply.
                any.or_at_boot(response(supply, boot, &[BusyStart::FRAME_BEGIN], position, lost_ns).begun_at_boot())
            }
            None => any,
        }
    };
    tasks.position.iter().map(answer).collect()
}

/// What is left at most of a less urgent job that has begun, in ns.
pub(crate) fn longest_begun_ns(tasks: &TaskSet, position: usize) -> i64 {
    let longest_ns = tasks.charged_ns[tasks.level(position).end..].iter().copied().fold(1, i64::max);
    longest_ns - 1
}

fn response(supply: &Supply, tasks: &TaskSet, starts: &[BusyStart], position: usize, blocking_ns: i64) -> Response {
    let mut rounds = BUSY_WINDOW_ROUNDS;
    let mut worst = NOTHING_YET;
    let most_jobs = jobs_of_one_lcm(supply, tasks, position);
    for &start in starts {
        let window = Window { supply, tasks, start, position, blocking_ns };
        if window.follow(most_jobs, &mut worst, &mut rounds).is_none() {
            return Response::GaveUp(GaveUp::BusyWindowTooLong);
        }
    }
    Response::Bounded(worst.bound(exactness(supply, tasks, position)))
}

fn exactness(supply: &Supply, tasks: &TaskSet, position: usize) -> Exactness {
    if let Some(why) = Inexact::of_supply(supply.kind()) {
        Exactness::Bound(why)
    } else if tasks.has_equal(position) {
        Exactness::Bound(Inexact::EqualPriority)
    } else if !tasks.all_free_running() {
        Exactness::Bound(Inexact::TakenAsFreeRunning)
    } else {
        Exactness::Exact
    }
}

/// The busy window of one task's level from one start.
struct Window<'a> {
    supply: &'a Supply,
    tasks: &'a TaskSet,
    start: BusyStart,
    position: usize,
    blocking_ns: i64,
}

impl Window<'_> {
    /// Takes every own job of the busy window, at most `most_jobs`; none where the rounds are used up.
    fn follow(&self, most_jobs: u64, worst: &mut Worst, rounds: &mut u32) -> Option<()> {
        let (charged_ns, period_ns) = (self.tasks.charged_ns[self.position], self.tasks.period_ns[self.position]);
        let first_ns = -self.tasks.jitter_ns[self.position];
        let mut begin = Cursor::new(self.supply, self.start);
        let mut end = begin;
        let (mut begins_ns, mut done_ns) = (0, 1);
        for job in 0..most_jobs {
            let arrival_ns = first_ns + job as i64 * period_ns; // Below the busy window's end, or one lcm.
            // The busy window reaches up to this job's arrival, else it is none of its jobs.
            let reaches = |done_ns: i64| done_ns > arrival_ns;
            if job > 0 && !reaches(self.whole_until(&mut end, &mut done_ns, reaches, rounds)?) {
                break;
            }
            let own_ns = job as i64 * charged_ns;
            let work_ns = self.begins(&mut begin, own_ns, &mut begins_ns, rounds)?;
            let finish_ns = begin.finish(work_ns + charged_ns);
            if finish_ns == NEVER {
                return None;
            }
            worst.take_later(self.start, job, arrival_ns, finish_ns);
        }
        Some(())
    }

    /// Sets the instant at which an own job begins behind `own_ns` of earlier own jobs; the work before it.
    fn begins(&self, cursor: &mut Cursor<'_>, own_ns: i64, begins_ns: &mut i64, rounds: &mut u32) -> Option<i64> {
        while *rounds > 0 {
            *rounds -= 1;
            let others = self.tasks.level(self.position).filter(|&k| k != self.position);
            let released = |k: usize| (*begins_ns + self.tasks.jitter_ns[k]) / self.tasks.period_ns[k] + 1;
            let others_ns: i64 = others.map(|k| released(k) * self.tasks.charged_ns[k]).sum();
            let work_ns = self.blocking_ns + own_ns + others_ns;
            let next_ns = cursor.finish(work_ns + 1);
            if next_ns == NEVER {
                return None;
            }
            if next_ns - 1 <= *begins_ns {
                return Some(work_ns);
            }
            *begins_ns = next_ns - 1;
        }
        None
    }

    /// Follows the busy window of the level until it ends or `enough` holds of the instant that it has reached, which is told.
    fn whole_until(
        &self,
        cursor: &mut Cursor<'_>,
        done_ns: &mut i64,
        enough: impl Fn(i64) -> bool,
        rounds: &mut u32,
    ) -> Option<i64> {
        while *rounds > 0 && !enough(*done_ns) {
            *rounds -= 1;
            let released = |k: usize| (*done_ns + self.tasks.jitter_ns[k] - 1) / self.tasks.period_ns[k] + 1;
            let level = self.tasks.level(self.position);
            let later_ns =
                cursor.finish(self.blocking_ns + level.map(|k| released(k) * self.tasks.charged_ns[k]).sum::<i64>());
            if later_ns <= *done_ns {
                return Some(*done_ns);
            }
            *done_ns = later_ns;
        }
        (*rounds > 0).then_some(*done_ns)
    }
}
