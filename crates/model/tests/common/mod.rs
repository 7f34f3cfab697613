//! What several test files share: files in memory, and diagnostics as text.
#![allow(dead_code, reason = "each test file uses a part")]
#![allow(clippy::disallowed_methods, reason = "the vessel is read from its folder")]

use diagnostic::{Look, render_text};
use model::{Reading, read_system};
use std::collections::BTreeMap;
use std::path::Path;

pub type Files = BTreeMap<String, Vec<u8>>;

/// The survey vessel's files as they are published.
pub fn vessel() -> Files {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/survey-vessel");
    let read = |name: &str| (name.to_owned(), std::fs::read(folder.join(name)).expect("a file of the vessel"));
    ["system.toml", "tasks.csv", "channels.csv", "board.dts"].into_iter().map(read).collect()
}

/// The text of one of the files.
pub fn text(files: &Files, name: &str) -> String {
    String::from_utf8(files[name].clone()).expect("text")
}

/// Reads a system of one file.
pub fn read(text: impl AsRef<[u8]>) -> Reading {
    read_system("system.toml", &mut Files::from([("system.toml".to_owned(), text.as_ref().to_vec())]))
}

/// Every diagnostic as people see it.
pub fn rendered(reading: &Reading) -> String {
    reading.diagnostics.iter().map(|d| render_text(d, &reading.sources, Look::Plain) + "\n").collect()
}

/// Code and place of every diagnostic, such as `E0104 system.toml:3:9`.
pub fn found(reading: &Reading) -> Vec<String> {
    let place = |d: &diagnostic::Diagnostic| format!("{} {}", d.code, reading.sources.position(d.primary.span));
    reading.diagnostics.iter().map(place).collect()
}

/// The smallest system.
pub const SMALLEST: &str = r#"[system]
name = "Example"
frame = "100 ms"

[board]
name = "B1"

[[board.core]]
name = "0"

[[partition]]
name = "NAV"
guest = "fixed priority"

[[partition.task]]
name = "fuse"
period = "20 ms"
priority = 1
wcet = "2 ms"
"#;
