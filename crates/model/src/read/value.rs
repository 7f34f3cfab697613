//! The tree of values that TOML files and CSV tables both become before anything is made of it.

use diagnostic::{Located, Span};

/// A value as written.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Value {
    /// A text in quotes.
    Text(String),
    /// A cell of a CSV table, which says by itself of which type it is.
    Cell(String),
    /// An integer, as decimal text.
    Integer(String),
    /// A floating-point number, as text.
    Float(String),
    /// `true` or `false`.
    Flag(bool),
    /// A date or time without quotes, as text.
    Date(String),
    /// A list.
    List(Vec<Located<Value>>),
    /// A table.
    Table(Table),
    /// A column that is missing, which has been reported once for the whole CSV table.
    Unreadable,
}

/// A table: keys with values, in the order of the file.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Table {
    /// The entries.
    pub entries: Vec<Entry>,
    /// Whether it is the row of a CSV table.
    pub row: bool,
}

/// A key with its value.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Entry {
    /// The key.
    pub key: Located<String>,
    /// The value.
    pub value: Located<Value>,
}

impl Value {
    /// What the value is, for a message that says it should be something else.
    pub fn describe(&self) -> String {
        match self {
            Self::Text(text) => format!("the text \"{}\"", short(text)),
            Self::Cell(text) => format!("`{}`", short(text)),
            Self::Integer(text) => format!("the bare number {}", short(text)),
            Self::Float(text) => format!("the floating-point number {}", short(text)),
            Self::Flag(flag) => flag.to_string(),
            Self::Date(text) => format!("the date {} without quotes", short(text)),
            Self::List(_) => "a list".into(),
            Self::Table(_) => "a table".into(),
            Self::Unreadable => "missing".into(),
        }
    }
}

/// The text, cut where it is too long to show within a sentence.
pub(crate) fn short(text: &str) -> String {
    const MOST: usize = 60;
    if text.chars().nth(MOST).is_none() {
        return text.escape_debug().to_string();
    }
    text.chars().take(MOST).flat_map(char::escape_debug).chain(['…']).collect()
}

/// A part of a located text: exact where the text stands in the file as it is, the whole place otherwise.
pub(crate) fn part(text: &Located<String>, part: &str) -> Located<String> {
    let offset = (part.as_ptr() as usize).wrapping_sub(text.value.as_ptr() as usize);
    let verbatim = text.span.range().len() == text.value.len() && offset + part.len() <= text.value.len();
    let span = if verbatim {
        let start = text.span.range().start + offset;
        Span::new(text.span.file, start..start + part.len())
    } else {
        text.span
    };
    Located::new(part.to_owned(), span)
}
