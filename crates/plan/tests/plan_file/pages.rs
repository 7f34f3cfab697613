//! The pages of the plan file and of its codes.

use crate::common;
use diagnostic::{Code, codes};
use plan::{key_tables, read_plan};
use std::collections::BTreeSet;

/// `COFFERDAM_WRITE_PAGES=1` writes the tables into the page instead of comparing them.
#[test]
fn the_page_of_the_plan_file_holds_the_declared_keys() {
    const END: &str = "<!-- end -->";
    let path = common::docs().join("plan-file.md");
    let page = std::fs::read_to_string(&path).expect("the page");
    let mut filled = page.clone();
    for (head, table) in key_tables() {
        let marker = format!("<!-- keys of {head} -->\n");
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
fn every_page_fires_its_own_code_and_mended_is_silent() {
    // A page about the call of a command shows no file.
    let of_plan_file = |code: &&Code| code.id[1..].starts_with("05") && !code.page.contains("\n```call\n");
    let failures: Vec<_> = codes::all().filter(of_plan_file).filter_map(failure).collect();
    assert!(failures.is_empty(), "\n{}", failures.join("\n"));
}

fn failure(code: &'static Code) -> Option<String> {
    let (fired, shown) = run(&plan_under(code, "Example"));
    let (left, rest) = run(&plan_under(code, "Mended"));
    let as_said = fired == BTreeSet::from([code.id]) && left.is_empty();
    (!as_said).then(|| format!("{code}: the example fires {fired:?}, mended {left:?}\n{shown}--- mended:\n{rest}"))
}

/// The codes that a plan fires, and how people see them.
fn run(plan: &str) -> (BTreeSet<&'static str>, String) {
    let (system, mut sources) = common::example();
    let (read, diagnostics) = read_plan("plan.toml", plan.as_bytes(), &system, &mut sources);
    assert_eq!(read.is_some(), diagnostics.iter().all(|d| !d.is_error()), "a plan is read where there is no error");
    (diagnostics.iter().map(|d| d.code.id).collect(), common::text(&diagnostics, &sources))
}

fn plan_under(code: &Code, heading: &str) -> String {
    let (_, section) = code.page.split_once(&format!("\n## {heading}\n")).expect("a page has both headings");
    let (_, block) = section.split_once("```toml\n").expect("a block under each heading");
    block.split("```").next().unwrap_or_default().to_owned()
}
