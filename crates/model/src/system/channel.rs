//! Channels between partitions.

use super::Protection;
use diagnostic::Located;
use quantity::{Bytes, ChannelId, DeviceId, Duration, PartitionId, TaskId};
use serde::Serialize;

/// One channel: one source, one or more destinations.
#[derive(Debug, Clone, Serialize)]
pub struct Channel {
    /// The channel's name in claims, such as `CH01`.
    pub name: Located<String>,
    /// What it carries.
    pub title: Option<String>,
    /// Sampling or queuing.
    pub kind: ChannelKind,
    /// The largest message.
    pub size: Located<Bytes>,
    /// Who writes.
    pub source: Located<PortEnd>,
    /// Who reads; at least one.
    pub destinations: Vec<Located<PortEnd>>,
    /// The checks of consumers on what comes from a lower level.
    pub checks: Vec<FlowCheck>,
    /// Whether the forwarder carries it.
    pub forwarded: bool,
    /// What stands against faults of the exchange, where something is declared.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub measures: Option<Located<Protection>>,
    /// The channel whose messages it carries on as they are, with all that was attached to them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub passes_on: Option<Located<ChannelId>>,
}

/// An end of a channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub enum PortEnd {
    /// A task.
    Task(TaskId),
    /// A partition, where no task is named.
    Partition(PartitionId),
    /// A device.
    Device(DeviceId),
}

/// The two kinds of port.
#[derive(Debug, Clone, Serialize)]
pub enum ChannelKind {
    /// One message, overwritten.
    Sampling {
        /// The longest age at which a message is still valid.
        refresh: Option<Located<Duration>>,
    },
    /// First in, first out.
    Queuing {
        /// The messages that the queue holds.
        depth: Located<u64>,
        /// The least time between two batches; the source's period where not declared.
        min_interarrival: Option<Located<Duration>>,
        /// The messages sent at once.
        batch: Located<u64>,
        /// The messages that may come at any one time beyond one batch each `min_interarrival`, which is then declared:
        /// in any span `t` at most `burst + batch * (1 + floor(t / min_interarrival))` come.
        burst: Option<Located<u64>>,
        /// What one read takes.
        read: QueueRead,
    },
}

/// What one read of a queue takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum QueueRead {
    /// Everything that is there.
    All,
    /// The oldest messages, up to this number.
    AtMost(u64),
}

/// A consumer-side check on a flow from a lower level.
#[derive(Debug, Clone, Serialize)]
pub struct FlowCheck {
    /// The consumer that checks; every consumer where not declared.
    pub consumer: Option<Located<PortEnd>>,
    /// What it checks, in words.
    pub what: Located<String>,
}
