//! The survey vessel as it is published with the program.

mod common;

use common::{Files, rendered, text, vessel};
use model::{System, read_system};
use std::collections::BTreeMap;

fn system(mut files: Files) -> System {
    let reading = read_system("system.toml", &mut files);
    assert_eq!(rendered(&reading), "");
    reading.system.expect("a system")
}

#[test]
fn the_vessel_reads_without_a_word() {
    let system = system(vessel());
    assert_eq!((system.partitions.len(), system.tasks.len(), system.board.devices.len()), (12, 39, 18));
    let objt = system.partition_named("OBJT").expect("OBJT");
    let labels = system.partition(objt).tasks.iter().map(|task| system.task_label(*task));
    assert_eq!(labels.collect::<Vec<_>>(), ["OBJT.radar", "OBJT.cam", "OBJT.trk", "OBJT.ais"]);
}

/// The vessel with its table of tasks written into the system file instead.
fn tasks_in_toml() -> Files {
    let mut files = vessel();
    let table = text(&files, "tasks.csv");
    let mut tasks: BTreeMap<&str, String> = BTreeMap::new();
    let mut lines = table.lines();
    let columns: Vec<_> = lines.next().expect("a header").split(',').collect();
    for line in lines {
        let (partition, _) = line.split_once(',').expect("a partition");
        *tasks.entry(partition).or_default() += &task(&columns, line);
    }
    let mut system = text(&files, "system.toml").replace("tasks = [\"tasks.csv\"]\n", "");
    for (partition, tasks) in tasks {
        // A partition's tasks may stand before the table of its restart.
        let at = system.find(&format!("[[partition]]\nname = \"{partition}\"")).expect("the partition");
        let at = at + system[at..].find("[partition.restart]").expect("its restart");
        system.insert_str(at, &tasks);
    }
    files.remove("tasks.csv");
    files.insert("system.toml".into(), system.into_bytes());
    files
}

/// A row of the table, whose last cell alone is quoted, as a table of TOML.
fn task(columns: &[&str], line: &str) -> String {
    let mut keys = String::from("[[partition.task]]\n");
    let mut class = "";
    for (column, cell) in columns.iter().zip(line.splitn(columns.len(), ',')) {
        match *column {
            "partition" => {}
            "priority" | "line_requests" => keys += &format!("{column} = {cell}\n"),
            "class" => class = cell,
            "source" => keys += &format!("provenance = {{ class = \"{class}\", source = {cell} }}\n"),
            _ => keys += &format!("{column} = \"{cell}\"\n"),
        }
    }
    keys + "\n"
}

#[test]
fn a_table_and_the_file_are_equal_in_rights() {
    let (from_table, from_file) = (system(vessel()), system(tasks_in_toml()));
    assert_eq!(from_table.digest(), from_file.digest());
    let json = |system: &System| serde_json::to_value(system).expect("JSON");
    assert_eq!(json(&from_table), json(&from_file));
}

#[test]
fn the_digest_changes_with_the_content_and_not_with_the_layout() {
    let before = system(vessel()).digest();
    let edited = |from: &str, to: &str| {
        let mut files = vessel();
        let text = text(&files, "tasks.csv");
        assert!(text.contains(from));
        files.insert("tasks.csv".into(), text.replacen(from, to, 1).into_bytes());
        system(files).digest()
    };
    assert_eq!(before, edited("1450 us", "1.45 ms"));
    assert_eq!(before, edited("\n", "\r\n"));
    assert_ne!(before, edited("1450 us", "1451 us"));
}
