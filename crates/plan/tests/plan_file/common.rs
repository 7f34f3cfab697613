//! What the tests of the plan file share.

use diagnostic::{Diagnostic, Look, Sources, render_text};
use model::{Reading, System, read_system};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

pub fn docs() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs")
}

pub fn read(mut files: BTreeMap<String, Vec<u8>>) -> (System, Sources) {
    let Reading { sources, system, diagnostics } = read_system("system.toml", &mut files);
    (system.unwrap_or_else(|| panic!("{}", text(&diagnostics, &sources))), sources)
}

pub fn text(diagnostics: &[Diagnostic], sources: &Sources) -> String {
    diagnostics.iter().map(|d| render_text(d, sources, Look::Plain)).collect()
}

/// The system that the guide shows for the examples of codes.
pub fn example() -> (System, Sources) {
    let page = std::fs::read_to_string(docs().join("plan-file.md")).expect("the page of the plan file");
    let (_, shown) = page.rsplit_once("```toml\n").expect("the page shows a system");
    let system = shown.split("```").next().unwrap_or_default();
    read(BTreeMap::from([("system.toml".to_owned(), system.as_bytes().to_vec())]))
}
