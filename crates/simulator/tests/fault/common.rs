//! What the tests of scenarios share.

use diagnostic::{Diagnostic, Look, Sources, render_text};
use model::{Reading, read_system};
use plan::Plan;
use simulator::Machine;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

pub fn docs() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs")
}

pub fn text(diagnostics: &[Diagnostic], sources: &Sources) -> String {
    diagnostics.iter().map(|d| render_text(d, sources, Look::Plain)).collect()
}

/// The system that the guide shows for the examples of codes, under an empty plan.
pub fn example() -> (Machine, Sources) {
    let page = std::fs::read_to_string(docs().join("faults.md")).expect("the page of faults");
    let (_, shown) = page.rsplit_once("```toml\n").expect("the page shows a system");
    let system = shown.split("```").next().unwrap_or_default().as_bytes().to_vec();
    let mut files = BTreeMap::from([("system.toml".to_owned(), system)]);
    let Reading { sources, system, diagnostics } = read_system("system.toml", &mut files);
    let system = system.unwrap_or_else(|| panic!("{}", text(&diagnostics, &sources)));
    (simulator::compile::machine(&system, &Plan::default()), sources)
}
