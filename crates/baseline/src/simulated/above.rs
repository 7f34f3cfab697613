//! More seen than a bound allows: the one comparison of both.

use super::observed::observed;
use super::protections;
use crate::Alarms;
use claim::{Relation, Unit, Verdict};
use model::System;
use plan::Plan;
use simulator::{Machine, Protections, Seen};
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

/// Of which claims runs under one module schedule saw more than their bound.
pub fn above(machine: &Machine, schedule: usize, seen: &Seen, verdicts: &[Verdict]) -> Vec<Above> {
    let by_id: BTreeMap<_, _> = verdicts.iter().map(|verdict| (verdict.id.as_str(), verdict)).collect();
    let values = observed(machine, schedule, seen).into_iter();
    values
        .filter_map(|(id, value)| by_id.get(id.as_str()).and_then(|one| Above::bound(one, one.bound, value)))
        .collect()
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
        Protections::ALL => above(machine, 0, seen, verdicts),
        _ => Vec::new(),
    }
}
