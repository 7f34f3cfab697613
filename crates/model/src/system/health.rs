//! The health-monitor table.

use diagnostic::Located;
use quantity::{Duration, PartitionId};
use serde::Serialize;

/// Errors, at which level they are handled, and by which action.
#[derive(Debug, Clone, Serialize)]
pub struct Health {
    /// The entries in file order.
    pub entries: Vec<HealthEntry>,
    /// What repeated actions lead to.
    pub escalations: Vec<Escalation>,
}

/// An error of the catalogue.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub enum HealthError {
    /// A deadline was missed.
    DeadlineMissed,
    /// The application reported an error.
    ApplicationError,
    /// A numeric error.
    NumericError,
    /// An illegal request to the core software.
    IllegalRequest,
    /// A stack overflow.
    StackOverflow,
    /// An access to memory that is not the partition's.
    MemoryViolation,
    /// A hardware fault.
    HardwareFault,
    /// Power is failing.
    PowerFail,
}

/// The level at which an error is handled.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub enum HealthLevel {
    /// The process, by the partition's error handler.
    Process,
    /// The partition.
    Partition,
    /// The whole module.
    Module,
}

/// What is done about an error.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub enum HealthAction {
    /// Nothing.
    Ignore,
    /// The partition's error handler runs.
    Handler,
    /// The process is stopped and started again.
    RestartProcess,
    /// The partition starts again, keeping what is declared as kept.
    WarmStart,
    /// The partition starts from nothing.
    ColdStart,
    /// The partition stops.
    Stop,
    /// The module is reset.
    ModuleReset,
    /// The module is shut down.
    ModuleShutdown,
}

/// One row of the table.
#[derive(Debug, Clone, Serialize)]
pub struct HealthEntry {
    /// The error.
    pub error: Located<HealthError>,
    /// The level.
    pub level: Located<HealthLevel>,
    /// The action.
    pub action: Located<HealthAction>,
    /// The partitions it applies to; where empty, all that no other entry for the error names.
    pub partitions: Vec<Located<PartitionId>>,
}

/// `count` times `from` within `window` leads to `to`.
#[derive(Debug, Clone, Serialize)]
pub struct Escalation {
    /// What is counted: an error or an action, in the words of the table.
    pub from: Located<String>,
    /// How many, above zero.
    pub count: Located<u64>,
    /// Within which time.
    pub window: Located<Duration>,
    /// What then happens.
    pub to: Located<HealthAction>,
    /// The partitions it applies to; all where empty.
    pub partitions: Vec<Located<PartitionId>>,
    /// The longest time to the safe state, where one is asked for.
    pub safe_within: Option<Located<Duration>>,
}

impl Escalation {
    /// Whether it is for the partition.
    pub fn applies_to(&self, partition: PartitionId) -> bool {
        self.partitions.is_empty() || self.partitions.iter().any(|named| named.value == partition)
    }
}
