//! Containment sets as claims.
//!
//! **Computes** for each declared set whether a campaign found a fault of the partition that harms anybody outside, and,
//! where it found none, up to which share of faults drawn like these may still do so.
//! **Source.** Clopper and Pearson 1934 for the bound ([`statistics::binomial`]); sets of who may be affected: common practice,
//! no source.
//! **Assumptions.** Faults come as drawn; inputs are valid; what the simulator leaves out does not carry the effect.
//! **Symbols with units.** N runs in which the partition was faulty (count); the bound in parts per billion, in the verdict
//! rounded up to parts per million.
//! **Invariants and why it ends.** One look at each cell of the matrix.
//! **Differs from the source** in nothing but the rounding.
//! **Checked by** campaigns over a system in which one partition reaches another by a declared way and by no other.

use crate::{Cell, Faulty, Matrix, Measure, Settings};
use claim::{Assumption, Basis, Kind, Relation, Status, Unit, Verdict, Witness};
use model::System;
use model::system::Containment;
use simulator::Machine;
use simulator::fault::fault_text;
use statistics::binomial;

/// What campaigns came to, under the settings by which they were drawn.
#[derive(Debug, Clone, Copy)]
pub struct Evidence<'a> {
    /// The machine.
    pub machine: &'a Machine,
    /// How runs were drawn.
    pub settings: &'a Settings,
    /// Whose faults reached whom.
    pub matrix: &'a Matrix,
}

/// The claims of all containment sets; *not analysed* where there is no campaign.
pub fn verdicts(system: &System, evidence: Option<Evidence<'_>>) -> Vec<Verdict> {
    system.containments.iter().map(|set| verdict(system, set, evidence)).collect()
}

fn verdict(system: &System, set: &Containment, evidence: Option<Evidence<'_>>) -> Verdict {
    let name = &system.partition(set.partition.value).name.value;
    let basis = Basis {
        analysis: "containment",
        source: "Clopper and Pearson 1934 (upper bound)",
        assumptions: vec![Assumption::InputsValid, Assumption::FaultsAsDrawn],
    };
    let reason = "no campaign is given; `cofferdam campaign` answers this claim, and `--campaign` takes its results";
    let open = Verdict {
        unit: Unit::Ppm,
        relation: Relation::AtMost,
        limit: Some(set.at_most.value.get()),
        place: Some(set.partition.span),
        ..Verdict::not_analysed(Kind::Containment, name, basis, reason)
    };
    match evidence {
        None => open,
        Some(evidence) => judged(open, set, evidence),
    }
}

fn judged(open: Verdict, set: &Containment, evidence: Evidence<'_>) -> Verdict {
    let (machine, faulty) = (evidence.machine, Faulty::Partition(set.partition.value.index()));
    if let Some(left) = machine.left_out.iter().find(|left| left.partition == set.partition.value.index()) {
        return Verdict { reason: Some(left.reason.clone()), ..open };
    }
    let runs = evidence.matrix.runs_of(faulty);
    if runs == 0 {
        return Verdict { reason: Some("the campaign drew no fault of it".to_owned()), ..open };
    }
    if let Some((partition, cell, run)) = first_outside(set, faulty, evidence.matrix) {
        return violated(open, partition, &cell, run, evidence);
    }
    // Whom no run has, no run can show unharmed.
    match machine.left_out.iter().find(|left| is_outside(set, left.partition)) {
        Some(left) => {
            let name = &machine.partitions[left.partition].name;
            Verdict { reason: Some(format!("{name} is outside the set and not simulated: {}", left.reason)), ..open }
        }
        None => unharmed(open, set.at_most.value.get(), runs),
    }
}

fn is_outside(set: &Containment, partition: usize) -> bool {
    set.partition.value.index() != partition && set.within.iter().all(|one| one.value.index() != partition)
}

/// The partition outside the set with the least run that harms it.
fn first_outside(set: &Containment, faulty: Faulty, matrix: &Matrix) -> Option<(usize, Cell, u64)> {
    let harmed = matrix.cells.iter().filter(|((by, partition), _)| *by == faulty && is_outside(set, *partition));
    let harmed = harmed.filter_map(|((_, partition), cell)| Some((*partition, *cell, cell.counter_example()?)));
    harmed.min_by_key(|(_, _, run)| *run)
}

fn violated(open: Verdict, partition: usize, cell: &Cell, run: u64, evidence: Evidence<'_>) -> Verdict {
    let (machine, settings) = (evidence.machine, evidence.settings);
    let fault = fault_text(&settings.fault(run), machine);
    let name = &machine.partitions[partition].name;
    let reason = format!(
        "run {run} (seed {}): {fault} harms {name}, which is outside the set; in {} the worst is {}",
        settings.seed,
        runs(cell.harmed),
        worst_words(cell)
    );
    Verdict { status: Status::Violated, witness: Some(Witness::of_fact(reason.clone())), reason: Some(reason), ..open }
}

/// The measures of a cell that are above zero, in words.
pub fn worst_words(cell: &Cell) -> String {
    let words = |measure: Measure| match (measure, cell.worst(measure).value) {
        (_, 0) => None,
        (Measure::Extra, ns) => Some(format!("{} more response", quantity::Duration::from_ns(ns))),
        (Measure::Missed, count) => Some(counted(count, "missed deadline", "missed deadlines")),
        (Measure::Stale, count) => Some(counted(count, "stale read", "stale reads")),
        (Measure::Lost, count) => Some(counted(count, "lost message", "lost messages")),
        (Measure::Undone, count) => Some(counted(count, "job undone", "jobs undone")),
    };
    let found: Vec<_> = Measure::ALL.into_iter().filter_map(words).collect();
    if found.is_empty() { "none".to_owned() } else { found.join(", ") }
}

/// A number of runs in words.
pub fn runs(number: u64) -> String {
    counted(number, "run", "runs")
}

/// A number of things in words.
fn counted(number: u64, one: &str, several: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { several })
}

fn unharmed(open: Verdict, at_most_ppm: u64, runs: u64) -> Verdict {
    let bound = binomial::upper_ppb(0, runs, binomial::ONE_IN).div_ceil(1000);
    let tried = self::runs(runs);
    let left = format!("none in {tried}; at 95 % confidence fewer than {bound} ppm of faults drawn like these do");
    let (status, reason) = if bound <= at_most_ppm {
        (Status::Shown, left)
    } else {
        let needed = binomial::trials_needed(at_most_ppm.saturating_mul(1000), binomial::ONE_IN);
        let needed =
            needed.map_or("no number of runs".to_owned(), |needed| format!("{} with its faults", self::runs(needed)));
        (Status::NotShown, format!("{left}; {needed} would be needed"))
    };
    Verdict { status, bound: Some(bound), reason: Some(reason), ..open }
}
