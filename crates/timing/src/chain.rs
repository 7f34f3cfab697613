//! Cause-effect chains: how long from a stimulus to the last output that it causes, and how old the data behind an
//! output gets.

mod earliest;
mod followed;
mod generic;
pub mod logical;

pub use earliest::{Earliest, earliest_jobs};
pub use followed::{FollowError, Followed, Hop, JobChain, JobTimes, Seen};
pub use generic::{Stage, generic_ns};
