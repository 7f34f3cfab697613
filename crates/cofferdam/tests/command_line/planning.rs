//! `plan`: statuses, what is kept, what is said, and the same bytes twice.

use crate::common::*;
use std::path::Path;

#[test]
fn an_impossible_system_is_answered_with_its_arithmetic() {
    let folder = with_starter("planning_impossible");
    edit(&folder.join("ramp/system.toml"), "budget = \"2 ms\"  ", "budget = \"8 ms\"  ");
    let text = call(&folder, &["plan", "ramp", "--out", "p.toml"]).expect(1);
    assert!(text.out.starts_with("impossible\n"), "{}", text.out);
    // Four windows of 8 ms in 40 ms, and a growth rule that leaves 70 % of 40 ms.
    for number in ["RAMP asks for 32 ms", "core 0 may give 28 ms", "at most 7 ms in every 10 ms"] {
        assert!(text.out.contains(number), "`{number}` is missing from\n{}", text.out);
    }
    let json = call(&folder, &["plan", "ramp", "--out", "p.toml", "--format", "json"]).expect(1).json();
    assert_eq!((&json["answer"], &json["plan"]), (&"impossible".into(), &serde_json::Value::Null));
    assert!(json["reasons"][0].as_str().is_some_and(|reason| reason.contains("32 ms")), "{json}");
    assert!(!folder.join("p.toml").exists(), "nothing is written where there is no plan");
}

#[test]
fn the_vessel_can_be_planned_and_its_plan_holds() {
    let folder = with_vessel("planning_vessel");
    let plan = |out: &str, seed: &str| call(&folder, &["plan", "vessel", "--out", out, "--seed", seed]).expect(0);
    plan("one.toml", "7");
    plan("two.toml", "7");
    assert_eq!(read(&folder.join("one.toml")), read(&folder.join("two.toml")), "the same seed gives the same bytes");
    call(&folder, &["check", "vessel", "--plan", "one.toml", "--allow-not-analysed"]).expect(0);
    let json = call(&folder, &["plan", "vessel", "--out", "three.toml", "--format", "json"]).expect(0).json();
    let said = ["answer", "plan", "time_limit_reached", "interrupted"].map(|key| json[key].to_string());
    assert_eq!(said, ["\"feasible\"", "\"three.toml\"", "false", "false"]);
}

#[test]
fn a_plan_that_could_not_be_written_is_not_searched() {
    let folder = with_starter("planning_out");
    write(&folder.join("hard.toml"), hard(60));
    // The hard system would be searched for seconds, but the folder is looked for first.
    let begun = std::time::Instant::now();
    let run = call(&folder, &["plan", "hard.toml", "--out", "no/such/p.toml"]).expect(2);
    run.complains(&["cannot write no/such/p.toml: there is no folder no/such"]);
    assert!(begun.elapsed() < std::time::Duration::from_millis(500) && run.out.is_empty(), "{}", run.out);
    call(&folder, &["plan", "ramp", "--out", "ramp"]).expect(2).complains(&["cannot write ramp: it is a folder"]);
}

#[test]
fn pinned_windows_stay() {
    let folder = with_starter("planning_keep");
    let pinned = "[[window]]\ncore = \"0\"\npartition = \"RAMP\"\nstart = \"4 ms\"\nlength = \"2 ms\"\nevery = \"10 ms\"\npinned = true\n";
    let loose = "\n[[window]]\ncore = \"1\"\npartition = \"DIAG\"\nstart = \"33 ms\"\nlength = \"6 ms\"\n";
    write(&folder.join("half.toml"), pinned.to_owned() + loose);
    call(&folder, &["plan", "ramp", "--keep", "half.toml", "--out", "whole.toml"]).expect(0);
    let whole = read(&folder.join("whole.toml"));
    assert!(whole.contains(pinned), "{whole}");
    assert!(!whole.contains("start = \"33 ms\""), "what is not pinned is planned anew\n{whole}");
    call(&folder, &["check", "ramp", "--plan", "whole.toml"]).expect(0);
}

#[test]
fn a_search_ended_by_the_clock_says_so() {
    let folder = scratch("planning_limit");
    write(&folder.join("hard.toml"), hard(30));
    let words = ["plan", "hard.toml", "--out", "p.toml", "--time-limit", "0"];
    let text = call(&folder, &words).expect(1);
    assert!(text.out.starts_with("gave up\n"), "{}", text.out);
    assert!(text.out.contains("The time limit ended the search; another run may find another plan."), "{}", text.out);
    let json = call(&folder, &[&words[..], &["--format", "json"]].concat()).expect(1).json();
    assert_eq!(json["time_limit_reached"], true);
}

#[cfg(unix)]
#[test]
fn an_interrupted_search_says_what_it_has_and_exits_130() {
    use std::process::Stdio;
    let folder = scratch("planning_interrupt");
    write(&folder.join("hard.toml"), hard(60));
    for name in ["-INT", "-TERM"] {
        let mut command = command(&folder, &["plan", "hard.toml", "--out", "p.toml", "--format", "json"]);
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("the program starts");
        std::thread::sleep(std::time::Duration::from_millis(1_000));
        let ended = child.try_wait().expect("a child of ours");
        assert!(ended.is_none(), "the search is over already: make the system harder");
        signal(&child, name);
        let run = Run::from(child.wait_with_output().expect("a child of ours")).expect(130);
        assert_eq!(run.json()["interrupted"], true);
    }
}

/// Partitions whose budgets fill six cores to the last microsecond, if at all: the sizes of each core are cut at places
/// that follow no pattern, so the search has nothing to hold on to.
fn hard(partitions: u64) -> String {
    let mut text = String::from("[system]\nname = \"Full\"\nframe = \"100 ms\"\n\n[board]\nname = \"B1\"\n");
    let cores = 6;
    (0..cores).for_each(|core| text.push_str(&format!("[[board.core]]\nname = \"{core}\"\n")));
    text.push_str("[platform]\nswitch = \"0 us\"\nrefill = \"0 us\"\ncontext_switch = \"0 us\"\n");
    text.push_str("release_jitter = \"0 us\"\nnonpreemptable = \"0 us\"\nsynchronised = true\n");
    let each = partitions / cores;
    // A step of 7919, a prime, walks through the remainders of another one without pattern.
    let half_us = 50_000 / each;
    let sizes = |core: u64| {
        let mut sizes: Vec<u64> = (1..each).map(|n| half_us + (core * each + n) * 7_919 % 30_011 % half_us).collect();
        sizes.push(100_000 - sizes.iter().sum::<u64>());
        sizes
    };
    for (index, budget) in (0..cores).flat_map(sizes).enumerate() {
        text.push_str(&format!(
            "[[partition]]\nname = \"P{index}\"\nguest = \"fixed priority\"\nperiod = \"100 ms\"\nbudget = \"{budget} us\"\n\
             [[partition.task]]\nname = \"t\"\nperiod = \"100 ms\"\npriority = 1\nwcet = \"100 us\"\nbcet = \"1 us\"\n"
        ));
    }
    text
}

/// A plan is written whole or not at all: no neighbour of its name is left behind.
#[test]
fn nothing_is_left_beside_the_plan() {
    let folder = with_starter("planning_whole");
    call(&folder, &["plan", "ramp", "--out", "p.toml"]).expect(0);
    let names = |folder: &Path| -> Vec<String> {
        let entries = std::fs::read_dir(folder).expect("it is there");
        let mut names: Vec<_> =
            entries.map(|e| e.expect("readable").file_name().to_string_lossy().into_owned()).collect();
        names.sort();
        names
    };
    assert_eq!(names(&folder), ["p.toml", "ramp"]);
}
