//! Bounds and verdicts in time.
//!
//! Everything below works on integers in nanoseconds; intervals are half-open.

mod arithmetic;
mod demand;
pub mod demand_bound;
pub mod response;
pub mod supply;
mod task_set;

pub use demand::Shortfall;
pub use task_set::{Release, Task, TaskSet, TaskSetError};
