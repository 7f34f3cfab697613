//! Holds a table against its section: unknown, missing, repeated and mistyped keys are found here, for all sections.

use super::datum;
use super::fields::{Datum, Field, Fields};
use super::names::nearest;
use super::section::{Key, Section};
use super::value::{Entry, Table, short};
use diagnostic::codes::shape::{BAD_NAME, MISSING_KEY, UNKNOWN_KEY, ZERO_VALUE};
use diagnostic::{Diagnostic, Diagnostics, Located};

/// Reads the values of a table by the kinds that its section declares.
pub(crate) fn open(section: &'static Section, table: Located<Table>, out: &mut Diagnostics) -> Fields {
    let (span, row) = (table.span, table.value.row);
    let mut entries = table.value.entries;
    // Known keys first: where a slip stands beside the key that was meant, the key counts.
    entries.sort_by_key(|entry| section.key(&entry.key.value).is_none());
    let fields: Vec<_> = entries.into_iter().filter_map(|e| field(section, e, row, out)).collect();
    let fields = Fields { section, span, fields };
    let due = section.keys.iter().filter(|key| key.required && (row || !key.column_only));
    for key in due.filter(|key| !fields.has(key.name)) {
        report_missing(key, &fields, row, out);
    }
    fields
}

fn field(section: &'static Section, entry: Entry, row: bool, out: &mut Diagnostics) -> Option<Field> {
    let known = section.key(&entry.key.value).filter(|key| row || !key.column_only);
    let Some(key) = known else { return unknown(section, &entry, out) };
    let mut value = datum::read(key.name, &key.kind, entry.value, out);
    if let Some(fault) = hollow(key, &value) {
        out.push(fault);
        value.value = Datum::Invalid;
    }
    Some(Field { name: key.name, key: entry.key.span, value })
}

/// A value that is of its kind and says nothing: zero where only more means something, or what is needed, empty.
fn hollow(key: &Key, value: &Located<Datum>) -> Option<Diagnostic> {
    let fault = |code, what: &str| Diagnostic::new(code, value.span, format!("`{}` is {what}", key.name));
    match &value.value {
        datum if key.above_zero && datum.is_zero() => {
            Some(fault(&ZERO_VALUE, "zero").help(format!("write {}, above zero", key.kind.describe())))
        }
        Datum::List(list) if key.required && list.is_empty() => {
            Some(fault(&MISSING_KEY, "empty").help("at least one element is needed"))
        }
        Datum::Text(text) if key.required && text.trim().is_empty() => {
            Some(fault(&BAD_NAME, "empty").help(format!("write {}", lower(key.doc))))
        }
        _ => None,
    }
}

/// Reports a key that is not known. The key that was meant then counts as given, so that it is not missing too.
fn unknown(section: &'static Section, entry: &Entry, out: &mut Diagnostics) -> Option<Field> {
    let message = format!("the key `{}` is not known in {}", short(&entry.key.value), section.head);
    let diagnostic = Diagnostic::new(&UNKNOWN_KEY, entry.key.span, message);
    let names: Vec<_> =
        section.keys.iter().filter(|key| !key.column_only && key.may_be_written()).map(|key| key.name).collect();
    let near = nearest(&entry.key.value, names.iter().copied()).and_then(|near| section.key(near));
    out.push(diagnostic.help(match near {
        Some(near) => format!("did you mean `{}`?", near.name),
        None => format!("known keys: {}", names.join(", ")),
    }));
    let value = Located::new(Datum::Invalid, entry.value.span);
    near.map(|near| Field { name: near.name, key: entry.key.span, value })
}

fn report_missing(key: &Key, fields: &Fields, row: bool, out: &mut Diagnostics) {
    let name = match fields.field_text("name") {
        Some(name) => format!(" `{}`", short(name)),
        None => String::new(),
    };
    let whose = if row { "this row" } else { fields.section.head };
    let message = format!("{whose}{name} has no `{}`", key.name);
    let help = format!("`{}` is {}: {}", key.name, lower(key.doc), key.kind.describe());
    out.push(Diagnostic::new(&MISSING_KEY, fields.span, message).help(help));
}

/// A documentation sentence as the middle of another one.
pub(super) fn lower(doc: &str) -> String {
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
