//! The pages of the system file and of the codes: every table is the one that the declarations make, every section has
//! a page.
//!
//! `COFFERDAM_WRITE_PAGES=1` writes the tables into the pages instead of comparing them.

use model::{KeyTable, key_tables};
use std::path::{Path, PathBuf};

const END: &str = "<!-- end -->";

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/system-file")
}

fn pages() -> Vec<(PathBuf, String)> {
    let entries = std::fs::read_dir(folder()).expect("the folder of pages");
    let mut paths: Vec<_> = entries.map(|entry| entry.expect("an entry").path()).collect();
    paths.sort();
    paths.into_iter().map(|path| (path.clone(), std::fs::read_to_string(path).expect("a page"))).collect()
}

fn marker(table: &KeyTable) -> String {
    format!("<!-- keys of {} -->\n", table.head)
}

/// The page with the table put between its marker and the end mark; `None` where the page has no such marker.
fn filled(page: &str, table: &KeyTable) -> Option<String> {
    let marker = marker(table);
    let start = page.find(&marker)? + marker.len();
    let end = start + page[start..].find(END).expect("a marker has its end mark");
    Some([&page[..start], &table.markdown, &page[end..]].concat())
}

#[test]
fn every_section_has_its_current_table_on_a_page() {
    let write = std::env::var_os("COFFERDAM_WRITE_PAGES").is_some();
    let mut pages = pages();
    for table in key_tables() {
        let found = pages.iter_mut().find_map(|(path, page)| Some((path, filled(page, &table)?, page)));
        let Some((path, filled, page)) = found else {
            panic!("no page of docs/system-file holds\n{}{}{END}", marker(&table), table.markdown);
        };
        if write {
            std::fs::write(path, &filled).expect("a page can be written");
            *page = filled;
        } else {
            let advice = "run with COFFERDAM_WRITE_PAGES=1, or paste";
            assert!(*page == filled, "{}: {advice}\n{}", path.display(), table.markdown);
        }
    }
}

#[test]
fn every_table_on_a_page_is_of_a_section() {
    let markers: Vec<_> = key_tables().iter().map(marker).collect();
    for (path, page) in pages() {
        let marked = page.lines().filter(|line| line.starts_with("<!-- keys of "));
        for line in marked {
            assert!(markers.contains(&format!("{line}\n")), "{}: {line}: no such section", path.display());
        }
    }
}

/// The list of all codes, made from their declarations.
fn index() -> String {
    let head =
        "# The codes\n\nEvery error and warning has a code, and every code a page with an example and its mending.\n\n";
    let table = "| code | severity | since | what it says |\n|---|---|---|---|\n";
    let row = |code: &diagnostic::Code| {
        format!("| [{0}]({0}.md) | {1} | {2} | {3} |\n", code.id, code.severity, code.since, code.summary)
    };
    let mut rows: Vec<_> = diagnostic::codes::all().map(row).collect();
    rows.sort();
    head.to_owned() + table + &rows.concat()
}

#[test]
fn the_list_of_codes_is_current() {
    let path = folder().join("../codes/README.md");
    if std::env::var_os("COFFERDAM_WRITE_PAGES").is_some() {
        std::fs::write(&path, index()).expect("the list can be written");
    }
    let page = std::fs::read_to_string(&path).expect("docs/codes/README.md");
    assert!(page == index(), "docs/codes/README.md: run with COFFERDAM_WRITE_PAGES=1, or paste\n{}", index());
}

#[test]
fn every_page_of_a_code_has_its_summary_as_head() {
    for code in diagnostic::codes::all() {
        let head = format!("# {code}: {}\n", code.summary.trim_end_matches('.'));
        assert!(code.page.starts_with(&head), "the page of {code} does not begin with {head}");
    }
}
