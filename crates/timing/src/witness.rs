//! The scenario behind a bound, run forward.
//!
//! Computes: for a bound the releases of every task that takes part, and who has the core when, from
//! the begin of the busy window to the completion that the bound is about.
//! Source: the worst cases named by the response analyses; running them is plain simulation.
//! Assumptions: those of the bound; every job takes its whole `C'`, blocking goes first.
//! Symbols: times in ns from the begin of the busy window.
//! Which jobs take part: those that the bound counts. By deadline all that go before the one looked at; in a cooperative
//! guest all that are there when it begins.
//! Invariants and why it ends: every step runs to a release, a window's edge or a completion, and the jobs are finitely
//! many. The completion equals the bound's: asserted, also where the bound is not attained, since the
//! scenario holds all that the bound counts.
//! Differs from the source: equals of the task run before it, as the bound counts them.
//! Checked by: a replay of segments against windows, releases and execution times in `tests/`.

use crate::response::{Bound, cooperative, taken_as_free_running};
use crate::supply::Supply;
use crate::task_set::{Policy, Release, TaskSet};
use std::collections::BTreeSet;

/// The most jobs a scenario shows; a longer busy window keeps its bound and shows no timeline.
pub const SHOWN_JOBS: usize = 4096;

/// The most windows that a scenario passes through, for the same reason.
pub const SHOWN_WINDOWS: u64 = 1 << 16;

/// One job of a scenario; instants count from the begin of the busy window.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Job {
    /// The index of the task in the list given.
    pub task: usize,
    /// The number of the job among those of its task shown here, from 0.
    pub number: u64,
    /// The arrival, in ns, possibly before the busy window.
    pub arrival_ns: i64,
    /// The release, in ns, at most the jitter later.
    pub release_ns: i64,
    /// The execution time, in ns.
    pub execution_ns: u64,
}

/// Who has the core.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Holder {
    /// A job of the task of this index.
    Task(usize),
    /// A less urgent job that had begun.
    Blocking,
    /// Nobody of the partition: it has no supply.
    Blackout,
    /// Nobody: nothing is released.
    Idle,
}

/// A stretch `[start, end)` of a scenario, in ns from the begin of the busy window.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stretch {
    /// Who has the core.
    pub holder: Holder,
    /// The start, in ns.
    pub start_ns: u64,
    /// The end, in ns.
    pub end_ns: u64,
}

/// A busy window run forward.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Scenario {
    /// Where in the frame the busy window begins, in ns.
    pub phase_ns: u64,
    /// The jobs that take part, by release.
    pub jobs: Vec<Job>,
    /// Who has the core when, without gaps, up to the completion.
    pub timeline: Vec<Stretch>,
    /// The completion of the job that the bound is about, in ns from the begin of the busy window.
    pub completes_ns: u64,
}

/// The scenario behind `bound`, which an analysis gave for the task at `index` of the list given, as
/// [`crate::response::worst_responses`] takes the set or, with `as_free_running`, as
/// [`crate::response::worst_in_any_phase`] does. None where it has more than [`SHOWN_JOBS`] jobs or [`SHOWN_WINDOWS`] windows, where the supply's
/// schedule is not known, and under other policies than fixed priorities where the bound is not attained.
///
/// # Panics
/// Where `bound` is not what the analysis gave for that task: the completion would differ.
pub fn scenario(
    supply: &Supply,
    tasks: &TaskSet,
    index: usize,
    bound: &Bound,
    as_free_running: bool,
) -> Option<Scenario> {
    let preemptive_priorities = tasks.policy() == Policy::FixedPriority;
    if !supply.kind().is_exact() || !preemptive_priorities && !bound.exactness.is_exact() {
        return None;
    }
    let aligned = !as_free_running && !taken_as_free_running(supply, tasks);
    let position = tasks.position[index];
    let arrival_ns = bound.arrival_ns - bound.busy_start_ns;
    let completes_ns = (arrival_ns + bound.response_ns as i64) as u64; // After the busy window's begin.
    let windows = (completes_ns / supply.frame_ns()).saturating_mul(supply.windows().len() as u64);
    if !never_ends(supply) && windows > SHOWN_WINDOWS {
        return None;
    }
    let phase_ns = bound.busy_start_ns.rem_euclid(supply.frame_ns() as i64) as u64;
    let at_boot = bound.at_boot.then(|| tasks.at_boot(0));
    let tasks = at_boot.as_ref().unwrap_or(tasks);
    let last_of_others_ns = last_release_ns(supply, tasks, position, phase_ns, completes_ns)?;
    let by_deadline = tasks.policy() == Policy::EarliestDeadline;
    let mut jobs = Vec::new();
    for at in taking_part(tasks, position) {
        let begin_ns = aligned.then_some(bound.busy_start_ns);
        let (first_ns, last_ns) = match at == position {
            true if by_deadline => (arrival_ns - bound.job as i64 * tasks.period_ns[at], arrival_ns),
            true => (first_arrival_ns(tasks, at, begin_ns), arrival_ns),
            false if by_deadline => {
                (-tasks.jitter_ns[at], last_before(tasks, at, position, arrival_ns).min(last_of_others_ns))
            }
            false => (first_arrival_ns(tasks, at, begin_ns), last_of_others_ns),
        };
        take_jobs(tasks, at, first_ns, last_ns, &mut jobs)?;
    }
    jobs.sort_by_key(|job| (job.release_ns, tasks.position[job.task]));
    let mut run = Run::new(supply, tasks, position, phase_ns, &jobs);
    if bound.at_boot {
        (run.boot_ns, run.blocking_ns) = (supply.boot_ns(), 0);
    }
    let timeline = run.timeline();
    assert_eq!(timeline.last().map(|last| last.end_ns), Some(completes_ns), "the scenario ends where its bound says");
    Some(Scenario { phase_ns, jobs, timeline, completes_ns })
}

/// Whether nothing interrupts the supply: its frame may then be as short as 1 ns, and no edge of it is one.
fn never_ends(supply: &Supply) -> bool {
    supply.per_frame_ns() == supply.frame_ns()
}

/// Up to when others are released that go before the job of the task at `position`: before it completes, or in a cooperative
/// guest when it begins. Neither is after the completion.
fn last_release_ns(supply: &Supply, tasks: &TaskSet, position: usize, phase_ns: u64, completes_ns: u64) -> Option<i64> {
    if tasks.policy() != Policy::Cooperative {
        return Some(completes_ns as i64 - 1);
    }
    let before_ns = supply.supply_ns(phase_ns, completes_ns).checked_sub(tasks.charged_ns[position] as u64)?;
    Some(supply.span_for_ns(phase_ns, before_ns + 1)? as i64 - 1)
}

/// The positions of the tasks whose jobs can go before one of the task at `position`, itself among them.
fn taking_part(tasks: &TaskSet, position: usize) -> std::ops::Range<usize> {
    match tasks.policy() {
        Policy::EarliestDeadline => 0..tasks.len(),
        Policy::FixedPriority | Policy::Cooperative => tasks.level(position),
    }
}

/// The latest arrival of the task at `at` with which its job goes before the one at `position` that arrives at `arrival_ns`.
fn last_before(tasks: &TaskSet, at: usize, position: usize, arrival_ns: i64) -> i64 {
    let equal_ns = arrival_ns + tasks.deadline_ns[position] - tasks.deadline_ns[at];
    let goes_first = by_deadline(tasks, at, equal_ns) < by_deadline(tasks, position, arrival_ns);
    if goes_first { equal_ns } else { equal_ns - 1 }
}

/// The smaller, the sooner a job goes by deadline.
fn by_deadline(tasks: &TaskSet, at: usize, arrival_ns: i64) -> [i64; 3] {
    [arrival_ns + tasks.deadline_ns[at], arrival_ns, tasks.given[at] as i64]
}

/// The first arrival of the task that can still be released at the begin of the busy window or after:
/// its jitter before the begin, or, tied to the frame, the first whose latest release is not before `begin_ns`.
fn first_arrival_ns(tasks: &TaskSet, at: usize, begin_ns: Option<i64>) -> i64 {
    match (begin_ns, tasks.release[at]) {
        (Some(begin_ns), Release::FrameAligned { offset_ns }) => {
            let latest_ns = offset_ns as i64 + tasks.jitter_ns[at];
            (latest_ns - begin_ns).rem_euclid(tasks.period_ns[at]) - tasks.jitter_ns[at]
        }
        _ => -tasks.jitter_ns[at],
    }
}

/// Adds the jobs that arrive up to `last_ns`, each released as late as its arrival before the begin asks; none
/// where they are too many.
fn take_jobs(tasks: &TaskSet, at: usize, first_ns: i64, last_ns: i64, jobs: &mut Vec<Job>) -> Option<()> {
    let mut arrival_ns = first_ns;
    for number in 0.. {
        if arrival_ns > last_ns {
            break;
        }
        if jobs.len() == SHOWN_JOBS {
            return None;
        }
        jobs.push(Job {
            task: tasks.given[at],
            number,
            arrival_ns,
            release_ns: arrival_ns.max(0),
            execution_ns: tasks.charged_ns[at] as u64,
        });
        arrival_ns += tasks.period_ns[at];
    }
    Some(())
}

/// The jobs of a scenario while they run.
struct Run<'a> {
    supply: &'a Supply,
    phase_ns: u64,
    /// By release.
    jobs: &'a [Job],
    /// How urgent each job is, the smaller the more: by its task's position, behind all others for the task itself; or by
    /// deadline.
    urgency: Vec<[i64; 3]>,
    /// Whether a begun job stays before all others.
    cooperative: bool,
    begun: Option<usize>,
    left_ns: Vec<u64>,
    /// How many jobs are released by now; the others follow them in `jobs`.
    released: usize,
    /// The released jobs with something left, the most urgent first.
    ready: BTreeSet<([i64; 3], usize)>,
    /// How many jobs have something left, released or not.
    unfinished: usize,
    blocking_ns: u64,
    /// Nothing is supplied before.
    boot_ns: u64,
    now_ns: u64,
    timeline: Vec<Stretch>,
}

impl<'a> Run<'a> {
    fn new(supply: &'a Supply, tasks: &TaskSet, position: usize, phase_ns: u64, jobs: &'a [Job]) -> Self {
        let urgency = |job: &Job| match (tasks.policy(), tasks.position[job.task]) {
            (Policy::EarliestDeadline, at) => by_deadline(tasks, at, job.arrival_ns),
            (_, own) if own == position => [i64::MAX, 0, 0],
            (_, other) => [other as i64, 0, 0],
        };
        let blocking_ns = match tasks.policy() {
            Policy::FixedPriority => tasks.blocking_ns[position],
            Policy::EarliestDeadline => 0,
            Policy::Cooperative => cooperative::longest_begun_ns(tasks, position),
        };
        Self {
            supply,
            phase_ns,
            jobs,
            urgency: jobs.iter().map(urgency).collect(),
            left_ns: jobs.iter().map(|job| job.execution_ns).collect(),
            released: 0,
            ready: BTreeSet::new(),
            unfinished: jobs.iter().filter(|job| job.execution_ns > 0).count(),
            blocking_ns: blocking_ns as u64,
            cooperative: tasks.policy() == Policy::Cooperative,
            begun: None,
            boot_ns: 0,
            now_ns: 0,
            timeline: Vec::new(),
        }
    }

    /// Runs until every job is done.
    fn timeline(mut self) -> Vec<Stretch> {
        self.release();
        while self.unfinished > 0 {
            let (usable, edge_ns) = self.until_edge_ns();
            if usable {
                self.execute(edge_ns);
            } else {
                self.advance(Holder::Blackout, edge_ns);
            }
        }
        self.timeline
    }

    /// Whether the partition has supply now, and how long that stays so.
    fn until_edge_ns(&self) -> (bool, u64) {
        if self.now_ns < self.boot_ns {
            return (false, self.boot_ns - self.now_ns);
        }
        if never_ends(self.supply) {
            return (true, u64::MAX);
        }
        let frame_ns = self.supply.frame_ns();
        let within_ns = (self.phase_ns + self.now_ns) % frame_ns;
        let windows = self.supply.windows();
        match windows.get(windows.partition_point(|window| window.end_ns <= within_ns)) {
            Some(window) if window.start_ns <= within_ns => (true, window.end_ns - within_ns),
            Some(window) => (false, window.start_ns - within_ns),
            None => (false, frame_ns - within_ns + windows.first().map_or(0, |window| window.start_ns)),
        }
    }

    /// Lets the first in order execute, for `most_ns` or until something changes.
    fn execute(&mut self, most_ns: u64) {
        if self.blocking_ns > 0 {
            let span_ns = most_ns.min(self.blocking_ns);
            self.blocking_ns -= span_ns;
            return self.advance(Holder::Blocking, span_ns);
        }
        let next = self.jobs.get(self.released);
        let until_release_ns = next.map_or(u64::MAX, |job| job.release_ns as u64 - self.now_ns);
        let most_ns = most_ns.min(until_release_ns);
        match self.first_in_order() {
            Some(job) => {
                let span_ns = most_ns.min(self.left_ns[job]);
                self.left_ns[job] -= span_ns;
                if self.left_ns[job] == 0 {
                    self.ready.remove(&(self.urgency[job], job));
                    self.unfinished -= 1;
                }
                self.begun = Some(job);
                self.advance(Holder::Task(self.jobs[job].task), span_ns);
            }
            None => self.advance(Holder::Idle, most_ns),
        }
    }

    fn first_in_order(&self) -> Option<usize> {
        if let Some(begun) = self.begun.filter(|&begun| self.cooperative && self.left_ns[begun] > 0) {
            return Some(begun);
        }
        self.ready.first().map(|&(_, job)| job)
    }

    /// Makes ready the jobs whose release has come.
    fn release(&mut self) {
        while let Some(job) = self.jobs.get(self.released).filter(|job| job.release_ns <= self.now_ns as i64) {
            if job.execution_ns > 0 {
                self.ready.insert((self.urgency[self.released], self.released));
            }
            self.released += 1;
        }
    }

    fn advance(&mut self, holder: Holder, span_ns: u64) {
        let start_ns = self.now_ns;
        self.now_ns += span_ns;
        self.release();
        match self.timeline.last_mut() {
            Some(last) if last.holder == holder => last.end_ns = self.now_ns,
            _ => self.timeline.push(Stretch { holder, start_ns, end_ns: self.now_ns }),
        }
    }
}
