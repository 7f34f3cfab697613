//! What runs have seen beside what was claimed: the largest value of each thing, and the bound where one is known.
//!
//! Who compares both fills this in; here it is only told.

/// What runs have seen, with names and bounds. It is no bound.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Observed {
    /// How many runs.
    pub runs: u64,
    /// The tasks, in the machine's order.
    pub tasks: Vec<TaskSeen>,
    /// The destinations of all channels.
    pub ports: Vec<PortSeen>,
    /// The chains.
    pub chains: Vec<ChainSeen>,
    /// The most time until a partition was operational, where runs begin with the first frame; counted from reset, or from the
    /// first frame's begin where the need of the partition is.
    pub boots: Vec<(String, Observation)>,
    /// The claims of which more was seen than their bound.
    pub above: Vec<String>,
}

/// The largest value seen of something that a claim may be about.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Observation {
    /// The largest value; `None` where nothing was seen.
    pub seen: Option<u64>,
    /// The bound of the claim, where it has one.
    pub bound: Option<u64>,
    /// What it must not pass, where something is said.
    pub limit: Option<u64>,
    /// Whether it is above the bound.
    pub is_above: bool,
}

/// A task.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TaskSeen {
    /// Its label.
    pub label: String,
    /// Jobs completed.
    pub jobs: u64,
    /// Jobs that passed their deadline.
    pub missed: u64,
    /// Jobs dropped by a restart or a stop.
    pub dropped: u64,
    /// Its response, in nanoseconds.
    pub response: Observation,
}

/// A destination of a channel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PortSeen {
    /// The channel.
    pub channel: String,
    /// Who reads.
    pub reader: String,
    /// Whether it is a queue.
    pub queues: bool,
    /// Messages read.
    pub messages: u64,
    /// Reads of a message past its refresh period.
    pub stale: u64,
    /// Reads that found nothing.
    pub empty: u64,
    /// Messages lost because the queue was full.
    pub lost: u64,
    /// The age of what was read, in nanoseconds.
    pub age: Observation,
    /// The messages held, where it is a queue.
    pub held: Observation,
}

/// A chain.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChainSeen {
    /// Its name.
    pub name: String,
    /// Its reaction, in nanoseconds.
    pub reaction: Observation,
    /// Its data age, in nanoseconds.
    pub age: Observation,
}

impl Observed {
    /// Whether a deadline was missed, a stale message read, or one lost.
    pub fn has_harm(&self) -> bool {
        self.tasks.iter().any(|task| task.missed > 0) || self.ports.iter().any(|port| port.stale > 0 || port.lost > 0)
    }
}
