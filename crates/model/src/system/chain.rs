//! Cause-effect chains and their needs.

use diagnostic::Located;
use quantity::{ChannelId, Duration, TaskId};
use serde::Serialize;

/// One cause-effect chain.
#[derive(Debug, Clone, Serialize)]
pub struct Chain {
    /// The chain's name in claims, such as `E1`.
    pub name: Located<String>,
    /// What it is for.
    pub title: Option<String>,
    /// The tasks in order, each with the channel that leads to it; at least one.
    pub steps: Vec<ChainStep>,
    /// What it must keep.
    pub need: Need,
    /// Time before the first task: a sensor's.
    pub before: Option<Located<Duration>>,
    /// Time after the last task: an actuator's.
    pub after: Option<Located<Duration>>,
}

/// One step of a chain.
#[derive(Debug, Clone, Serialize)]
pub struct ChainStep {
    /// The task.
    pub task: Located<TaskId>,
    /// The channel from the step before; `None` for the first step and for a last-value buffer inside a partition.
    pub via: Option<ChannelId>,
}

/// What a chain must keep. The two kinds are never mixed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Need {
    /// Reaction time at most this.
    Reaction(Located<Duration>),
    /// Data age, held until the next output, at most this.
    DataAge(Located<Duration>),
}
