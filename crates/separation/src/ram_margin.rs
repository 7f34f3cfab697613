//! Memory left for growth.
//!
//! Computes: the share of the placeable memory that no placement has, against the growth rules for RAM.
//! Source: margin at a milestone, NASA software engineering handbook 9.12, table after GSFC 3.07-1.
//! Assumptions: the map is enforced as planned.
//! Symbols: sizes in bytes; the share in parts per million, rounded down.
//! Invariants and why it ends: one pass over the placements; ranges that overlap count twice, so the margin is never overstated.
//! Differs from the source: the table gives figures for space projects; here the file declares its own.
//! Checked by: the survey vessel's 39 %.

use claim::{Kind, Relation, Status, Unit, Verdict};
use model::System;
use model::system::GrowthSubject;
use plan::{Placed, Plan};
use quantity::exact_ratio_ppm;

/// One verdict where a rule asks for one.
pub(crate) fn check(system: &System, plan: &Plan) -> Option<Verdict> {
    let rule = system.growth_rule(GrowthSubject::Ram)?;
    let basis = claim::Basis {
        analysis: "ram-margin",
        source: "NASA software engineering handbook 9.12, table after GSFC 3.07-1",
        assumptions: vec![claim::Assumption::MapEnforced],
    };
    let limit = rule.at_least.value.get();
    let base = Verdict::not_analysed(Kind::Margin, "ram", basis, String::new());
    let base = Verdict {
        unit: Unit::Ppm,
        relation: Relation::AtLeast,
        limit: Some(limit),
        place: Some(rule.at_least.span),
        ..base
    };
    Some(match free_share(system, plan) {
        Err(reason) => Verdict { reason: Some(reason), ..base },
        Ok(share) if share >= limit => {
            Verdict { status: Status::Shown, bound: Some(share), exact: true, reason: None, ..base }
        }
        Ok(share) => violated(base, share, limit),
    })
}

fn violated(base: Verdict, share: u64, limit: u64) -> Verdict {
    let (share_text, limit_text) = (quantity::Ppm::new(share), quantity::Ppm::new(limit));
    let reason = format!("{share_text} of the placeable memory are free, the rule asks for {limit_text}");
    let witness = claim::Witness::of_fact(reason.clone());
    Verdict {
        status: Status::Violated,
        bound: Some(share),
        exact: true,
        reason: Some(reason),
        witness: Some(witness),
        ..base
    }
}

/// The free share in parts per million, or which datum is missing.
fn free_share(system: &System, plan: &Plan) -> Result<u64, String> {
    let missing = |name: &str| format!("the plan places nothing for `{name}`");
    let placed = |what: Placed| plan.memory.iter().any(|p| p.what == what);
    if let Some(partition) = system.partition_ids().find(|id| !placed(Placed::Partition(*id))) {
        return Err(missing(&system.partition(partition).name.value));
    }
    if let Some(region) = (0..system.regions.len()).find(|index| !placed(Placed::Region(*index))) {
        return Err(missing(&system.regions[region].name.value));
    }
    let whole: u64 = system.board.memories.iter().filter(|m| m.placeable).map(|m| m.size.value.get()).sum();
    let taken = plan.memory.iter().fold(0u64, |sum, p| sum.saturating_add(p.size.get()));
    let free = whole.saturating_sub(taken);
    exact_ratio_ppm(free, whole)
        .map(quantity::Ppm::get)
        .ok_or_else(|| "the board declares no placeable memory".to_owned())
}
