//! Bounds and verdicts in time.
//!
//! Everything below works on integers in nanoseconds; intervals are half-open.

#![deny(clippy::float_arithmetic, clippy::disallowed_types, clippy::disallowed_methods, clippy::disallowed_macros)]

mod arithmetic;
pub mod blocking;
pub mod chain;
pub mod claims;
mod counted;
mod demand;
pub mod demand_bound;
pub mod handlers;
pub mod interference;
pub mod multiprocessor;
pub mod network_calculus;
pub mod opaque;
pub mod response;
mod scratch;
pub mod sensitivity;
pub mod startup;
pub mod supply;
mod task_set;
pub mod transition;
pub mod witness;

pub use demand::Shortfall;
pub use task_set::{Policy, Release, Task, TaskSet, TaskSetError};
