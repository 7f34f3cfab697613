//! Who has which core when.

use std::ops::Range;

/// One core.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Core {
    /// Its name.
    pub name: String,
    /// How it is shared.
    pub policy: Policy,
    /// The core set it belongs to; cores of one set keep one phase.
    pub set: usize,
}

/// How a core is shared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Policy {
    /// Windows in a frame.
    Table {
        /// Whether its frames begin together with the board's. Where not, their phase is drawn.
        synchronised: bool,
        /// The longest time by which the usable part of a window may begin later, in nanoseconds.
        slip_ns: u64,
    },
    /// Budget servers.
    Servers,
    /// Turns of one quantum.
    Share {
        /// The quantum, in nanoseconds.
        quantum_ns: u64,
        /// The head of every turn, in nanoseconds.
        head_ns: u64,
    },
    /// One lane has it to itself.
    Dedicated,
    /// Nobody runs on it.
    Off,
}

/// The windows of one module schedule.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Tables {
    /// The schedule's name.
    pub name: String,
    /// The windows of each core, by start, not overlapping, inside the frame.
    pub cores: Vec<Vec<Window>>,
    /// The tasks that arrive here, by index; those of partitions that are idle here do not.
    pub active: Vec<bool>,
    /// The lanes' grants on cores without a table, by lane; as in [`Lane::grant`] where the schedule changes nothing.
    pub grants: Vec<Grant>,
}

/// A window: `[start, end)` in every frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// The start in the frame, in nanoseconds.
    pub start_ns: u64,
    /// One past its last nanosecond.
    pub end_ns: u64,
    /// Whose it is.
    pub lane: usize,
    /// Switch and refill at its head, in nanoseconds: 0 where it touches a window of the same lane before it in the frame.
    pub head_ns: u64,
    /// Whether it begins with the frame and touches the same lane's window at the frame's end: its head is then
    /// charged in the first frame and after a schedule change only.
    pub continues: bool,
}

/// One virtual core of a partition.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lane {
    /// The partition.
    pub partition: usize,
    /// Its number among the partition's, from 0.
    pub number: u32,
    /// The cores on which it may be served: one where it is pinned, those of its set where not. With a window table the
    /// table says it.
    pub cores: Vec<usize>,
    /// What it is granted on cores without a table.
    pub grant: Grant,
}

/// What a lane is granted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Grant {
    /// Windows of the table, nothing beside.
    Windows,
    /// A budget in every period, each within its deadline, idle or not.
    Server {
        /// The usable budget, in nanoseconds; a head is paid beside it whenever the core turns to the lane.
        budget_ns: u64,
        /// The period.
        period_ns: u64,
        /// The deadline, from the period's begin.
        deadline_ns: u64,
        /// The head: switch and refill.
        head_ns: u64,
    },
    /// A weight against the others.
    Share {
        /// The weight.
        weight: u64,
        /// The most it may take of a core, in parts per million.
        ceiling_ppm: Option<u64>,
    },
    /// The whole core.
    Dedicated,
    /// Nothing.
    Nothing,
}

/// How the tasks of a partition take turns.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Guest {
    /// Preemptive fixed priority.
    FixedPriority,
    /// Earliest deadline first.
    Edf,
    /// Fixed priority, a begun job is not displaced by its own partition.
    Cooperative,
    /// Nothing is known but that it needs `budget` in any span of `span` (a budget in a period), or none where a share
    /// is needed; it takes all the time that it is given.
    Opaque {
        /// The budget, in nanoseconds.
        budget_ns: Option<u64>,
        /// The span, in nanoseconds.
        span_ns: Option<u64>,
    },
}

/// When the jobs of a task arrive.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Arrivals {
    /// The first at any instant below the period, then one each period.
    Free,
    /// The first at any instant, then no sooner than the period after another.
    Sporadic,
    /// At `offset + k * period` from the first frame's begin.
    Aligned {
        /// The offset, in nanoseconds.
        offset_ns: u64,
    },
}

/// Lanes or tasks of a partition, as a range of the machine's list.
pub type Indices = Range<usize>;
