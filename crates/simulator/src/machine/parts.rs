//! Partitions, tasks, channels, chains, and the internal network.

use super::time::{Arrivals, Guest, Indices};
use crate::event::Start;
use crate::scenario::Contention;

/// One partition.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Partition {
    /// Its name.
    pub name: String,
    /// How its tasks take turns.
    pub guest: Guest,
    /// Its virtual cores.
    pub lanes: Indices,
    /// Its tasks.
    pub tasks: Indices,
    /// How it starts again.
    pub recovery: Recovery,
    /// What it does when the module schedule changes: nothing, or a start.
    pub at_change: Option<Start>,
    /// The partition that builds it at boot, and the execution time that this takes, in nanoseconds.
    pub built_by: Option<(usize, u64)>,
    /// Whether it may fail in any way whatever.
    pub untrusted: bool,
}

/// How a partition starts again. A datum that is not declared is `None`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Recovery {
    /// The execution time of its initialisation after a cold start, in nanoseconds.
    pub cold_init_ns: Option<u64>,
    /// The execution time of its initialisation after a warm start.
    pub warm_init_ns: Option<u64>,
    /// The longest time until a fault is noticed.
    pub detection_ns: Option<u64>,
    /// The time that the action takes.
    pub action_ns: Option<u64>,
    /// The task whose first output ends an outage.
    pub ends_with: Option<usize>,
}

/// One task.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Task {
    /// Its label: `PARTITION.task`.
    pub label: String,
    /// The partition.
    pub partition: usize,
    /// The lane it is pinned to; any of the partition's where it is not.
    pub lane: Option<usize>,
    /// The time between two arrivals, in nanoseconds; above zero.
    pub period_ns: u64,
    /// The deadline, from arrival.
    pub deadline_ns: u64,
    /// When its jobs arrive.
    pub arrivals: Arrivals,
    /// The release jitter.
    pub jitter_ns: u64,
    /// The shortest execution time; at least 1.
    pub least_ns: u64,
    /// The charged time: execution, what other masters lengthen it by, two context switches, port calls where charged.
    pub charged_ns: u64,
    /// Of the charged time, the part that waits for other masters.
    pub interference_ns: u64,
    /// Line requests of one job.
    pub line_requests: u64,
    /// Larger is more urgent; equals go by arrival, then by index.
    pub priority: u32,
    /// How long a less urgent job that has begun may go on once a job of this task is released.
    pub blocking_ns: u64,
    /// Whether it reads at arrival and writes at the deadline.
    pub logical: bool,
    /// The inputs that it reads.
    pub reads: Vec<usize>,
    /// The channels that it writes.
    pub writes: Vec<usize>,
}

impl Task {
    /// How long one of its jobs executes at the most, at least 1: beside what its line requests wait for, unless all of that is
    /// charged.
    pub fn most_ns(&self, contention: Contention) -> u64 {
        let waiting_ns = match contention {
            Contention::Full => 0,
            Contention::Concurrent => self.interference_ns,
        };
        self.charged_ns.saturating_sub(waiting_ns).max(1)
    }

    /// How long at the least.
    pub fn least_ns(&self, contention: Contention) -> u64 {
        match contention {
            Contention::Full => self.least_ns.max(1),
            Contention::Concurrent => self.least_ns.clamp(1, self.most_ns(contention)),
        }
    }
}

/// One channel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Channel {
    /// Its name.
    pub name: String,
    /// Its kind.
    pub port: Port,
    /// The task that writes it, where one is named.
    pub source_task: Option<usize>,
    /// The partition that sends; the owner, where a device does.
    pub source: usize,
    /// The time between two batches of a source that is no task, where known, in nanoseconds.
    pub source_period_ns: Option<u64>,
    /// The messages written at once.
    pub batch: u64,
    /// Its inputs.
    pub inputs: Indices,
    /// The execution time of the forwarder for one frame of it, in nanoseconds, where the forwarder carries it.
    pub frame_cost_ns: Option<u64>,
}

/// The two kinds of port.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Port {
    /// One message, which each write replaces.
    Sampling {
        /// The longest age at which it is valid, in nanoseconds.
        refresh_ns: Option<u64>,
    },
    /// First in, first out.
    Queuing {
        /// How many it holds.
        depth: u64,
        /// How many one read takes at most; all where not given.
        takes: Option<u64>,
    },
}

/// One destination of a channel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Input {
    /// The channel.
    pub channel: usize,
    /// The partition that receives; the owner, where a device does.
    pub partition: usize,
    /// The task that reads, where one is named; every task of the partition may, where none is, and nobody is modelled to.
    pub task: Option<usize>,
}

/// One cause-effect chain.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chain {
    /// Its name.
    pub name: String,
    /// Its tasks in order.
    pub steps: Vec<Step>,
    /// Time before the first task and after the last, in nanoseconds.
    pub outside_ns: u64,
}

/// One task of a chain.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Step {
    /// The task.
    pub task: usize,
    /// The input by which the step before leads to it; `None` at the first, and where both share a last-value buffer.
    pub via: Option<usize>,
}

/// The internal network.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Network {
    /// The partition that forwards.
    pub forwarder: usize,
    /// The task whose jobs move frames; the whole usable time of the partition where none does.
    pub task: Option<usize>,
    /// The execution time of one job of the task for frames, in nanoseconds; `None` where no task forwards.
    pub budget_ns: Option<u64>,
    /// The frames that each sender's queue holds, the one under way included; `None` where not declared: no limit.
    pub depth: Option<u64>,
}
