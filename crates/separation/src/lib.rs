//! Verdicts in space: memory ranges apart, aligned and inside what the board has.
//!
//! Only the plan is judged. Whether the hardware enforces it is an assumption, printed with every verdict.
//! What this crate does not analyse yet is claimed all the same, as *not analysed*.

#![deny(clippy::float_arithmetic, clippy::disallowed_types, clippy::disallowed_methods, clippy::disallowed_macros)]

mod margins;
mod memory;
mod pending;

use claim::Verdict;
use model::System;
use plan::Plan;

/// Every claim in space about `system` under `plan`.
pub fn check(system: &System, plan: &Plan) -> Vec<Verdict> {
    let mut verdicts = memory::check(system, plan);
    verdicts.extend(margins::check(system, plan));
    verdicts.extend(pending::check(system));
    verdicts
}
