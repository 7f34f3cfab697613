//! Core sets, their policies, and what each partition asks its set for.

use super::names::{core, note, table};
use crate::dossier::Dossier;
use maud::{Markup, html};
use model::System;
use model::system::{CorePolicy, CoreSet, Partition, RunGrant};
use quantity::CoreId;

pub(super) fn part(dossier: &Dossier) -> Markup {
    let Some(system) = dossier.system().filter(|system| !system.core_sets.is_empty()) else {
        return note("No core set is known.");
    };
    let sets = html! { @for set in &system.core_sets { (set_row(system, set)) } };
    let grants = html! { @for partition in &system.partitions { (grant_row(system, dossier, partition)) } };
    let head = ["Partition", "Core set", "Grant", "#Budget", "#Period", "#Deadline", "#Weight", "#Ceiling"];
    html! {
        (table("", &["Core set", "Cores", "Policy", "Its time"], sets))
        (table("What each virtual core of a partition is given", &head, grants))
    }
}

fn set_row(system: &System, set: &CoreSet) -> Markup {
    let cores: Vec<_> = set.cores.iter().map(|id| core(system, *id)).collect();
    let (policy, time) = policy_words(&set.policy);
    html! {
        tr {
            th scope="row" { strong { (set.name.value) } }
            td { (cores.join(", ")) }
            td class="keep" { (policy) }
            td { (time) }
        }
    }
}

/// The policy, and what else is declared of it.
fn policy_words(policy: &CorePolicy) -> (&'static str, String) {
    match policy {
        CorePolicy::WindowTable { synchronised, drift_ppm } => {
            let frames = if *synchronised { "frames begin with the others'" } else { "frames begin in any phase" };
            let drift = drift_ppm.map_or_else(String::new, |drift| format!(", clock drifts by {drift} ppm"));
            ("window table", format!("{frames}{drift}"))
        }
        CorePolicy::BudgetServer => ("budget server", "each partition by its server".to_owned()),
        CorePolicy::ProportionalShare { quantum } => ("proportional share", format!("turns of {quantum}")),
        CorePolicy::Dedicated => ("dedicated", "one partition has it to itself".to_owned()),
    }
}

/// The sets that a partition is in: the declared one, or those of the cores that its windows or pins are on.
fn sets_of<'s>(system: &'s System, dossier: &Dossier, partition: &Partition) -> Vec<&'s CoreSet> {
    if let Some(id) = &partition.core_set {
        return system.core_sets.get(id.value.index()).into_iter().collect();
    }
    let on = |core: CoreId| {
        let planned = dossier.plan().into_iter().flat_map(|plan| &plan.schedules).flat_map(|table| &table.cores);
        let windows = planned.filter(|table| table.core == core).flat_map(|table| &table.windows);
        let named = |id: quantity::PartitionId| system.partitions.get(id.index()).map(|p| &p.name.value);
        let mut there = windows.map(|window| named(window.partition));
        partition.cores.iter().any(|pin| pin.value == core) || there.any(|name| name == Some(&partition.name.value))
    };
    system.core_sets.iter().filter(|set| set.cores.iter().any(|core| on(*core))).collect()
}

fn grant_row(system: &System, dossier: &Dossier, partition: &Partition) -> Markup {
    let sets = sets_of(system, dossier, partition);
    let whole = sets.iter().any(|set| set.policy == CorePolicy::Dedicated);
    let sets: Vec<_> = sets.iter().map(|set| set.name.value.as_str()).collect();
    html! {
        tr {
            th scope="row" {
                (partition.name.value)
                @if partition.virtual_cores.value > 1 { " (" (partition.virtual_cores.value) " virtual cores)" }
            }
            td { @if sets.is_empty() { "–" } @else { (sets.join(", ")) } }
            (grant_cells(partition.grant.as_ref(), whole))
        }
    }
}

fn grant_cells(grant: Option<&RunGrant>, whole: bool) -> Markup {
    let none = || "–".to_owned();
    let (kind, cells) = match grant {
        None => (if whole { "the whole core" } else { "not given" }, [none(), none(), none(), none(), none()]),
        Some(RunGrant::Windows { period, budget }) => {
            let budget = budget.as_ref().map_or_else(|| "as planned".to_owned(), |budget| budget.value.to_string());
            ("windows", [budget, period.value.to_string(), none(), none(), none()])
        }
        Some(RunGrant::Server { budget, period, deadline }) => {
            let times = [budget, period, deadline].map(|time| time.value.to_string());
            let [budget, period, deadline] = times;
            ("server", [budget, period, deadline, none(), none()])
        }
        Some(RunGrant::Share { share, ceiling }) => {
            let ceiling = ceiling.as_ref().map_or_else(none, |ceiling| ceiling.value.to_string());
            ("share", [none(), none(), none(), share.value.to_string(), ceiling])
        }
    };
    html! { td class="keep" { (kind) } @for cell in cells { td class="n" { (cell) } } }
}
