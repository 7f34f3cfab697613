//! Whatever is recorded, the draft reads without an error: no source but the claim that the command makes of itself.

use crate::common::*;
use proptest::prelude::*;

/// What can happen: words with names that fit, many of them twice, so that jobs and windows come about; and some that do not fit.
const EVENTS: [(&str, &str); 29] = [
    ("arrives", "A.work"),
    ("arrives", "A.work"),
    ("arrives", "A.work"),
    ("arrives", "B.odd, name"),
    ("arrives", "B.odd, name"),
    ("runs", "A.work"),
    ("runs", "A.work"),
    ("runs", "B.odd, name"),
    ("runs", "B"),
    ("completes", "A.work"),
    ("completes", "A.work"),
    ("completes", "B.odd, name"),
    ("window_begins", "A"),
    ("window_begins", "A"),
    ("window_ends", "A"),
    ("window_ends", "A"),
    ("idles", ""),
    ("idles", ""),
    ("writes", "DATA"),
    ("writes", "DATA"),
    ("reads", "DATA"),
    ("reads", "DATA > 1"),
    ("overflows", "DATA"),
    ("restarts_warm", "B"),
    ("operational", "B"),
    ("schedule", "main"),
    ("runs", "a/b"),
    ("arrives", "x.y.z"),
    ("lost", ""),
];

/// Rows of what can happen, mostly in even steps.
fn rows() -> impl Strategy<Value = String> {
    let step = prop_oneof![4 => Just(0_u64), 4 => Just(1_000_000), 1 => 0_u64..40_000_000];
    let row = (step, 0_u8..2, 0..EVENTS.len(), prop::option::of(0_u32..20));
    prop::collection::vec(row, 20..150).prop_map(|rows| {
        let mut at = 0;
        let rows: Vec<String> = rows
            .into_iter()
            .map(|(step, core, event, number)| {
                at += step;
                let (event, who) = EVENTS[event];
                let number = number.map_or(String::new(), |number| number.to_string());
                let who = if who.is_empty() { String::new() } else { format!("\"{who}\"") };
                format!("{at},{core},{event},{who},{number}")
            })
            .collect();
        table(&rows)
    })
}

const CHANNEL: &str =
    "[[channel]]\nname = \"DATA\"\nkind = \"queuing\"\nsize = \"8 B\"\ndepth = 9\nfrom = \"A.work\"\nto = [\"B\"]\n";

/// Windows that come again with some lateness, each with a job in it.
fn windows(period: u64, length: u64, late: &[u64]) -> String {
    let one = |(number, late): (u64, &u64)| {
        let at = 1_000_000 + number * period;
        let begin = at + late;
        [
            format!("{at},,arrives,A.work,{number}"),
            format!("{begin},0,window_begins,A,"),
            format!("{begin},0,runs,A.work,{number}"),
            format!("{},,completes,A.work,{number}", begin + length / 2),
            format!("{},0,idles,,", begin + length / 2),
            format!("{},0,window_ends,A,", begin + length),
        ]
    };
    table(&(0..).zip(late).flat_map(one).collect::<Vec<_>>())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, ..ProptestConfig::default() })]

    #[test]
    fn a_draft_reads_and_is_always_the_same(rows in rows(), map in prop::bool::ANY) {
        let map = if map { CHANNEL } else { "" };
        if let Ok((draft, ..)) = try_draft(map, &rows) {
            reads(&draft);
            prop_assert_eq!(try_draft(map, &rows).map(|(draft, ..)| draft), Ok(draft));
        }
    }

    /// The period of windows lies within what their lateness leaves open, and that of the jobs is exact.
    #[test]
    fn windows_that_come_late_have_a_period_within_their_lateness(
        period in 5_000_000_u64..30_000_000,
        late in prop::collection::vec(0_u64..50_000, 12..30),
    ) {
        let (draft, measures, _) = try_draft("", &windows(period, period / 3, &late)).expect("there is enough");
        let system = reads(&draft);
        let frame = system.frame.value.ns();
        prop_assert!(frame.abs_diff(period) <= 50_000, "{frame} {period}");
        prop_assert_eq!(system.tasks[0].period.value.ns(), period);
        prop_assert_eq!(measures.tasks[0].execution.most(), Some(period / 3 / 2));
        prop_assert!(draft.plan.contains("partition = \"A\""), "{}", draft.plan);
    }
}
