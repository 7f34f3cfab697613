//! When the jobs of a partition are released, in order.

use super::supply::Supply;
use super::unfit::{MOST_LISTED, Unfit};
use crate::draw::{Draw, Purpose};
use crate::engine::spread;
use crate::machine::{Arrivals, Task};
use crate::scenario::{Drawn, Spread};

/// A job is released, or something else happens at which the partition must be looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Release {
    /// The supply up to then.
    pub(super) supply: u64,
    /// The job's arrival, in nanoseconds; of other points the instant.
    pub(super) arrival_ns: u64,
    /// The job's number.
    pub(super) number: u32,
    /// The rank of its task; [`POINT`] where no job is released.
    pub(super) rank: u32,
}

/// No rank: the instant of a fault, or the end of the run.
pub(super) const POINT: u32 = 64;

/// The tasks of one partition, the most urgent first, and where they stand in the machine.
#[derive(Debug, Clone, Default)]
pub(super) struct Ranked {
    pub(super) tasks: Vec<(usize, Task)>,
}

/// Where a task goes on arriving.
#[derive(Debug, Clone, Copy)]
pub(super) struct From {
    /// Its next arrival, in nanoseconds.
    pub(super) arrival_ns: u64,
    /// The number of that job.
    pub(super) number: u32,
}

/// Arrivals before `end_ns`, each released no sooner than `held.1` where it arrives at `held.0` or later.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stretch {
    pub(super) end_ns: u64,
    pub(super) held: Option<(u64, u64)>,
}

/// A job with its instants, before supply time is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Job {
    pub(super) release_ns: u64,
    pub(super) rank: u32,
    pub(super) number: u32,
    pub(super) arrival_ns: u64,
}

impl Ranked {
    /// The ranks of some tasks, as bits.
    pub(super) fn mask(&self, holds: impl Fn(usize) -> bool) -> u64 {
        let bit = |(rank, (task, _)): (usize, &(usize, Task))| u64::from(holds(*task)) << rank;
        self.tasks.iter().enumerate().map(bit).fold(0, std::ops::BitOr::bitor)
    }

    /// Whether every run with times drawn like that has the same releases.
    pub(super) fn always_same(&self, drawn: &Drawn) -> bool {
        self.tasks.iter().all(|(_, task)| {
            let aligned = matches!(task.arrivals, Arrivals::Aligned { .. }) || drawn.phases == Spread::Least;
            let steady = task.jitter_ns == 0 && task.arrivals != Arrivals::Sporadic;
            aligned && (steady || drawn.jitters == Spread::Least)
        })
    }

    /// # Errors
    /// [`Unfit::Long`] where there are too many jobs.
    pub(super) fn check_length(&self, span_ns: u64) -> Result<(), Unfit> {
        let jobs = self.tasks.iter().map(|(_, task)| span_ns / task.period_ns.max(1) + 2);
        let all = jobs.fold(0, u64::saturating_add);
        if all > MOST_LISTED { Err(Unfit::Long) } else { Ok(()) }
    }

    /// When a task first arrives.
    pub(super) fn first(&self, rank: usize, draw: Draw, drawn: &Drawn) -> From {
        let (index, task) = &self.tasks[rank];
        let most = task.period_ns.max(1) - 1;
        let arrival_ns = match task.arrivals {
            Arrivals::Aligned { offset_ns } => offset_ns,
            Arrivals::Free | Arrivals::Sporadic => {
                spread(draw, drawn.phases, Purpose::Phase, *index as u64, 0, 0, most)
            }
        };
        From { arrival_ns, number: 0 }
    }

    /// When a task arrives again whose partition starts again at `now_ns`.
    pub(super) fn again(&self, rank: usize, now_ns: u64, number: u32) -> From {
        let task = &self.tasks[rank].1;
        let arrival_ns = match task.arrivals {
            Arrivals::Aligned { offset_ns } => {
                let period_ns = task.period_ns.max(1);
                let periods = now_ns.saturating_sub(offset_ns).div_ceil(period_ns);
                offset_ns.saturating_add(periods.saturating_mul(period_ns))
            }
            Arrivals::Free | Arrivals::Sporadic => now_ns,
        };
        From { arrival_ns, number }
    }

    /// Adds the jobs of a task that arrive within a stretch, in order, and says where it goes on. A later job of a task is
    /// released no sooner than an earlier one.
    pub(super) fn jobs(
        &self,
        rank: usize,
        mut from: From,
        stretch: Stretch,
        (draw, drawn): (Draw, &Drawn),
        into: &mut Vec<Job>,
    ) -> From {
        let (index, task) = &self.tasks[rank];
        let subject = *index as u64;
        let mut last_ns = 0;
        while from.arrival_ns < stretch.end_ns {
            let (arrival_ns, number) = (from.arrival_ns, u64::from(from.number));
            let jitter_ns = match task.jitter_ns {
                0 => 0,
                most => spread(draw, drawn.jitters, Purpose::Jitter, subject, number, 0, most),
            };
            let held_ns = stretch.held.filter(|(since, _)| arrival_ns >= *since).map_or(0, |(_, until)| until);
            last_ns = arrival_ns.saturating_add(jitter_ns).max(held_ns).max(last_ns);
            into.push(Job { release_ns: last_ns, rank: rank as u32, number: from.number, arrival_ns });
            let gap_ns = match task.arrivals {
                Arrivals::Sporadic => {
                    spread(draw, drawn.jitters, Purpose::Gap, subject, number, 0, task.period_ns.max(1))
                }
                Arrivals::Free | Arrivals::Aligned { .. } => 0,
            };
            from.arrival_ns = arrival_ns.saturating_add(task.period_ns.max(1)).saturating_add(gap_ns);
            from.number += 1;
        }
        from
    }
}

/// Sorts jobs and points by instant. Faults act before releases of the same instant, and the run's end is the last of all.
pub(super) fn sort(jobs: &mut [Job]) {
    jobs.sort_unstable_by_key(|job| (job.release_ns, job.rank != POINT, job.rank, job.number));
}

/// Sorted jobs with the supply up to their release. The supply is walked along, not searched.
pub(super) fn in_supply(jobs: &[Job], supply: &Supply, into: &mut Vec<Release>) {
    into.clear();
    let opens = supply.opens();
    let (mut index, mut before) = (0, 0);
    into.extend(jobs.iter().map(|job| {
        while opens.get(index).is_some_and(|open| open.end_ns < job.release_ns) {
            before = opens[index].until;
            index += 1;
        }
        let reached = opens.get(index).map_or(0, |open| open.until.saturating_sub(open.end_ns - job.release_ns));
        let Job { arrival_ns, number, rank, .. } = *job;
        Release { supply: before.max(reached), arrival_ns, number, rank }
    }));
}
