//! Holds a table against its section: unknown, missing, repeated and mistyped keys are found here, for all sections.

use super::datum;
use super::fields::{Datum, Field, Fields};
use super::names::nearest;
use super::section::{Key, Section};
use super::value::{Entry, Table, short};
use diagnostic::codes::shape::{MISSING_KEY, UNKNOWN_KEY};
use diagnostic::{Diagnostic, Diagnostics, Located};

/// Reads the values of a table by the kinds that its section declares.
pub(crate) fn open(section: &'static Section, table: Located<Table>, out: &mut Diagnostics) -> Fields {
    let (span, row) = (table.span, table.value.row);
    let fields: Vec<_> = table.value.entries.into_iter().filter_map(|e| field(section, e, row, out)).collect();
    let fields = Fields { section, span, fields };
    let due = section.keys.iter().filter(|key| key.required && (row || !key.column_only));
    for key in due.filter(|key| !fields.has(key.name)) {
        report_missing(key, &fields, row, out);
    }
    fields
}

fn field(section: &'static Section, entry: Entry, row: bool, out: &mut Diagnostics) -> Option<Field> {
    match section.key(&entry.key.value).filter(|key| row || !key.column_only) {
        Some(key) => {
            let value = datum::read(key.name, &key.kind, entry.value, out);
            Some(Field { name: key.name, key: entry.key.span, value })
        }
        None => {
            report_unknown(section, &entry.key, out);
            None
        }
    }
}

fn report_unknown(section: &'static Section, key: &Located<String>, out: &mut Diagnostics) {
    let message = format!("the key `{}` is not known in {}", short(&key.value), section.head);
    let diagnostic = Diagnostic::new(&UNKNOWN_KEY, key.span, message);
    let names: Vec<_> = section.keys.iter().filter(|key| !key.column_only).map(|key| key.name).collect();
    out.push(match nearest(&key.value, names.iter().copied()) {
        Some(near) => diagnostic.help(format!("did you mean `{near}`?")),
        None => diagnostic.help(format!("known keys: {}", names.join(", "))),
    });
}

fn report_missing(key: &Key, fields: &Fields, row: bool, out: &mut Diagnostics) {
    let name = match fields.field_text("name") {
        Some(name) => format!(" `{}`", short(name)),
        None => String::new(),
    };
    let whose = if row { "this row" } else { fields.section.head };
    let message = format!("{whose}{name} has no `{}`", key.name);
    let help = format!("`{}` is {}; it is {}", key.name, lower(key.doc), key.kind.describe());
    out.push(Diagnostic::new(&MISSING_KEY, fields.span, message).help(help));
}

/// A documentation sentence as the middle of another one.
fn lower(doc: &str) -> String {
    let doc = doc.trim_end_matches('.');
    let mut letters = doc.chars();
    let first = letters.next().map(|c| c.to_lowercase().to_string()).unwrap_or_default();
    first + letters.as_str()
}

impl Fields {
    /// A text, where the section has such a key at all.
    fn field_text(&self, key: &str) -> Option<&str> {
        match &self.fields.iter().find(|field| field.name == key)?.value.value {
            Datum::Text(text) => Some(text),
            _ => None,
        }
    }
}
