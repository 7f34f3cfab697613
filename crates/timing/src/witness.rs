//! The scenario behind a bound, run forward.
//!
//! Computes: for a bound the releases of every task that takes part, and who has the core when, from
//! the begin of the busy window to the completion that the bound is about.
//! Source: the worst cases named by the response analyses; running them is plain simulation.
//! Assumptions: those of the bound; every job takes its whole `C'`, blocking goes first.
//! Symbols: times in ns from the begin of the busy window.
//! Invariants and why it ends: every step runs to a release, a window's edge or a completion, and the jobs are finitely
//! many. The completion equals the bound's: asserted, also where the bound is not attained, since the
//! scenario holds all that the bound counts.
//! Differs from the source: equals of the task run before it, as the bound counts them.
//! Checked by: a replay of segments against windows, releases and execution times in `tests/`.

use crate::response::{Bound, taken_as_free_running};
use crate::supply::Supply;
use crate::task_set::{Release, TaskSet};

/// The most jobs a scenario shows; a longer busy window keeps its bound and shows no timeline.
pub const SHOWN_JOBS: usize = 4096;

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
/// [`crate::response::free_running::worst_responses`] does. None where it has more than [`SHOWN_JOBS`] jobs.
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
    let aligned = !as_free_running && !taken_as_free_running(supply, tasks);
    let position = tasks.position[index];
    let arrival_ns = bound.arrival_ns - bound.busy_start_ns;
    let completes_ns = (arrival_ns + bound.response_ns as i64) as u64; // After the busy window's begin.
    let phase_ns = bound.busy_start_ns.rem_euclid(supply.frame_ns() as i64) as u64;
    let mut jobs = Vec::new();
    let at_boot = bound.at_boot.then(|| tasks.at_boot(0));
    let tasks = at_boot.as_ref().unwrap_or(tasks);
    for at in tasks.level(position) {
        let last_ns = if at == position { arrival_ns } else { completes_ns as i64 - 1 };
        let begin_ns = aligned.then_some(bound.busy_start_ns);
        take_jobs(tasks, at, first_arrival_ns(tasks, at, begin_ns), last_ns, &mut jobs)?;
    }
    jobs.sort_by_key(|job| (job.release_ns, tasks.position[job.task]));
    let mut run = Run::new(supply, tasks, position, phase_ns, &jobs);
    run.boot_ns = if bound.at_boot { supply.boot_ns() } else { 0 };
    let timeline = run.timeline();
    assert_eq!(timeline.last().map(|last| last.end_ns), Some(completes_ns), "the scenario ends where its bound says");
    Some(Scenario { phase_ns, jobs, timeline, completes_ns })
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
    /// How urgent each job is, the smaller the more: its task's position, behind all others for the task itself.
    urgency: Vec<usize>,
    left_ns: Vec<u64>,
    blocking_ns: u64,
    /// Nothing is supplied before.
    boot_ns: u64,
    now_ns: u64,
    timeline: Vec<Stretch>,
}

impl<'a> Run<'a> {
    fn new(supply: &'a Supply, tasks: &TaskSet, position: usize, phase_ns: u64, jobs: &'a [Job]) -> Self {
        let urgency = |job: &Job| match tasks.position[job.task] {
            own if own == position => usize::MAX,
            other => other,
        };
        Self {
            supply,
            phase_ns,
            jobs,
            urgency: jobs.iter().map(urgency).collect(),
            left_ns: jobs.iter().map(|job| job.execution_ns).collect(),
            blocking_ns: tasks.blocking_ns[position] as u64,
            boot_ns: 0,
            now_ns: 0,
            timeline: Vec::new(),
        }
    }

    /// Runs until every job is done.
    fn timeline(mut self) -> Vec<Stretch> {
        while self.left_ns.iter().any(|&left_ns| left_ns > 0) {
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
        let frame_ns = self.supply.frame_ns();
        let within_ns = (self.phase_ns + self.now_ns) % frame_ns;
        let windows = self.supply.windows();
        match windows.iter().find(|window| window.end_ns > within_ns) {
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
        let next = self.jobs.iter().find(|job| job.release_ns > self.now_ns as i64);
        let until_release_ns = next.map_or(u64::MAX, |job| job.release_ns as u64 - self.now_ns);
        let most_ns = most_ns.min(until_release_ns);
        match self.first_in_order() {
            Some(job) => {
                let span_ns = most_ns.min(self.left_ns[job]);
                self.left_ns[job] -= span_ns;
                self.advance(Holder::Task(self.jobs[job].task), span_ns);
            }
            None => self.advance(Holder::Idle, most_ns),
        }
    }

    fn first_in_order(&self) -> Option<usize> {
        let released = self.jobs.iter().take_while(|job| job.release_ns <= self.now_ns as i64).count();
        (0..released).filter(|&job| self.left_ns[job] > 0).min_by_key(|&job| self.urgency[job])
    }

    fn advance(&mut self, holder: Holder, span_ns: u64) {
        let start_ns = self.now_ns;
        self.now_ns += span_ns;
        match self.timeline.last_mut() {
            Some(last) if last.holder == holder => last.end_ns = self.now_ns,
            _ => self.timeline.push(Stretch { holder, start_ns, end_ns: self.now_ns }),
        }
    }
}
