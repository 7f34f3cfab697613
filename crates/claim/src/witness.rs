//! The scenario that shows a violation.

/// A scenario: what is released when, what runs when, and what comes of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Witness {
    /// The scenario in a sentence.
    pub summary: String,
    /// The instant in the frame at which it begins, in nanoseconds; `None` where time plays no part.
    pub phase_ns: Option<u64>,
    /// The arrivals and releases, by time.
    pub releases: Vec<WitnessRelease>,
    /// Who has the core when, by time, without gaps that matter.
    pub timeline: Vec<Segment>,
    /// The instant, from the scenario's beginning, at which the subject completes, in nanoseconds.
    pub completes_ns: Option<u64>,
}

impl Witness {
    /// A witness in which time plays no part: the fact itself shows the violation.
    pub fn of_fact(summary: impl Into<String>) -> Self {
        Self { summary: summary.into(), phase_ns: None, releases: Vec::new(), timeline: Vec::new(), completes_ns: None }
    }
}

/// One job of a scenario. Times count from the scenario's beginning and may lie before it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WitnessRelease {
    /// The task, as `PARTITION.task`.
    pub task: String,
    /// The job's number, from 0.
    pub job: u64,
    /// Its arrival, in nanoseconds.
    pub arrival_ns: i64,
    /// Its release, at most its jitter later, in nanoseconds.
    pub release_ns: i64,
    /// The time that it executes, in nanoseconds.
    pub execution_ns: u64,
}

/// A stretch of a scenario's timeline: `[start, end)` from its beginning, in nanoseconds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Segment {
    /// What happens: a task as `PARTITION.task`, `blocking`, `blackout` or `idle`.
    pub what: String,
    /// The start.
    pub start_ns: u64,
    /// The end.
    pub end_ns: u64,
}
