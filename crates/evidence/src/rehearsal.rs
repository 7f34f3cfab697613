//! A rehearsal that was recorded and judged, as it is told.

use crate::recording::Judged;

/// A rehearsal.
#[derive(Debug, Clone, Copy)]
pub struct Rehearsal<'a> {
    /// The seed of every draw.
    pub seed: u64,
    /// How long it was to last.
    pub span_ns: u64,
    /// By how much windows may begin and end off the plan.
    pub tolerance_ns: u64,
    /// The faults that were asked for, as they would be written on a command line.
    pub faults: &'a [String],
    /// What was not kept of the plan, or else than on the target, a sentence each.
    pub not_kept: &'a [String],
    /// Whether it was ended before its time.
    pub interrupted: bool,
    /// What the stand-ins recorded.
    pub own: Judged<'a>,
    /// What the kernel recorded, or why there is nothing.
    pub kernel: Result<Judged<'a>, &'a str>,
}
