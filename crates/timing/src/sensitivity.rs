//! How far execution times may grow, or must shrink, for every deadline of the partition to hold.
//!
//! Computes: for each task alone the largest `C'`, in ns, and for all together the largest common
//! factor, in ppm, each scaled `C'` rounded down to ns (but a job takes at least 1 ns). Both exact
//! with respect to the responses: the value holds and the next one does not.
//! Source: sensitivity over scheduling points: Bini, Di Natale & Buttazzo 2008; scheduling points: Lehoczky,
//! Sha & Ding 1989.
//! Assumptions: those of the responses; blocking and jitter stay as they are; less work never ends a job later.
//! Symbols: `C'`, `T`, `D`, `J`, `B` of a task, `S(s, t)` supply from busy-window start `s`, in ns; a
//! scheduling point `t` of a task is `k T_h - J_h` of a more urgent one, or `D - J` itself.
//! Invariants and why it ends: with fixed priorities, every `D <= T` and free-running release, a task meets `D` exactly where for every
//! start some point has `S(s, t) >= B + C' + sum of n_h(t) C'_h`; the largest `C'_h` there is a division, the answer a
//! maximum over points and a minimum over tasks and starts. Otherwise the interval is halved until it is one step.
//! Differs from the source: the supply is that of the window table from every start.
//! Checked by: halving against the closed form on the oracle's systems, the vessel's growth factors.

use crate::response::free_running::at_boot;
use crate::response::{Deadlines, taken_as_free_running};
use crate::supply::{BusyStart, Cursor, NEVER, Supply};
use crate::task_set::{Policy, TaskSet};

/// The common factor that stands for unchanged execution times.
pub const UNCHANGED_PPM: u64 = 1_000_000;
/// The greatest common factor that is looked for; the answer may then be any greater one.
pub const GREATEST_PPM: u64 = 1_000_000_000;
/// Scheduling points of one task from one start after which halving is taken instead.
const POINT_LIMIT: u32 = 1 << 20;

/// For each task alone, in the order given, the largest charged time with which all tasks of the
/// partition meet their deadlines, in ns; 0 where none of at least 1 ns does.
pub fn largest_charged_ns(supply: &Supply, tasks: &TaskSet) -> Vec<u64> {
    let in_closed_form = tasks.policy() == Policy::FixedPriority
        && taken_as_free_running(supply, tasks)
        && tasks.deadlines_within_periods();
    let largest = match in_closed_form.then(|| over_all_starts(supply, tasks)).flatten() {
        Some(largest) => largest,
        None => {
            let mut deadlines = Deadlines::new(supply, tasks);
            by_halving(tasks, |changed| deadlines.are_met(changed))
        }
    };
    tasks.position.iter().map(|&position| largest[position] as u64).collect()
}

/// The same with another judge of whether all deadlines are met; with less work it must never say no where it said yes.
pub(crate) fn largest_charged_by(tasks: &TaskSet, are_met: impl FnMut(&TaskSet) -> bool) -> Vec<u64> {
    let largest = by_halving(tasks, are_met);
    tasks.position.iter().map(|&position| largest[position] as u64).collect()
}

/// The largest factor on all charged times, in ppm, with which all tasks of the partition meet their
/// deadlines, at most [`GREATEST_PPM`]; below [`UNCHANGED_PPM`] where some task misses now, 0 where no factor helps.
pub fn common_factor_ppm(supply: &Supply, tasks: &TaskSet) -> u64 {
    let mut deadlines = Deadlines::new(supply, tasks);
    common_factor_by(tasks, |scaled| deadlines.are_met(scaled))
}

/// The same with another judge of whether all deadlines are met; with less work it must never say no where it said yes.
pub(crate) fn common_factor_by(tasks: &TaskSet, mut are_met: impl FnMut(&TaskSet) -> bool) -> u64 {
    let mut scaled = tasks.clone();
    let mut holds = |ppm: u64| {
        for (scaled_ns, &charged_ns) in scaled.charged_ns.iter_mut().zip(&tasks.charged_ns) {
            *scaled_ns = scale(charged_ns, ppm).max(1); // A job takes at least 1 ns.
        }
        are_met(&scaled)
    };
    if !holds(UNCHANGED_PPM) {
        return halve(0, UNCHANGED_PPM, holds);
    }
    let mut least = UNCHANGED_PPM;
    while least < GREATEST_PPM {
        let more = (least + least / 4).min(GREATEST_PPM);
        if !holds(more) {
            return halve(least, more, holds);
        }
        least = more;
    }
    least
}

/// `charged * ppm / 10^6`, rounded down; saturates.
fn scale(charged_ns: i64, ppm: u64) -> i64 {
    match (charged_ns as u64).checked_mul(ppm) {
        Some(product) => (product / UNCHANGED_PPM) as i64,
        None => i64::try_from(charged_ns as u128 * u128::from(ppm) / u128::from(UNCHANGED_PPM)).unwrap_or(i64::MAX),
    }
}

/// The greatest value that holds, from `least`, taken to hold, to below `too_much`, known not to.
pub(crate) fn halve(mut least: u64, mut too_much: u64, mut holds: impl FnMut(u64) -> bool) -> u64 {
    while too_much - least > 1 {
        let middle = least.midpoint(too_much);
        if holds(middle) {
            least = middle;
        } else {
            too_much = middle;
        }
    }
    least
}

/// The largest charged times by position, each found by trial.
fn by_halving(tasks: &TaskSet, mut are_met: impl FnMut(&TaskSet) -> bool) -> Vec<i64> {
    let mut changed = tasks.clone();
    let mut largest = Vec::with_capacity(tasks.len());
    for position in 0..tasks.len() {
        let mut holds = |charged_ns: u64| {
            changed.charged_ns[position] = charged_ns as i64;
            are_met(&changed)
        };
        let now_ns = tasks.charged_ns[position] as u64;
        let too_long_ns = tasks.deadline_ns[position] as u64 + 1;
        let range =
            if now_ns < too_long_ns && holds(now_ns) { (now_ns, too_long_ns) } else { (0, now_ns.min(too_long_ns)) };
        largest.push(halve(range.0, range.1, holds) as i64);
        changed.charged_ns[position] = tasks.charged_ns[position];
    }
    largest
}

/// The largest charged times by position over scheduling points; none where these are too many.
fn over_all_starts(supply: &Supply, tasks: &TaskSet) -> Option<Vec<i64>> {
    let largest_ns = over_points(supply, tasks, supply.busy_starts())?;
    match at_boot(supply, tasks) {
        Some(boot) => {
            let of_boot = over_points(supply, &boot, &[BusyStart::FRAME_BEGIN])?;
            Some(largest_ns.into_iter().zip(of_boot).map(|(any_ns, boot_ns)| any_ns.min(boot_ns)).collect())
        }
        None => Some(largest_ns),
    }
}

fn over_points(supply: &Supply, tasks: &TaskSet, starts: &[BusyStart]) -> Option<Vec<i64>> {
    let mut points = Points::new(supply, tasks);
    for &start in starts {
        // The least urgent first: it mostly leaves the least room, and then the others' walks end sooner.
        for position in (0..tasks.len()).rev() {
            points.walk(start, position)?;
        }
    }
    Some(points.largest_ns)
}

/// The scheduling points of one task from one start, walked in order.
struct Points<'a> {
    supply: &'a Supply,
    tasks: &'a TaskSet,
    /// The answers so far.
    largest_ns: Vec<i64>,
    /// The largest charged time of each task that some point walked has room for.
    room_ns: Vec<i64>,
    /// Jobs of each task before the point, and where the next one is added.
    jobs: Vec<i64>,
    next_ns: Vec<i64>,
}

impl<'a> Points<'a> {
    fn new(supply: &'a Supply, tasks: &'a TaskSet) -> Self {
        let zeros = vec![0; tasks.len()];
        let largest_ns = tasks.deadline_ns.clone();
        Self { supply, tasks, largest_ns, room_ns: zeros.clone(), jobs: zeros.clone(), next_ns: zeros }
    }

    /// Lowers the answers to what the deadline of the task at `position` has room for.
    fn walk(&mut self, start: BusyStart, position: usize) -> Option<()> {
        let level = self.tasks.level(position).end;
        let limit_ns = self.tasks.deadline_ns[position] - self.tasks.jitter_ns[position];
        let mut cursor = Cursor::new(self.supply, start);
        let mut work_ns = self.begin(position);
        let mut enough_ns = i64::MIN;
        let mut point_ns = self.next_ns[..level].iter().copied().fold(limit_ns, i64::min);
        let mut met = false;
        for _ in 0..POINT_LIMIT {
            if point_ns <= 0 {
                break;
            }
            let slack_ns = cursor.served(point_ns) - work_ns;
            met |= slack_ns >= 0;
            if slack_ns >= enough_ns {
                enough_ns = self.take_room(level, slack_ns);
            }
            if point_ns >= limit_ns || enough_ns == i64::MAX {
                self.lower_answers(level, met);
                return Some(());
            }
            point_ns = self.pass(level, point_ns, limit_ns, &mut work_ns);
        }
        if limit_ns > 0 {
            return None;
        }
        self.lower_answers(level, false);
        Some(())
    }

    /// Counts the jobs released at once; the work before the first point.
    fn begin(&mut self, position: usize) -> i64 {
        let tasks = self.tasks;
        let mut work_ns = tasks.blocking_ns[position];
        for k in tasks.level(position) {
            self.room_ns[k] = 0;
            self.jobs[k] = tasks.jitter_ns[k] / tasks.period_ns[k] + 1;
            self.next_ns[k] = self.jobs[k] * tasks.period_ns[k] - tasks.jitter_ns[k];
            if k == position {
                self.jobs[k] = 1;
                self.next_ns[k] = NEVER; // Only the first own job has to meet this deadline.
            }
            work_ns += self.jobs[k] * tasks.charged_ns[k];
        }
        work_ns
    }

    /// Takes the room at a point with `slack_ns` left; the least slack with which a later point could have more to
    /// say, at most `i64::MAX` where none could.
    fn take_room(&mut self, level: usize, slack_ns: i64) -> i64 {
        let mut enough_ns = i64::MAX;
        for k in 0..level {
            let charged_ns = self.tasks.charged_ns[k];
            let room_ns = charged_ns + slack_ns.div_euclid(self.jobs[k]);
            self.room_ns[k] = self.room_ns[k].max(room_ns);
            if self.room_ns[k] < self.largest_ns[k] {
                // More jobs at a later point only need more slack, as long as the growth is not negative.
                let growth_ns = self.room_ns[k] + 1 - charged_ns;
                let needed_ns = if growth_ns >= 0 { growth_ns * self.jobs[k] } else { i64::MIN };
                enough_ns = enough_ns.min(needed_ns);
            }
        }
        enough_ns
    }

    /// Adds the jobs released at the point; the next point.
    fn pass(&mut self, level: usize, point_ns: i64, limit_ns: i64, work_ns: &mut i64) -> i64 {
        let (charged_ns, period_ns) = (&self.tasks.charged_ns[..level], &self.tasks.period_ns[..level]);
        let (next_ns, jobs) = (&mut self.next_ns[..level], &mut self.jobs[..level]);
        let mut following_ns = limit_ns;
        for k in 0..level {
            if next_ns[k] == point_ns {
                next_ns[k] += period_ns[k];
                jobs[k] += 1;
                *work_ns += charged_ns[k];
            }
            following_ns = following_ns.min(next_ns[k]);
        }
        following_ns
    }

    /// No charged time of the level may pass its room; where the deadline is missed as things are, no change of a
    /// task outside the level helps.
    fn lower_answers(&mut self, level: usize, met: bool) {
        for (largest_ns, room_ns) in self.largest_ns[..level].iter_mut().zip(&self.room_ns) {
            *largest_ns = (*largest_ns).min(*room_ns).max(0);
        }
        if !met {
            self.largest_ns[level..].fill(0);
        }
    }
}
