//! What a bound is made of: the parts of a waterfall, which add up to it.

/// One part of a bound. The parts of a verdict stand in the order in which their time passes and add up to its bound.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Part {
    /// Whose time it is: a task as `PARTITION.task`, a channel, a boot stage, a partition.
    pub what: String,
    /// What happens in it.
    pub kind: PartKind,
    /// How long it takes, in nanoseconds.
    pub ns: u64,
}

/// What happens in a part of a bound.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PartKind {
    /// The time before the first task or after the last one: a sensor's or an actuator's.
    Device,
    /// Something has come and waits for the next job that reads it.
    Waiting,
    /// A job is there and its partition has no usable supply.
    Blackout,
    /// A job is there and others of its partition go first, or it is released late.
    Delay,
    /// The job itself executes, waits for memory and switches included.
    Executing,
    /// A message is in a queue, or on its way through the internal network.
    Port,
    /// A fault is there and not noticed yet.
    Detection,
    /// The health monitor acts.
    Action,
    /// A partition initialises.
    Initialisation,
    /// A stage of boot: fixed time, authentication, load.
    Stage,
    /// The next point at which something may begin is not reached yet.
    Alignment,
    /// Jobs of the partition wait for a line request of another master.
    Interference,
    /// A less urgent job that has begun goes on.
    Blocking,
    /// Switches between the jobs of a partition.
    Switches,
}

impl PartKind {
    /// Every kind in the order of keys to drawings.
    pub const ALL: [Self; 14] = [
        Self::Device,
        Self::Waiting,
        Self::Blackout,
        Self::Delay,
        Self::Executing,
        Self::Port,
        Self::Detection,
        Self::Action,
        Self::Initialisation,
        Self::Stage,
        Self::Alignment,
        Self::Interference,
        Self::Blocking,
        Self::Switches,
    ];

    /// The word for programs and people alike.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Device => "device",
            Self::Waiting => "waiting",
            Self::Blackout => "blackout",
            Self::Delay => "delay",
            Self::Executing => "executing",
            Self::Port => "port",
            Self::Detection => "detection",
            Self::Action => "action",
            Self::Initialisation => "initialisation",
            Self::Stage => "stage",
            Self::Alignment => "alignment",
            Self::Interference => "interference",
            Self::Blocking => "blocking",
            Self::Switches => "switches",
        }
    }
}

impl Part {
    /// A part of `ns` nanoseconds.
    pub fn new(what: impl Into<String>, kind: PartKind, ns: u64) -> Self {
        Self { what: what.into(), kind, ns }
    }
}

/// What the parts add up to, in nanoseconds; saturates.
pub fn sum_of_parts(parts: &[Part]) -> u64 {
    parts.iter().fold(0, |sum, part| sum.saturating_add(part.ns))
}
