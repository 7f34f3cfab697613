//! The scenarios behind bounds, whether the claims hold or not: another witness replays them.
//!
//! Computes: for each response with a bound the jobs of the busy window behind it, as far as they are known one by one.
//! Source: `crate::witness`.
//! Assumptions: those of the responses.
//! Symbols: times in ns.
//! Invariants and why it ends: as the scenarios.
//! Differs from the source: nothing.
//! Checked by: the simulator, which replays them and is another program.

use super::responses::{self, Analysed};
use super::scope::Scope;
use super::{throttling, witness};
use crate::response::Response;
use claim::Witness;
use model::System;
use plan::Plan;

/// The scenario behind each response bound that has one, with the id of its claim.
pub fn worst_scenarios(system: &System, plan: &Plan) -> Vec<(String, Witness)> {
    Scope::of_each_schedule(system, plan).iter().flat_map(of_schedule).collect()
}

fn of_schedule(scope: &Scope<'_>) -> Vec<(String, Witness)> {
    let cores = scope.running_partitions().flat_map(|partition| responses::analyse(scope, partition));
    let known = cores.filter_map(|(_, found)| found.ok());
    known.flat_map(|analysed| of_core(scope, &analysed)).collect()
}

fn of_core(scope: &Scope<'_>, analysed: &Analysed) -> Vec<(String, Witness)> {
    let of_task = |(k, response): (usize, &Response)| {
        let witness = witness::of_bound(scope, analysed, k, response.bound()?)?;
        Some((scope.response_id(analysed.ids[k]), witness))
    };
    analysed.responses.iter().enumerate().filter_map(of_task).collect()
}

/// Whether it is shown of every core that no regulation period's budget runs out.
pub fn is_never_throttled(system: &System, plan: &Plan) -> bool {
    let on_any_core = |scope: &Scope<'_>| {
        (0..system.board.cores.len()).any(|core| throttling::require_none(scope, quantity::CoreId::new(core)).is_err())
    };
    !Scope::of_each_schedule(system, plan).iter().any(on_any_core)
}
