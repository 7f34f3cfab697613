//! What was recorded, in the terms of a system and on one clock: what the map makes of [`Event`](crate::event::Event)s.

use crate::event::Leaves;
use crate::moment::{Clock, Moment};
use crate::names::Name;
use quantity::{ChannelId, CoreId, PartitionId, ScheduleId, TaskId};
use std::num::NonZeroU32;

/// Something seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Seen {
    /// When, in nanoseconds of the common clock.
    pub at_ns: u64,
    /// By whose clock.
    pub clock: Clock,
    /// What.
    pub what: Happening,
}

impl Seen {
    /// When, and by whose clock.
    pub fn moment(&self) -> Moment {
        Moment { at_ns: self.at_ns, clock: self.clock }
    }
}

/// Who executes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Who {
    /// A task.
    Task(TaskId),
    /// A partition, in work that is not known to be a task's.
    Partition(PartitionId),
    /// The platform itself: the hypervisor, a handler, what the map declares as its own.
    Platform,
    /// Somebody whom the map does not name.
    Foreign(Name),
}

/// How a partition starts again.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Start {
    /// Keeping what it declares as kept.
    Warm,
    /// From nothing.
    Cold,
}

/// What can be seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Happening {
    /// A core begins to serve a partition.
    WindowBegins {
        /// The core.
        core: CoreId,
        /// The partition.
        partition: PartitionId,
    },
    /// A core ends serving a partition.
    WindowEnds {
        /// The core.
        core: CoreId,
        /// The partition.
        partition: PartitionId,
    },
    /// Somebody executes on a core from now on; `None`: it idles.
    Runs {
        /// The core.
        core: CoreId,
        /// Who.
        who: Option<Who>,
        /// How who ran there until now leaves, where the recording says.
        leaves: Option<Leaves>,
    },
    /// A core begins to handle an interrupt.
    InterruptBegins {
        /// The core.
        core: CoreId,
        /// The line's name.
        line: Name,
    },
    /// A core has handled an interrupt.
    InterruptEnds {
        /// The core.
        core: CoreId,
        /// The line's name.
        line: Name,
    },
    /// A job arrives (or its thread is woken).
    Arrives {
        /// Its task.
        task: TaskId,
        /// The job's number and one, where the recording counts jobs.
        number: Option<NonZeroU32>,
    },
    /// A job completes (or its thread goes to wait).
    Completes {
        /// Its task.
        task: TaskId,
        /// The job's number and one.
        number: Option<NonZeroU32>,
    },
    /// A job under way is given up.
    Dropped {
        /// Its task.
        task: TaskId,
    },
    /// A message is written.
    Writes {
        /// The channel.
        channel: ChannelId,
        /// The bytes of it, where known.
        bytes: Option<u32>,
    },
    /// A channel is read, at one of its receivers: an index into the channel's declared receivers.
    Reads {
        /// The channel.
        channel: ChannelId,
        /// The receiver.
        receiver: u16,
    },
    /// A message finds no room.
    Overflows {
        /// The channel.
        channel: ChannelId,
        /// The receiver.
        receiver: u16,
    },
    /// A fault begins; the name is what the recording calls it.
    FaultBegins {
        /// The name.
        fault: Name,
        /// Whose it is, where that is said.
        of: Option<PartitionId>,
    },
    /// A fault ends.
    FaultEnds {
        /// The name.
        fault: Name,
    },
    /// An error of a partition is noticed.
    Noticed {
        /// The partition.
        partition: PartitionId,
    },
    /// A partition begins to start again.
    Restarts {
        /// The partition.
        partition: PartitionId,
        /// How.
        start: Start,
    },
    /// The initialisation of a partition is done.
    Operational {
        /// The partition.
        partition: PartitionId,
    },
    /// A partition stops for good.
    Stopped {
        /// The partition.
        partition: PartitionId,
    },
    /// A module schedule takes effect.
    Schedule {
        /// Which.
        schedule: ScheduleId,
    },
    /// A frame of the window tables begins.
    Frame,
    /// Events of a core (`None`: of any) were lost before this instant or after it.
    Gap {
        /// The core.
        core: Option<CoreId>,
        /// Whether the loss is over here: one loss is told where it begins, before each event within it, and where it ends.
        ends: bool,
    },
}
