//! Supply and demand of a partition, handed in for drawing.

/// The least supply of one partition against the demand of its most demanding level.
///
/// The caller computes both; here they are only drawn.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Curve {
    /// The partition.
    pub partition: String,
    /// The task whose level the demand belongs to, as `PARTITION.task`.
    pub level: String,
    /// The longest interval without usable supply, in nanoseconds.
    pub blackout_ns: u64,
    /// Corners `(t, least supply in any interval of length t)` in nanoseconds, by `t`; straight lines join them.
    pub least_supply: Vec<(u64, u64)>,
    /// Steps `(t, demand)` in nanoseconds, by `t`: that much is demanded from `t` up to the next step.
    pub demand: Vec<(u64, u64)>,
    /// The first `t` at which supply meets demand, in nanoseconds; `None` where it never does.
    pub meets_ns: Option<u64>,
}
