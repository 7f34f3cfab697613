//! Every page of a code under `E0xxx`, `W0xxx`, `E12xx` or `W12xx` is run: its example fires exactly that code, its mending is silent.
//!
//! A page has its examples under `## Example` and `## Mended`. A fence `toml` is the system file, a fence such as
//! `csv tasks.csv` a file beside it. Inputs that no page can show are made here, under a fence `generated`. Where the
//! fault is in the call and in no file, a fence `call` shows the command line; `E05xx` and `W05xx` are otherwise about
//! the plan file and have their pages run where plans are read.

use diagnostic::{Code, Look, codes, render_text};
use model::{MOST_BYTES, Reading, read_system};
use std::collections::{BTreeMap, BTreeSet};

type Files = BTreeMap<String, Vec<u8>>;

#[test]
fn every_page_fires_its_own_code_and_mended_is_silent() {
    let failures: Vec<_> = codes::all().filter(|code| is_of_system_file(code)).filter_map(failure).collect();
    assert!(failures.is_empty(), "\n{}", failures.join("\n"));
}

/// Codes of the plan file have their pages run where plans are read.
fn is_of_system_file(code: &Code) -> bool {
    let group = &code.id[1..3];
    (group.starts_with('0') && group != "05") || group == "12"
}

#[test]
fn a_page_about_the_call_shows_a_wrong_and_a_right_one() {
    let pages: Vec<_> = codes::all().filter(|code| code.page.contains("\n```call\n")).collect();
    assert!(pages.contains(&&codes::plan::NO_PLAN));
    for code in pages {
        let calls: Vec<_> = code.page.lines().filter(|line| line.starts_with("cofferdam ")).collect();
        let [wrong, right] = calls[..] else { panic!("{code} shows {} calls", calls.len()) };
        assert!(wrong != right && !code.page.contains("```toml"), "{code}");
    }
}

fn failure(code: &'static Code) -> Option<String> {
    let example = run(code, &files(code, "Example"));
    let mended = run(code, &files(code, "Mended"));
    let (fired, left) = (fired(&example), fired(&mended));
    if fired == BTreeSet::from([code.id]) && left.is_empty() && mended.system.is_some() {
        return None;
    }
    let all = example.diagnostics.iter().map(|d| render_text(d, &example.sources, Look::Plain));
    let rest = mended.diagnostics.iter().map(|d| render_text(d, &mended.sources, Look::Plain));
    let (all, rest) = (all.collect::<String>(), rest.collect::<String>());
    Some(format!("{code}: the example fires {fired:?}, mended {left:?}\n{all}--- mended:\n{rest}"))
}

fn run(code: &Code, files: &Files) -> Reading {
    assert!(files.contains_key("system.toml") || code.id == "E0001", "the page of {code} shows no system file");
    read_system("system.toml", &mut files.clone())
}

fn fired(reading: &Reading) -> BTreeSet<&'static str> {
    reading.diagnostics.iter().map(|d| d.code.id).collect()
}

/// The files that a page shows under a heading.
fn files(code: &Code, heading: &str) -> Files {
    let head = format!("\n## {heading}\n");
    let (_, section) = code.page.split_once(&head).unwrap_or_else(|| panic!("{code} has no `## {heading}`"));
    let section = section.split("\n## ").next().unwrap_or_default();
    let mut files = Files::new();
    for (index, block) in section.split("```").enumerate() {
        let (info, text) = block.split_once('\n').unwrap_or((block, ""));
        match info.split_once(' ') {
            _ if index % 2 == 0 => {}
            _ if info == "toml" => drop(files.insert("system.toml".into(), text.into())),
            _ if info == "generated" => files.extend(generated(code)),
            Some((_, name)) => drop(files.insert(name.into(), text.into())),
            None => {}
        }
    }
    files
}

/// Inputs that cannot be shown: too large, not text, too many.
fn generated(code: &Code) -> Files {
    let bytes = match code.id {
        "E0002" => vec![b'#'; usize::try_from(MOST_BYTES).expect("a small number") + 1],
        "E0003" => b"[system]\nname = \"Caf\xe9\"\n".to_vec(),
        "E0007" => many_zones().into_bytes(),
        "E0008" => Vec::new(),
        other => panic!("no input is generated for {other}"),
    };
    Files::from([("system.toml".into(), bytes)])
}

fn many_zones() -> String {
    let (before, _) = codes::input::TOO_MANY.page.split_once("## Mended").expect("a head");
    assert!(before.contains("65,536"), "the page names the limit");
    let zones = (0..=65_536).map(|index| format!("[[zone]]\nname = \"Z{index}\"\n"));
    let rest = files(&codes::input::TOO_MANY, "Mended").remove("system.toml").expect("a system file");
    String::from_utf8(rest).expect("text") + &zones.collect::<String>()
}
