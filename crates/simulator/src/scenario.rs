//! How one run goes.

use crate::{Fault, Protections};

/// Everything that tells one run of a machine from another.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Scenario {
    /// The seed of every draw.
    pub seed: u64,
    /// The number of the run.
    pub run: u64,
    /// Where it begins.
    pub begin: Begin,
    /// The module schedule in force at the beginning.
    pub schedule: usize,
    /// How long it lasts, in nanoseconds; jobs that have not completed by then do not count.
    pub span_ns: u64,
    /// When jobs arrive and how long they take.
    pub times: Times,
    /// The faults, by instant.
    pub faults: Vec<Fault>,
    /// Which protections are on.
    pub protections: Protections,
    /// Requests for another module schedule: the instant in nanoseconds and the schedule, by instant.
    pub changes: Vec<(u64, usize)>,
    /// For what line requests wait.
    pub contention: Contention,
}

/// For what the line requests of jobs wait.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Contention {
    /// Each for a request of every other master: the time that a job is charged holds all of it.
    #[default]
    Full,
    /// For what other masters ask for at the same time, and no more.
    Concurrent,
}

/// Where a run begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Begin {
    /// At the begin of a frame, everything operational, no message anywhere, no job under way.
    Running,
    /// At the begin of the very first frame: partitions initialise first.
    FirstFrame,
}

/// When jobs arrive and how long they take.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Times {
    /// Drawn for each job.
    Drawn(Drawn),
    /// Given job by job, as a scenario that is replayed has them; a task without jobs here has none.
    Given(Vec<GivenJob>),
}

/// How times are drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Drawn {
    /// The execution times.
    pub executions: Spread,
    /// The first arrivals of free-running tasks: from 0 to below their period; `Least` takes 0.
    pub phases: Spread,
    /// The jitter of each job, and the gaps of sporadic tasks beyond their least.
    pub jitters: Spread,
    /// How long begun jobs that are less urgent go on, up to the blocking time.
    pub blocking: Spread,
}

/// Where in its range a time is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Spread {
    /// Anywhere, evenly.
    #[default]
    Even,
    /// Always the least.
    Least,
    /// Always the most.
    Most,
    /// At either end, evenly: extremes meet more often.
    Ends,
}

/// A job of a scenario that is replayed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct GivenJob {
    /// Its arrival, in nanoseconds from the run's beginning.
    pub arrival_ns: u64,
    /// The task.
    pub task: usize,
    /// Its release, at most its jitter later.
    pub release_ns: u64,
    /// How long it executes: its charged time at most, unless it overruns.
    pub execution_ns: u64,
    /// How long it goes on at most once a more urgent job is released while it has begun, in nanoseconds of execution.
    pub goes_on_ns: u64,
}
