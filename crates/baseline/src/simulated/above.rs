//! More seen than a bound allows: the one comparison of both.

use super::observed::observed;
use super::protections;
use crate::Alarms;
use claim::{Assumption, Kind, Relation, Unit, Verdict};
use model::System;
use plan::Plan;
use simulator::scenario::Contention;
use simulator::{Machine, Protection, Protections, Scenario, Seen};
use std::collections::BTreeMap;

/// A claim, and what was seen above its bound.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Above {
    /// The id of the claim.
    pub id: String,
    bound: u64,
    seen: u64,
    unit: Unit,
}

impl Above {
    /// The value that runs like these saw, beside the bound of a claim that speaks of them; `None` where that allows it.
    pub(super) fn of(verdict: &Verdict, scenario: &Scenario, seen: u64) -> Option<Self> {
        Self::bound(verdict, bound_of(verdict, scenario), seen)
    }

    /// The value beside a bound that is said of the claim's subject; `None` where the bound allows it.
    pub(super) fn bound(verdict: &Verdict, bound: Option<u64>, seen: u64) -> Option<Self> {
        let bound = bound.filter(|&bound| verdict.relation == Relation::AtMost && seen > bound)?;
        Some(Self { id: verdict.id.clone(), bound, seen, unit: verdict.unit })
    }

    /// Whether other runs of the same kind saw it.
    pub fn is_in(&self, machine: &Machine, schedule: usize, seen: &Seen) -> bool {
        observed(machine, schedule, seen).iter().any(|(id, value)| *id == self.id && *value > self.bound)
    }

    /// The alarm, with a scenario that shows it.
    pub(super) fn told(&self, scenario: &str) -> String {
        let Self { id, bound, seen, unit } = self;
        let unit = unit.key();
        format!(
            "{id}: a run reaches {seen} {unit}, and the bound is {bound} {unit}; this scenario reproduces it:\n{scenario}"
        )
    }
}

/// The bound of a claim that speaks of runs like these: the request-driven one where the other counts less waiting than the
/// runs may have, since they charge every line request in full, or regulation holds nobody.
pub(super) fn bound_of(verdict: &Verdict, scenario: &Scenario) -> Option<u64> {
    let on_budgets = verdict.basis.assumptions.contains(&Assumption::BudgetsRegulated);
    let regulated = scenario.protections.has(Protection::Regulation) || !on_budgets;
    match scenario.contention {
        Contention::Concurrent if regulated => verdict.bound,
        _ if counts_less_waiting(verdict) => verdict.generic,
        _ => verdict.bound,
    }
}

/// Whether the bound counts less waiting for memory than full contention charges.
pub(super) fn counts_less_waiting(verdict: &Verdict) -> bool {
    verdict.kind == Kind::Response && verdict.basis.analysis == "interference"
}

/// Of which claims runs that differ from `scenario` in their number alone saw more than their bound, all under its module schedule.
pub fn above(machine: &Machine, scenario: &Scenario, seen: &Seen, verdicts: &[Verdict]) -> Vec<Above> {
    let by_id: BTreeMap<_, _> = verdicts.iter().map(|verdict| (verdict.id.as_str(), verdict)).collect();
    let values = observed(machine, scenario.schedule, seen).into_iter();
    values.filter_map(|(id, value)| by_id.get(id.as_str()).and_then(|one| Above::of(one, scenario, value))).collect()
}

/// The alarms about what was seen above bounds; `reproduces` gives the scenario file of a run that shows it.
///
/// # Errors
/// [`Alarms`] where anything was.
pub fn require_none(above: &[Above], mut reproduces: impl FnMut(&Above) -> String) -> Result<(), Alarms> {
    if above.is_empty() {
        return Ok(());
    }
    Err(Alarms::of(above.iter().map(|one| one.told(&reproduces(one))).collect()))
}

/// Of which claims the runs of a campaign without their faults saw more than the bound: runs under the first module schedule
/// with everything up, times drawn, tasks in the phases that are declared, and every protection on. Where it is not shown that
/// no core is throttled, bounds say nothing of such runs, and nothing is above one.
pub fn above_with_all_on(
    (system, plan): (&System, &Plan),
    machine: &Machine,
    seen: &Seen,
    verdicts: &[Verdict],
) -> Vec<Above> {
    match protections(system, plan) {
        Protections::ALL => above(machine, &Scenario::plain(machine), seen, verdicts),
        _ => Vec::new(),
    }
}
