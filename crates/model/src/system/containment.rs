//! Containment sets: whom the faults of a partition may reach.

use diagnostic::{Located, Span};
use quantity::{PartitionId, Ppm};
use serde::Serialize;

/// Whom the faults of a partition may reach.
#[derive(Debug, Clone, Serialize)]
pub struct Containment {
    /// The partition that fails.
    pub partition: Located<PartitionId>,
    /// Who may feel it beside the partition itself.
    pub within: Vec<Located<PartitionId>>,
    /// The share of faults that may still reach another, as far as a campaign can tell.
    pub at_most: Located<Ppm>,
    /// The place of the section.
    #[serde(skip)]
    pub place: Span,
}
