//! Every code, declared once, in groups by the hundred. `E0xxx` and `W0xxx` are about the system file alone,
//! but for `E05xx` and `W05xx`, which are about the plan file. `E10xx` are about scenarios of the simulator,
//! `E11xx` about recordings, `E12xx` and `W12xx` about devicetree source.
//!
//! To add one: a line in its group's file, and its page `docs/codes/ID.md`. A test runs every page.

pub mod board;
pub mod chain;
pub mod channel;
pub mod devicetree;
pub mod input;
pub mod partition;
pub mod plan;
pub mod plan_file;
pub mod policy;
pub mod recording;
pub mod recovery;
pub mod scenario;
pub mod shape;
pub mod task;

use crate::Code;

static GROUPS: &[&[&Code]] = &[
    input::GROUP,
    shape::GROUP,
    board::GROUP,
    partition::GROUP,
    task::GROUP,
    plan_file::GROUP,
    plan::GROUP,
    channel::GROUP,
    chain::GROUP,
    recovery::GROUP,
    policy::GROUP,
    scenario::GROUP,
    recording::GROUP,
    devicetree::GROUP,
];

/// All codes in the order of their ids within each group.
pub fn all() -> impl Iterator<Item = &'static Code> {
    GROUPS.iter().flat_map(|group| group.iter().copied())
}

#[cfg(test)]
mod tests {
    use crate::Severity;
    use std::collections::BTreeSet;
    use std::path::Path;

    #[test]
    fn ids_are_unique_and_their_letter_is_the_severity() {
        let mut seen = BTreeSet::new();
        for code in super::all() {
            assert!(seen.insert(code.id), "{code} is declared twice");
            let letter = if code.severity == Severity::Error { 'E' } else { 'W' };
            assert!(code.id.starts_with(letter), "{code} is of severity {}", code.severity);
            assert!(code.page.starts_with(&format!("# {code}: ")), "the page of {code} begins with another head");
        }
    }

    #[test]
    fn every_page_has_a_code() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/codes");
        let names = std::fs::read_dir(folder).expect("the folder of pages").map(|entry| entry.expect("an entry"));
        let ids: BTreeSet<_> = super::all().map(|code| format!("{code}.md")).collect();
        let pages: BTreeSet<_> =
            names.map(|e| e.file_name().to_string_lossy().into_owned()).filter(|n| n != "README.md").collect();
        assert_eq!(pages, ids);
    }
}
