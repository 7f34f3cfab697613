//! How far a partition's execution times may grow together.
//!
//! Computes: the largest common factor on all charged times of a partition with which every deadline holds.
//! Source: sensitivity over scheduling points: Bini, Di Natale & Buttazzo, Real-Time Systems 39, 2008 (from memory).
//! Assumptions: those of the responses.
//! Symbols: factors in parts per million, 1,000,000 for the times as they are; rounded down.
//! Invariants and why it ends: `crate::sensitivity`.
//! Differs from the source: exact on integers; the least over the partition's virtual cores.
//! Checked by: the survey vessel's twelve factors.

use super::responses::{Analysed, VirtualCore};
use super::scope::Scope;
use crate::response::Response;
use crate::sensitivity::{GREATEST_PPM, UNCHANGED_PPM};
use crate::supply::SupplyKind;
use claim::{Basis, Kind, Relation, Status, Unit, Verdict, Witness};
use diagnostic::Span;
use model::system::{GrowthRule, GrowthSubject};
use quantity::{PartitionId, Ppm};

/// One verdict for a partition that has tasks.
pub(super) fn check(scope: &Scope<'_>, partition: PartitionId, cores: &[VirtualCore]) -> Option<Verdict> {
    if cores.is_empty() {
        return None;
    }
    let name = scope.partition_name(partition);
    let rule = rule(scope, partition);
    let place: Span = rule.map_or(scope.system.partition(partition).name.span, |rule| rule.at_least.span);
    // Where no rule asks for more, the times as they are must hold.
    let growth_ppm = rule.map_or(0, |rule| rule.at_least.value.get());
    let needed_ppm = UNCHANGED_PPM.saturating_add(growth_ppm);
    let base = Verdict {
        unit: Unit::Ppm,
        relation: Relation::AtLeast,
        limit: Some(needed_ppm),
        ..scope.claim(Kind::Margin, format!("partition/{name}"), basis(cores), place, String::new())
    };
    let analysed: Result<Vec<&Analysed>, &String> = cores.iter().map(|(_, found)| found.as_ref()).collect();
    Some(match analysed {
        Err(reason) => Verdict { reason: Some(reason.clone()), ..base },
        Ok(analysed) => judge(base, needed_ppm, &analysed, name),
    })
}

/// The rule for this partition or for every one, whichever asks for more.
fn rule<'a>(scope: &Scope<'a>, partition: PartitionId) -> Option<&'a GrowthRule> {
    let own = scope.system.growth_rule(GrowthSubject::Partition(partition));
    let all = scope.system.growth_rule(GrowthSubject::Partitions);
    own.into_iter().chain(all).max_by_key(|rule| rule.at_least.value)
}

fn basis(cores: &[VirtualCore]) -> Basis {
    let analysed = cores.iter().find_map(|(_, found)| found.as_ref().ok());
    Basis {
        analysis: "growth",
        source: "Bini, Di Natale and Buttazzo, Real-Time Systems 39, 2008 (from memory)",
        assumptions: analysed.map_or_else(Vec::new, |analysed| analysed.basis.assumptions.clone()),
    }
}

fn judge(base: Verdict, needed_ppm: u64, analysed: &[&Analysed], name: &str) -> Verdict {
    let factor_ppm = analysed.iter().map(|core| core.common_factor_ppm()).min().unwrap_or(GREATEST_PPM);
    let throttled = analysed.iter().find_map(|core| core.throttled.as_ref());
    let attained = attained_at(analysed, factor_ppm);
    let exact = factor_ppm < GREATEST_PPM && attained && throttled.is_none();
    let base = Verdict { bound: Some(factor_ppm), exact, reason: None, ..base };
    if factor_ppm < needed_ppm {
        let (factor, needed) = (Ppm::new(factor_ppm), Ppm::new(needed_ppm));
        let reason = format!(
            "the deadlines of `{name}` hold with its charged times at {factor} of what they are, not at the {needed} asked for"
        );
        let sure = attained || analysed.iter().any(|core| surely_misses(core));
        let witness = sure.then(|| Witness::of_fact(&*reason));
        let status = if sure { Status::Violated } else { Status::NotShown };
        return Verdict { status, reason: Some(reason), witness, ..base };
    }
    match throttled {
        Some(why) => Verdict { status: Status::NotShown, reason: Some(why.clone()), ..base },
        None => Verdict { status: Status::Shown, ..base },
    }
}

/// Whether the responses with all charged times at `factor_ppm` are attained; a job that shrinks may no longer block
/// for the whole blocking time.
fn attained_at(analysed: &[&Analysed], factor_ppm: u64) -> bool {
    let mut responses = analysed.iter().flat_map(|core| &core.responses);
    let mut tasks = analysed.iter().flat_map(|core| &core.tasks);
    responses.all(|response| response.bound().is_some_and(|bound| bound.exactness.is_exact()))
        && (factor_ppm >= UNCHANGED_PPM || tasks.all(|task| task.blocking_ns == 0))
}

/// Whether some task surely misses its deadline with the charged times as they are.
fn surely_misses(core: &Analysed) -> bool {
    let core = core.sure();
    core.responses.iter().zip(&core.tasks).any(|(response, task)| match response {
        Response::Bounded(bound) => bound.exactness.is_exact() && bound.response_ns > task.deadline_ns,
        // A share may be given more than it is promised.
        Response::Unbounded(_) => core.supply.kind() != SupplyKind::ProportionalShare,
        Response::GaveUp(_) => false,
    })
}
