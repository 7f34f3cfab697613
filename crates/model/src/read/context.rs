//! What all readers and checks share: the list that they report to.

use diagnostic::{Diagnostic, Diagnostics};

/// The diagnostics so far, and how much work may still go into guessing what was meant.
#[derive(Debug)]
pub(crate) struct Context {
    out: Diagnostics,
    comparisons: usize,
}

impl Context {
    /// Goes on with what has been found so far.
    pub fn new(out: Diagnostics) -> Self {
        // Some thousands of slips against some thousands of names, well under a second.
        Self { out, comparisons: 500_000 }
    }

    /// Adds a diagnostic.
    pub fn report(&mut self, diagnostic: Diagnostic) {
        self.out.push(diagnostic);
    }

    /// Whether a name may still be compared with `count` others: a file of nothing but slips must not take minutes.
    pub fn may_compare(&mut self, count: usize) -> bool {
        let allowed = count <= self.comparisons;
        self.comparisons = self.comparisons.saturating_sub(count);
        allowed
    }

    /// Whether an error was found.
    pub fn has_errors(&self) -> bool {
        self.out.has_errors()
    }

    /// Everything found.
    pub fn into_diagnostics(self) -> Diagnostics {
        self.out
    }
}
