//! A published example as its file holds it.

use serde::Deserialize;
use serde_json::{Map, Value};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Case {
    pub id: String,
    pub area: String,
    pub title: String,
    /// What the expected values are: published numbers, or a published formula on numbers of our choice.
    pub kind: String,
    pub source: Source,
    pub provenance: Provenance,
    #[serde(default)]
    pub found_where: Option<String>,
    pub confidence: Confidence,
    #[serde(default)]
    #[allow(dead_code, reason = "for the reader of the file")]
    pub notes: Option<String>,
    pub method: String,
    #[allow(dead_code, reason = "the analyses count in whole units, whatever these are")]
    pub unit: String,
    pub input: Value,
    pub expected: Map<String, Value>,
    /// How the source rounded a field; a field not named here is exact.
    #[serde(default)]
    pub rounding: BTreeMap<String, Rounding>,
    /// Values of an independent computation, not of the publication.
    #[serde(default)]
    pub derived: Map<String, Value>,
    /// Published values that no analysis of this version answers.
    #[serde(default)]
    pub unreached: BTreeMap<String, Unreached>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Source {
    pub short: String,
    pub citation: String,
    #[serde(default)]
    pub place: Option<String>,
}

#[derive(Clone, Copy, Deserialize, PartialEq, Eq)]
pub enum Provenance {
    #[serde(rename = "found")]
    Found,
    #[serde(rename = "from memory")]
    FromMemory,
}

impl std::fmt::Display for Provenance {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(if *self == Self::Found { "found" } else { "from memory" })
    }
}

#[derive(Clone, Copy, Deserialize, PartialEq, Eq)]
#[serde(rename_all = "kebab-case")]
pub enum Confidence {
    High,
    Medium,
}

/// How a source came from the exact value to the one that it prints.
#[derive(Clone, Copy, Default, Deserialize, PartialEq, Eq)]
#[serde(rename_all = "kebab-case")]
pub enum Rounding {
    #[default]
    Exact,
    /// To the nearest at the places printed, a half upwards.
    HalfUp,
    /// Each term to the nearest at the places printed, then summed.
    TermsHalfUp,
    /// Upwards at the places printed.
    Up,
    /// Downwards at the places printed.
    Down,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Unreached {
    pub value: Value,
    pub why: String,
}

impl Case {
    fn read(path: &Path) -> Self {
        let text = std::fs::read_to_string(path).expect("a case is a text file");
        let case: Self = serde_json::from_str(&text).unwrap_or_else(|why| panic!("{}: {why}", path.display()));
        case.assert_whole(&stem(path));
        case
    }

    fn assert_whole(&self, stem: &str) {
        assert_eq!(self.id, stem, "a case is named like its file");
        assert!(!self.expected.is_empty(), "{stem}: a case expects something");
        assert!(
            !self.source.citation.is_empty() && self.source.place != Some(String::new()),
            "{stem}: name the source"
        );
        let says_where = self.found_where.as_ref().is_some_and(|place| !place.is_empty());
        assert_eq!(says_where, self.provenance == Provenance::Found, "{stem}: found_where goes with found");
        for field in self.rounding.keys() {
            let known = self.expected.contains_key(field) || self.derived.contains_key(field);
            assert!(known, "{stem}: rounding names {field}, which is not expected");
        }
        for (field, unreached) in &self.unreached {
            assert!(!unreached.why.is_empty() && !unreached.value.is_null(), "{stem}: say why {field} is unreached");
        }
    }

    /// The number of single values that the case expects.
    pub fn values_to_compare(&self) -> usize {
        self.expected.values().chain(self.derived.values()).map(leaves).sum()
    }
}

/// Single values of a JSON value; a list counts as one, since it is compared whole.
pub fn leaves(value: &Value) -> usize {
    value.as_object().map_or(1, |fields| fields.values().map(leaves).sum())
}

pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).ancestors().nth(2).expect("two folders below the root").to_owned()
}

fn files() -> Vec<PathBuf> {
    let entries = std::fs::read_dir(root().join("corpus/published")).expect("the corpus is there");
    let mut files: Vec<_> = entries.map(|entry| entry.expect("entries can be read").path()).collect();
    files.retain(|path| stem(path) != "validation");
    files.sort();
    files
}

fn stem(path: &Path) -> String {
    path.file_stem().and_then(|stem| stem.to_str()).expect("file names are text").to_owned()
}

/// The names of all case files.
pub fn file_stems() -> BTreeSet<String> {
    files().iter().map(|path| stem(path)).collect()
}

/// All cases in the order of their names.
pub fn all() -> Vec<Case> {
    files().iter().map(|path| Case::read(path)).collect()
}
