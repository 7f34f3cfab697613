//! Responses across a change of module schedule.
//!
//! Computes: for every task of a partition that goes on, a bound on the response of every job whose busy window begins
//! in the old table or with the change and may go on in the new one.
//! Source: busy windows (Lehoczky 1990), deadline busy periods (Spuri 1996) and jobs that are not displaced (George, Rivierre
//! & Spuri 1996) on a supply that is the old table's up to the change and the new one's after it; mode changes in
//! fixed-priority systems: Real & Crespo 2004 (all from memory). Own derivation.
//! Assumptions: one core; blocking once in a busy window; the change comes at a frame's end, and jobs under way go on;
//! arrivals in any phase.
//! Symbols: instants in ns from the change, below 0 before it; `s` busy-window start; `q` own job, from 0; `B`, `C'`,
//! `T`, `J` of a task; `S(s, t)` supply; `n(s, t)` jobs of a task that can arrive in `[s - J, s + t)` while it is active.
//! `finish(q) = min { t : S(s, t) >= B + (q + 1) C' + sum of n_j(s, t) C'_j }`, response `finish(q) - arrival(q)`, over the
//! tasks that are not less urgent. Without displacement `B` is the longest `C' - 1` of the less urgent ones: what is
//! released before a job begins is released before it is done, so no such job is done later than that. Under earliest
//! deadline first [`by_deadline`] says what is counted.
//! Invariants and why it ends: as for free-running tasks. Any supply that is at most time itself has its worst starts
//! where it ceases, so every window end of the old table from which a busy window can reach the change is taken, and the
//! change itself, and window ends of the new one at which a job from before can still be released or go on first; beside
//! them the last starts that still have one more job of a task that ends with the change. A limit on the rounds guards extreme inputs.
//! Differs from the source: no change protocol delays releases; a task is active before, after, or throughout.
//! Checked by: tick-by-tick runs in `tests/recovery.rs`; one table on both sides gives the free-running responses.

mod by_deadline;

use crate::startup;
use crate::supply::Supply;
use crate::task_set::{Policy, Task};

/// When a task of the partition is active.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Active {
    /// In both schedules.
    Throughout,
    /// Only before the change: its jobs under way go on.
    Before,
    /// Only after it.
    After,
}

/// A task as both schedules have it. Times in ns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ChangingTask {
    /// Larger is more urgent; equals are counted as delaying each other. It means nothing under earliest deadline first.
    pub priority: i64,
    /// The period.
    pub period_ns: u64,
    /// By when after its arrival a job is due.
    pub deadline_ns: u64,
    /// The charged time of a job, the longer one where the schedules differ.
    pub charged_ns: u64,
    /// The release jitter.
    pub jitter_ns: u64,
    /// The blocking time. It means nothing in a cooperative guest.
    pub blocking_ns: u64,
    /// When it is active.
    pub active: Active,
}

/// Why no bound was found: a task's demand passes a supply, or a busy window has too many steps.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NoBound;

/// Steps of all searches together.
const STEPS: u32 = 1 << 18;

/// A bound on the responses of every task of a guest of that policy across the change, in ns; 0 for a task of which no job
/// is under way.
///
/// # Errors
/// [`NoBound`] where some task has none.
pub fn worst_responses(
    old: &Supply,
    new: &Supply,
    tasks: &[ChangingTask],
    policy: Policy,
) -> Result<Vec<u64>, NoBound> {
    if old.per_frame_ns() == 0 && tasks.iter().any(|task| task.active != Active::After) {
        return Err(NoBound);
    }
    let mut search = Search { old, new, steps: STEPS };
    (0..tasks.len()).map(|k| search.worst_response(&Level::of(tasks, k, policy), policy)).collect()
}

struct Search<'a> {
    old: &'a Supply,
    new: &'a Supply,
    steps: u32,
}

/// What goes before a job of one task, and how much of itself.
struct Level<'a> {
    own: &'a ChangingTask,
    /// Those that can delay it.
    others: Vec<&'a ChangingTask>,
    /// What has begun before a busy window and goes first.
    blocking_ns: u64,
    /// Whether a job of a task that ends with the change can be what has begun.
    blocked_from_before: bool,
}

impl Search<'_> {
    fn worst_response(&mut self, level: &Level<'_>, policy: Policy) -> Result<u64, NoBound> {
        let mut worst_ns = 0;
        for start_ns in self.starts(level)? {
            let found_ns = match policy {
                Policy::FixedPriority | Policy::Cooperative => self.follow(level, start_ns)?,
                Policy::EarliestDeadline => self.follow_by_deadline(level, start_ns)?,
            };
            worst_ns = worst_ns.max(found_ns);
        }
        Ok(worst_ns as u64) // Never below 0.
    }

    /// The busy-window starts that matter, in ns from the change.
    fn starts(&mut self, level: &Level<'_>) -> Result<Vec<i64>, NoBound> {
        let mut starts = vec![0];
        let frame_ns = signed(self.old.frame_ns())?;
        let mut longest_ns = 0;
        for k in 0..self.old.windows().len() {
            let end_ns = self.old.windows()[k].end_ns;
            let length_ns = signed(self.busy_before(level, end_ns)?)?;
            longest_ns = longest_ns.max(length_ns);
            self.add_each(&mut starts, signed(end_ns)? - frame_ns, frame_ns, length_ns)?;
        }
        let before = || level.all().filter(|task| task.active == Active::Before);
        for task in before() {
            let latest_ns = signed(task.jitter_ns)? - 1;
            self.add_each(&mut starts, latest_ns, signed(task.period_ns)?.max(1), longest_ns)?;
        }
        self.add_after(&mut starts, level.past_until_ns(self.new.frame_ns()))?;
        starts.sort_unstable();
        starts.dedup();
        Ok(starts)
    }

    /// Adds the window ends of the new table before `until_ns`.
    fn add_after(&mut self, starts: &mut Vec<i64>, until_ns: u64) -> Result<(), NoBound> {
        for window in self.new.windows() {
            let mut end_ns = window.end_ns;
            while end_ns < until_ns {
                starts.push(signed(end_ns)?);
                end_ns = end_ns.saturating_add(self.new.frame_ns());
                self.step()?;
            }
        }
        Ok(())
    }

    /// Adds `latest_ns` and what lies whole steps before it, as long as a busy window from there can reach the change.
    fn add_each(&mut self, starts: &mut Vec<i64>, latest_ns: i64, step_ns: i64, length_ns: i64) -> Result<(), NoBound> {
        let mut start_ns = latest_ns;
        while -start_ns < length_ns {
            starts.push(start_ns);
            start_ns -= step_ns;
            self.step()?;
        }
        Ok(())
    }

    /// The length of the level's busy window from a window's end if the old table stayed, in ns.
    fn busy_before(&mut self, level: &Level<'_>, end_ns: u64) -> Result<u64, NoBound> {
        let before = || level.all().filter(|task| task.active != Active::After);
        let mut length_ns = 0;
        loop {
            self.step()?;
            let releases = before().map(|task| {
                let jobs = length_ns.max(1u64).saturating_add(task.jitter_ns).div_ceil(task.period_ns.max(1));
                jobs.saturating_mul(task.charged_ns)
            });
            let work_ns = releases.fold(level.blocking_ns, u64::saturating_add);
            let next_ns = self.old.span_for_ns(end_ns, work_ns).ok_or(NoBound)?;
            if next_ns == length_ns {
                return Ok(length_ns);
            }
            length_ns = next_ns;
        }
    }

    /// The greatest response of an own job in the busy window from `start_ns`.
    fn follow(&mut self, level: &Level<'_>, start_ns: i64) -> Result<i64, NoBound> {
        let mut worst_ns = 0;
        let mut finish_ns = 0;
        for job in 0.. {
            let arrival_ns = level.own.arrival_ns(start_ns, job).ok_or(NoBound)?;
            let too_late = level.own.active == Active::Before && start_ns + arrival_ns >= 0;
            if too_late || (job > 0 && arrival_ns >= finish_ns) {
                break;
            }
            finish_ns = self.finish_ns(level, start_ns, job, finish_ns)?;
            // The busy window would be over before the own job is there.
            if finish_ns <= arrival_ns {
                break;
            }
            worst_ns = worst_ns.max(finish_ns - arrival_ns);
        }
        Ok(worst_ns)
    }

    /// When own job `job` is done at the latest, from the busy window's start; `from_ns` is no later.
    fn finish_ns(&mut self, level: &Level<'_>, start_ns: i64, job: u64, from_ns: i64) -> Result<i64, NoBound> {
        let own_ns = job.saturating_add(1).saturating_mul(level.own.charged_ns).saturating_add(level.blocking_ns);
        self.settle_ns(start_ns, from_ns, |span_ns| {
            let others = level.others.iter().map(|other| other.work_ns(start_ns, span_ns));
            others.fold(own_ns, u64::saturating_add)
        })
    }

    /// The least span from `from_ns` on in which both tables supply what has to be done within it.
    fn settle_ns(&mut self, start_ns: i64, from_ns: i64, work_ns: impl Fn(i64) -> u64) -> Result<i64, NoBound> {
        let mut finish_ns = from_ns.max(1);
        loop {
            self.step()?;
            let next_ns = self.span_for_ns(start_ns, work_ns(finish_ns))?;
            if next_ns <= finish_ns {
                return Ok(finish_ns.max(next_ns));
            }
            finish_ns = next_ns;
        }
    }

    /// The span from `start_ns` in which both tables together supply `work_ns`.
    fn span_for_ns(&self, start_ns: i64, work_ns: u64) -> Result<i64, NoBound> {
        let before_ns = start_ns.min(0).unsigned_abs();
        let phase_ns = (self.old.frame_ns() - before_ns % self.old.frame_ns()) % self.old.frame_ns();
        let given_ns = self.old.supply_ns(phase_ns, before_ns);
        if before_ns > 0 && work_ns <= given_ns {
            return signed(self.old.span_for_ns(phase_ns, work_ns).ok_or(NoBound)?);
        }
        let after_ns = start_ns.max(0).unsigned_abs();
        let done_ns = startup::done_from_frame_begin_ns(self.new, after_ns, work_ns - given_ns).ok_or(NoBound)?;
        signed(done_ns)?.checked_sub(start_ns).ok_or(NoBound)
    }

    fn step(&mut self) -> Result<(), NoBound> {
        self.steps = self.steps.checked_sub(1).ok_or(NoBound)?;
        Ok(())
    }
}

impl<'a> Level<'a> {
    fn of(tasks: &'a [ChangingTask], k: usize, policy: Policy) -> Self {
        let own = &tasks[k];
        let by_deadline = policy == Policy::EarliestDeadline;
        let delays = |other: &&ChangingTask| by_deadline || other.priority >= own.priority;
        let others = tasks.iter().enumerate().filter(|&(j, other)| j != k && delays(&other));
        let less_urgent = tasks.iter().filter(|other| other.priority < own.priority);
        let blocking_ns = match policy {
            Policy::FixedPriority => own.blocking_ns,
            Policy::Cooperative => less_urgent.map(|other| other.charged_ns.saturating_sub(1)).max().unwrap_or(0),
            Policy::EarliestDeadline => tasks.iter().map(|task| task.blocking_ns).max().unwrap_or(0),
        };
        Self {
            own,
            others: others.map(|(_, other)| other).collect(),
            blocking_ns,
            blocked_from_before: blocking_ns > 0 && tasks.iter().any(|task| task.active == Active::Before),
        }
    }

    /// Up to when after the change a busy window can begin that the new schedule alone does not have: one with a job of a
    /// task that has ended, which is released late, or blocked by one, from any place in the new frame.
    fn past_until_ns(&self, new_frame_ns: u64) -> u64 {
        let latest_ns = |tasks: &mut dyn Iterator<Item = &ChangingTask>| tasks.map(|task| task.jitter_ns).max();
        if self.blocked_from_before {
            return latest_ns(&mut self.all()).unwrap_or(0).saturating_add(new_frame_ns).saturating_add(1);
        }
        latest_ns(&mut self.all().filter(|task| task.active == Active::Before)).unwrap_or(0)
    }

    fn all(&self) -> impl Iterator<Item = &ChangingTask> {
        std::iter::once(self.own).chain(self.others.iter().copied())
    }
}

impl ChangingTask {
    /// A task with the numbers of `task`.
    pub fn of(task: &Task, active: Active) -> Self {
        Self {
            priority: task.priority,
            period_ns: task.period_ns,
            deadline_ns: task.deadline_ns,
            charged_ns: task.charged_ns,
            jitter_ns: task.jitter_ns,
            blocking_ns: task.blocking_ns,
            active,
        }
    }

    /// The work of the jobs that can arrive, and so be released, within `span_ns` of a busy window's start.
    fn work_ns(&self, start_ns: i64, span_ns: i64) -> u64 {
        self.jobs(start_ns, span_ns).saturating_mul(self.charged_ns)
    }

    /// The jobs that can arrive, and so be released, within `span_ns` of a busy window's start.
    fn jobs(&self, start_ns: i64, span_ns: i64) -> u64 {
        let jitter_ns = i64::try_from(self.jitter_ns).unwrap_or(i64::MAX);
        let reach_ns = match self.active {
            Active::Throughout => span_ns.saturating_add(jitter_ns),
            Active::Before => span_ns.min(start_ns.saturating_neg()).saturating_add(jitter_ns),
            Active::After => span_ns.saturating_add(jitter_ns.min(start_ns)),
        };
        u64::try_from(reach_ns).unwrap_or(0).div_ceil(self.period_ns.max(1))
    }

    /// The earliest arrival of a job of the busy window, from the window's start.
    fn arrival_ns(&self, start_ns: i64, job: u64) -> Option<i64> {
        let jitter_ns = i64::try_from(self.jitter_ns).ok()?;
        let first_ns = match self.active {
            Active::Throughout | Active::Before => -jitter_ns,
            Active::After => -jitter_ns.min(start_ns),
        };
        first_ns.checked_add(i64::try_from(job.checked_mul(self.period_ns)?).ok()?)
    }
}

/// Beyond this no instant is told.
fn signed(ns: u64) -> Result<i64, NoBound> {
    i64::try_from(ns).ok().filter(|&ns| ns < 1 << 61).ok_or(NoBound)
}
