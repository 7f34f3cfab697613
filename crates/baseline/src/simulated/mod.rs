//! Simulation against bounds: the second witness runs what the first one claims something about.
//!
//! The worst scenarios that the analysis names are replayed, and scenarios drawn by seed are run beside them. A bound that
//! some run reaches is *attained*; of the others the gap to the largest value seen is known. What simulation sees is no bound.
//! Where it sees more than a bound allows, one of the two witnesses is wrong, and nothing of either may be used.

mod above;
mod beside;
mod observed;
mod replay;
mod search;
mod verdicts;

use crate::Alarms;
use claim::{FoundBy, Verdict};
use model::System;
use plan::Plan;
use simulator::{Protection, Protections};

pub use above::{Above, above, above_with_all_on, require_none};
pub use beside::beside;
pub use observed::observed;
pub use replay::{Replay, replays};
pub use search::{Phases, Search};
use verdicts::Comparison;

/// Compares the verdicts with replays of the scenarios that the analysis names, and with the runs of a search where one is
/// asked for; each verdict keeps the largest value seen.
///
/// # Errors
/// [`Alarms`] where a run within what the claims take for granted saw more than a bound allows, each with the scenario file
/// that reproduces it.
pub fn compare(
    system: &System,
    plan: &Plan,
    verdicts: &mut [Verdict],
    search: Option<&Search>,
) -> Result<Looked, Alarms> {
    let machine = simulator::compile::machine(system, plan);
    let replays = replays(system, plan, &machine, verdicts);
    let mut comparison = Comparison::new(verdicts);
    comparison.looked.runs = replays.len() as u64;
    for replay in &replays {
        let scenario = || simulator::fault::write_scenario(&replay.scenario, &machine);
        comparison.take(&replay.id, replay.reached_ns, FoundBy::Replay, Phases::Declared, scenario);
    }
    if let Some(search) = search {
        search::run(system, &machine, search, protections(system, plan), &mut comparison);
    }
    comparison.finish()
}

/// The same without replays: only runs drawn by seed.
///
/// # Errors
/// As [`compare`].
pub fn search(system: &System, plan: &Plan, verdicts: &mut [Verdict], search: &Search) -> Result<Looked, Alarms> {
    let machine = simulator::compile::machine(system, plan);
    let mut comparison = Comparison::new(verdicts);
    search::run(system, &machine, search, protections(system, plan), &mut comparison);
    comparison.finish()
}

/// How much a comparison looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Looked {
    /// Runs, replays included.
    pub runs: u64,
    /// Jobs that completed in runs drawn by seed.
    pub jobs: u64,
}

/// The mechanisms that runs have on which bounds speak of. Bounds take for granted that no core is throttled; where that is
/// not shown, they say nothing of runs in which one is.
pub fn protections(system: &System, plan: &Plan) -> Protections {
    match timing::claims::is_never_throttled(system, plan) {
        true => Protections::ALL,
        false => Protections::without(Protection::Regulation),
    }
}
