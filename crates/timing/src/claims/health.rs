//! The health-monitor table: an answer to every error in every partition.
//!
//! Computes: the errors of the catalogue that nothing answers, partition by partition; and tells what an answer rests
//! on: handlers inside partitions, starts whose initialisation is not declared, stops, resets without end.
//! Source: health monitor of ARINC 653 part 1 (from memory).
//! Assumptions: none beyond the file. That an action is possible at its level is checked where the file is read.
//! Symbols: holes counted, one for each error and partition.
//! Invariants and why it ends: one pass over errors, partitions and entries.
//! Differs from the source: one answer for each error and partition; what a process leaves to its partition is only told.
//! Checked by: tables with one entry taken away each.

use claim::{Assumption, Basis, Kind, Relation, Status, Unit, Verdict, Witness};
use model::System;
use model::system::{Health, HealthAction, HealthEntry, HealthError, HealthLevel, Partition};
use quantity::PartitionId;
use std::collections::BTreeSet;

/// One verdict, where there is a table.
pub(super) fn check(system: &System) -> Option<Verdict> {
    let health = system.health.as_ref()?;
    let first_entry = health.entries.first().map(|entry| entry.error.span);
    let place = first_entry.or(health.escalations.first().map(|escalation| escalation.from.span))?;
    let basis = Basis {
        analysis: "health",
        source: "health monitor of ARINC 653 part 1 (from memory)",
        assumptions: vec![Assumption::FaultsDetected],
    };
    let open = Verdict { place: Some(place), ..Verdict::not_analysed(Kind::Health, "table", basis, String::new()) };
    Some(judge(system, health, open))
}

fn judge(system: &System, health: &Health, open: Verdict) -> Verdict {
    let open = Verdict { limit: Some(0), unit: Unit::Count, relation: Relation::AtMost, ..open };
    let answers = Answers::of(system, health);
    let holes = HealthError::ALL.map(|error| (error, answers.unanswered(error)));
    let count: usize = holes.iter().map(|(_, partitions)| partitions.len()).sum();
    let base = Verdict { bound: Some(count as u64), exact: true, ..open.clone() };
    if count > 0 {
        let told = holes.iter().filter(|(_, partitions)| !partitions.is_empty());
        let told: Vec<_> = told.map(|(error, partitions)| hole(system, *error, partitions)).collect();
        let reason = told.join("; ");
        let witness = Some(Witness::of_fact(&*reason));
        return Verdict { status: Status::Violated, reason: Some(reason), witness, ..base };
    }
    let undeclared = undeclared_starts(system, health, &answers);
    if !undeclared.is_empty() {
        return Verdict { reason: Some(undeclared.join("; ")), ..open };
    }
    let notes =
        [handlers(health), without_processes(system, &answers), stops(system, health, &answers), endless_reset(health)];
    let notes: Vec<_> = notes.into_iter().flatten().collect();
    Verdict { status: Status::Shown, reason: Some(notes.join("; ")).filter(|reason| !reason.is_empty()), ..base }
}

/// The entries that answer each error in each partition.
pub(super) struct Answers<'a> {
    /// By partition, and by error in the order of the catalogue.
    entries: Vec<[Option<&'a HealthEntry>; HealthError::ALL.len()]>,
}

impl<'a> Answers<'a> {
    /// An entry that names a partition goes before one that names none; of several the first.
    pub(super) fn of(system: &System, health: &'a Health) -> Self {
        let mut entries = vec![[None; HealthError::ALL.len()]; system.partitions.len()];
        let (general, named): (Vec<_>, Vec<_>) = health.entries.iter().partition(|entry| entry.partitions.is_empty());
        for entry in named {
            for partition in &entry.partitions {
                entries[partition.value.index()][place(entry.error.value)].get_or_insert(entry);
            }
        }
        for entry in general {
            for answers in &mut entries {
                answers[place(entry.error.value)].get_or_insert(entry);
            }
        }
        Self { entries }
    }

    /// The answers in one partition.
    fn in_partition(&self, partition: PartitionId) -> impl Iterator<Item = &'a HealthEntry> {
        self.entries[partition.index()].iter().flatten().copied()
    }

    /// Whether some error is answered by `action` there.
    pub(super) fn act(&self, partition: PartitionId, action: HealthAction) -> bool {
        self.in_partition(partition).any(|entry| entry.action.value == action)
    }

    fn unanswered(&self, error: HealthError) -> Vec<PartitionId> {
        let partitions = (0..self.entries.len()).map(PartitionId::new);
        partitions.filter(|partition| self.entries[partition.index()][place(error)].is_none()).collect()
    }
}

fn place(error: HealthError) -> usize {
    let place = HealthError::ALL.iter().position(|&other| other == error);
    place.expect("the catalogue lists every error")
}

fn hole(system: &System, error: HealthError, partitions: &[PartitionId]) -> String {
    if partitions.len() == system.partitions.len() {
        return format!("nothing answers \"{}\"", error.word());
    }
    format!("nothing answers \"{}\" in {}", error.word(), names(system, partitions.iter().copied()))
}

fn names(system: &System, partitions: impl Iterator<Item = PartitionId>) -> String {
    let names: Vec<_> = partitions.map(|id| format!("`{}`", system.partition(id).name.value)).collect();
    names.join(", ")
}

/// The partitions in which an action can follow, from an entry or an escalation.
fn acted_on(system: &System, health: &Health, answers: &Answers<'_>, action: HealthAction) -> BTreeSet<PartitionId> {
    let escalates = |&partition: &PartitionId| {
        let mut here = health.escalations.iter().filter(|escalation| escalation.applies_to(partition));
        here.any(|escalation| escalation.to.value == action)
    };
    system.partition_ids().filter(|partition| answers.act(*partition, action) || escalates(partition)).collect()
}

/// Starts whose initialisation time is not known.
fn undeclared_starts(system: &System, health: &Health, answers: &Answers<'_>) -> Vec<String> {
    let undeclared = |action: HealthAction, key: &str, given: fn(&Partition) -> bool| {
        let partitions = acted_on(system, health, answers, action);
        let lacking: Vec<_> = partitions.into_iter().filter(|&id| !given(system.partition(id))).collect();
        let lacking = (!lacking.is_empty()).then(|| names(system, lacking.into_iter()))?;
        Some(format!("\"{}\" can follow in {lacking}, of which `{key}` is not given", action.word()))
    };
    let warm = |partition: &Partition| partition.restart.as_ref().is_some_and(|restart| restart.warm_init.is_some());
    let cold = |partition: &Partition| partition.restart.as_ref().is_some_and(|restart| restart.cold_init.is_some());
    let warm = undeclared(HealthAction::WarmStart, "warm_init", warm);
    warm.into_iter().chain(undeclared(HealthAction::ColdStart, "cold_init", cold)).collect()
}

/// A process' error needs a handler; where there is none it falls to the partition.
fn handlers(health: &Health) -> Option<String> {
    let handled = health.entries.iter().filter(|entry| entry.level.value == HealthLevel::Process);
    let handled: BTreeSet<_> = handled.map(|entry| entry.error.value).collect();
    let words: Vec<_> = handled.into_iter().map(|error| format!("\"{}\"", error.word())).collect();
    (!words.is_empty()).then(|| format!("{} rest on an error handler in each partition", words.join(", ")))
}

/// Guests in which the core software knows no process.
fn without_processes(system: &System, answers: &Answers<'_>) -> Option<String> {
    let falls = |&partition: &PartitionId| {
        let mut here = answers.in_partition(partition);
        system.partition(partition).tasks.is_empty() && here.any(|entry| entry.level.value == HealthLevel::Process)
    };
    let fall: Vec<_> = system.partition_ids().filter(falls).collect();
    let fall = (!fall.is_empty()).then(|| names(system, fall.into_iter()))?;
    Some(format!("errors of processes fall to the partition in {fall}, which declare none, and nothing answers there"))
}

fn stops(system: &System, health: &Health, answers: &Answers<'_>) -> Option<String> {
    let stopped = acted_on(system, health, answers, HealthAction::Stop).into_iter();
    let needed: Vec<_> = stopped.filter(|&id| system.partition(id).never_stops).collect();
    let needed = (!needed.is_empty()).then(|| names(system, needed.into_iter()))?;
    Some(format!("\"stop\" can end {needed}, which every module schedule must hold"))
}

/// An error that boot meets again brings the next reset.
fn endless_reset(health: &Health) -> Option<String> {
    let reset = HealthAction::ModuleReset;
    let answers = health.entries.iter().filter(|entry| entry.action.value == reset);
    let errors: BTreeSet<_> = answers.map(|entry| entry.error.value).collect();
    let escalates = health.escalations.iter().any(|escalation| escalation.to.value == reset);
    let counted = health.escalations.iter().any(|escalation| escalation.from.value == reset.word());
    if counted || (errors.is_empty() && !escalates) {
        return None;
    }
    let words: Vec<_> = errors.into_iter().map(|error| format!("\"{}\"", error.word())).collect();
    let what = if words.is_empty() { "an error".to_owned() } else { words.join(" or ") };
    Some(format!("no escalation counts module resets, so {what} that boot meets again resets without end"))
}
