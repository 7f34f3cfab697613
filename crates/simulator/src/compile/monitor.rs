//! The health-monitor table, written out for each partition.

use crate::machine::{Action, Counted, Escalation, Monitor, Rule};
use model::System;
use model::system::{Health, HealthAction, HealthEntry, HealthError};
use quantity::PartitionId;

pub(super) fn monitor(system: &System) -> Option<Monitor> {
    let health = system.health.as_ref()?;
    let rules = system
        .partition_ids()
        .flat_map(|partition| HealthError::ALL.into_iter().filter_map(move |error| rule(health, partition, error)));
    let escalations = system.partition_ids().flat_map(|partition| {
        let applying = health.escalations.iter().filter(move |escalation| escalation.applies_to(partition));
        applying.filter_map(move |declared| escalation(declared, partition))
    });
    Some(Monitor { rules: rules.collect(), escalations: escalations.collect() })
}

/// The row of a partition for an error: one that names the partition goes before one that names none.
fn rule(health: &Health, partition: PartitionId, error: HealthError) -> Option<Rule> {
    let of_error = || health.entries.iter().filter(|entry| entry.error.value == error);
    let names = |entry: &&HealthEntry| entry.partitions.iter().any(|named| named.value == partition);
    let entry = of_error().find(names).or_else(|| of_error().find(|entry| entry.partitions.is_empty()))?;
    Some(Rule { partition: partition.index(), error, action: action(entry.action.value) })
}

fn escalation(declared: &model::system::Escalation, partition: PartitionId) -> Option<Escalation> {
    Some(Escalation {
        partition: partition.index(),
        from: counted(&declared.from.value)?,
        count: declared.count.value,
        window_ns: declared.window.ns(),
        to: action(declared.to.value),
    })
}

fn counted(word: &str) -> Option<Counted> {
    let error = HealthError::ALL.into_iter().find(|error| error.word() == word).map(Counted::Error);
    error.or_else(|| HealthAction::of_word(word).map(|of| Counted::Action(action(of))))
}

fn action(declared: HealthAction) -> Action {
    match declared {
        HealthAction::Ignore => Action::Ignore,
        HealthAction::Handler => Action::Handler,
        HealthAction::RestartProcess => Action::RestartProcess,
        HealthAction::WarmStart => Action::WarmStart,
        HealthAction::ColdStart => Action::ColdStart,
        HealthAction::Stop => Action::Stop,
        HealthAction::ModuleReset => Action::ModuleReset,
        HealthAction::ModuleShutdown => Action::ModuleShutdown,
    }
}
