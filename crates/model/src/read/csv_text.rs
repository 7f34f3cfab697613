//! CSV text to rows of the tree of values.
//!
//! A column is a key of the section, or a key of one of its tables (the `class` of a `provenance`). An empty cell
//! is a key that is not given. Cells carry their exact place in the text.

use super::names::nearest;
use super::open::lower;
use super::section::{Key, Kind, Section};
use super::value::{Entry, Table, Value};
use csv_core::{ReadFieldResult, Reader};
use diagnostic::codes::input::TABLE_SYNTAX;
use diagnostic::codes::shape::{MISSING_KEY, UNKNOWN_KEY};
use diagnostic::{Diagnostic, Diagnostics, FileId, Located, Span};

/// Reads the rows of a CSV text as tables of `section`, and reports what is no such row.
pub(crate) fn parse(text: &str, file: FileId, section: &'static Section, out: &mut Diagnostics) -> Vec<Located<Table>> {
    let mut records = split(text, file).into_iter();
    let Some(header) = records.next() else {
        let message = "this table is empty; it needs a first line with the names of the columns";
        out.push(Diagnostic::new(&TABLE_SYNTAX, Span::head(file), message));
        return Vec::new();
    };
    let header = Header::read(header, section, out);
    records.filter_map(|record| header.row(record, out)).collect()
}

/// A line of cells.
struct Record {
    cells: Vec<Located<String>>,
    span: Span,
}

impl Record {
    /// `None` where there is no cell at all.
    fn new(cells: Vec<Located<String>>) -> Option<Self> {
        let span = cells.first()?.span.to(cells.last()?.span);
        Some(Self { cells, span })
    }
}

/// Splits a text into records of cells. Lines without any character are no records.
fn split(text: &str, file: FileId) -> Vec<Record> {
    let mut reader = Reader::new();
    let (mut records, mut record, mut cell) = (Vec::new(), Vec::new(), Vec::new());
    let (mut start, mut at) = (0, 0);
    let mut buffer = [0; 1024];
    loop {
        let (result, read, written) = reader.read_field(&text.as_bytes()[at..], &mut buffer);
        at += read;
        cell.extend_from_slice(&buffer[..written]);
        match result {
            ReadFieldResult::InputEmpty | ReadFieldResult::OutputFull => {}
            ReadFieldResult::Field { record_end } => {
                record.push(located(text, start..at, &cell, file));
                cell.clear();
                start = at;
                if record_end {
                    records.extend(Record::new(std::mem::take(&mut record)));
                }
            }
            ReadFieldResult::End => return records,
        }
    }
}

/// A cell with the place of its content: within its quotes, unless doubled quotes make it read otherwise.
fn located(text: &str, range: std::ops::Range<usize>, cell: &[u8], file: FileId) -> Located<String> {
    let value = String::from_utf8_lossy(cell).trim().to_owned();
    let raw = &text[range.clone()];
    let blank = |c: char| c.is_whitespace() || c == ',' || c == '\u{feff}';
    let verbatim = if value.is_empty() { None } else { raw.find(value.as_str()) };
    let (start, end) = match verbatim {
        Some(at) => (at, at + value.len()),
        None => {
            let lead = raw.len() - raw.trim_start_matches(|c: char| c.is_whitespace() || c == '\u{feff}').len();
            (lead, raw.trim_end_matches(blank).len().max(lead))
        }
    };
    Located::new(value, Span::new(file, range.start + start..range.start + end))
}

/// Where the cells of a column go.
#[derive(Clone, Copy)]
struct Column {
    /// The table within the row, where the column belongs to one.
    table: Option<&'static str>,
    key: &'static Key,
    span: Span,
}

struct Header {
    /// One for each column; `None` for one that is not known.
    columns: Vec<Option<Column>>,
    /// Keys that every row must have and no column gives.
    missing: Vec<&'static Key>,
}

impl Header {
    fn read(record: Record, section: &'static Section, out: &mut Diagnostics) -> Self {
        let whole = record.span;
        let mut meant = Vec::new();
        let columns: Vec<_> = record.cells.iter().map(|name| column(name, section, &mut meant, out)).collect();
        report_twice(&columns, out);
        let named = |key: &Key| columns.iter().flatten().any(|c| c.table.unwrap_or(c.key.name) == key.name);
        let given = |key: &Key| named(key) || meant.contains(&key.name);
        let missing: Vec<_> = section.keys.iter().filter(|key| key.required && !named(key)).collect();
        for key in missing.iter().filter(|key| !given(key)) {
            let message = format!("this table has no column `{}`", key.name);
            out.push(Diagnostic::new(&MISSING_KEY, whole, message).help(format!("add it: {}", lower(key.doc))));
        }
        Self { columns, missing }
    }

    /// A record as a table; `None` for a record of other length, since its cells stand under the wrong names.
    fn row(&self, record: Record, out: &mut Diagnostics) -> Option<Located<Table>> {
        let span = record.span;
        if record.cells.len() != self.columns.len() {
            let message =
                format!("this row has {} cells and the header has {}", record.cells.len(), self.columns.len());
            let commas =
                "put a cell that holds a comma into double quotes; leave one empty for a key that is not given";
            let quote = "the row runs over several lines: is a double quote not closed?";
            let help = if record.cells.iter().any(|cell| cell.value.contains('\n')) { quote } else { commas };
            out.push(Diagnostic::new(&TABLE_SYNTAX, span, message).help(help));
            return None;
        }
        let mut row = Table { entries: Vec::new(), row: true };
        for (column, cell) in self.columns.iter().zip(record.cells) {
            if let Some(column) = column.filter(|_| !cell.value.is_empty()) {
                row.place(column, cell, span);
            }
        }
        for key in &self.missing {
            let (key, value) = (Located::new(key.name.to_owned(), span), Located::new(Value::Unreadable, span));
            row.entries.push(Entry { key, value });
        }
        Some(Located::new(row, span))
    }
}

impl Table {
    /// Puts a cell under its key, in the table within the row to which it belongs.
    fn place(&mut self, column: Column, cell: Located<String>, row: Span) {
        let entry = Entry { key: Located::new(column.key.name.to_owned(), column.span), value: cell.map(Value::Cell) };
        let Some(name) = column.table else { return self.entries.push(entry) };
        let inner = self.entries.iter_mut().find(|e| e.key.value == name);
        if let Some(Entry { value: Located { value: Value::Table(table), .. }, .. }) = inner {
            return table.entries.push(entry);
        }
        let table = Table { entries: vec![entry], row: true };
        let key = Located::new(name.to_owned(), column.span);
        self.entries.push(Entry { key, value: Located::new(Value::Table(table), row) });
    }
}

/// Every column that a section's table may have.
fn known(section: &'static Section) -> impl Iterator<Item = (Option<&'static str>, &'static Key)> {
    section.keys.iter().flat_map(|key| match &key.kind {
        Kind::Table(inner) => inner.keys.iter().map(|k| (Some(key.name), k)).collect(),
        _ => vec![(None, key)],
    })
}

/// The column of that name; reports one that is not known, and adds the one that was meant.
fn column(
    name: &Located<String>,
    section: &'static Section,
    meant: &mut Vec<&'static str>,
    out: &mut Diagnostics,
) -> Option<Column> {
    if let Some((table, key)) = known(section).find(|(_, key)| key.name == name.value) {
        return Some(Column { table, key, span: name.span });
    }
    let message = format!("the column `{}` is not known in a table of this kind", super::value::short(&name.value));
    let names: Vec<_> = known(section).map(|(_, key)| key.name).collect();
    let near = nearest(&name.value, names.iter().copied());
    meant.extend(known(section).map(|(_, key)| key.name).find(|name| Some(*name) == near));
    let help = match near {
        Some(near) => format!("did you mean `{near}`?"),
        None => format!("known columns, separated by commas: {}", names.join(", ")),
    };
    out.push(Diagnostic::new(&UNKNOWN_KEY, name.span, message).help(help));
    None
}

fn report_twice(columns: &[Option<Column>], out: &mut Diagnostics) {
    for (index, column) in columns.iter().enumerate() {
        let Some(column) = column else { continue };
        let before = columns[..index].iter().flatten().find(|c| c.key.name == column.key.name);
        if let Some(before) = before {
            let message = format!("the column `{}` stands in this table twice", column.key.name);
            out.push(Diagnostic::new(&TABLE_SYNTAX, column.span, message).also(before.span, "first here"));
        }
    }
}
