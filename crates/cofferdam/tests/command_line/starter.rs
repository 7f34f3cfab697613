//! `new`: a first system that checks clean and teaches.

use crate::common::*;

#[test]
fn the_starter_checks_clean_without_leave() {
    let folder = scratch("starter");
    let new = call(&folder, &["new", "deep/down/ramp"]).expect(0);
    assert!(new.out.contains("Next: cofferdam check deep/down/ramp"), "{}", new.out);
    let check = call(&folder, &["check", "deep/down/ramp"]).expect(0);
    assert!(check.out.contains("Not analysed: nothing") && check.err.is_empty(), "{}{}", check.out, check.err);
}

#[test]
fn a_folder_in_use_is_left_alone() {
    let folder = scratch("starter_twice");
    std::fs::create_dir(folder.join("hollow")).expect("a new folder");
    call(&folder, &["new", "hollow"]).expect(0);
    write(&folder.join("hollow/system.toml"), "mine");
    call(&folder, &["new", "hollow"]).expect(2).complains(&["hollow is not empty"]);
    assert_eq!(read(&folder.join("hollow/system.toml")), "mine");
    call(&folder, &["new", "hollow/system.toml"]).expect(2).complains(&["is there and is no folder"]);
}

/// The commands that the file's head recommends do what it says, and so does the one that `plan` recommends.
#[test]
fn what_the_starter_recommends_works() {
    let folder = with_starter("starter_advice").join("ramp");
    let system = read(&folder.join("system.toml"));
    let advice: Vec<&str> = system.lines().filter_map(|line| line.strip_prefix("#   cofferdam ")).collect();
    let run = |advice: &str| {
        let words: Vec<&str> = advice.split("  ").next().unwrap_or_default().split(' ').collect();
        call(&folder, &words).expect(0).out
    };
    let answers: Vec<String> = advice.into_iter().map(run).collect();
    let [check, plan, report] = &answers[..] else { panic!("{} commands are recommended", answers.len()) };
    assert!(check.starts_with("Bow ramp, ") && report.contains("evidence/report.html"), "{check}{report}");
    assert!(["optimal\n", "feasible\n"].iter().any(|word| plan.starts_with(word)), "{plan}");
    let (_, next) = plan.split_once("\nNext: cofferdam ").expect("plan says how to go on");
    assert!(run(next.trim_end()).contains("under a plan made for it"));
    assert!(read(&folder.join("evidence/report.html")).contains("Bow ramp"));
}

#[test]
fn the_part_behind_marks_is_sound_too() {
    let folder = with_starter("starter_marks");
    let system = folder.join("ramp/system.toml");
    write(&system, read(&system).replace("#~ ", ""));
    let answer = call(&folder, &["check", "ramp", "--allow-not-analysed", "--format", "json"]).json();
    assert_eq!(codes(&answer), [""; 0]);
    verdict(&answer, "refresh/RampState");
    verdict(&answer, "data_age/ramp to bridge");
}
