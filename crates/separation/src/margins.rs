//! What is left for growth: of the memory, and of the bandwidth.
//!
//! Computes: the share of the placeable memory that no placement has, and the share of the guaranteed bandwidth that no
//! budget has, against the growth rules for each.
//! Source: margin at a milestone, NASA software engineering handbook 9.12, table after GSFC 3.07-1.
//! Assumptions: the map is enforced as planned; every master is listed.
//! Symbols: sizes in bytes, rates in bytes per second; shares in parts per million, rounded down.
//! Invariants and why it ends: one pass each; what is given twice counts twice, so no margin is overstated.
//! Differs from the source: the table gives figures for space projects; here the file declares its own.
//! Checked by: the survey vessel's 39 % of memory and its bandwidth, which is exactly full.

use crate::bandwidth::budgeted;
use claim::{Assumption, Basis, Kind, Relation, Status, Unit, Verdict, Witness};
use model::System;
use model::system::{GrowthRule, GrowthSubject};
use plan::{Placed, Plan};
use quantity::{Ppm, exact_ratio_ppm};

/// One verdict for each rule.
pub(crate) fn check(system: &System, plan: &Plan) -> Vec<Verdict> {
    let ram = system.growth_rule(GrowthSubject::Ram).map(|rule| {
        let claim = claim(rule, "ram", "ram-margin", Assumption::MapEnforced);
        judge(claim, free_memory(system, plan), "placeable memory")
    });
    let bandwidth = system.growth_rule(GrowthSubject::Bandwidth).map(|rule| {
        let claim = claim(rule, "bandwidth", "bandwidth-margin", Assumption::MastersListed);
        judge(claim, free_bandwidth(system, plan), "guaranteed bandwidth")
    });
    ram.into_iter().chain(bandwidth).collect()
}

fn claim(rule: &GrowthRule, subject: &str, analysis: &'static str, assumption: Assumption) -> Verdict {
    let source = "NASA software engineering handbook 9.12, table after GSFC 3.07-1";
    let basis = Basis { analysis, source, assumptions: vec![assumption] };
    Verdict {
        unit: Unit::Ppm,
        relation: Relation::AtLeast,
        limit: Some(rule.at_least.value.get()),
        place: Some(rule.at_least.span),
        ..Verdict::not_analysed(Kind::Margin, subject, basis, String::new())
    }
}

fn judge(base: Verdict, free: Result<Ppm, String>, of_what: &str) -> Verdict {
    let limit = Ppm::new(base.limit.unwrap_or(0));
    let free = match free {
        Ok(free) => free,
        Err(reason) => return Verdict { reason: Some(reason), ..base },
    };
    let base = Verdict { bound: Some(free.get()), exact: true, reason: None, ..base };
    if free >= limit {
        return Verdict { status: Status::Shown, ..base };
    }
    let reason = format!("{free} of the {of_what} are free, the rule asks for {limit}");
    let witness = Some(Witness::of_fact(&*reason));
    Verdict { status: Status::Violated, reason: Some(reason), witness, ..base }
}

/// The free share of the memory, or which datum is missing.
fn free_memory(system: &System, plan: &Plan) -> Result<Ppm, String> {
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
    exact_ratio_ppm(free, whole).ok_or_else(|| "the board declares no placeable memory".to_owned())
}

/// The free share of the bandwidth, or which datum is missing.
fn free_bandwidth(system: &System, plan: &Plan) -> Result<Ppm, String> {
    let interconnect = system.board.interconnect.as_ref().ok_or("`board.interconnect` is not given")?;
    let taken = budgeted(interconnect, plan)?;
    let whole = interconnect.guaranteed.value.bytes_per_s();
    exact_ratio_ppm(whole.saturating_sub(taken), whole).ok_or_else(|| "the guaranteed rate is zero".to_owned())
}
