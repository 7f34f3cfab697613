//! The faults that a scenario may hold, and how they are read and written.

mod ask;
pub mod declared;
mod file;
mod line;
mod sections;
mod write;

pub use file::{key_tables, protection, read_scenario};
pub use line::{fault_text, read_fault};
pub use write::write_scenario;

use crate::event::Start;

/// One fault: what, where, when.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Fault {
    /// What, with its parameters.
    pub kind: Kind,
    /// Where.
    pub target: Target,
    /// When it begins, in nanoseconds from the run's beginning.
    pub at_ns: u64,
}

/// Where a fault happens: an index into the machine's list of that name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Target {
    /// A partition.
    Partition(usize),
    /// A task.
    Task(usize),
    /// A port: the channel.
    Channel(usize),
    /// A device.
    Device(usize),
    /// A core.
    Core(usize),
}

/// What happens. Every time is in nanoseconds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Jobs of a task, or of all tasks of a partition, that begin from now on take longer than their charged time.
    Overrun {
        /// By how much each.
        extra_ns: u64,
        /// How many jobs of each task do.
        jobs: u64,
    },
    /// The next job of the task never ends: it takes all the time that its partition has for it. Of a partition: of its
    /// most urgent task.
    EndlessLoop,
    /// The partition fails and executes nothing until it is started again, as the health monitor says.
    Crash {
        /// How it is started again, in place of what the health monitor would do at first.
        start: Option<Start>,
    },
    /// The partition fails again and again.
    RestartStorm {
        /// How often.
        count: u64,
        /// After which time each.
        every_ns: u64,
        /// How it is started again.
        start: Option<Start>,
    },
    /// The source of a channel, or every task of a partition on all its channels, sends far too often.
    Babble {
        /// The time between two messages of one channel.
        every_ns: u64,
        /// For how long.
        for_ns: u64,
    },
    /// The partition, task or channel sends nothing.
    Silence {
        /// For how long.
        for_ns: u64,
    },
    /// That many messages come at once to a channel's queues, or to all queuing channels that a partition sends to.
    QueueFlood {
        /// How many.
        messages: u64,
    },
    /// The partition keeps more line requests under way than the arbitration grants, whenever it runs.
    MemoryBurst {
        /// How many lines it has moved in each turn instead of one.
        lines: u64,
        /// For how long.
        for_ns: u64,
    },
    /// A device does.
    DmaBurst {
        /// How many lines it has moved in each turn instead of one.
        lines: u64,
        /// For how long.
        for_ns: u64,
    },
    /// A device interrupts far too often.
    InterruptStorm {
        /// The time between two interrupts.
        every_ns: u64,
        /// For how long.
        for_ns: u64,
    },
    /// Windows of the core, or of the partition, begin late; they end as planned.
    LateWindow {
        /// By how much.
        by_ns: u64,
        /// How many windows do.
        windows: u64,
    },
    /// The clock of a partition loses ticks: what arrives meanwhile is released only at the end.
    LostTick {
        /// For how long.
        for_ns: u64,
    },
    /// The core stands still.
    CoreStop {
        /// For how long; for good where not given.
        for_ns: Option<u64>,
    },
}

/// The kinds of [`Target`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    /// A partition.
    Partition,
    /// A task.
    Task,
    /// A port: the channel.
    Channel,
    /// A device.
    Device,
    /// A core.
    Core,
}

impl Place {
    /// Every kind of target.
    pub const ALL: [Self; 5] = [Self::Partition, Self::Task, Self::Channel, Self::Device, Self::Core];

    /// The word in messages, such as `partition`.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Partition => "partition",
            Self::Task => "task",
            Self::Channel => "port",
            Self::Device => "device",
            Self::Core => "core",
        }
    }
}
