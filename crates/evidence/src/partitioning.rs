//! What a verdict about robust partitioning is put together from.

/// One line of such a verdict: what it looks at, and by which claims.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RobustLine {
    /// The id of the verdict.
    pub claim: String,
    /// What the line looks at, in words.
    pub what: &'static str,
    /// The outcome of the line.
    pub status: claim::Status,
    /// The outcome in words: a number, or which claim fails and why.
    pub told: String,
    /// The claims that it joins.
    pub claims: Vec<String>,
}
