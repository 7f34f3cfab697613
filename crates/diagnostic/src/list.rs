//! The list of what is wrong, in the order of the files.

use crate::{Code, Diagnostic, Sources, codes};
use std::collections::BTreeSet;

/// Collects diagnostics in any order and gives them out in the order of their places.
#[derive(Debug, Default)]
pub struct Diagnostics {
    found: Vec<Diagnostic>,
}

/// One mistake makes a parser stumble several times on a line; only the first tells anything.
fn cascades(code: &Code) -> bool {
    [&codes::input::TOML_SYNTAX, &codes::input::TABLE_SYNTAX, &codes::devicetree::TREE_SYNTAX].contains(&code)
}

impl Diagnostics {
    /// Nothing wrong yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a diagnostic.
    pub fn push(&mut self, diagnostic: Diagnostic) {
        self.found.push(diagnostic);
    }

    /// Adds diagnostics.
    pub fn extend(&mut self, diagnostics: impl IntoIterator<Item = Diagnostic>) {
        self.found.extend(diagnostics);
    }

    /// The number of diagnostics so far.
    pub fn len(&self) -> usize {
        self.found.len()
    }

    /// Whether nothing is wrong so far.
    pub fn is_empty(&self) -> bool {
        self.found.is_empty()
    }

    /// Those that were added after there were `before` of them.
    pub fn since(&self, before: usize) -> impl Iterator<Item = &Diagnostic> {
        self.found.iter().skip(before)
    }

    /// Whether an error is among them.
    pub fn has_errors(&self) -> bool {
        self.found.iter().any(Diagnostic::is_error)
    }

    /// Whether one of this code is among them.
    pub fn has(&self, code: &Code) -> bool {
        self.found.iter().any(|d| d.code == code)
    }

    /// All of them by file and place, each once, of syntax errors the first on each line.
    pub fn into_sorted(mut self, sources: &Sources) -> Vec<Diagnostic> {
        self.found.sort_by(|a, b| order(a).cmp(&order(b)));
        self.found.dedup();
        let mut lines = BTreeSet::new();
        self.found.retain(|d| {
            let span = d.primary.span;
            !cascades(d.code) || lines.insert((span.file, sources.line_index(span)))
        });
        self.found
    }
}

fn order(d: &Diagnostic) -> (crate::FileId, u32, u32, &str, &str) {
    let span = d.primary.span;
    (span.file, span.start, span.end, d.code.id, &d.message)
}

impl IntoIterator for Diagnostics {
    type Item = Diagnostic;
    type IntoIter = std::vec::IntoIter<Diagnostic>;

    /// In the order in which they were found.
    fn into_iter(self) -> Self::IntoIter {
        self.found.into_iter()
    }
}
