//! Colour, width, pipes that close early.

use crate::common::*;
use std::process::Stdio;

const ESCAPE: char = '\u{1b}';

#[test]
fn colour_is_for_terminals_and_for_those_who_ask() {
    let folder = with_vessel("terminal_colour");
    edit(&folder.join("vessel/plan.toml"), "start = \"6.2 ms\"", "start = \"6.2 sm\"");
    let coloured = |words: &[&str], no_color: Option<&str>| {
        let mut command = command(&folder, words);
        no_color.map(|value| command.env("NO_COLOR", value));
        let run = Run::from(command.output().expect("the program starts"));
        (run.out + &run.err).contains(ESCAPE)
    };
    let calls: [&[&str]; 5] = [
        &["check", "vessel"],
        &["check", "vessel", "--plan", "gone.toml"],
        &["check", "vessel", "--bogus"],
        &["check", "--help"],
        &["demo", "--out", "demo"],
    ];
    for words in calls {
        assert!(!coloured(words, None), "{words:?} is not on a terminal");
        assert!(!coloured(words, Some("1")), "{words:?}");
        assert!(coloured(&[words, &["--color", "always"]].concat(), Some("1")), "{words:?} asked for colour");
        assert!(!coloured(&[words, &["--color=never"]].concat(), None), "{words:?}");
    }
}

#[test]
fn lines_keep_to_the_columns() {
    let folder = with_vessel("terminal_width");
    grow(&folder.join("vessel/tasks.csv"), "OBJT", 8);
    let widest = |columns: &str| {
        let run = command(&folder, &["check", "vessel", "--all"]).env("COLUMNS", columns).output();
        let run = Run::from(run.expect("the program starts")).expect(1);
        run.out.lines().map(|line| line.chars().count()).max().unwrap_or(0)
    };
    let [narrow, usual, wide] = ["70", "not a number", "130"].map(widest);
    assert!(narrow <= 70 && usual <= 100 && wide <= 130, "{narrow} {usual} {wide}");
    assert!(narrow < usual && usual < wide, "{narrow} {usual} {wide}");
}

/// A reader that goes after the first line is no reason to complain, and changes no status.
#[test]
fn a_pipe_that_closes_early_is_quiet() {
    let mut command = command(&root(), &["check", "examples/survey-vessel", "--format", "json"]);
    let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("the program starts");
    drop(child.stdout.take());
    let run = Run::from(child.wait_with_output().expect("a child of ours")).expect(1);
    assert!(run.err.is_empty(), "{}", run.err);
}

#[cfg(unix)]
#[test]
fn closed_outputs_are_no_crash() {
    let shell = |redirection: &str| {
        let script = format!("'{}' check examples/survey-vessel {redirection}", env!("CARGO_BIN_EXE_cofferdam"));
        let run = std::process::Command::new("sh").current_dir(root()).args(["-c", &script]).output();
        Run::from(run.expect("a shell is there"))
    };
    assert!(shell(">&-").expect(1).err.is_empty());
    shell("2>&-").expect(1);
    shell("--plan gone.toml >&- 2>&-").expect(2);
}

/// An answer that was cut short by a full disk must not look like one that was given.
#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_no_success() {
    let full = std::fs::File::options().write(true).open("/dev/full").expect("Linux has this device");
    let mut command = command(&root(), &["check", "examples/survey-vessel", "--allow-not-analysed"]);
    let run = Run::from(command.stdout(full).output().expect("the program starts")).expect(2);
    run.complains(&["cannot write the answer"]);
}
