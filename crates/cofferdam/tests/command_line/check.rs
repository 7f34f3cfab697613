//! `check`: what it answers, and how SYSTEM and PLAN may be named.

use crate::common::*;
use serde_json::Value;

#[test]
fn the_vessel_passes_only_where_work_in_progress_may() {
    let folder = with_vessel("check_vessel");
    let strict = call(&folder, &["check", "vessel"]).expect(1);
    assert!(strict.err.is_empty(), "{}", strict.err);
    let lenient = call(&folder, &["check", "vessel", "--allow-not-analysed"]).expect(0);
    assert_eq!(strict.out, lenient.out);
    let order = ["Survey vessel SV-4", "Not analysed:", "Claims", "Tightest", "Cautions"];
    let places: Vec<_> = order.iter().map(|part| strict.out.find(part)).collect();
    assert!(places.iter().all(Option::is_some) && places.is_sorted(), "{places:?}\n{}", strict.out);
}

/// 78.3 ms is the figure of the vessel's description for this change; the growth that it tolerates is 3.4 %.
#[test]
fn eight_percent_more_demand_breaks_one_partition_and_nothing_else() {
    let folder = with_vessel("check_growth");
    let before = call(&folder, &["check", "vessel", "--format", "json", "--allow-not-analysed"]).expect(0).json();
    grow(&folder.join("vessel/tasks.csv"), "OBJT", 8);
    let text = call(&folder, &["check", "vessel", "--allow-not-analysed"]).expect(1);
    assert!(text.out.contains("response/OBJT.trk  78.2532 ms, limit ≤ 50 ms"), "{}", text.out);
    assert!(text.out.contains("at vessel/tasks.csv:21:6"), "{}", text.out);

    let after = call(&folder, &["check", "vessel", "--format", "json", "--allow-not-analysed"]).expect(1).json();
    let open = |answer: &Value| -> Vec<String> {
        let open = verdicts(answer).iter().filter(|v| v["status"] == "violated" || v["status"] == "not_shown");
        open.map(|v| v["id"].as_str().expect("an id is a text").to_owned()).collect()
    };
    // What the vessel accepts stays what it is.
    let accepted = ["criticality/chain/E2", "criticality/chain/E4", "channel/complete"];
    assert_eq!(open(&before), accepted);
    // CH07 is what OBJT.trk writes: its table of tracks may now grow stale.
    let late = ["response/OBJT.trk", "refresh/CH07", "margin/partition/OBJT"];
    assert_eq!(open(&after), [&late[..], &accepted, &["robust_time/OBJT"]].concat());
    // Chains through OBJT, the ports it writes, what others lose meanwhile and the overheads that it bears change with it.
    let of_others = |answer: &Value| -> Vec<Value> {
        let named = |v: &&Value| !v["id"].as_str().is_some_and(|id| id.contains("OBJT"));
        let apart = |v: &&Value| ["response", "window"].iter().any(|kind| v["kind"] == *kind);
        verdicts(answer).iter().filter(named).filter(apart).cloned().collect()
    };
    assert_eq!(of_others(&before).len(), of_others(&after).len());
    for (before, after) in of_others(&before).iter().zip(of_others(&after)) {
        assert_eq!(*before, after, "{}", before["id"]);
    }
    completes_at_the_bound(verdict(&after, "response/OBJT.trk"));
}

/// Responses count from the arrival, the witness' instants from its beginning.
fn completes_at_the_bound(verdict: &Value) {
    let (witness, bound) = (&verdict["witness"], verdict["bound"].as_i64().expect("a bound"));
    let releases = witness["releases"].as_array().expect("releases");
    let arrival = |task: &Value| (task["task"] == verdict["subject"]).then(|| task["arrival_ns"].as_i64());
    let last = releases.iter().filter_map(arrival).flatten().next_back().expect("the task arrives");
    let completes = witness["completes_ns"].as_i64().expect("the task completes");
    assert_eq!((completes - last, last), (bound, -10_000), "released 10 us of jitter after its arrival");
    let end = witness["timeline"].as_array().and_then(|segments| segments.last()).expect("a timeline");
    assert_eq!((&end["what"], end["end_ns"].as_i64()), (&verdict["subject"], Some(completes)));
}

#[test]
fn three_percent_more_demand_still_holds() {
    let folder = with_vessel("check_little_growth");
    grow(&folder.join("vessel/tasks.csv"), "OBJT", 3);
    call(&folder, &["check", "vessel", "--allow-not-analysed"]).expect(0);
}

#[test]
fn the_system_is_a_file_or_a_folder_from_anywhere() {
    let folder = with_vessel("check_names");
    let vessel = folder.join("vessel");
    let expected = call(&folder, &["check", "vessel", "--format", "json"]).expect(1).out;
    for system in ["vessel/", "vessel/system.toml", "./vessel", "../check_names/vessel"] {
        assert_eq!(call(&folder, &["check", system, "--format", "json"]).expect(1).out, expected, "{system}");
    }
    let absolute = vessel.to_str().expect("the path is text");
    assert_eq!(call(&root(), &["check", absolute, "--format", "json"]).expect(1).out, expected);
    for system in [".", "system.toml", "./system.toml"] {
        assert_eq!(call(&vessel, &["check", system, "--format", "json"]).expect(1).out, expected, "{system}");
    }
    let given = call(&folder, &["check", "vessel", "--plan", "vessel/plan.toml", "--format", "json"]).expect(1);
    assert_eq!(given.out, expected, "the plan that the system names, named again");
}

#[test]
fn places_are_named_as_the_user_would_open_them() {
    let folder = with_vessel("check_places");
    edit(&folder.join("vessel/tasks.csv"), "STOP,estop,10 ms", "STOP,estop,10 sm");
    let here = call(&folder, &["check", "vessel"]).expect(2);
    here.complains(&["--> vessel/tasks.csv:2:12"]);
    call(&folder.join("vessel"), &["check", "."]).expect(2).complains(&["tasks.csv:2:12"]);
    call(&folder, &["check", "vessel/../vessel/system.toml"]).expect(2).complains(&["vessel/../vessel/tasks.csv:2:12"]);
    let json = call(&folder, &["check", "vessel", "--format", "json"]).expect(2).json();
    assert_eq!(json["diagnostics"][0]["file"], "tasks.csv", "reports count from the system's folder");
}

#[test]
fn another_plan_is_judged_where_it_is_given() {
    let folder = with_vessel("check_other_plan");
    // The windows of RECD as two of 10 ms: the same budget, and too late for two tasks: 54.5 and 91.0 ms by the vessel's
    // description.
    let plan = read(&folder.join("vessel/plan.toml"));
    let old = "start = \"9 ms\"\nlength = \"4 ms\"\nevery = \"20 ms\"";
    assert!(plan.contains(old));
    let window = |start| format!("start = \"{start} ms\"\nlength = \"10 ms\"");
    let second = format!("\n\n[[window]]\ncore = \"2\"\npartition = \"RECD\"\n{}", window(49));
    let plan = plan.replace(old, &(window(9) + &second));
    std::fs::create_dir(folder.join("plans")).expect("a new folder");
    write(&folder.join("plans/other.toml"), plan);
    let answer = call(&folder, &["check", "vessel", "--plan", "plans/other.toml", "--format", "json"]).expect(1).json();
    assert_eq!(verdict(&answer, "response/RECD.writer")["bound"], 54_518_000);
    let inputs = answer["baseline"]["inputs"].as_array().expect("a list");
    assert_eq!(inputs.last().expect("the plan comes last")["name"], "../plans/other.toml");
    let text = call(&folder, &["check", "vessel", "--plan", "plans/other.toml"]).expect(1);
    assert!(text.out.contains("response/RECD.writer  54.518 ms, limit ≤ 50 ms"), "{}", text.out);
}

#[test]
fn a_plan_for_another_state_of_the_system_is_only_a_warning() {
    let folder = with_starter("check_digest");
    let plan = folder.join("ramp/plan.toml");
    let made_for = format!("[plan]\nmade_for = \"sha256:{}\"\n\n{}", "0".repeat(64), read(&plan));
    write(&plan, made_for);
    let text = call(&folder, &["check", "ramp"]).expect(0);
    text.complains(&["warning[W0501]", "--> ramp/plan.toml:2:12"]);
    assert!(text.out.contains("MADE FOR ANOTHER SYSTEM"), "{}", text.out);
    let json = call(&folder, &["check", "ramp", "--format", "json"]).expect(0).json();
    assert_eq!((codes(&json), &json["baseline"]["plan_matches"]), (vec!["W0501"], &Value::Bool(false)));
}

#[test]
fn an_accepted_claim_passes_until_its_date_and_is_listed_first() {
    let folder = with_starter("check_accepted");
    let system = folder.join("ramp/system.toml");
    edit(&system, "wcet = \"8 ms\"", "wcet = \"80 ms\"");
    call(&folder, &["check", "ramp"]).expect(1);
    let sound = read(&system);
    let accepted = |until: &str| {
        let entry = |claim: &str| {
            format!(
                "\n[[accepted]]\nclaim = \"{claim}\"\nreason = \"a newer log\"\nowner = \"A. Integrator\"\nuntil = {until}\n"
            )
        };
        let claims = ["response/DIAG.log", "margin/partition/DIAG", "response/RAMP.lamps"];
        write(&system, sound.clone() + &claims.map(entry).concat());
    };
    accepted("2999-12-31");
    let holds = call(&folder, &["check", "ramp"]).expect(0);
    let first = holds.out.find("Accepted deviations: 3").expect("they are listed");
    assert!(holds.out.find("Claims").is_some_and(|claims| first < claims), "{}", holds.out);
    assert!(holds.out.contains("The claim holds again: the acceptance can go."), "{}", holds.out);
    accepted("2001-01-01");
    let past = call(&folder, &["check", "ramp"]).expect(1);
    assert!(past.out.contains("Its last day has passed: it excuses nothing any more."), "{}", past.out);
}

#[test]
fn more_and_less_can_be_asked_for() {
    let folder = with_vessel("check_detail");
    grow(&folder.join("vessel/tasks.csv"), "OBJT", 8);
    let lines = |option: &[&str]| call(&folder, &[&["check", "vessel"], option].concat()).expect(1).out;
    let [quiet, usual, all] = [&["--quiet"][..], &[], &["--all"]].map(lines);
    assert!(quiet.lines().count() < 140 && quiet.contains("\nviolated      response/OBJT.trk\n"), "{quiet}");
    assert!(!quiet.contains("response/STOP.estop") && !usual.contains("response/STOP.estop"), "{usual}");
    assert!(all.contains("response/STOP.estop"), "{all}");
}
