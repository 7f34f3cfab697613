//! The nacelle controller reads without a word, holds what its page says, and its plan is made for it.

#![allow(clippy::disallowed_methods, reason = "the example is read from its folder")]

mod common;

use common::{Files, rendered};
use model::System;
use model::system::{CorePolicy, Exchange, Guest, Locking, OpaqueNeed, Role, RunGrant};
use std::path::Path;

fn file(name: &str) -> String {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/nacelle-controller");
    std::fs::read_to_string(folder.join(name)).expect("a file of the nacelle controller")
}

fn system() -> System {
    let names = ["system.toml", "tasks.csv", "channels.csv"];
    let mut files: Files = names.map(|name| (name.to_owned(), file(name).into_bytes())).into();
    let reading = model::read_system("system.toml", &mut files);
    assert_eq!(rendered(&reading), "");
    reading.system.expect("a system")
}

#[test]
fn the_plan_is_made_for_it() {
    let line = format!("made_for = \"{}\"\n", system().digest());
    assert!(file("plan.toml").contains(&line), "plan.toml lacks {line}");
}

/// A partition as the row of the table of its page.
fn row(system: &System, index: usize) -> String {
    let partition = &system.partitions[index];
    let level = partition.level.map_or("", |level| &system.levels[level.value].value);
    let zone = partition.zone.map_or("", |zone| &system.zones[zone.value.index()].name.value);
    let guest = match &partition.guest.value {
        Guest::FixedPriority if partition.locking.is_some() => "fixed priority, priority ceiling".to_owned(),
        Guest::FixedPriority => "fixed priority".to_owned(),
        Guest::Edf => "EDF".to_owned(),
        Guest::Cooperative => "cooperative".to_owned(),
        Guest::Opaque(OpaqueNeed::Periodic { budget, period }) => format!("opaque: {budget} in each {period}"),
        Guest::Opaque(OpaqueNeed::Rate { rate, delay }) => format!("opaque: {rate} at most {delay} late"),
    };
    let time = match &partition.grant {
        Some(RunGrant::Windows { period, budget }) => {
            format!("{} every {}", budget.expect("a budget").value, period.value)
        }
        Some(RunGrant::Server { budget, period, .. }) => format!("{} in each {}", budget.value, period.value),
        Some(RunGrant::Share { share, .. }) => format!("share {}", share.value),
        None => "core 5 alone".to_owned(),
    };
    format!("| {level} | {zone} | {guest} | {time}")
}

#[test]
fn the_table_of_its_page_is_true() {
    let (page, system) = (file("README.md"), system());
    assert_eq!(system.partitions.len(), 12);
    for index in 0..system.partitions.len() {
        let name = &system.partitions[index].name.value;
        let start = format!("| {name} | ");
        let line = page.lines().find(|line| line.starts_with(&start)).expect("a row for each partition");
        assert!(line.contains(&row(&system, index)), "{name}: {line} lacks {}", row(&system, index));
    }
}

#[test]
fn it_has_every_kind_of_schedule_and_of_guest() {
    let system = system();
    let policies: Vec<_> = system.core_sets.iter().map(|set| (set.cores.len(), &set.policy)).collect();
    assert!(matches!(
        policies[..],
        [
            (2, CorePolicy::WindowTable { synchronised: true, .. }),
            (2, CorePolicy::BudgetServer),
            (1, CorePolicy::ProportionalShare { .. }),
            (1, CorePolicy::Dedicated),
        ]
    ));
    let named = |name: &str| system.partitions.iter().find(|p| p.name.value == name).expect("a partition");
    assert_eq!((named("CTRL").role, named("BRDG").role), (Role::Control, Role::Forwarder));
    assert_eq!(named("PTCH").locking.map(|locking| locking.value), Some(Locking::Ceiling));
    let control = system.partition_ids().find(|&id| system.partition(id).role == Role::Control);
    for partition in system.partitions.iter().filter(|partition| partition.role != Role::Control) {
        assert_eq!(partition.built_by.map(|by| by.value), control, "{}", partition.name.value);
        assert!(partition.build_time.is_some(), "{}", partition.name.value);
    }
    assert_eq!(system.channels.iter().filter(|channel| channel.forwarded).count(), 3);
    assert_eq!(system.tasks.iter().filter(|task| task.exchange == Exchange::Logical).count(), 2);
    let untrusted: Vec<_> = system.partitions.iter().filter(|p| p.untrusted).map(|p| &*p.name.value).collect();
    assert_eq!(untrusted, ["UPDT"]);
}
