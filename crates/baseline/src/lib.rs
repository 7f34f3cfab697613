//! The facade: an identified set of inputs in, immutable results out. Both faces use it.

mod alarm;
mod judge;
mod load;
pub mod measured;
mod partitioning;
pub mod simulated;

pub use alarm::{Alarms, require_no_alarm};
pub use judge::{Extras, claims, dossier, verdicts};
pub use load::{Baseline, PlanChoice, load};
