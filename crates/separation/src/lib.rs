//! Verdicts in space: memory apart, devices and interrupts with one owner, cache ways and bandwidth shared out, information
//! flowing only where the policy permits.
//!
//! Only the plan is judged. Whether the hardware enforces it is an assumption, printed with every verdict.

#![deny(clippy::float_arithmetic, clippy::disallowed_types, clippy::disallowed_methods, clippy::disallowed_macros)]

mod bandwidth;
mod cache;
pub mod channels;
mod colours;
mod contents;
pub mod covert;
mod criticality;
mod device;
mod edges;
pub mod exchange;
mod facts;
mod flow;
mod homes;
mod interrupt;
mod margins;
mod memory;
mod names;
mod range;
mod refill;
mod rights;
mod settings;
mod tree;

pub use colours::{ColourShare, colour_shares, page_colours};
pub use homes::homes;
pub use tree::reserved_for;

use claim::Verdict;
use model::System;
use plan::Plan;

/// Every claim in space about `system` under `plan`, but those that rest on claims in time: what stands against faults of exchange.
pub fn check(system: &System, plan: &Plan) -> Vec<Verdict> {
    let mut verdicts = memory::check(system, plan);
    verdicts.extend(contents::check(system));
    verdicts.extend(rights::check(system, plan));
    verdicts.extend(tree::check(system, plan));
    verdicts.extend(margins::check(system, plan));
    verdicts.extend(device::check(system, plan));
    verdicts.extend(interrupt::check(system, plan));
    verdicts.extend(cache::check(system, plan));
    verdicts.extend(colours::check(system, plan));
    verdicts.extend(refill::check(system, plan));
    verdicts.extend(bandwidth::check(system, plan));
    let edges = edges::edges(system);
    verdicts.extend(flow::check(system, &edges));
    verdicts.extend(criticality::check(system, &edges));
    verdicts.extend(channels::check(system, plan));
    verdicts.extend(settings::check(system));
    verdicts.extend(covert::check(system, plan));
    verdicts
}
