//! The survey vessel's plan as it is published with the program.

use crate::common;
use diagnostic::Sources;
use model::System;
use plan::{Plan, read_plan, write_plan};
use std::path::Path;

fn file(name: &str) -> Vec<u8> {
    std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/survey-vessel").join(name))
        .expect("a file")
}

fn vessel() -> (System, Sources) {
    let names = ["system.toml", "tasks.csv", "channels.csv", "board.dts"];
    common::read(names.map(|name| (name.to_owned(), file(name))).into())
}

fn read(system: &System, sources: &mut Sources, bytes: &[u8]) -> Plan {
    let (plan, diagnostics) = read_plan("plan.toml", bytes, system, sources);
    assert_eq!(diagnostics, []);
    plan.expect("a plan without errors")
}

/// Counted in the plan of the vessel as its designer gives it: windows of each core in the frame of 100 ms.
#[test]
fn the_published_plan_reads_without_findings() {
    let (system, mut sources) = vessel();
    let plan = read(&system, &mut sources, &file("plan.toml"));
    let windows: Vec<usize> = plan.schedules[0].cores.iter().map(|core| core.windows.len()).collect();
    assert_eq!(windows, [35, 15, 10, 9]);
    assert_eq!((plan.memory.len(), plan.cache.len(), plan.bandwidth.len()), (14, 4, 5));
    assert_eq!(plan.cache.iter().map(|grant| grant.mask).collect::<Vec<_>>(), [0x000F, 0x01F0, 0x1E00, 0xE000]);
}

#[test]
fn the_published_plan_is_written_in_as_many_entries_as_its_designer_needs() {
    let (system, mut sources) = vessel();
    let plan = read(&system, &mut sources, &file("plan.toml"));
    let text = write_plan(&plan, &system);
    assert_eq!(text.matches("[[window]]").count(), 14);
    assert_eq!(read(&system, &mut sources, text.as_bytes()).without_places(), plan.without_places());
    assert_eq!(write_plan(&plan.without_places(), &system), text);
}
