//! Job chains by earliest reads and latest writes.
//!
//! Computes: a bound on the reaction time and on the held data age of a chain whose jobs keep to one clock.
//! Source: job chains: Becker and others, "End-to-end timing analysis of cause-effect chains in automotive embedded
//! systems", Journal of Systems Architecture 80, 2017; immediate forward and backward chains and their equal maxima:
//! Günzel and others, ECRTS 2023 (from memory).
//! Assumptions: every job reads no earlier and writes no later than given; jobs of a task in order; messages are not
//! lost.
//! Symbols: `r(k)` earliest read, `w(k)` latest write of job `k`, in ns; `x(j)` an instant from which on a job of the
//! next task that has not read before surely sees job `j`'s output or a later one's; `n` reads that a message may
//! take; `H` hyperperiod.
//! Invariants and why it ends: a job of the next task with `r(k) >= x(j)` surely sees job `j` or a later one; with a
//! queue read in pieces the `n - 1` jobs after it may be needed. `x(j)` is `w(j)`; or, where the reader is a less
//! urgent task of the same core, the latest release of `j`: at a start after it, an unfinished `j` would go first, so
//! it has finished. Both rise with `j`, and `r` and `w` rise with `k`, so the relation "k surely has j" is monotone,
//! its first `k` for a `j` and its last `j` for a `k` are adjoint. The stimulus that job `j` of the first task is the
//! first to take came after the read of job `j - 1`, at or after `r(j - 1)`; its output comes at the latest at `w` of
//! the last job of the chain of first `k`s. Held age: the output of job `k` of the last task, replaced at the latest
//! at `w(k + 1)`, comes from the chain of last `j`s. The greatest of either over a hyperperiod are equal as the
//! relation is adjoint, which is asserted. One walk for each job of the first and of the last task; their number is
//! limited.
//! Differs from the source: the rule for readers of the same core; queues.
//! Checked by: `timing::chain::logical`, where all times are exact; runs with random execution times; the survey
//! vessel.

use crate::arithmetic;
use crate::response::JOB_LIMIT;

/// When the jobs of one task read at the earliest, and write and are released at the latest: those of one hyperperiod
/// by number, in ns; everything repeats after it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct JobTimes {
    period_ns: i64,
    first_arrival_ns: i64,
    jitter_ns: i64,
    reads_ns: Vec<i64>,
    writes_ns: Vec<i64>,
}

impl JobTimes {
    /// The jobs of a task that arrives first at `first_arrival_ns`, by number: `reads_ns` the earliest reads,
    /// `writes_ns` the latest writes. Both lists cover the same whole number of periods.
    ///
    /// # Panics Where a list is empty or they differ in length.
    pub fn new(period_ns: u64, first_arrival_ns: u64, jitter_ns: u64, reads_ns: Vec<i64>, writes_ns: Vec<i64>) -> Self {
        assert!(!reads_ns.is_empty() && reads_ns.len() == writes_ns.len(), "a read and a write for every job");
        let (period_ns, jitter_ns) = (period_ns as i64, jitter_ns as i64);
        let hyperperiod_ns = period_ns * reads_ns.len() as i64;
        Self {
            period_ns,
            first_arrival_ns: first_arrival_ns as i64,
            jitter_ns,
            reads_ns: rising(reads_ns, hyperperiod_ns),
            writes_ns: rising(writes_ns, hyperperiod_ns),
        }
    }

    /// The arrival of job `job`.
    pub fn arrival_ns(&self, job: i64) -> i64 {
        self.first_arrival_ns + job * self.period_ns
    }

    /// The earliest read of job `job`.
    pub fn read_ns(&self, job: i64) -> i64 {
        self.at(&self.reads_ns, job)
    }

    /// The latest write of job `job`.
    pub fn write_ns(&self, job: i64) -> i64 {
        self.at(&self.writes_ns, job)
    }

    fn at(&self, times_ns: &[i64], job: i64) -> i64 {
        let jobs = times_ns.len() as i64;
        times_ns[job.rem_euclid(jobs) as usize] + job.div_euclid(jobs) * jobs * self.period_ns
    }

    /// Until when a reader waits that surely sees job `job`.
    fn seen_from_ns(&self, seen: Seen, job: i64) -> i64 {
        match seen {
            Seen::Written => self.write_ns(job),
            Seen::Released => self.arrival_ns(job) + self.jitter_ns,
        }
    }

    /// The first job that reads at or after `instant_ns` for sure.
    fn first_reading_from(&self, instant_ns: i64) -> i64 {
        let hyperperiod_ns = self.period_ns * self.reads_ns.len() as i64;
        // One ns less: the last job of a round may read as early as the first one of the next.
        let rounds = (instant_ns - 1 - self.reads_ns[0]).div_euclid(hyperperiod_ns);
        let within_ns = instant_ns - rounds * hyperperiod_ns;
        let place = self.reads_ns.partition_point(|&read_ns| read_ns < within_ns);
        rounds * self.reads_ns.len() as i64 + place as i64
    }

    /// The last job that surely is seen by who reads at `instant_ns`.
    fn last_seen_at(&self, seen: Seen, instant_ns: i64) -> i64 {
        match seen {
            Seen::Released => (instant_ns - self.jitter_ns - self.first_arrival_ns).div_euclid(self.period_ns),
            Seen::Written => {
                let hyperperiod_ns = self.period_ns * self.writes_ns.len() as i64;
                let rounds = (instant_ns - self.writes_ns[0]).div_euclid(hyperperiod_ns);
                let within_ns = instant_ns - rounds * hyperperiod_ns;
                let place = self.writes_ns.partition_point(|&write_ns| write_ns <= within_ns);
                rounds * self.writes_ns.len() as i64 + place as i64 - 1
            }
        }
    }
}

/// Jobs keep their order, so no time is after one of a later job: the later one's holds for both.
fn rising(mut times_ns: Vec<i64>, hyperperiod_ns: i64) -> Vec<i64> {
    let mut least_ns = times_ns.iter().copied().fold(i64::MAX, i64::min).saturating_add(hyperperiod_ns);
    for time_ns in times_ns.iter_mut().rev() {
        least_ns = least_ns.min(*time_ns);
        *time_ns = least_ns;
    }
    times_ns
}

/// From when on a reader surely sees an output.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Seen {
    /// Once it is written.
    Written,
    /// Once its job is released: the reader is less urgent on the same core and reads when it begins.
    Released,
}

/// The way from one task to the next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Hop {
    /// From when on the reader surely sees an output.
    pub seen: Seen,
    /// How many reads it takes until a message is taken; at least 1.
    pub reads: u64,
}

/// The job chains of some tasks in a row.
#[derive(Clone, Debug)]
pub struct JobChain<'a> {
    /// The tasks in order; at least one.
    pub tasks: Vec<&'a JobTimes>,
    /// How many reads of the first task it takes until it takes what comes; at least 1.
    pub entry_reads: u64,
    /// The way from each task to the next.
    pub hops: Vec<Hop>,
}

/// The longest reaction found, which is the longest held age too, and the chain of jobs behind it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Followed {
    /// The bound, in ns.
    pub longest_ns: u64,
    /// The earliest read that the stimulus may follow at once, in ns from a hyperperiod's begin.
    pub stimulus_ns: i64,
    /// The job of each task that carries it, by number.
    pub jobs: Vec<i64>,
}

/// Why a chain was not followed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FollowError {
    /// The hyperperiod of the chain is too long, or has more jobs than [`JOB_LIMIT`].
    TooManyJobs,
    /// The times of the chain pass 2^62 ns.
    TooLong,
}

impl std::fmt::Display for FollowError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::TooManyJobs => write!(f, "the hyperperiod of the chain has more than {JOB_LIMIT} jobs to follow"),
            Self::TooLong => write!(f, "the times of the chain pass 2^62 ns"),
        }
    }
}

impl std::error::Error for FollowError {}

const LONGEST_HYPERPERIOD_NS: u64 = 1 << 53;

impl JobChain<'_> {
    /// Follows all job chains of a hyperperiod.
    ///
    /// # Errors
    /// A [`FollowError`].
    ///
    /// # Panics
    /// Where there is no task, or not one hop between any two.
    pub fn follow(&self) -> Result<Followed, FollowError> {
        assert!(!self.tasks.is_empty() && self.hops.len() + 1 == self.tasks.len(), "a hop between any two tasks");
        let hyperperiod_ns = self.hyperperiod_ns().ok_or(FollowError::TooManyJobs)?;
        if self.reach_ns() > FARTHEST_NS {
            return Err(FollowError::TooLong);
        }
        let (first, last) = (self.tasks[0], self.tasks[self.tasks.len() - 1]);
        let entry = more_reads(self.entry_reads);
        let stimulus_ns = |job: i64| first.read_ns(job - 1 - entry);
        let reaction_ns = |job: i64| last.write_ns(self.output_job(job)) - stimulus_ns(job);
        let age_ns = |job: i64| last.write_ns(job + 1) - first.read_ns(self.source_job(job) - entry);
        let jobs = 0..hyperperiod_ns / first.period_ns;
        let (longest_ns, job) = jobs.map(|job| (reaction_ns(job), job)).rev().max_by_key(|found| found.0).expect(A_JOB);
        let oldest_ns = (0..hyperperiod_ns / last.period_ns).map(age_ns).max().expect(A_JOB);
        assert_eq!(longest_ns, oldest_ns, "reaction time and held data age have the same maximum");
        Ok(Followed {
            longest_ns: longest_ns as u64, // An output comes after the read before it.
            stimulus_ns: stimulus_ns(job),
            jobs: self.jobs_behind(job).collect(),
        })
    }

    /// None where it is too long, or has too many jobs.
    fn hyperperiod_ns(&self) -> Option<i64> {
        let each = self.tasks.iter().map(|task| task.period_ns as u64 * task.reads_ns.len() as u64);
        let hyperperiod_ns = arithmetic::lcm_of(each)?;
        let jobs = self.tasks.iter().map(|task| hyperperiod_ns / task.period_ns as u64).fold(0, u64::saturating_add);
        (hyperperiod_ns <= LONGEST_HYPERPERIOD_NS && jobs <= JOB_LIMIT).then_some(hyperperiod_ns as i64)
    }

    /// How far from a hyperperiod the walk may lead.
    fn reach_ns(&self) -> i128 {
        let reads = std::iter::once(self.entry_reads).chain(self.hops.iter().map(|hop| hop.reads));
        let each = self.tasks.iter().zip(reads).map(|(task, reads)| {
            let longest_ns =
                (0..task.writes_ns.len()).map(|job| task.writes_ns[job] - task.arrival_ns(job as i64)).max();
            let waiting_ns = i128::from(reads) * i128::from(task.period_ns);
            waiting_ns + i128::from(longest_ns.unwrap_or(0)) + i128::from(task.period_ns) * task.reads_ns.len() as i128
        });
        each.sum()
    }

    /// The jobs that carry on what job `job` of the first task reads, task by task.
    fn jobs_behind(&self, job: i64) -> impl Iterator<Item = i64> {
        let next = |job: &mut i64, (pair, hop): (&[&JobTimes], &Hop)| {
            *job = pair[1].first_reading_from(pair[0].seen_from_ns(hop.seen, *job)) + more_reads(hop.reads);
            Some(*job)
        };
        std::iter::once(job).chain(self.tasks.windows(2).zip(&self.hops).scan(job, next))
    }

    /// The job of the last task that surely carries on what job `job` of the first reads.
    fn output_job(&self, job: i64) -> i64 {
        self.jobs_behind(job).last().unwrap_or(job)
    }

    /// The last job of the first task that surely is behind the output of job `job` of the last.
    fn source_job(&self, job: i64) -> i64 {
        self.tasks.windows(2).zip(&self.hops).rev().fold(job, |job, (pair, hop)| {
            let read_ns = pair[1].read_ns(job - more_reads(hop.reads));
            pair[0].last_seen_at(hop.seen, read_ns)
        })
    }
}

const FARTHEST_NS: i128 = 1 << 62;
const A_JOB: &str = "a hyperperiod has a job";

fn more_reads(reads: u64) -> i64 {
    reads.saturating_sub(1) as i64 // Where the reach is within bounds.
}
