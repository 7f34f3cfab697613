//! The table of the vessel's page, "largest simulated against bound", is what replays and a report's search find.

#![allow(clippy::disallowed_methods, reason = "the page is a file")]

use crate::vessel::compared;
use baseline::simulated::{Search, search};
use claim::{Kind, Verdict};
use quantity::Duration;
use std::fmt::Write;
use std::path::Path;

const REFRESH: &str = "COFFERDAM_BLESS";
const BEGIN: &str = "<!-- simulated -->\n";
const END: &str = "<!-- end -->\n";
const HEAD: &str = "| what | bound | largest simulated | gap | drawn by seed |\n|---|---|---|---|---|\n";

#[test]
fn the_table_of_the_vessels_page_is_current() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/survey-vessel/README.md");
    let page = std::fs::read_to_string(&path).expect("the vessel has a page");
    let (before, rest) = page.split_once(BEGIN).expect("the table begins");
    let (_, after) = rest.split_once(END).expect("the table ends");
    let fresh = format!("{before}{BEGIN}{}{END}{after}", table());
    if std::env::var_os(REFRESH).is_some() {
        std::fs::write(&path, &fresh).expect("the page can be written");
        return;
    }
    let command = "cargo test -p cofferdam-baseline --test simulated";
    assert!(page == fresh, "the table is not current; refresh it with `{REFRESH}=1 {command}` and read the difference");
}

/// All responses and chains: the largest of replays and drawn runs, and of drawn runs alone.
fn table() -> String {
    let (system, plan) = crate::vessel::vessel();
    let mut drawn = baseline::verdicts(&system, &plan);
    search(&system, &plan, &mut drawn, &Search::SHORT).expect("nothing is seen above a bound");
    let of_page = |verdict: &&Verdict| matches!(verdict.kind, Kind::Response | Kind::Reaction | Kind::DataAge);
    let largest = compared(Some(&Search::SHORT));
    let mut table = HEAD.to_owned();
    for verdict in largest.iter().filter(of_page) {
        let by_seed = drawn.iter().find(|other| other.id == verdict.id).and_then(|other| other.simulated);
        let seen = verdict.simulated.map(|seen| seen.largest);
        let cells = [verdict.bound, seen, verdict.gap(), by_seed.map(|seen| seen.largest)];
        // Writing to a String cannot fail.
        let _ = writeln!(table, "| {} | {} |", verdict.id, cells.map(time).join(" | "));
    }
    table
}

fn time(ns: Option<u64>) -> String {
    ns.map_or_else(|| "–".to_owned(), |ns| Duration::from_ns(ns).to_string())
}
