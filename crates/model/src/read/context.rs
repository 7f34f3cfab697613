//! What all readers and checks share: the list that they report to.

use diagnostic::codes::chain::CHAIN_NEED;
use diagnostic::codes::channel::{KIND_KEYS, NAMED_BY_NOBODY, SHARED_WITH_NOBODY};
use diagnostic::codes::plan_file::FOR_WHOM;
use diagnostic::codes::policy::{NEVER_REACHED, NO_MILESTONE, NO_NETWORK, NO_ZONE, NOT_A_FORWARDER};
use diagnostic::codes::recovery::{NEVER_COUNTED, STAGE_WITHOUT_TIME};
use diagnostic::codes::shape::KEY_ALONE;
use diagnostic::codes::task::PRIORITY_MISSING;
use diagnostic::{Code, Diagnostic, Diagnostics};

/// Findings that something is missing. Where a syntax error may have swallowed it, they are none.
static ABSENCES: &[&Code] = &[
    &CHAIN_NEED,
    &FOR_WHOM,
    &KEY_ALONE,
    &KIND_KEYS,
    &NAMED_BY_NOBODY,
    &NEVER_COUNTED,
    &NEVER_REACHED,
    &NO_MILESTONE,
    &NO_NETWORK,
    &NO_ZONE,
    &NOT_A_FORWARDER,
    &PRIORITY_MISSING,
    &SHARED_WITH_NOBODY,
    &STAGE_WITHOUT_TIME,
];

/// The diagnostics so far, and how much work may still go into guessing what was meant.
#[derive(Debug)]
pub struct Context {
    out: Diagnostics,
    comparisons: usize,
    /// Whether parts of the system file may be missing.
    broken: bool,
}

impl Context {
    /// Goes on with what has been found so far.
    pub fn new(out: Diagnostics, broken: bool) -> Self {
        // Some thousands of slips against some thousands of names, well under a second.
        Self { out, comparisons: 500_000, broken }
    }

    /// Adds a diagnostic.
    pub fn report(&mut self, diagnostic: Diagnostic) {
        if !self.broken || !ABSENCES.contains(&diagnostic.code) {
            self.out.push(diagnostic);
        }
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
