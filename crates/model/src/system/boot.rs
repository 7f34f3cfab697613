//! Boot: stages and needs.

use diagnostic::Located;
use quantity::{Bytes, Duration, PartitionId, Rate};
use serde::Serialize;

/// What happens from reset to the first frame.
#[derive(Debug, Clone, Serialize)]
pub struct Boot {
    /// The stages in file order.
    pub stages: Vec<BootStage>,
    /// By when which partitions must be operational.
    pub needs: Vec<BootNeed>,
}

/// One stage.
#[derive(Debug, Clone, Serialize)]
pub struct BootStage {
    /// The stage's name.
    pub name: Located<String>,
    /// Its fixed time, where it has one.
    pub time: Option<Located<Duration>>,
    /// The bytes it loads and at which rate, where it loads.
    pub load: Option<(Located<Bytes>, Located<Rate>)>,
    /// The stages that must have ended before: indices into the stages.
    pub after: Vec<Located<usize>>,
}

/// A time by which partitions must be operational, from reset or from the first frame.
#[derive(Debug, Clone, Serialize)]
pub struct BootNeed {
    /// The partitions.
    pub partitions: Vec<Located<PartitionId>>,
    /// The time, counted from the start of the first frame unless `from_reset`.
    pub within: Located<Duration>,
    /// Whether the time counts from reset.
    pub from_reset: bool,
    /// Why.
    pub reason: Option<String>,
}
