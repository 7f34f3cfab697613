//! Runs a plan on the machine at hand: a process group stands for each partition, a cpu for each core, a load for each job.
//!
//! What is recorded is how such stand-ins shared *this* machine, as the table of events that `docs/traces.md` describes. It
//! says nothing of the target. The crate is an edge of the program: it reads clocks, starts processes and asks the kernel for
//! priorities; what it cannot have, or cannot keep, it says.

#![allow(clippy::disallowed_methods, reason = "an edge: files of the kernel, and the processes' own")]

mod clock;
mod conductor;
mod cpus;
mod dispatcher;
mod faults;
mod kernel;
mod lane;
mod load;
mod measure;
mod orders;
mod ports;
mod prepare;
mod record;
mod recorded;

pub use conductor::{Asked, rehearse};
pub use lane::serve;
pub use measure::{Latency, Means, measure, spin};
pub use prepare::{Prepared, prepare};
pub use recorded::Recorded;
