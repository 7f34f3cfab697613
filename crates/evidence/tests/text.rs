//! The answer for people at a terminal.

mod common;

use common::*;
use evidence::text::{Detail, Style, render};
use evidence::{CAUTIONS, Dossier, Inputs};
use jiff::civil::date;

fn place(text: &str, part: &str) -> usize {
    text.find(part).unwrap_or_else(|| panic!("{part} is missing from\n{text}"))
}

#[test]
fn the_order_is_that_of_urgency() {
    let dossier = dossier_accepting(vec![accepted("refresh/CH01", date(2026, 7, 1))]);
    let text = render(&dossier, Detail::Default, Style::default());
    let sum = "3 not analysed";
    let lists = ["Accepted deviations: 1", "Not analysed: 3 claims", "Violated: 1", "Claims", "Tightest", "Cautions"];
    let order = [&[sum], &lists[..]].concat();
    let places: Vec<_> = order.iter().map(|part| place(&text, part)).collect();
    assert!(places.is_sorted(), "{places:?}\n{text}");
    assert!(!text.contains("Not shown: "), "the accepted one stands with the deviations\n{text}");
}

#[test]
fn no_line_is_wider_than_the_terminal() {
    for width in [60, 80, 100] {
        for detail in [Detail::Quiet, Detail::Default, Detail::All] {
            for dossier in [dossier(), whole_dossier()] {
                let text = render(&dossier, detail, Style { width, ..Style::default() });
                for line in text.lines() {
                    assert!(line.chars().count() <= width, "{width}: {line}");
                }
            }
        }
    }
}

#[test]
fn a_long_id_gets_a_line_of_its_own() {
    let mut verdicts = verdicts();
    verdicts[4].id = format!("reaction/{}", "E".repeat(60));
    let dossier = Dossier::compose(Inputs { verdicts, ..inputs_of(system()) });
    let text = render(&dossier, Detail::All, Style::default());
    assert!(text.lines().any(|line| line.trim() == format!("reaction/{}", "E".repeat(60))), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
}

#[test]
fn the_witness_is_drawn_to_scale() {
    let text = render(&dossier(), Detail::Default, Style { unicode: false, ..Style::default() });
    let row = |lane: &str| {
        let line = text.lines().find(|line| line.trim_start().starts_with(lane)).expect("the lane is drawn");
        line.trim_start().trim_start_matches(lane).trim().to_owned()
    };
    let (black, run) = (row("blackout"), row("WORK.run"));
    assert_eq!(black.len(), run.len());
    // The timeline is 36.08 ms long, of which the blackouts have 28.08 ms.
    let share = black.chars().filter(|c| *c == '#').count() * 3608 / black.len();
    assert!((2640..=2810).contains(&share), "{share}\n{text}");
    let both = black.chars().zip(run.chars()).filter(|(b, r)| *b == '#' && *r != '.');
    assert_eq!(both.count(), 0, "one has the core at a time\n{text}");
    assert!(text.is_ascii() || !text.contains(['█', '▒', '·']), "{text}");
}

#[test]
fn quiet_names_every_claim_that_is_not_shown_and_no_other() {
    let text = render(&dossier(), Detail::Quiet, Style::default());
    for id in ["response/WORK.run", "refresh/CH01", "boot/SAFE", "restart/SAFE/cold", "restart/SAFE/warm"] {
        place(&text, id);
    }
    assert!(!text.contains("response/SAFE.stop"), "{text}");
}

#[test]
fn all_names_every_claim() {
    let dossier = dossier();
    let text = render(&dossier, Detail::All, Style::default());
    dossier.verdicts().iter().for_each(|verdict| assert!(text.contains(&verdict.id), "{}", verdict.id));
}

#[test]
fn colour_comes_only_when_asked_and_changes_no_word() {
    let plain = render(&dossier(), Detail::All, Style::default());
    let coloured = render(&dossier(), Detail::All, Style { colour: true, ..Style::default() });
    assert!(!plain.contains('\u{1b}'));
    assert!(coloured.contains('\u{1b}'));
    let mut bare = String::new();
    let mut rest = coloured.as_str();
    while let Some((before, after)) = rest.split_once('\u{1b}') {
        bare.push_str(before);
        rest = after.split_once('m').map_or("", |(_, after)| after);
    }
    bare.push_str(rest);
    let trimmed = |text: &str| text.lines().map(str::trim_end).collect::<Vec<_>>().join("\n");
    assert_eq!(trimmed(&bare), trimmed(&plain));
}

#[test]
fn every_caution_is_there() {
    let text = render(&dossier(), Detail::Default, Style::default());
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    CAUTIONS.iter().for_each(|caution| assert!(words.contains(caution.short), "{}", caution.short));
}

#[test]
fn a_fact_is_said_once() {
    let mut verdicts = verdicts();
    let violated = verdicts.iter_mut().find(|v| v.status == claim::Status::Violated).expect("one is violated");
    violated.reason = Some("two windows overlap by 1 ms".into());
    violated.witness = Some(claim::Witness::of_fact("two windows overlap by 1 ms"));
    let dossier = Dossier::compose(Inputs { verdicts, ..inputs_of(system()) });
    let text = render(&dossier, Detail::Default, Style::default());
    assert_eq!(text.matches("two windows overlap by 1 ms").count(), 1, "{text}");
}

#[test]
fn chains_name_their_largest_parts_or_draw_all() {
    let text = render(&whole_dossier(), Detail::Default, Style { width: 120, ..Style::default() });
    let line = text.lines().find(|line| line.contains("SAFE.stop waiting 10 ms")).expect("the largest part is named");
    let named = ["SAFE.stop waiting 10 ms", "SAFE.stop blackout 9.04 ms", "WORK.run waiting 7.44 ms"].join(", ");
    assert_eq!(line.trim(), format!("{named}, 7 other parts 8.22 ms in all."));
    place(&text, "generic 67 ms, table-aware 34.7 ms (decides)");
    place(&text, "Caution 8:");
    let whole = render(&whole_dossier(), Detail::All, Style { unicode: false, ..Style::default() });
    let (_, falls) = whole.split_once("What the bounds of chains are made of").expect("the waterfalls are drawn");
    let bars: Vec<_> = falls.lines().skip(2).take(10).map(|line| line.find(['#', '+'])).collect();
    assert!(bars.is_sorted() && bars[0].is_some(), "a part begins before the one that it follows: {bars:?}");
    assert!(!render(&dossier(), Detail::Default, Style::default()).contains("made of"), "no parts, no waterfall");
}

#[test]
fn five_of_what_breaks_first_are_named() {
    let growth = |n: u64| {
        let growth = claim::Growth { charged_ns: 100_000, largest_charged_ns: 100_000 + n * 1000 };
        let verdict = verdict(&format!("response/P.t{n}"), claim::Kind::Response, claim::Status::Shown, 1, 2);
        claim::Verdict { growth: Some(growth), ..verdict }
    };
    let dossier = Dossier::compose(Inputs { verdicts: (1..=7).rev().map(growth).collect(), ..inputs_of(system()) });
    let text = render(&dossier, Detail::Default, Style::default());
    let (_, block) = text.split_once("What breaks first").expect("the block is there");
    let named: Vec<_> = block.lines().skip(1).take_while(|line| !line.is_empty()).collect();
    assert_eq!(named.len(), 5, "all are ranked, and so nothing is said of others: {block}");
    let small = render(&whole_dossier(), Detail::Default, Style::default());
    place(&small, "Not ranked, since it is not known how far they may grow: 1 task.");
    assert_eq!(named[0].split_whitespace().collect::<Vec<_>>(), ["response/P.t1", "+1.0", "%", "task"]);
}

/// What is too wide for a terminal as a table of all partitions stands row by row, under `--all` alone.
#[test]
fn all_tells_covert_channels_and_faults_of_exchange() {
    let text = render(&dossier(), Detail::All, Style::default());
    let parts = [
        "Faults of exchange: what stands against each kind",
        "rep  los  del  ins  mas  seq  cor  asy  sub  blo",
        "Covert channels: what is forbidden and may be carried",
        "No flow policy is declared, so no pair of partitions is forbidden.",
        "Shared-resource matrix",
        "cache/L2: how long it takes: R",
        "M may change what can be told, R may tell, RM both.",
    ];
    let places: Vec<_> = parts.iter().map(|part| place(&text, part)).collect();
    assert!(places.is_sorted(), "{places:?}");
    let short = render(&dossier(), Detail::Default, Style::default());
    assert!(parts.iter().all(|part| !short.contains(part)), "{short}");
}
