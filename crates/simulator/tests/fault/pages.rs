//! The page of faults and the pages of the scenarios' codes.

use crate::common;
use diagnostic::{Code, codes};
use simulator::fault::{self, declared, read_scenario};
use std::collections::BTreeSet;

/// `COFFERDAM_WRITE_PAGES=1` writes the tables into the page instead of comparing them.
#[test]
fn the_page_of_faults_holds_what_is_declared() {
    const END: &str = "<!-- end -->";
    let path = common::docs().join("faults.md");
    let page = std::fs::read_to_string(&path).expect("the page");
    let mut filled = page.clone();
    let tables = fault::key_tables().into_iter().map(|(head, table)| (format!("<!-- keys of {head} -->\n"), table));
    for (marker, table) in tables.chain([("<!-- kinds -->\n".to_owned(), declared::page())]) {
        let start = filled.find(&marker).unwrap_or_else(|| panic!("no marker {marker}")) + marker.len();
        let end = start + filled[start..].find(END).expect("a marker has its end mark");
        filled.replace_range(start..end, &table);
    }
    if std::env::var_os("COFFERDAM_WRITE_PAGES").is_some() {
        std::fs::write(&path, &filled).expect("the page can be written");
    } else {
        assert!(page == filled, "run with COFFERDAM_WRITE_PAGES=1");
    }
}

#[test]
fn every_protection_has_a_row() {
    let page = std::fs::read_to_string(common::docs().join("faults.md")).expect("the page");
    for protection in simulator::Protection::ALL {
        assert!(page.contains(&format!("\n| `{}` |", protection.key())), "{}", protection.key());
    }
}

#[test]
fn every_page_fires_its_own_code_and_mended_is_silent() {
    let of_scenarios = |code: &&Code| code.id[1..].starts_with("10") && !code.page.contains("\n```call\n");
    let failures: Vec<_> = codes::all().filter(of_scenarios).filter_map(failure).collect();
    assert!(failures.is_empty(), "\n{}", failures.join("\n"));
}

fn failure(code: &'static Code) -> Option<String> {
    let (fired, shown) = run(&under(code, "Example", "toml"));
    let (left, rest) = run(&under(code, "Mended", "toml"));
    let as_said = fired == BTreeSet::from([code.id]) && left.is_empty();
    (!as_said).then(|| format!("{code}: the example fires {fired:?}, mended {left:?}\n{shown}--- mended:\n{rest}"))
}

fn run(scenario: &str) -> (BTreeSet<&'static str>, String) {
    let (machine, mut sources) = common::example();
    let (read, diagnostics) = read_scenario("scenario.toml", scenario.as_bytes(), &machine, &mut sources);
    assert_eq!(read.is_some(), diagnostics.is_empty(), "a scenario is read where nothing is wrong");
    (diagnostics.iter().map(|d| d.code.id).collect(), common::text(&diagnostics, &sources))
}

fn under(code: &Code, heading: &str, fence: &str) -> String {
    let (_, section) = code.page.split_once(&format!("\n## {heading}\n")).expect("a page has both headings");
    let (_, block) = section.split_once(&format!("```{fence}\n")).expect("a block under each heading");
    block.split("```").next().unwrap_or_default().to_owned()
}

/// Where the fault is in the call, the page shows a wrong and a right `--fault`.
#[test]
fn pages_about_the_call_fire_their_own_code_too() {
    for code in [&codes::scenario::BAD_PARAMETER, &codes::scenario::FAULT_SYNTAX] {
        let fired = |heading| {
            let call = under(code, heading, "call");
            let (_, text) = call.trim().split_once("--fault ").expect("the call gives a fault");
            let (machine, mut sources) = common::example();
            let read = fault::read_fault("--fault", text, &machine, 1_000_000_000, &mut sources);
            read.err().unwrap_or_default().iter().map(|d| d.code.id).collect::<Vec<_>>()
        };
        assert_eq!((fired("Example"), fired("Mended")), (vec![code.id], vec![]), "{code}");
    }
}
