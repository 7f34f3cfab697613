//! The tables of keys that the pages of the documentation show, made from the declarations.

use super::root::ROOT;
use super::section::{Kind, Section};

/// The keys of one section as a table in Markdown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeyTable {
    /// The section's header as written, such as `[[partition.task]]`.
    pub head: &'static str,
    /// What the section is.
    pub summary: &'static str,
    /// The table, each line ended.
    pub markdown: String,
}

/// The key table of every section, each once, outer sections first.
pub fn key_tables() -> Vec<KeyTable> {
    let mut tables = Vec::new();
    collect(&ROOT, &mut tables);
    tables
}

fn collect(section: &'static Section, tables: &mut Vec<KeyTable>) {
    if tables.iter().any(|table| table.head == section.head) {
        return;
    }
    tables.push(KeyTable { head: section.head, summary: section.summary, markdown: markdown(section) });
    section.keys.iter().for_each(|key| collect_kind(&key.kind, tables));
}

fn collect_kind(kind: &'static Kind, tables: &mut Vec<KeyTable>) {
    match kind {
        Kind::Table(inner) | Kind::Tables(inner) => collect(inner, tables),
        Kind::List(inner) => collect_kind(inner, tables),
        Kind::Either(kinds) => kinds.iter().for_each(|kind| collect_kind(kind, tables)),
        _ => {}
    }
}

fn markdown(section: &Section) -> String {
    let mut table = String::from("| key | value | needed | meaning |\n|---|---|---|---|\n");
    for key in section.keys.iter().filter(|key| key.may_be_written()) {
        let needed = match (key.required, key.column_only) {
            (_, true) => "in tables only",
            (true, _) => "yes",
            (false, _) => "",
        };
        let above = if key.above_zero { ", above zero" } else { "" };
        let kind = key.kind.describe().replace('|', "\\|") + above;
        table += &format!("| `{}` | {kind} | {needed} | {} |\n", key.name, key.doc);
    }
    table
}
