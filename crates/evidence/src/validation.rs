//! Rows of the validation table: published examples against this program.

use serde::Deserialize;

/// One published value against ours.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct ValidationRow {
    /// The example's id in the corpus.
    pub id: String,
    /// What the example shows.
    pub title: String,
    /// What is compared.
    pub what: String,
    /// The publication, with page and table.
    pub source: String,
    /// How the value came here: `found` or `from memory`.
    pub provenance: String,
    /// Whether the value was published, or is a published rule on numbers of our own, or was recomputed elsewhere.
    pub kind: String,
    /// The published value.
    pub expected: String,
    /// Ours.
    pub ours: String,
    /// Whether they agree, exactly or by the source's own rounding.
    pub agrees: bool,
}
