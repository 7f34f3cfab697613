//! Whatever is done to the vessel's files, the reader comes back with a system or with an error, and never panics.

mod common;

use common::{Files, rendered, vessel};
use diagnostic::{Look, Plain, render_text};
use model::read_system;
use proptest::prelude::*;
use std::ops::Range;

/// Pieces that a hand or a broken tool may leave behind.
const TOKENS: &[&str] = &[
    "\"",
    "'''",
    "[",
    "]",
    "]]",
    "[[partition]]\n",
    "[[partition.task]]\n",
    "[board]\n",
    "{",
    "}",
    "=",
    ".",
    ",",
    ";",
    ":",
    "\n",
    "\r",
    "\0",
    "\u{feff}",
    "é",
    "#",
    "nan",
    "inf",
    "-1",
    "0",
    "1e999",
    "0 ms",
    "1 ns",
    "7 ms",
    "9007199254740991 ns",
    "99999999999999999999 h",
    "0xFFFF_FFFF_FFFF_FFFF",
    "16777216 GiB",
    "true",
    "frame-aligned",
    "EDF",
    "opaque",
    "dedicated",
    "NAVF",
    "NAVF.imu",
    "CH01",
    "0\", \"0",
    "release = \"frame-aligned\"\n",
    "cores = [\"0\", \"9\"]\n",
    "together_with = [\"STOP\"]\n",
    "apart_from = [\"STOP\"]\n",
    "built_by = \"MAIN\"\n",
    "virtual_cores = 4294967295\n",
    "period = \"7.001 ms\"\n",
    "active = false\n",
    "deadlines_hold_in = \"frame phase\"\n",
    "address_bits = 1\n",
    "[[chain]]\nname = \"E9\"\npath = [\"NAVF.imu\", \"CH02\", \"SONR.ping\", \"NAVF.imu\"]\n",
    "CH02\", \"",
    "[[boot.stage]]\nname = \"again\"\nafter = [\"again\", \"hypervisor\"]\n",
    "after = [\"hypervisor\"]\n",
    "[[schedule]]\nname = \"S\"\nmay_follow = [\"S\"]\n[[schedule.partition]]\nname = \"MAIN\"\n",
    "idle = true\n",
    "read = 1\n",
    "partitions = [\"STOP\"]\n",
    "[network]\nforwarder = \"MAIN\"\ntask = \"NAVF.imu\"\n",
    "partition MAIN",
    "2027-02-30",
];

#[derive(Debug, Clone)]
enum Edit {
    Delete { at: usize, length: usize },
    Insert { at: usize, token: &'static str },
    Replace { at: usize, byte: u8 },
    Repeat { at: usize, length: usize },
}

fn edit() -> impl Strategy<Value = Edit> {
    let at = 0..40_000_usize;
    prop_oneof![
        (at.clone(), 1..60_usize).prop_map(|(at, length)| Edit::Delete { at, length }),
        (at.clone(), prop::sample::select(TOKENS)).prop_map(|(at, token)| Edit::Insert { at, token }),
        (at.clone(), any::<u8>()).prop_map(|(at, byte)| Edit::Replace { at, byte }),
        (at, 1..400_usize).prop_map(|(at, length)| Edit::Repeat { at, length }),
    ]
}

fn apply(bytes: &mut Vec<u8>, edit: &Edit) {
    let range = |at: usize, length: usize, whole: usize| -> Range<usize> {
        let start = at % whole.max(1);
        start.min(whole)..(start + length).min(whole)
    };
    match *edit {
        Edit::Delete { at, length } => drop(bytes.drain(range(at, length, bytes.len()))),
        Edit::Insert { at, token } => {
            let at = range(at, 0, bytes.len()).start;
            drop(bytes.splice(at..at, token.bytes()));
        }
        Edit::Replace { at, byte } => {
            let at = range(at, 1, bytes.len());
            bytes[at].fill(byte);
        }
        Edit::Repeat { at, length } => {
            let piece = bytes[range(at, length, bytes.len())].to_vec();
            let at = range(at, 0, bytes.len()).start;
            drop(bytes.splice(at..at, piece));
        }
    }
}

fn mutated(edits: &[(usize, Edit)]) -> Files {
    let mut files = vessel();
    for (which, edit) in edits {
        let name = ["system.toml", "tasks.csv", "channels.csv"][which % 3];
        apply(files.get_mut(name).expect("one of the files"), edit);
    }
    files
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    #[test]
    fn a_system_or_an_error_and_never_a_panic(edits in prop::collection::vec((0..3_usize, edit()), 1..4)) {
        let reading = read_system("system.toml", &mut mutated(&edits));
        let error = reading.diagnostics.iter().any(diagnostic::Diagnostic::is_error);
        prop_assert_eq!(reading.system.is_none(), error, "{}", rendered(&reading));
        for found in reading.diagnostics.iter().take(20) {
            let text = render_text(found, &reading.sources, Look::Coloured);
            prop_assert!(text.contains(found.code.id));
            let plain = Plain::new(found, &reading.sources);
            prop_assert!((plain.place.line, plain.place.column) <= (plain.place.end_line, plain.place.end_column));
        }
    }

    #[test]
    fn any_bytes_at_all(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let reading = common::read(&bytes);
        prop_assert!(reading.system.is_none() && !reading.diagnostics.is_empty());
        rendered(&reading);
    }

    #[test]
    fn any_row_of_a_table(row in "[ -~é\\n\"]{0,80}", tasks in any::<bool>()) {
        let mut files = vessel();
        let table = if tasks { "tasks.csv" } else { "channels.csv" };
        files.get_mut(table).expect("the table").extend(row.bytes());
        let reading = read_system("system.toml", &mut files);
        let error = reading.diagnostics.iter().any(diagnostic::Diagnostic::is_error);
        prop_assert_eq!(reading.system.is_none(), error);
        rendered(&reading);
    }
}
