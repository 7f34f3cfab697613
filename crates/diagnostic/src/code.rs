//! What a code is, and the macro that declares groups of them.

use crate::codes;
use serde::Serialize;
use std::fmt;

/// How much a diagnostic weighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// The input cannot be used as it stands.
    Error,
    /// The input can be used, and probably does not say what was meant.
    Warning,
}

impl fmt::Display for Severity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Error => "error",
            Self::Warning => "warning",
        })
    }
}

/// One kind of diagnostic. Declared once, in [`codes`]; its meaning never changes once released.
#[derive(Debug, PartialEq, Eq)]
pub struct Code {
    /// The code as people write it: `E0101` for an error, `W0401` for a warning.
    pub id: &'static str,
    /// How much it weighs.
    pub severity: Severity,
    /// One line that says what it is.
    pub summary: &'static str,
    /// The release in which it first came.
    pub since: &'static str,
    /// Its page in Markdown: what it means, why it matters, an example and its mending.
    pub page: &'static str,
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.id)
    }
}

/// The code of that id, in any case of letters.
pub fn lookup(id: &str) -> Option<&'static Code> {
    codes::all().find(|code| code.id.eq_ignore_ascii_case(id))
}

/// Declares a group of codes: `NAME = Error "E0101", since "0.1.0", "One line."` each, and `GROUP` with all of them.
macro_rules! declare {
    ($($name:ident = $severity:ident $id:literal, since $since:literal, $summary:literal;)*) => {
        $(
            #[doc = $summary]
            pub static $name: $crate::Code = $crate::Code {
                id: $id,
                severity: $crate::Severity::$severity,
                summary: $summary,
                since: $since,
                page: include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/../../docs/codes/", $id, ".md")),
            };
        )*

        pub(super) static GROUP: &[&$crate::Code] = &[$(&$name),*];
    };
}

pub(crate) use declare;
