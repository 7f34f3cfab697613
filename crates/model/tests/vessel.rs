//! The survey vessel as it is published with the program.

use diagnostic::{Look, render_text};
use model::{Reading, read_system};
use std::collections::BTreeMap;
use std::path::Path;

fn vessel() -> BTreeMap<String, Vec<u8>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/survey-vessel");
    let read = |name: &str| (name.to_owned(), std::fs::read(folder.join(name)).expect("a file of the vessel"));
    ["system.toml", "tasks.csv", "channels.csv"].into_iter().map(read).collect()
}

fn rendered(reading: &Reading) -> String {
    reading.diagnostics.iter().map(|d| render_text(d, &reading.sources, Look::Plain) + "\n").collect()
}

#[test]
fn the_vessel_reads_without_a_word() {
    let reading = read_system("system.toml", &mut vessel());
    assert_eq!(rendered(&reading), "");
    let system = reading.system.expect("a system");
    assert_eq!((system.partitions.len(), system.tasks.len(), system.board.devices.len()), (12, 39, 18));
    let label = system.task_label(system.partition(system.partition_named("OBJT").expect("OBJT")).tasks[2]);
    assert_eq!(label, "OBJT.trk");
}
