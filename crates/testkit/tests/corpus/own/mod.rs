//! Our own cases: figures stated when an example system was designed, worked out apart from this program, beside
//! what is computed from the system's files.

mod figures;
mod judged;

use crate::case::{Rounding, root};
use crate::compare::{Answer, Share, decimal};
use judged::Judged;
use serde::Deserialize;
use std::path::PathBuf;

/// A file of `corpus/cases`.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Case {
    id: String,
    #[allow(dead_code, reason = "for the reader of the file")]
    title: String,
    #[serde(default)]
    #[allow(dead_code, reason = "for the reader of the file")]
    notes: Option<String>,
    /// The folder of the system.
    system: String,
    /// Edits to its files.
    #[serde(default)]
    edits: Vec<judged::Edit>,
    /// How the stated values were rounded.
    rounding: Rounding,
    values: Vec<Figure>,
}

/// One stated value, and ours.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Figure {
    what: String,
    stated: String,
    ours: String,
    /// The decision that explains why the two differ.
    #[serde(default)]
    differs: Option<String>,
}

fn files() -> Vec<PathBuf> {
    let entries = std::fs::read_dir(root().join("corpus/cases")).expect("the folder is there");
    let mut files: Vec<_> = entries.map(|entry| entry.expect("entries can be read").path()).collect();
    files.sort();
    files
}

fn read(path: &PathBuf) -> Case {
    let text = std::fs::read_to_string(path).expect("a case is a text file");
    let case: Case = serde_json::from_str(&text).unwrap_or_else(|why| panic!("{}: {why}", path.display()));
    assert_eq!(
        path.file_stem().and_then(|stem| stem.to_str()),
        Some(case.id.as_str()),
        "a case is named like its file"
    );
    assert!(!case.values.is_empty(), "{}: a case states something", case.id);
    case
}

#[test]
fn the_stated_figures_and_ours() {
    let mut wrong = Vec::new();
    for case in files().iter().map(read) {
        let folder = root().join(&case.system);
        let (planned, changed) = (Judged::of(&folder, &[]), Judged::of(&folder, &case.edits));
        for figure in &case.values {
            let found = figures::figure(&changed, &planned, &figure.what).unwrap_or_else(|| {
                panic!("{}: nothing answers {}; reading says {:?}", case.id, figure.what, changed.codes)
            });
            wrong.extend(
                complaint(figure, &found, case.rounding).map(|why| format!("{}, {}: {why}", case.id, figure.what)),
            );
        }
    }
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

/// What is wrong with a stated value, if anything.
fn complaint(figure: &Figure, found: &Answer, rounding: Rounding) -> Option<String> {
    let (ours, agrees) = compared(&figure.stated, found, rounding);
    if ours != figure.ours {
        return Some(format!("ours is {ours}, the file says {}", figure.ours));
    }
    match &figure.differs {
        None if !agrees => Some(format!("stated is {}, ours is {ours}", figure.stated)),
        Some(_) if agrees => Some("they agree, so nothing is to explain".to_owned()),
        Some(decision) if !root().join("docs/decisions").join(decision).is_file() => {
            Some(format!("docs/decisions/{decision} is not there"))
        }
        _ => None,
    }
}

/// Our value in the unit stated, and whether it is the stated value after rounding.
fn compared(stated: &str, found: &Answer, rounding: Rounding) -> (String, bool) {
    match found {
        Answer::Share(share) => {
            let (number, unit) = stated.split_once(' ').unwrap_or((stated, ""));
            let Some(per_unit) = units(unit) else { return (exact(share), false) };
            let share = Share {
                parts: share.parts.iter().map(|part| part * per_unit.0).collect(),
                whole: share.whole * per_unit.1,
            };
            let agrees =
                decimal(&number.into()).is_some_and(|(digits, places)| share.rounded(rounding, places) == Some(digits));
            (format!("{} {unit}", exact(&share)).trim_end().to_owned(), agrees)
        }
        Answer::Value(value) => {
            let ours = value.as_str().unwrap_or_default().to_owned();
            let agrees = ours == stated;
            (ours, agrees)
        }
        Answer::Estimate(_) | Answer::Table(_) => unreachable!("a figure of a system is one exact value"),
    }
}

/// How many units make how many of the smallest: nanoseconds, bytes, or one whole of a share.
fn units(unit: &str) -> Option<(u128, u128)> {
    match unit {
        "ms" => Some((1, 1_000_000)),
        "us" => Some((1, 1_000)),
        "MiB" => Some((1, 1 << 20)),
        "%" => Some((100, 1)),
        "" => Some((1, 1)),
        _ => None,
    }
}

/// The exact decimal where there is one of nine places, else the fraction.
fn exact(share: &Share) -> String {
    let places = (0..=9).find_map(|places| Some((share.rounded(Rounding::Exact, places)?, places)));
    places.map_or_else(|| share.fraction(), |(digits, places)| crate::compare::decimal_text(digits, places))
}

#[test]
fn a_stated_value_that_is_off_is_seen() {
    let found = Answer::Share(Share { parts: vec![78_310_000], whole: 1 });
    let stated = |text: &str, ours: &str, differs: Option<&str>| Figure {
        what: String::new(),
        stated: text.to_owned(),
        ours: ours.to_owned(),
        differs: differs.map(str::to_owned),
    };
    let complaint = |stated: Figure| complaint(&stated, &found, Rounding::HalfUp);
    assert_eq!(complaint(stated("78.3 ms", "78.31 ms", None)), None);
    assert!(complaint(stated("78.4 ms", "78.31 ms", None)).is_some(), "what is stated is off");
    assert!(complaint(stated("78.3 ms", "78.32 ms", None)).is_some(), "ours has changed");
    assert!(complaint(stated("78.3 ms", "78.31 ms", Some("README.md"))).is_some(), "nothing is to explain");
    assert!(complaint(stated("78.4 ms", "78.31 ms", Some("nowhere.md"))).is_some(), "the explanation is missing");
    assert!(complaint(stated("no bound", "78.31 ms", None)).is_some(), "a bound where none is stated");
}
