//! Bandwidth budgets.
//!
//! Computes: the sum of all budgets against the rate that the memory keeps up in the worst case, and the sum of what devices
//! move by themselves against the budgets of the masters that are no cores.
//! Source: Yun, Yao, Pellizzoni, Caccamo & Sha, "MemGuard: memory bandwidth reservation system for efficient performance
//! isolation in multi-core platforms", RTAS 2013: what is reserved in all must not pass the guaranteed rate.
//! Assumptions: every master is listed; the regulation holds each master to its budget.
//! Symbols: rates in bytes per second; shares in parts per million, rounded up.
//! Invariants and why it ends: one sum each; a master without a budget, and a stream without a rate, is a missing datum.
//! Differs from the source: no reclaiming; the peak rate of the data sheet plays no part.
//! Checked by: the survey vessel's 1,280 MB/s, which are exactly full.

use crate::facts::basis;
use claim::{Assumption, Kind, Status, Unit, Verdict, Witness};
use diagnostic::Span;
use model::System;
use model::system::Interconnect;
use plan::{BandwidthBudget, Plan};
use quantity::Rate;

const WHOLE: u64 = 1_000_000;
const SOURCE: &str = "Yun, Yao, Pellizzoni, Caccamo & Sha 2013";

/// One verdict for the regulated memory, and one for what devices move by themselves.
pub(crate) fn check(system: &System, plan: &Plan) -> Vec<Verdict> {
    let Some(regulation) = &system.platform.regulation else { return Vec::new() };
    let place = regulation.period.span;
    let Some(interconnect) = &system.board.interconnect else {
        return vec![claim("memory", place, Err("`board.interconnect` is not given".to_owned()))];
    };
    let mut verdicts = vec![claim("memory", place, budgets(system, interconnect, plan))];
    if system.board.devices.iter().any(|device| device.dma_stream.is_some()) {
        verdicts.push(claim("dma", place, streams(system, interconnect, plan)));
    }
    verdicts
}

/// What is asked for of how much, with faults that no sum tells.
struct Share {
    asked: u64,
    of: u64,
    faults: Vec<String>,
}

fn claim(subject: &str, place: Span, share: Result<Share, String>) -> Verdict {
    let basis = basis("bandwidth-budgets", SOURCE, vec![Assumption::MastersListed, Assumption::BudgetsRegulated]);
    let base = Verdict::not_analysed(Kind::Bandwidth, subject, basis, String::new());
    let base = Verdict { unit: Unit::Ppm, limit: Some(WHOLE), place: Some(place), ..base };
    let share = match share {
        Ok(share) => share,
        Err(missing) => return Verdict { reason: Some(missing), ..base },
    };
    let ppm = (u128::from(share.asked) * u128::from(WHOLE)).div_ceil(u128::from(share.of.max(1)));
    let bound = u64::try_from(ppm).unwrap_or(u64::MAX).min(quantity::LIMIT);
    let mut faults = share.faults;
    if share.asked > share.of {
        let (asked, of) = (Rate::from_bytes_per_s(share.asked), Rate::from_bytes_per_s(share.of));
        faults.insert(0, format!("{asked} are asked for and {of} are there"));
    }
    let base = Verdict { bound: Some(bound), exact: true, reason: None, ..base };
    if faults.is_empty() {
        return Verdict { status: Status::Shown, ..base };
    }
    let reason = faults.join("; ");
    Verdict { status: Status::Violated, witness: Some(Witness::of_fact(&*reason)), reason: Some(reason), ..base }
}

fn budgets(system: &System, interconnect: &Interconnect, plan: &Plan) -> Result<Share, String> {
    let asked = budgeted(interconnect, plan)?;
    let of = interconnect.guaranteed.value.bytes_per_s();
    let faults = plan.bandwidth.iter().filter_map(|budget| off_granule(system, interconnect, budget)).collect();
    Ok(Share { asked, of, faults })
}

/// The sum of all budgets, or which master has none.
pub(crate) fn budgeted(interconnect: &Interconnect, plan: &Plan) -> Result<u64, String> {
    let has_budget = |master: usize| plan.bandwidth.iter().any(|budget| budget.master == master);
    match (0..interconnect.masters.len()).find(|master| !has_budget(*master)) {
        Some(master) => {
            Err(format!("the plan has no bandwidth budget for `{}`", interconnect.masters[master].name.value))
        }
        None => Ok(plan.bandwidth.iter().fold(0, |sum, budget| sum.saturating_add(budget.budget.bytes_per_s()))),
    }
}

/// A budget that the regulation cannot keep, since it counts in whole steps.
fn off_granule(system: &System, interconnect: &Interconnect, budget: &BandwidthBudget) -> Option<String> {
    let regulation = system.platform.regulation.as_ref()?;
    let granule = u128::from(regulation.granule.as_ref()?.value.get()).max(1);
    // Bytes in a period, times the nanoseconds of a second.
    let bytes = u128::from(budget.budget.bytes_per_s()) * u128::from(regulation.period.value.ns());
    let name = || &interconnect.masters[budget.master].name.value;
    let step = granule * 1_000_000_000;
    (bytes % step != 0)
        .then(|| format!("the budget of `{}` is no whole number of steps in a regulation period", name()))
}

fn streams(system: &System, interconnect: &Interconnect, plan: &Plan) -> Result<Share, String> {
    let mut asked = 0u64;
    for device in system.board.devices.iter().filter(|device| device.dma_stream.is_some()) {
        let rate = device
            .dma_rate
            .as_ref()
            .ok_or_else(|| format!("the `dma_rate` of `{}` is not given", device.name.value))?;
        asked = asked.saturating_add(rate.value.bytes_per_s());
    }
    let is_device = |budget: &&BandwidthBudget| interconnect.masters[budget.master].core.is_none();
    let mut budgets = plan.bandwidth.iter().filter(is_device).peekable();
    if budgets.peek().is_none() {
        return Err("the plan has no bandwidth budget for a master that is no core".to_owned());
    }
    let of = budgets.fold(0u64, |sum, budget| sum.saturating_add(budget.budget.bytes_per_s()));
    Ok(Share { asked, of, faults: Vec::new() })
}

#[cfg(test)]
mod tests {
    use super::*;
    use quantity::Ppm;

    fn judged(asked: u64, of: u64) -> Verdict {
        claim("memory", Span::NOWHERE, Ok(Share { asked, of, faults: Vec::new() }))
    }

    #[test]
    fn one_byte_a_second_more_than_there_is_passes_the_limit() {
        assert_eq!((judged(1280, 1280).status, judged(1280, 1280).bound), (Status::Shown, Some(WHOLE)));
        let over = judged(1_280_000_001, 1_280_000_000);
        assert_eq!((over.status, over.bound), (Status::Violated, Some(WHOLE + 1)), "rounded up");
        assert_eq!(judged(0, 0).status, Status::Shown);
    }

    #[test]
    fn shares_are_parts_of_a_million() {
        assert_eq!(Ppm::new(judged(1, 2).bound.expect("a share")), Ppm::new(500_000));
    }
}
