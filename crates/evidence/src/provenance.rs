//! Where the execution times come from.

use model::System;
use model::system::{ProvenanceClass, Task};

/// The share of the demand whose execution times come from one class of source.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DemandShare {
    /// The class; `None` where the file does not say.
    pub class: Option<ProvenanceClass>,
    /// The tasks.
    pub tasks: usize,
    /// Their share of the sum of WCET / period over all tasks, in parts per million, rounded half up.
    pub ppm: u64,
}

/// The demand split by where its execution times come from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DemandShares {
    /// One row for each class, best first, `unknown` last; classes without tasks too.
    pub rows: Vec<DemandShare>,
    /// Tasks that declare no WCET: their demand is unknown and in no share.
    pub tasks_without_wcet: usize,
}

const CLASSES: [Option<ProvenanceClass>; 5] = [
    Some(ProvenanceClass::StaticAnalysis),
    Some(ProvenanceClass::Measured),
    Some(ProvenanceClass::Estimate),
    Some(ProvenanceClass::Assumed),
    None,
];

impl DemandShares {
    /// The shares of a system.
    pub fn of(system: &System) -> Self {
        let total = system.tasks.iter().filter_map(demand).fold(0u128, u128::saturating_add);
        let rows = CLASSES.into_iter().map(|class| share(system, class, total)).collect();
        let tasks_without_wcet = system.tasks.iter().filter(|task| task.wcet.is_none()).count();
        Self { rows, tasks_without_wcet }
    }

    /// The share that rests on neither static analysis nor measurement, in parts per million.
    pub fn unproven_ppm(&self) -> u64 {
        let unproven = |row: &&DemandShare| row.class.is_none_or(|class| class >= ProvenanceClass::Estimate);
        self.rows.iter().filter(unproven).map(|row| row.ppm).sum()
    }
}

/// The class as people read it.
pub(crate) const fn class_words(class: Option<ProvenanceClass>) -> &'static str {
    match class {
        Some(ProvenanceClass::StaticAnalysis) => "static analysis",
        Some(ProvenanceClass::Measured) => "measured",
        Some(ProvenanceClass::Estimate) => "estimate",
        Some(ProvenanceClass::Assumed) => "assumed",
        None => "unknown",
    }
}

pub(crate) fn class_of(task: &Task) -> Option<ProvenanceClass> {
    task.provenance.as_ref().map(|provenance| provenance.class)
}

fn share(system: &System, class: Option<ProvenanceClass>, total: u128) -> DemandShare {
    let mine = || system.tasks.iter().filter(|task| class_of(task) == class);
    let part = mine().filter_map(demand).fold(0u128, u128::saturating_add);
    let ppm = (part.saturating_mul(1_000_000) + total / 2).checked_div(total).unwrap_or(0);
    DemandShare { class, tasks: mine().count(), ppm: u64::try_from(ppm).unwrap_or(u64::MAX) }
}

/// WCET / period in parts of 10^12, rounded down: far finer than the parts per million shown.
fn demand(task: &Task) -> Option<u128> {
    let wcet = u128::from(task.wcet?.ns()) * 1_000_000_000_000;
    wcet.checked_div(u128::from(task.period.ns()))
}
