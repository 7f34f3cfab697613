//! Core sets, module schedules, and the internal network.

use super::RunGrant;
use diagnostic::Located;
use quantity::{CoreId, Duration, PartitionId, TaskId};
use serde::Serialize;

/// Cores scheduled together by one policy.
#[derive(Debug, Clone, Serialize)]
pub struct CoreSet {
    /// The set's name.
    pub name: Located<String>,
    /// Its cores; at least one.
    pub cores: Vec<CoreId>,
    /// Its policy.
    pub policy: CorePolicy,
}

/// How a core set is scheduled.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub enum CorePolicy {
    /// Windows in a major time frame.
    WindowTable {
        /// Whether its frame begins together with the others'.
        synchronised: bool,
        /// The drift of its clock, in parts per million, where declared.
        drift_ppm: Option<u64>,
    },
    /// Budget servers.
    BudgetServer,
    /// Proportional share in turns of one quantum.
    ProportionalShare {
        /// The quantum.
        quantum: Duration,
    },
    /// One partition has the core to itself.
    Dedicated,
}

/// What a partition does when the module schedule changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum ChangeAction {
    /// Nothing.
    None,
    /// A warm start.
    Warm,
    /// A cold start.
    Cold,
}

/// One complete set of window tables.
#[derive(Debug, Clone, Serialize)]
pub struct ModuleSchedule {
    /// The schedule's name.
    pub name: Located<String>,
    /// What it is for.
    pub title: Option<String>,
    /// The partitions that it changes against the first schedule.
    pub changes: Vec<ScheduledPartition>,
    /// The schedules that may follow; empty where any may.
    pub may_follow: Vec<Located<String>>,
}

/// A partition as one module schedule has it.
#[derive(Debug, Clone, Serialize)]
pub struct ScheduledPartition {
    /// The partition.
    pub partition: Located<PartitionId>,
    /// Whether it has no windows here.
    pub idle: bool,
    /// The tasks that are active here; all where not declared.
    pub active_tasks: Option<Vec<TaskId>>,
    /// The time that it asks for here; the same as elsewhere where not declared.
    pub grant: Option<RunGrant>,
}

/// The network inside the board, where one partition forwards the others' messages.
#[derive(Debug, Clone, Serialize)]
pub struct Network {
    /// The partition that forwards.
    pub forwarder: Located<PartitionId>,
    /// The task of it that does the work.
    pub task: Option<Located<TaskId>>,
    /// The cost of one frame for each receiver, fixed part.
    pub fixed: Option<Located<Duration>>,
    /// The cost per byte, in picoseconds, so that it stays a whole number.
    pub per_byte_ps: Option<Located<u64>>,
    /// The frames that each direction's queue holds.
    pub depth: Option<Located<u64>>,
}
