//! A diagnostic as programs read it.

use crate::{Diagnostic, Label, Severity, Sources};
use serde::Serialize;

/// A diagnostic with its places spelled out, for machine-readable output.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Plain {
    /// The code.
    pub code: &'static str,
    /// How much it weighs.
    pub severity: Severity,
    /// What is wrong.
    pub message: String,
    /// The primary place.
    #[serde(flatten)]
    pub place: PlainLabel,
    /// Other places.
    pub labels: Vec<PlainLabel>,
    /// What would make it right.
    pub help: Option<String>,
}

/// A labelled place. Lines and columns count from 1, columns count characters; the end is the place behind the last one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PlainLabel {
    /// The file as the user named it.
    pub file: String,
    /// The line of the first character.
    pub line: u32,
    /// The column of the first character.
    pub column: u32,
    /// The line of the place behind the last character.
    pub end_line: u32,
    /// The column of the place behind the last character.
    pub end_column: u32,
    /// The words on the place; may be empty.
    pub text: String,
}

impl Plain {
    /// Spells out the places of a diagnostic.
    pub fn new(diagnostic: &Diagnostic, sources: &Sources) -> Self {
        Self {
            code: diagnostic.code.id,
            severity: diagnostic.severity(),
            message: diagnostic.message.clone(),
            place: PlainLabel::new(&diagnostic.primary, sources),
            labels: diagnostic.secondary.iter().map(|label| PlainLabel::new(label, sources)).collect(),
            help: diagnostic.help.clone(),
        }
    }
}

impl PlainLabel {
    fn new(label: &Label, sources: &Sources) -> Self {
        let start = sources.position(label.span);
        let end = sources.position(label.span.behind());
        Self {
            file: start.file,
            line: start.line,
            column: start.column,
            end_line: end.line,
            end_column: end.column,
            text: label.text.clone(),
        }
    }
}
