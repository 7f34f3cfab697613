//! Frame-aligned release: worst responses when arrivals are points of the frame.
//!
//! Computes: for every task of a partition the worst response over all its jobs, all execution times
//! and all jitters, arrivals at `offset + k T` counted from the first frame's begin.
//! Source: busy windows over the jobs of a hyperperiod: Leung & Merrill 1980 for the idea of the
//! hyperperiod; Tindell 1994 for jobs that jitter can still push behind a busy window's start.
//! Assumptions: preemptive fixed priorities, one core; all tasks frame-aligned; jitter of each job
//! for itself; jobs of a task in order; blocking once in a busy window.
//! Symbols: `a` arrival, `e = a + J` latest release of a job; `s` busy-window start; `f` finish; `H` lcm of the
//! frame and all periods; `Sup(t)` supply in `[0, t)`; all times in ns. For a job and every `s` that is the
//! latest release of itself or of a more urgent job, not after its own latest release,
//! `f(s) = min { f : Sup(f) - Sup(s) >= B + sum of C' over jobs with e >= s and a < f }`, over
//! itself up to this job and all more urgent tasks; the finish is `max over s of f(s)`.
//! Invariants and why it ends: with `Psi(s) = Sup(s) - sum of C' over jobs with e < s`, the condition reads
//! `Sup(f) - sum of C' over jobs with a < f >= B + Psi(s)`, so the worst `s` is the one with the greatest
//! `Psi`, and one pass over the latest releases in order finds it for every job. Going back one `H` is enough: one `H` earlier
//! `Psi` is no greater, the demand of an `H` being within its supply (else there is no bound). So two
//! hyperperiods are walked, the jobs of the second are answered, and their number is limited.
//! Where a window's head takes some of the first frame alone, the jobs of the first hyperperiod are followed from 0 as well.
//! Differs from the source: carry-in needs no run from empty, jitter no enumeration of release instants.
//! Checked by: the vessel's aligned responses, the brute-force oracle over all small systems, runs of the first frame.

use super::{Bound, Exactness, GaveUp, Inexact, Response};
use crate::supply::{Cursor, NEVER, Supply};
use crate::task_set::{Release, TaskSet};
use crate::{arithmetic, demand};
use std::ops::Range;

/// The greatest number of jobs in a hyperperiod that is followed.
pub const JOB_LIMIT: u64 = 1 << 16;
const LONGEST_HYPERPERIOD_NS: u64 = 1 << 53;

/// The worst response of every task, in the order in which the tasks were given; `jobs` are theirs.
pub(super) fn worst_responses(supply: &Supply, tasks: &TaskSet, jobs: &Jobs) -> Vec<Response> {
    tasks.position.iter().map(|&position| worst_response(supply, tasks, jobs, position)).collect()
}

/// The lcm of the frame and all periods; none where it or the number of jobs in it is too great.
pub(super) fn hyperperiod_ns(supply: &Supply, tasks: &TaskSet) -> Option<i64> {
    let periods = tasks.period_ns.iter().map(|&period_ns| period_ns as u64);
    let hyperperiod_ns = arithmetic::lcm_of(periods.clone().chain([supply.frame_ns()]))?;
    let jobs = periods.map(|period_ns| hyperperiod_ns / period_ns).fold(0, u64::saturating_add);
    (hyperperiod_ns <= LONGEST_HYPERPERIOD_NS && jobs <= JOB_LIMIT).then_some(hyperperiod_ns as i64)
}

fn worst_response(supply: &Supply, tasks: &TaskSet, jobs: &Jobs, position: usize) -> Response {
    if let Some(shortfall) = demand::shortfall(supply, tasks, tasks.level(position)) {
        return Response::Unbounded(Box::new(shortfall));
    }
    let any_frame = match worst_of(&finishes(supply, tasks, jobs, position)) {
        Some(worst) => Response::Bounded(Bound {
            response_ns: (worst.finish_ns - worst.arrival_ns) as u64, // A finish is after its arrival.
            busy_start_ns: worst.busy_start_ns - jobs.hyperperiod_ns,
            arrival_ns: worst.arrival_ns - jobs.hyperperiod_ns,
            job: worst.job,
            exactness: exactness(tasks, position),
            at_boot: false,
        }),
        None => Response::GaveUp(GaveUp::BusyWindowTooLong),
    };
    match worst_of(&finishes_at_boot(supply, tasks, jobs, position)) {
        Some(worst) => any_frame.or_at_boot(Response::Bounded(Bound {
            response_ns: (worst.finish_ns - worst.arrival_ns) as u64, // Only later ones are told.
            busy_start_ns: 0,
            arrival_ns: worst.arrival_ns,
            job: worst.job,
            exactness: equals(tasks, position).unwrap_or(Exactness::Exact),
            at_boot: true,
        })),
        None => any_frame,
    }
}

/// The latest response of every job of a hyperperiod, task by task in the order in which the tasks were given, in ns from its
/// arrival; jobs by arrival. None where some response has no bound.
pub(super) fn responses_of_jobs(supply: &Supply, tasks: &TaskSet, jobs: &Jobs) -> Option<Vec<Vec<i64>>> {
    let of_task = |&position: &usize| {
        demand::shortfall(supply, tasks, tasks.level(position)).is_none().then(|| {
            let (first_ns, period_ns) = (first_arrival_ns(tasks, position), tasks.period_ns[position]);
            let count = jobs.hyperperiod_ns / period_ns;
            let mut found = vec![0; count as usize];
            let at_boot = finishes_at_boot(supply, tasks, jobs, position);
            for job in finishes(supply, tasks, jobs, position).iter().chain(&at_boot) {
                let number = (job.arrival_ns - first_ns) / period_ns;
                let response_ns: &mut i64 = &mut found[number.rem_euclid(count) as usize];
                *response_ns = (*response_ns).max(job.finish_ns - job.arrival_ns);
            }
            found
        })
    };
    tasks.position.iter().map(of_task).collect()
}

/// Of equal responses the first job's.
fn worst_of(finishes: &[Finish]) -> Option<&Finish> {
    finishes.iter().rev().max_by_key(|job| job.finish_ns - job.arrival_ns)
}

/// Whether every job meets its deadline.
pub(super) fn deadlines_met(supply: &Supply, tasks: &TaskSet, jobs: &Jobs) -> bool {
    (0..tasks.len()).all(|position| {
        let in_time = |job: &Finish| job.finish_ns - job.arrival_ns <= tasks.deadline_ns[position];
        demand::shortfall(supply, tasks, tasks.level(position)).is_none()
            && finishes(supply, tasks, jobs, position).iter().all(in_time)
            && finishes_at_boot(supply, tasks, jobs, position).iter().all(in_time)
    })
}

fn exactness(tasks: &TaskSet, position: usize) -> Exactness {
    let blocking = (tasks.blocking_ns[position] > 0).then_some(Exactness::Bound(Inexact::AlignedBlocking));
    equals(tasks, position).or(blocking).unwrap_or(Exactness::Exact)
}

fn equals(tasks: &TaskSet, position: usize) -> Option<Exactness> {
    tasks.has_equal(position).then_some(Exactness::Bound(Inexact::EqualPriority))
}

/// The latest releases of all jobs in `[0, 2 H)`, in order.
pub(crate) struct Jobs {
    hyperperiod_ns: i64,
    /// The first latest release at or after 0, by position.
    first_ns: Vec<i64>,
    /// Instant and position.
    latest_releases: Vec<(i64, usize)>,
}

impl Jobs {
    /// None where some task is not frame-aligned, or the hyperperiod is too long.
    pub(super) fn where_aligned(supply: &Supply, tasks: &TaskSet) -> Option<Self> {
        if !tasks.all_frame_aligned() {
            return None;
        }
        let hyperperiod_ns = hyperperiod_ns(supply, tasks)?;
        let first_ns: Vec<i64> = (0..tasks.len()).map(|k| first_latest_release_ns(tasks, k)).collect();
        let mut latest_releases = Vec::new();
        for (position, &first_ns) in first_ns.iter().enumerate() {
            let period_ns = tasks.period_ns[position];
            let jobs = 2 * hyperperiod_ns / period_ns;
            latest_releases.extend((0..jobs).map(|k| (first_ns + k * period_ns, position)));
        }
        latest_releases.sort_unstable();
        Some(Self { hyperperiod_ns, first_ns, latest_releases })
    }
}

fn first_latest_release_ns(tasks: &TaskSet, position: usize) -> i64 {
    (first_arrival_ns(tasks, position) + tasks.jitter_ns[position]) % tasks.period_ns[position]
}

fn first_arrival_ns(tasks: &TaskSet, position: usize) -> i64 {
    let offset_ns = match tasks.release[position] {
        Release::FrameAligned { offset_ns } => offset_ns as i64,
        Release::FreeRunning => 0,
    };
    offset_ns % tasks.period_ns[position]
}

/// One job of the second hyperperiod and its worst scenario.
struct Finish {
    job: u64,
    arrival_ns: i64,
    busy_start_ns: i64,
    finish_ns: i64,
}

/// The worst finishes of the own jobs of the second hyperperiod.
fn finishes(supply: &Supply, tasks: &TaskSet, jobs: &Jobs, position: usize) -> Vec<Finish> {
    let level = tasks.level(position);
    let mut window = AlignedWindow::new(supply, tasks, jobs, position);
    let mut served = Cursor::from_zero(supply);
    let mut found = Vec::new();
    let mut released_ns = 0;
    let mut greatest = (i64::MIN, 0);
    for &(instant_ns, at) in jobs.latest_releases.iter().filter(|(_, at)| level.contains(at)) {
        let free_ns = served.served(instant_ns) - released_ns;
        if free_ns >= greatest.0 {
            greatest = (free_ns, instant_ns);
        }
        released_ns += tasks.charged_ns[at];
        if at == position {
            window.own_jobs += 1;
            if instant_ns >= jobs.hyperperiod_ns {
                let finish_ns = window.finish(instant_ns, greatest.0);
                found.push(Finish {
                    job: found.len() as u64,
                    arrival_ns: instant_ns - tasks.jitter_ns[position],
                    busy_start_ns: greatest.1,
                    finish_ns,
                });
            }
        }
    }
    assert!(found.iter().all(|job| job.finish_ns != NEVER), "demand within supply finishes");
    found
}

/// The finishes of the own jobs of the first hyperperiod in the busy window that begins with the first frame, where
/// some of its supply is lost; none where nothing is, and none of a job that arrives after the busy window's end.
///
/// All arrivals before a finish count, each job being released at once. A hyperperiod later no job finishes more than
/// a hyperperiod later, since the demand is within the supply and the loss comes once.
fn finishes_at_boot(supply: &Supply, tasks: &TaskSet, jobs: &Jobs, position: usize) -> Vec<Finish> {
    if supply.boot_ns() == 0 {
        return Vec::new();
    }
    let mut window = AlignedWindow::new(supply, tasks, jobs, position);
    window.next_ns = tasks.level(position).map(|k| first_arrival_ns(tasks, k)).collect();
    window.next_ns[position] = NEVER; // Own jobs are added one by one.
    // Nothing has begun that could block.
    let free_ns = supply.boot_loss_ns() as i64 - tasks.blocking_ns[position];
    let (first_ns, period_ns) = (first_arrival_ns(tasks, position), tasks.period_ns[position]);
    let mut found = Vec::new();
    for job in 0..jobs.hyperperiod_ns / period_ns {
        let arrival_ns = first_ns + job * period_ns;
        window.own_jobs += 1;
        let finish_ns = window.finish(arrival_ns, free_ns);
        if finish_ns <= arrival_ns {
            break;
        }
        found.push(Finish { job: job as u64, arrival_ns, busy_start_ns: 0, finish_ns });
    }
    found
}

/// The work of a level up to an instant that only moves forward.
struct AlignedWindow<'a> {
    tasks: &'a TaskSet,
    position: usize,
    level: Range<usize>,
    cursor: Cursor<'a>,
    /// The own jobs whose latest release lies at or after 0, up to the one looked at.
    own_jobs: i64,
    /// The work of the other tasks' jobs that have arrived, of those whose latest release is at or after 0.
    arrived_ns: i64,
    /// The next arrival of each task that is not counted yet.
    next_ns: Vec<i64>,
}

impl<'a> AlignedWindow<'a> {
    fn new(supply: &'a Supply, tasks: &'a TaskSet, jobs: &Jobs, position: usize) -> Self {
        let level = tasks.level(position);
        let mut next_ns: Vec<i64> = level.clone().map(|k| jobs.first_ns[k] - tasks.jitter_ns[k]).collect();
        next_ns[position] = NEVER; // Own jobs are added one by one.
        Self { tasks, position, level, cursor: Cursor::from_zero(supply), own_jobs: 0, arrived_ns: 0, next_ns }
    }

    /// The finish of the own job whose latest release is `latest_ns`, with the greatest `Psi` before it.
    fn finish(&mut self, latest_ns: i64, greatest_free_ns: i64) -> i64 {
        let own_ns = self.own_jobs * self.tasks.charged_ns[self.position];
        let without_others_ns = self.tasks.blocking_ns[self.position] + greatest_free_ns + own_ns;
        let mut finish_ns = latest_ns;
        loop {
            self.count_arrivals_before(finish_ns);
            let later_ns = self.cursor.finish(without_others_ns + self.arrived_ns);
            if later_ns <= finish_ns || later_ns == NEVER {
                return later_ns;
            }
            finish_ns = later_ns;
        }
    }

    fn count_arrivals_before(&mut self, instant_ns: i64) {
        let tasks = self.tasks;
        let columns = tasks.charged_ns[self.level.clone()].iter().zip(&tasks.period_ns[self.level.clone()]);
        for (next_ns, (charged_ns, period_ns)) in self.next_ns.iter_mut().zip(columns) {
            if *next_ns < instant_ns {
                let jobs = (instant_ns - 1 - *next_ns) / period_ns + 1;
                *next_ns += jobs * period_ns;
                self.arrived_ns += jobs * charged_ns;
            }
        }
    }
}
