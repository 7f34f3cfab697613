//! The second witness: it runs a system under its plan, event by event, in integer nanoseconds.
//!
//! A [`Machine`] is a system under a plan with every name turned into an index and every charge worked out. A [`Scenario`]
//! says how one run of it goes: where it begins, how long it lasts, which times jobs take, which faults happen and which
//! protections are off. A run adds what it saw to a [`Seen`] and tells a [`Recorder`] what happened when.
//!
//! It shares no algorithm with the analyses; what the words mean is in `docs/semantics.md`.

#![deny(clippy::float_arithmetic, clippy::disallowed_types, clippy::disallowed_methods, clippy::disallowed_macros)]

mod comms;
pub mod compile;
mod conduct;
pub mod draw;
pub mod engine;
pub mod event;
pub mod fault;
mod given;
pub mod machine;
pub mod protection;
pub mod scenario;
pub mod seen;
pub mod table;
pub mod timeline;

pub use engine::Engine;
pub use event::{Event, Nobody, Recorder, What};
pub use fault::Fault;
pub use machine::Machine;
pub use protection::{Protection, Protections};
pub use scenario::Scenario;
pub use seen::Seen;
pub use table::Table;
pub use timeline::{Keeper, Timeline};
