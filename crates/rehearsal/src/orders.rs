//! What the process of a partition is told before it begins: a line of JSON on its standard input.

use serde::{Deserialize, Serialize};
use std::path::PathBuf;

/// Somebody of whom something is recorded: an index into [`Prepared::names`](crate::Prepared::names).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Subject(pub u32);

/// Everything that one virtual core of a partition does.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Orders {
    /// Whose process it is, and on which core.
    pub place: Place,
    /// How its tasks take turns.
    pub turns: Turns,
    /// Its tasks.
    pub tasks: Vec<Task>,
    /// The seed of every draw.
    pub seed: u64,
    /// How long the rehearsal lasts.
    pub span_ns: u64,
    /// The faults that happen inside of it.
    pub faults: Vec<Fault>,
    /// What it does before all else, where it starts again.
    pub start: Option<Start>,
    /// Where its entries are kept.
    pub log: PathBuf,
    /// The memory of all sampling ports.
    pub slots: PathBuf,
    /// The pipe of each queue's number that is named in the tasks.
    pub pipes: Vec<(usize, PathBuf)>,
}

/// Where a process has its place.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Place {
    /// The process that started it: where that is gone, it ends.
    pub parent: i32,
    /// The name of its threads.
    pub name: String,
    /// The cpu that it stays on.
    pub cpu: usize,
    /// Whether it has real-time priority.
    pub real_time: bool,
    /// The core for which that cpu stands, as an index.
    pub core: u16,
    /// The partition.
    pub partition: Subject,
}

/// How tasks take turns.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Turns {
    /// The most urgent first.
    Priority,
    /// The earliest deadline first.
    Deadline,
    /// The most urgent first, but a job that has begun ends first.
    Cooperative,
    /// Nothing is known: it takes all the time that it is given.
    All,
}

/// A task.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Task {
    /// Of whom things are recorded.
    pub who: Subject,
    /// Its number, for draws.
    pub number: u64,
    /// The time between two arrivals; the least one where it is sporadic.
    pub period_ns: u64,
    /// The deadline, from arrival.
    pub deadline_ns: u64,
    /// The offset from the first frame; drawn where it is not given.
    pub offset_ns: Option<u64>,
    /// Whether jobs come no sooner than the period, and perhaps later.
    pub sporadic: bool,
    /// How long after its arrival a job is released at most.
    pub jitter_ns: u64,
    /// The shortest and the longest execution time.
    pub execution_ns: (u64, u64),
    /// The memory lines of one job.
    pub lines: u64,
    /// Larger is more urgent.
    pub priority: u32,
    /// What it reads as it starts.
    pub reads: Vec<Input>,
    /// What it writes as it completes.
    pub writes: Vec<Output>,
}

/// An input of a task.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Input {
    /// Of whom a read is recorded.
    pub who: Subject,
    /// Where it lies.
    pub port: Port,
}

/// Where messages lie.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Port {
    /// The slot of that number.
    Slot(usize),
    /// A queue.
    Queue {
        /// The number of its pipe.
        pipe: usize,
        /// How many messages it holds.
        depth: u64,
        /// How many one read takes at most; all where not given.
        takes: Option<u64>,
    },
}

/// A channel at its source.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Output {
    /// Of whom a write is recorded.
    pub who: Subject,
    /// The messages written at once.
    pub batch: u64,
    /// Where they go: one slot for all receivers, or the queue of each, with the one of whom an overflow is recorded.
    pub to: Vec<Input>,
}

/// A fault inside a process.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fault {
    /// The fault, for the entry that says that it has ended.
    pub who: Subject,
    /// When it begins, from the first frame.
    pub at_ns: u64,
    /// What it does.
    pub does: Does,
}

/// What a fault does inside a process. Tasks are those of the orders, by index.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum Does {
    /// So many jobs of the tasks that start from then on take that much longer than their longest time.
    Overrun {
        /// The tasks.
        tasks: Vec<usize>,
        /// By how much.
        extra_ns: u64,
        /// How many jobs of each.
        jobs: u64,
    },
    /// The next job of the task to start never completes.
    Loop {
        /// The task.
        task: usize,
    },
    /// So many messages at once, or one after the other.
    Flood {
        /// The channels, as task and place among its outputs.
        channels: Vec<(usize, usize)>,
        /// How many of each.
        messages: u64,
        /// The time between two; 0: at once.
        every_ns: u64,
    },
    /// Nothing is written.
    Silence {
        /// The channels, as task and place among its outputs.
        channels: Vec<(usize, usize)>,
        /// For how long.
        for_ns: u64,
    },
    /// Memory is moved without restraint whenever no job executes.
    Hog {
        /// For how long.
        for_ns: u64,
    },
    /// Arrivals are seen only at its end.
    LostTick {
        /// For how long.
        for_ns: u64,
    },
}

/// How a process starts again.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Start {
    /// How long its initialisation executes.
    pub load_ns: u64,
    /// The fault that has ended once that is done.
    pub ends: Option<Subject>,
}
