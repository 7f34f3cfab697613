//! `explain`, `schema`, `completions`, `manual`, help: what the program says of itself.

use crate::common::*;
use std::collections::BTreeSet;
use std::fs;

const COMMANDS: [&str; 14] = [
    "demo",
    "new",
    "check",
    "simulate",
    "campaign",
    "trace",
    "draft",
    "plan",
    "report",
    "explain",
    "schema",
    "completions",
    "manual",
    "rehearse",
];

/// The pages of a folder of the guide, without their ends.
fn pages(folder: &str) -> BTreeSet<String> {
    let entries = fs::read_dir(root().join("docs").join(folder)).expect("the guide is there");
    let names = entries.map(|entry| entry.expect("readable").file_name().to_string_lossy().into_owned());
    names.filter_map(|name| name.strip_suffix(".md").map(str::to_owned)).filter(|name| name != "README").collect()
}

/// The first words of the lines under a head of `explain`'s list.
fn listed(list: &str, head: &str) -> BTreeSet<String> {
    let (_, rest) = list.split_once(&format!("{head}\n")).expect("the list has this part");
    let lines = rest.lines().take_while(|line| line.starts_with("  "));
    lines.filter_map(|line| line.split_whitespace().next()).map(str::to_owned).collect()
}

#[test]
fn explain_lists_and_shows_every_page_of_the_guide() {
    let list = call(&root(), &["explain"]).expect(0).out;
    for (folder, head) in [("codes", "Codes"), ("analyses", "Analyses")] {
        assert_eq!(listed(&list, head), pages(folder), "{head}");
        for page in pages(folder) {
            let shown = call(&root(), &["explain", &page]).expect(0).out;
            assert_eq!(shown, read(&root().join("docs").join(folder).join(format!("{page}.md"))), "{page}");
        }
    }
    assert_eq!(call(&root(), &["explain", "e0305"]).expect(0).out, call(&root(), &["explain", "E0305"]).out);
}

#[test]
fn explain_names_the_nearest_of_what_it_does_not_know() {
    let cases = [("fre-runing", "free-running"), ("E03055", "E0305"), ("Window supply", "window-supply")];
    for (wrong, near) in cases {
        let run = call(&root(), &["explain", wrong]).expect(2);
        run.complains(&[&format!("`{wrong}`"), &format!("did you mean `{near}`?")]);
        assert!(run.out.is_empty());
    }
    let far = call(&root(), &["explain", "zzz"]).expect(2);
    assert!(far.err.ends_with("`zzz`; `cofferdam explain` lists them all\n"), "{}", far.err);
}

/// Whatever verdicts rest on has its page, so that nobody has to take a name on trust.
#[test]
fn every_analysis_that_a_verdict_names_can_be_explained() {
    let known = pages("analyses");
    let folder = with_vessel("pages_analyses");
    call(&folder, &["new", "ramp"]).expect(0);
    let named = |system: &str| -> BTreeSet<String> {
        let run = call(&folder, &["check", system, "--format", "json"]);
        let answer = run.json();
        assert!(!verdicts(&answer).is_empty(), "{system}: {}", run.err);
        verdicts(&answer).iter().map(|v| v["basis"]["analysis"].as_str().expect("a name").to_owned()).collect()
    };
    let mut seen = named("vessel");
    let system = folder.join("ramp/system.toml");
    seen.extend(named("ramp"));
    let nacelle = root().join("examples/nacelle-controller");
    seen.extend(named(nacelle.to_str().expect("the path is text")));
    let sound = read(&system);
    let (_, view) = sound.split_once("name = \"VIEW\"\n").expect("the starter has a VIEW");
    let (view, _) = view.split_once("wcet").expect("VIEW has a task");
    let by_deadline = view.replace("fixed priority", "EDF").replace("priority = 2\n", "");
    let variants = [
        (view, &*by_deadline),
        ("guest = \"fixed priority\"\nperiod = \"20 ms\"", "guest = \"cooperative\"\nperiod = \"20 ms\""),
        ("deadlines_hold_in = \"any phase\"  ", "deadlines_hold_in = \"frame phase\""),
        ("wcet = \"7 ms\"\nbcet = \"4 ms\"\n", ""),
        ("wcet = \"7 ms\"", "wcet = \"39 ms\""),
    ];
    for (old, new) in variants {
        write(&system, &sound);
        edit(&system, old, new);
        seen.extend(named("ramp"));
    }
    assert!(seen.is_subset(&known), "write docs/analyses/NAME.md for {:?}", seen.difference(&known));
    assert!(seen.len() >= 7, "{seen:?}");
}

#[test]
fn the_schema_is_json_and_names_every_section() {
    let run = call(&root(), &["schema"]).expect(0);
    let schema: serde_json::Value = serde_json::from_str(&run.out).expect("the schema is JSON");
    let properties: BTreeSet<_> = schema["properties"].as_object().expect("the sections").keys().cloned().collect();
    let sections = pages("system-file").into_iter().chain(["tables".to_owned()]);
    assert_eq!(properties, sections.collect());
}

#[test]
fn completions_know_every_command() {
    for shell in ["bash", "zsh", "fish"] {
        let script = call(&root(), &["completions", shell]).expect(0).out;
        for word in COMMANDS.into_iter().chain(["allow-not-analysed", "time-limit"]) {
            assert!(script.contains(word), "{shell} does not complete {word}");
        }
    }
    call(&root(), &["completions", "cmd"]).expect(2).complains(&["bash", "zsh", "fish"]);
}

#[test]
fn the_manual_has_a_page_for_every_command() {
    let folder = scratch("pages_manual");
    call(&folder, &["manual", "--out", "man1"]).expect(0);
    for command in COMMANDS {
        let page = read(&folder.join(format!("man1/cofferdam-{command}.1")));
        assert!(page.contains(".SH NAME") && page.contains("Example"), "{command}:\n{page}");
    }
    assert!(read(&folder.join("man1/cofferdam.1")).contains("not qualified"));
    assert_eq!(fs::read_dir(folder.join("man1")).expect("it is there").count(), COMMANDS.len() + 1);
}

#[test]
fn the_help_of_every_command_has_an_example() {
    let help = call(&root(), &["--help"]).expect(0).out;
    assert!(help.contains("Exit status: 0 "), "{help}");
    for command in COMMANDS {
        assert!(help.contains(&format!("\n  {command} ")), "{command} is missing from\n{help}");
        let own = call(&root(), &[command, "--help"]).expect(0).out;
        let example = own.lines().any(|line| line.trim_start().starts_with(&format!("cofferdam {command}")));
        assert!(own.contains("Example") && example, "{own}");
    }
    assert_eq!(call(&root(), &["--version"]).expect(0).out, format!("cofferdam {}\n", env!("CARGO_PKG_VERSION")));
    call(&root(), &[]).expect(2);
}
