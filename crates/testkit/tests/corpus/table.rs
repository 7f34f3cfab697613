//! The validation table, as data for the report and as a page; both are held to what the harness finds.

use crate::case::{Case, root};
use crate::compare::Row;
use std::fmt::Write;

const REFRESH: &str = "COFFERDAM_BLESS";

/// Asserts that the two files hold these rows; writes them instead where the refresh is asked for.
pub fn hold(cases: &[Case], rows: &[Row]) {
    assert!(rows.iter().all(|row| row.agrees), "a table of values that differ is never written");
    hold_file("corpus/published/validation.json", &data(rows));
    hold_file("docs/validation.md", &page(cases, rows));
}

fn hold_file(path: &str, wanted: &str) {
    let file = root().join(path);
    if std::env::var_os(REFRESH).is_some() {
        std::fs::write(&file, wanted).expect("the table can be written");
    }
    let found = std::fs::read_to_string(&file).unwrap_or_default();
    assert!(
        found == wanted,
        "{path} is not current; refresh it with `{REFRESH}=1 cargo test -p cofferdam-testkit --test corpus` and read the difference"
    );
}

/// One row a line.
fn data(rows: &[Row]) -> String {
    let line = |row| serde_json::to_string(row).expect("a row is plain text");
    let lines: Vec<String> = rows.iter().map(line).collect();
    format!("[\n{}\n]\n", lines.join(",\n"))
}

const HEAD: &str = "\
# Validation against published examples

Every row is a value of a publication beside what this program's public functions answer; where it is not the
publication's own number, the row says what it is, *recomputed independently* being that of a computation apart from
this program. The comparison is exact; where a source printed a rounded
value, ours is rounded the same way and the exact fraction stands in brackets. *From memory*: recalled from the
publication named and recomputed, the page not seen again. The cases are in `corpus/published/`, where
[its page](../corpus/README.md) says how to add one and which published examples are not reached. This page is
written by the harness that compares; the expected values come from the cases alone.
";

fn page(cases: &[Case], rows: &[Row]) -> String {
    let mut page = HEAD.to_owned();
    let values: usize = rows.iter().map(|row| row.values).sum();
    // Writing to a String cannot fail.
    let _ = writeln!(page, "\n{} examples, {values} values, all equal.", cases.len());
    let mut areas: Vec<&str> = cases.iter().map(|case| case.area.as_str()).collect();
    areas.sort_unstable();
    areas.dedup();
    for area in areas {
        let _ = writeln!(page, "\n## {}{}\n", area[..1].to_uppercase(), &area[1..]);
        let _ = writeln!(page, "| case | source | what | published | ours |\n|---|---|---|---|---|");
        for row in rows.iter().filter(|row| row.area == area) {
            let _ = writeln!(page, "{}", line(row));
        }
    }
    page.push_str(&sources(cases));
    page.push_str(&unreached(cases));
    page
}

fn line(row: &Row) -> String {
    let own = if row.kind == "published numbers" { String::new() } else { format!(" ({})", row.kind) };
    let (source, what) = (format!("{}, {}", row.source, row.provenance), row.what.replace('_', " "));
    format!("| {} | {source} | {what}{own} | {} | {} |", row.id, row.expected, row.ours)
}

fn sources(cases: &[Case]) -> String {
    let mut text = "\n## Sources\n\n| case | what | publication | kind |\n|---|---|---|---|\n".to_owned();
    for case in cases {
        let place = case.source.place.as_ref().map_or(String::new(), |place| format!("; {place}"));
        let found = case.found_where.as_ref().map_or(String::new(), |found| format!("; found in: {found}"));
        let sure = if case.confidence == crate::case::Confidence::Medium { "; confidence medium" } else { "" };
        let source = format!("{}{place}; {}{sure}{found}", case.source.citation, case.provenance);
        let _ = writeln!(text, "| {} | {} | {source} | {} |", case.id, case.title, case.kind);
    }
    text
}

fn unreached(cases: &[Case]) -> String {
    let mut text = "\n## Published values of these cases that are not reached\n\n".to_owned();
    for case in cases {
        for (field, unreached) in &case.unreached {
            let _ = writeln!(text, "- {}, {}: {}", case.id, field.replace('_', " "), unreached.why);
        }
    }
    text
}
