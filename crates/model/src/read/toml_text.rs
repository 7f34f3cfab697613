//! TOML text to the tree of values.

use super::value::{Entry, Table, Value};
use diagnostic::codes::input::TOML_SYNTAX;
use diagnostic::{Diagnostic, Diagnostics, FileId, Located, Span};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Tables within tables deeper than this hold nothing that a system file may say.
const DEEPEST: usize = 32;

/// Reads as much of a TOML text as can be understood, and reports the rest.
pub(crate) fn parse(text: &str, file: FileId, out: &mut Diagnostics) -> Located<Table> {
    let (table, errors) = DeTable::parse_recoverable(text);
    for error in errors {
        // An error without a place concerns the text as a whole, and is shown at its head.
        let span = error.span().map_or(Span::head(file), |range| Span::new(file, range));
        out.push(Diagnostic::new(&TOML_SYNTAX, span, format!("this is not TOML: {}", error.message())));
    }
    let mut reader = Reader { file, out };
    let span = Span::head(file);
    Located::new(reader.table(table.into_inner(), 0), span)
}

struct Reader<'a> {
    file: FileId,
    out: &'a mut Diagnostics,
}

impl Reader<'_> {
    fn table(&mut self, table: DeTable<'_>, depth: usize) -> Table {
        let entries = table.into_iter().map(|(key, value)| {
            let key = Located::new(key.get_ref().to_string(), Span::new(self.file, key.span()));
            Entry { key, value: self.value(value, depth) }
        });
        let mut entries: Vec<Entry> = entries.collect();
        entries.sort_by_key(|entry| (entry.key.span, entry.value.span));
        Table { entries, row: false }
    }

    fn value(&mut self, value: Spanned<DeValue<'_>>, depth: usize) -> Located<Value> {
        let span = Span::new(self.file, value.span());
        if depth > DEEPEST {
            let message = format!("tables and lists are nested deeper than {DEEPEST} levels here");
            self.out
                .push(Diagnostic::new(&TOML_SYNTAX, span, message).help("nothing in a system file is nested so deep"));
            return Located::new(Value::Unreadable, span);
        }
        // What the parser puts in the place of a faulty value has no place of its own.
        if value.span().is_empty() && !value.get_ref().is_table() {
            return Located::new(Value::Unreadable, span);
        }
        let value = match value.into_inner() {
            DeValue::String(text) => Value::Text(text.into_owned()),
            DeValue::Integer(number) => Value::Integer(decimal(number.as_str(), number.radix())),
            DeValue::Float(number) => Value::Float(number.as_str().to_owned()),
            DeValue::Boolean(flag) => Value::Flag(flag),
            DeValue::Datetime(date) => Value::Date(date.to_string()),
            DeValue::Array(list) => Value::List(list.into_iter().map(|v| self.value(v, depth + 1)).collect()),
            DeValue::Table(table) => Value::Table(self.table(table, depth + 1)),
        };
        Located::new(value, span)
    }
}

/// The number in decimal digits, or as it stands where it is beyond any integer.
fn decimal(digits: &str, radix: u32) -> String {
    i128::from_str_radix(digits, radix).map_or_else(|_| digits.to_owned(), |number| number.to_string())
}
