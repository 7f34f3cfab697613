//! The picture of the README is the report's own drawing of the survey vessel's frame, and stays so.

#![allow(clippy::disallowed_methods, reason = "the picture and the report are files")]

use std::path::{Path, PathBuf};
use std::process::Command;

fn root() -> PathBuf {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    here.ancestors().nth(2).expect("this crate lies two folders below the root").to_owned()
}

/// What stands between two marks, the first one after `from`.
fn between<'a>(text: &'a str, from: &str, open: &str, close: &str) -> &'a str {
    let section = text.find(from).expect("the report has the section");
    let begin = section + text[section..].find(open).expect("the part begins");
    let end = begin + text[begin..].find(close).expect("the part ends") + close.len();
    &text[begin..end]
}

/// The drawing with the report's style, as a file of its own.
fn picture(report: &str) -> String {
    let style = between(report, "<head>", "<style>", "</style>");
    let drawing = between(report, "id=\"part-frame\"", "<svg", "</svg>");
    let (head, rest) = drawing.split_once('>').expect("a drawing has a head");
    let head = head.replacen("<svg", "<svg xmlns=\"http://www.w3.org/2000/svg\"", 1);
    let style = style.replace("</style>", "svg { background: var(--paper); }\n</style>");
    format!("{head}>\n{style}\n{rest}\n")
}

#[test]
fn the_picture_of_the_readme_is_current() {
    let out = Path::new(env!("CARGO_TARGET_TMPDIR")).join("picture");
    let status = Command::new(env!("CARGO_BIN_EXE_cofferdam")).arg("demo").arg("--out").arg(&out).output();
    assert!(status.expect("the program runs").status.success());
    let report = std::fs::read_to_string(out.join("report.html")).expect("the demo writes a report");
    let fresh = picture(&report);
    let path = root().join("docs/pictures/frame.svg");
    if std::env::var_os("COFFERDAM_BLESS").is_some() {
        std::fs::write(&path, &fresh).expect("the picture can be written");
    }
    let kept = std::fs::read_to_string(&path).expect("the picture is in the repository");
    assert!(kept == fresh, "refresh the picture with COFFERDAM_BLESS=1 cargo test -p cofferdam --test picture");
}
