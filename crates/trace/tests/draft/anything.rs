//! Whatever is recorded, the draft reads without an error: no source but the claim that the command makes of itself.

use crate::common::*;
use proptest::prelude::*;

const EVENTS: [&str; 16] = [
    "window_begins",
    "window_ends",
    "runs",
    "idles",
    "arrives",
    "completes",
    "dropped",
    "writes",
    "reads",
    "overflows",
    "restarts_warm",
    "operational",
    "stopped",
    "schedule",
    "fault_begins",
    "lost",
];
const NAMES: [&str; 10] =
    ["A", "B", "A.work", "A.log", "B.odd, name", "DATA", "DATA > 2", "DATA > B.odd, name", "a/b", "x.y.z"];

fn rows() -> impl Strategy<Value = String> {
    let row = (0_u64..40_000_000, 0_u8..3, 0..EVENTS.len(), 0..NAMES.len(), prop::option::of(0_u32..20));
    prop::collection::vec(row, 1..200).prop_map(|rows| {
        let mut at = 0;
        let rows: Vec<String> = rows
            .into_iter()
            .map(|(step, core, event, name, number)| {
                at += step;
                let (event, number) = (EVENTS[event], number.map_or(String::new(), |number| number.to_string()));
                let who =
                    if matches!(event, "idles" | "lost") { String::new() } else { format!("\"{}\"", NAMES[name]) };
                format!("{at},{core},{event},{who},{number}")
            })
            .collect();
        table(&rows)
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, ..ProptestConfig::default() })]

    #[test]
    fn a_draft_reads_and_is_always_the_same(rows in rows(), map in prop::bool::ANY) {
        let map = if map { "[[channel]]\nname = \"DATA\"\nkind = \"queuing\"\nsize = \"8 B\"\ndepth = 2\nfrom = \"A\"\n" } else { "" };
        if let Ok((draft, ..)) = try_draft(map, &rows) {
            reads(&draft);
            prop_assert_eq!(try_draft(map, &rows).map(|(draft, ..)| draft), Ok(draft));
        }
    }
}
