//! What is written is read again, the same bytes each time, and nothing else is taken for it.

use campaign::{Affected, Choice, Harm, Record, Settings};
use model::{FileError, FileSource};
use records::{Bytes, Error, Reader, Writer};
use simulator::{Machine, Protections};

const SYSTEM: &str = r#"
[system]
name = "Two"
frame = "10 ms"

[board]
name = "B1"

[[board.core]]
name = "0"

[[partition]]
name = "NAV"
guest = "fixed priority"

[[partition.task]]
name = "fuse"
period = "10 ms"
priority = 1
wcet = "2 ms"

[[partition]]
name = "LOG"
guest = "fixed priority"

[[partition.task]]
name = "store"
period = "10 ms"
priority = 1
wcet = "2 ms"
"#;

struct One;

impl FileSource for One {
    fn read(&mut self, _: &str) -> Result<Vec<u8>, FileError> {
        Ok(SYSTEM.as_bytes().to_vec())
    }
}

fn machine() -> Machine {
    let reading = model::read_system("system.toml", &mut One);
    let system = reading.system.unwrap_or_else(|| panic!("{:?}", reading.diagnostics));
    simulator::compile::machine(&system, &plan::Plan::default())
}

fn settings(machine: &Machine, seed: u64) -> Settings {
    let choices = Choice::all(machine);
    if choices.is_empty() {
        panic!("the machine has partitions that may fail");
    }
    Settings { seed, runs: 50, span_ns: 1_000_000_000, choices, protections: Protections::ALL }
}

/// Records with every shape of effect: none, one partition, two, the greatest values.
fn records(settings: &Settings) -> Vec<Record> {
    let harm = |run: u64| Harm { extra_ns: u64::MAX - run, missed: run, stale: 2 * run, lost: 0, undone: run % 3 };
    let affected =
        |run: u64| (0..run % 3).map(move |at| Affected { partition: at as usize, harm: harm(run) }).collect();
    (0..50).map(|run| Record { run, fault: settings.fault(run), affected: affected(run) }).collect()
}

fn written(records: &[Record], machine: &Machine) -> Vec<u8> {
    let mut writer = Writer::new(Vec::new(), &[("from", "a test".to_owned())]).expect("memory can be written");
    records.chunks(20).for_each(|chunk| writer.add(chunk, machine).expect("memory can be written"));
    writer.finish().expect("memory can be written")
}

/// All records of a file, and what it says under `from`.
fn read(bytes: Vec<u8>, machine: &Machine, settings: &Settings) -> Result<(Vec<Record>, Option<String>), Error> {
    let mut reader = Reader::new(Bytes::from(bytes), machine, settings)?;
    let mut records = Vec::new();
    while let Some(mut group) = reader.next_group()? {
        assert!(group.len() <= 20, "no more than one group is held");
        records.append(&mut group);
    }
    let from = reader.says("from").map(str::to_owned);
    Ok((records, from))
}

#[test]
fn what_is_written_is_read_again() {
    let machine = machine();
    let settings = settings(&machine, 5);
    let records = records(&settings);
    let bytes = written(&records, &machine);
    assert_eq!(bytes, written(&records, &machine), "the same records give the same bytes");
    let stored = read(bytes, &machine, &settings).expect("the file is whole");
    assert_eq!(stored, (records, Some("a test".to_owned())));
}

#[test]
fn what_is_cut_or_of_another_seed_is_refused() {
    let machine = machine();
    let settings_here = settings(&machine, 5);
    let bytes = written(&records(&settings_here), &machine);
    let other = read(bytes.clone(), &machine, &settings(&machine, 6)).expect_err("other faults are drawn");
    assert!(other.to_string().contains("another fault"), "{other}");
    for length in [0, 3, bytes.len() / 2, bytes.len() - 1] {
        assert!(read(bytes[..length].to_vec(), &machine, &settings_here).is_err(), "{length} bytes of {}", bytes.len());
    }
}
