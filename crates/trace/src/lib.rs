//! The third witness: recorded events in, findings out.
//!
//! Bytes become [`event::Event`]s in the recorder's own clock and names (`intake`); a map turns names, ids and cpus into the
//! partitions, tasks and ports of a system and several clocks into one ([`seen`]); from these come windows, slices of
//! execution, jobs and messages ([`rebuilt`]), which checkers hold against plan and claims. Nothing is bridged silently: where
//! events were lost, what spans the gap is marked as not whole and speaks for nothing.

#![deny(clippy::float_arithmetic, clippy::disallowed_types, clippy::disallowed_methods, clippy::disallowed_macros)]

pub mod clock;
mod continuity;
pub mod draft;
pub mod event;
pub mod intake;
pub mod judge;
pub mod map;
pub mod moment;
pub mod names;
pub mod note;
pub mod order;
pub mod rebuild;
pub mod rebuilt;
pub mod recording;
pub mod seen;
pub mod spans;
pub mod table;
mod waiting;
