//! One value by its kind: the same rules for a TOML value and for a cell of a CSV table.

use super::fields::Datum;
use super::names::nearest;
use super::open::open;
use super::section::{Kind, Section, words_of};
use super::value::{Entry, Table, Value, part, short};
use diagnostic::codes::input::TOO_MANY;
use diagnostic::codes::shape::{
    BAD_COUNT, BAD_NAME, BAD_QUANTITY, REPEATED_ENTRY, UNKNOWN_KEY, UNKNOWN_WORD, WRONG_TYPE,
};
use diagnostic::{Code, Diagnostic, Diagnostics, Located, Span};
use quantity::QuantityError;
use std::collections::BTreeMap;
use std::str::FromStr;

/// The most elements of any list, which keeps every count far from any overflow.
pub(crate) const MOST_ELEMENTS: usize = 65_536;

/// Reads a value of a key, or reports why it cannot be read.
pub(crate) fn read(key: &str, kind: &'static Kind, value: Located<Value>, out: &mut Diagnostics) -> Located<Datum> {
    let span = value.span;
    let mut reader = Reader { key, kind, span, out };
    let datum = match reader.datum(value.value) {
        Ok(datum) => datum,
        Err(diagnostic) => {
            out.extend(diagnostic);
            Datum::Invalid
        }
    };
    Located::new(datum, span)
}

/// `Err(None)`: the value cannot be read, and that has been reported already.
type Outcome<T = Datum> = Result<T, Option<Diagnostic>>;

struct Reader<'a> {
    key: &'a str,
    kind: &'static Kind,
    span: Span,
    out: &'a mut Diagnostics,
}

impl Reader<'_> {
    fn datum(&mut self, value: Value) -> Outcome {
        let value = match value {
            Value::Unreadable => return Err(None),
            value => value,
        };
        match self.kind {
            Kind::Text | Kind::Ref(_) => self.text(value).map(Datum::Text),
            Kind::Name => self.name(value),
            Kind::Time => self.quantity(value).map(Datum::Time),
            Kind::Size => self.quantity(value).map(Datum::Size),
            Kind::Rate => self.quantity(value).map(Datum::Rate),
            Kind::BitRate => self.quantity(value).map(Datum::BitRate),
            Kind::Share => self.quantity(value).map(Datum::Share),
            Kind::Address => self.quantity(value).map(Datum::Address),
            Kind::Count(most) => self.count(value, *most),
            Kind::Flag => self.flag(value),
            Kind::Date => self.date(value),
            Kind::Word(words) => self.word(value, words),
            Kind::List(kind) => self.list(value, kind),
            Kind::Table(section) => self.table(value, section),
            Kind::Tables(section) => self.tables(value, section),
            Kind::Instead(help) => Err(self.error(&UNKNOWN_KEY, "is not known here").map(|d| d.help(*help))),
            Kind::Either(kinds) => self.either(value, kinds),
        }
    }

    /// The same for an element of the value.
    fn at(&mut self, span: Span) -> Reader<'_> {
        Reader { key: self.key, kind: self.kind, span, out: self.out }
    }

    fn error(&self, code: &'static Code, what: impl AsRef<str>) -> Option<Diagnostic> {
        Some(Diagnostic::new(code, self.span, format!("`{}` {}", self.key, what.as_ref())))
    }

    fn wrong_type<T>(&self, value: &Value) -> Outcome<T> {
        let help = self.in_quotes(value).unwrap_or_else(|| format!("write {}", self.kind.describe()));
        let what = format!("is {}", value.describe());
        Err(self.error(&WRONG_TYPE, what).map(|d| d.help(help)))
    }

    /// How a bare number would be written as a value of this kind, where it can be.
    fn in_quotes(&self, value: &Value) -> Option<String> {
        let (Value::Integer(number) | Value::Float(number)) = value else { return None };
        let text = match self.kind {
            Kind::Text | Kind::Name | Kind::Ref(_) => number.clone(),
            Kind::Time => format!("{number} ms"),
            Kind::Size => format!("{number} MiB"),
            _ => return None,
        };
        let reads = match self.kind {
            Kind::Time => text.parse::<quantity::Duration>().is_ok(),
            Kind::Size => text.parse::<quantity::Bytes>().is_ok(),
            _ => true,
        };
        reads.then(|| format!("write \"{}\"", short(&text)))
    }

    fn text(&self, value: Value) -> Outcome<String> {
        match value {
            Value::Text(text) | Value::Cell(text) => Ok(text),
            other => self.wrong_type(&other),
        }
    }

    /// Names stand in ids, paths and lists, so what parts those may not stand in a name.
    fn name(&self, value: Value) -> Outcome {
        const LONGEST: usize = 100;
        let text = self.text(value)?;
        let bad = text.chars().find(|c| c.is_control() || "./;:@\"`".contains(*c));
        let what = if text.trim().is_empty() {
            "is empty".to_owned()
        } else if text.trim() != text {
            "begins or ends with white space".to_owned()
        } else if text.chars().count() > LONGEST {
            format!("is longer than {LONGEST} characters")
        } else if let Some(bad) = bad {
            format!("holds {bad:?}")
        } else {
            return Ok(Datum::Text(text));
        };
        let help = "a name is any text without control characters and without . / ; : @ \" `";
        Err(self.error(&BAD_NAME, what).map(|d| d.help(help)))
    }

    fn quantity<T: FromStr<Err = QuantityError>>(&self, value: Value) -> Outcome<T> {
        let text = self.text(value)?;
        text.parse().map_err(|error: QuantityError| {
            let error = error.to_string();
            let (what, help) = error.split_once("; ").unwrap_or((&error, ""));
            let help = if help.is_empty() { format!("write {}", self.kind.describe()) } else { help.to_owned() };
            self.error(&BAD_QUANTITY, format!("is \"{}\", which {what}", short(&text))).map(|d| d.help(help))
        })
    }

    fn count(&self, value: Value, most: u64) -> Outcome {
        let text = match value {
            Value::Integer(text) | Value::Cell(text) => text,
            other => return self.wrong_type(&other),
        };
        match text.parse::<i128>() {
            Ok(number) => match u64::try_from(number).ok().filter(|n| *n <= most) {
                Some(number) => Ok(Datum::Count(number)),
                None => Err(self.error(&BAD_COUNT, format!("is {number}")).map(|d| d.help(range(most)))),
            },
            Err(_) if text.bytes().all(|b| b.is_ascii_digit()) && !text.is_empty() => {
                Err(self.error(&BAD_COUNT, "is larger than any count").map(|d| d.help(range(most))))
            }
            Err(_) => self.wrong_type(&Value::Cell(text)),
        }
    }

    fn flag(&self, value: Value) -> Outcome {
        match value {
            Value::Flag(flag) => Ok(Datum::Flag(flag)),
            Value::Cell(text) if text == "true" => Ok(Datum::Flag(true)),
            Value::Cell(text) if text == "false" => Ok(Datum::Flag(false)),
            other => self.wrong_type(&other),
        }
    }

    /// A day in quotes or as TOML's own date.
    fn date(&self, value: Value) -> Outcome {
        let text = match value {
            Value::Text(text) | Value::Cell(text) | Value::Date(text) => text,
            other => return self.wrong_type(&other),
        };
        let date = text.parse().map_err(|_| {
            let what = format!("is \"{}\", which is no day of the calendar", short(&text));
            self.error(&BAD_QUANTITY, what).map(|d| d.help("write year, month and day, such as \"2027-01-31\""))
        });
        date.map(Datum::Date)
    }

    fn word(&self, value: Value, words: &[&str]) -> Outcome {
        let text = self.text(value)?;
        if words.contains(&text.as_str()) {
            return Ok(Datum::Text(text));
        }
        let help = match nearest(&text, words.iter().copied()) {
            Some(near) => format!("did you mean \"{near}\"? It may be {}", words_of(words)),
            None => format!("write {}", words_of(words)),
        };
        Err(self.error(&UNKNOWN_WORD, format!("is \"{}\"", short(&text))).map(|d| d.help(help)))
    }

    /// A TOML list, or a cell whose elements are parted by semicolons.
    fn list(&mut self, value: Value, kind: &'static Kind) -> Outcome {
        let elements = match value {
            Value::List(list) => list,
            Value::Cell(text) => self.parts(text).map(|part| part.map(Value::Cell)).collect(),
            other => return self.wrong_type(&other),
        };
        let elements = self.capped(elements);
        let list: Vec<_> = elements.into_iter().map(|element| read(self.key, kind, element, self.out)).collect();
        if matches!(kind, Kind::Ref(_)) {
            self.report_repeated(&list);
        }
        Ok(Datum::List(list))
    }

    /// A list of elements names each once.
    fn report_repeated(&mut self, list: &[Located<Datum>]) {
        let mut first = BTreeMap::new();
        for element in list {
            let Datum::Text(name) = &element.value else { continue };
            let Some(before) = first.insert(name, element.span) else { continue };
            let message = format!("`{}` names `{}` twice", self.key, short(name));
            let fault = Diagnostic::new(&REPEATED_ENTRY, element.span, message).also(before, "named here too");
            self.out.push(fault.help("name it once"));
        }
    }

    fn parts(&self, text: String) -> impl Iterator<Item = Located<String>> + use<> {
        let text = Located::new(text, self.span);
        let parts: Vec<_> =
            text.value.split(';').map(str::trim).filter(|p| !p.is_empty()).map(|p| part(&text, p)).collect();
        parts.into_iter()
    }

    fn table(&mut self, value: Value, section: &'static Section) -> Outcome {
        match value {
            Value::Table(table) => Ok(Datum::Table(open(section, Located::new(table, self.span), self.out))),
            other => self.wrong_type(&other),
        }
    }

    /// A TOML list of tables, or a cell of pairs `first: second; first: second` of a section's first two keys.
    fn tables(&mut self, value: Value, section: &'static Section) -> Outcome {
        let elements = match value {
            Value::List(list) => list,
            Value::Cell(text) => self.parts(text).map(|pair| self.pair(pair, section)).collect(),
            other => return self.wrong_type(&other),
        };
        let elements = self.capped(elements);
        let kind_of = |value: &Value| matches!(value, Value::Table(_));
        if let Some(other) = elements.iter().find(|element| !kind_of(&element.value)) {
            return self.at(other.span).wrong_type(&other.value);
        }
        let tables = elements.into_iter().map(|element| {
            let datum = self.at(element.span).table(element.value, section);
            Located::new(datum.unwrap_or(Datum::Invalid), element.span)
        });
        Ok(Datum::List(tables.collect()))
    }

    fn pair(&self, pair: Located<String>, section: &'static Section) -> Located<Value> {
        let values = pair.value.splitn(2, ':').map(str::trim).filter(|value| !value.is_empty());
        let entries = section.keys.iter().zip(values).map(|(key, value)| Entry {
            key: Located::new(key.name.to_owned(), pair.span),
            value: part(&pair, value).map(Value::Cell),
        });
        let table = Table { entries: entries.collect(), row: true };
        Located::new(Value::Table(table), pair.span)
    }

    fn capped(&mut self, mut elements: Vec<Located<Value>>) -> Vec<Located<Value>> {
        if let Some(first_beyond) = elements.get(MOST_ELEMENTS) {
            let message = format!("`{}` has {} elements; at most {MOST_ELEMENTS} are read", self.key, elements.len());
            self.out.push(Diagnostic::new(&TOO_MANY, first_beyond.span, message).label("the first one too many"));
            elements.truncate(MOST_ELEMENTS);
        }
        elements
    }

    /// The first kind that reads the value without fault; else the faults of the last kind, with all kinds as help.
    fn either(&mut self, value: Value, kinds: &'static [Kind]) -> Outcome {
        let mut nested = Diagnostics::new();
        let mut fault = None;
        for kind in kinds {
            nested = Diagnostics::new();
            let reader = &mut Reader { key: self.key, kind, span: self.span, out: &mut nested };
            match reader.datum(value.clone()) {
                Ok(datum) if !nested.has_errors() => return Ok(datum),
                Ok(_) => fault = None,
                Err(own) => fault = own,
            }
        }
        self.out.extend(nested);
        let help = format!("write {}", self.kind.describe());
        Err(fault.map(|d| d.help(help)))
    }
}

fn range(most: u64) -> String {
    format!("write a whole number from 0 to {most}")
}
