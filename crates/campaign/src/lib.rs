//! Many runs: faults drawn by seed, what each disturbs, and what that shows of the isolation.
//!
//! [`Settings`] say which faults may be drawn; run `r` is a pure function of them and `r`. A run is made twice, with its
//! fault and without: the [`Record`] holds what the fault changed for each partition. Chunks of runs are made on many
//! threads ([`run_chunk`]) and join to a [`Summary`] in any order.
//!
//! A simulation is no bound, and a campaign without findings is no proof: it says how rare an effect may still be among
//! faults drawn like these, and nothing of others.

#![deny(clippy::float_arithmetic, clippy::disallowed_types, clippy::disallowed_methods, clippy::disallowed_macros)]

pub mod containment;
mod matrix;
mod record;
mod run;
mod settings;
mod summary;

pub use matrix::{Cell, Faulty, Matrix, Worst};
pub use record::{Affected, Harm, Measure, Record};
pub use run::{Chunk, run_chunk, run_chunk_slowly};
pub use settings::{Choice, Settings, Wrong};
pub use statistics::binomial;
pub use summary::{Carried, Reached, Summary, carried};
