//! Growth rules and accepted deviations.

use diagnostic::Located;
use quantity::{PartitionId, Ppm};
use serde::Serialize;

/// What a growth rule speaks of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum GrowthSubject {
    /// The share of every core that no window has.
    Cores,
    /// The share of the placeable memory that nobody has.
    Ram,
    /// The growth of a partition's execution times that its deadlines bear, above what they are now.
    Partition(PartitionId),
    /// The same for every partition.
    Partitions,
    /// The share of the guaranteed bandwidth that nobody has.
    Bandwidth,
    /// The share of every queue's depth that is never used.
    Ports,
}

/// A share that must be left at a milestone.
#[derive(Debug, Clone, Serialize)]
pub struct GrowthRule {
    /// What it speaks of.
    pub subject: Located<GrowthSubject>,
    /// The least share or growth.
    pub at_least: Located<Ppm>,
    /// The milestone at which it is judged; always where not declared.
    pub milestone: Option<Located<String>>,
    /// Where it comes from.
    pub source: Option<String>,
}

/// A claim that is known not to hold and is accepted for a while.
#[derive(Debug, Clone)]
pub struct Accepted {
    /// The id of the claim.
    pub claim: Located<String>,
    /// Why it is accepted.
    pub reason: Located<String>,
    /// Who answers for it.
    pub owner: Located<String>,
    /// The last day on which it is accepted.
    pub until: Located<jiff::civil::Date>,
}
