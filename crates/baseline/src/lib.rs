//! The facade: an identified set of inputs in, immutable results out. Both faces use it.

mod judge;
mod load;

pub use judge::{Extras, dossier, verdicts};
pub use load::{Baseline, PlanChoice, load};
