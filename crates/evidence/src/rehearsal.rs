//! A rehearsal that was recorded and judged, as it is told.

use crate::recording::Judged;

/// What every answer about a rehearsal says of itself.
pub const WHAT_IT_IS: &str = "A rehearsal on another machine: processes and loads stood in for partitions and jobs, and shared this \
                              machine's cpus as its kernel let them. It shows whether plan and recovery work together; it is no \
                              statement about the target, and no figure of it is one of the target.";

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
