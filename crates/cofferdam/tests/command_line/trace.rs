//! `trace`: recordings that pass, that break one rule, that are above a bound, and calls that are wrong.

use crate::common::*;
use serde_json::Value;
use std::path::Path;
use std::process::Stdio;
use std::time::Duration;

/// The vessel, with a run of it recorded as `run.csv`.
fn recorded(name: &str, more: &[&str]) -> std::path::PathBuf {
    let folder = with_vessel(name);
    let words = [&["simulate", "vessel", "--for", "400ms", "--record", "run.csv"], more].concat();
    call(&folder, &words).expect(0);
    folder
}

fn judged(folder: &Path, more: &[&str]) -> Run {
    judged_within("0 ns", folder, more)
}

fn judged_within(tolerance: &str, folder: &Path, more: &[&str]) -> Run {
    let words = ["trace", "vessel", "run.csv", "--tolerance", tolerance, "--allow-not-analysed", "--format", "json"];
    call(folder, &[&words, more].concat())
}

fn violated(answer: &Value) -> Vec<&str> {
    let findings = answer["findings"].as_array().expect("a list").iter();
    findings.filter(|found| found["status"] == "violated").map(|found| found["id"].as_str().expect("an id")).collect()
}

/// The first line that ends so is changed.
fn change(folder: &Path, end: &str, change: impl Fn(&str) -> String) {
    let file = folder.join("run.csv");
    let text = read(&file);
    let line = text.lines().find(|line| line.ends_with(end)).expect("such a line");
    write(&file, text.replacen(&format!("\n{line}\n"), &format!("\n{}\n", change(line)), 1));
}

/// The same line, so many nanoseconds later.
fn later(line: &str, by_ns: u64) -> String {
    let (at, rest) = line.split_once(',').expect("columns");
    format!("{},{rest}", at.parse::<u64>().expect("an instant") + by_ns)
}

#[test]
fn a_recording_that_the_simulator_wrote_passes() {
    let folder = recorded("trace-clean", &[]);
    let answer = judged(&folder, &[]).expect(0).json();
    assert_eq!(violated(&answer), [""; 0]);
    assert_eq!(answer["sources"][0]["matters"], serde_json::json!([]), "nothing is the matter with it");
    assert_eq!((&answer["coverage"]["gaps"], &answer["coverage"]["frames"]), (&0.into(), &4.into()));
    let kept = answer["findings"].as_array().expect("a list").iter().filter(|found| found["status"] == "kept").count();
    assert!(kept > 150, "{kept} rules were kept");
    let text = call(&folder, &["trace", "vessel", "run.csv", "--tolerance", "0 ns"]).expect(1).out;
    let coverage = text.find("What the recording covers").expect("coverage");
    assert!(coverage < text.find("Kept in this recording").expect("what is kept"), "coverage comes first");
    assert!(text.contains("A clean recording is not a proof"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
}

#[test]
fn the_nacelle_controller_s_recording_passes_too() {
    let folder = scratch("trace-nacelle");
    let nacelle = root().join("examples/nacelle-controller").display().to_string();
    call(&folder, &["simulate", &nacelle, "--record", "run.csv"]).expect(0);
    let words = ["trace", &nacelle, "run.csv", "--tolerance", "0 ns", "--allow-not-analysed", "--format", "json"];
    assert_eq!(violated(&call(&folder, &words).expect(0).json()), [""; 0]);
}

#[test]
fn a_window_one_step_beyond_its_tolerance_is_found_and_one_within_it_is_not() {
    let folder = recorded("trace-window", &[]);
    // The first window of MAIN is moved; nothing else happens on its core between.
    change(&folder, ",3,window_begins,MAIN,", |line| later(line, 500));
    let answer = judged_within("500 ns", &folder, &["--frame-at", "0 ns"]).expect(0).json();
    assert_eq!(violated(&answer), [""; 0]);
    let answer = judged_within("499 ns", &folder, &["--frame-at", "0 ns"]).expect(1).json();
    assert_eq!(violated(&answer), ["window-start/MAIN"]);
}

#[test]
fn a_response_above_its_bound_is_an_alarm_with_a_scenario_to_replay() {
    let folder = recorded("trace-alarm", &[]);
    // STOP.estop's deadline is 10 ms and its bound 9.378 ms: a completion between is no miss, and cannot be.
    change(&folder, ",completes,STOP.estop,7", |line| {
        let (_, rest) = line.split_once(',').expect("columns");
        format!("79500000,{rest}")
    });
    let run = judged(&folder, &[]).expect(3);
    assert!(violated(&run.json()).iter().all(|id| !id.starts_with("deadline/")), "{:?}", violated(&run.json()));
    run.complains(&[
        "internal alarm: response/STOP.estop was seen at 9500000 ns, above its bound 9378000 ns",
        "[[job]]",
    ]);
    let (_, scenario) = run.err.split_once(":\n\n").expect("a scenario file");
    write(&folder.join("cut.toml"), scenario);
    call(&folder, &["simulate", "vessel", "--scenario", "cut.toml"]).expect(0);
}

#[test]
fn a_chain_above_its_bound_is_an_alarm_with_the_jobs_of_all_its_partitions() {
    let folder = recorded("trace-chain", &[]);
    // Ten jobs of the emergency stop in a row write nothing: what they read comes out 100 ms late, and cannot.
    let file = folder.join("run.csv");
    let is_lost = |line: &&str| (7..17).any(|number| line.ends_with(&format!(",writes,CH01,{number}")));
    let kept: Vec<String> = read(&file).lines().filter(|line| !is_lost(line)).map(|line| format!("{line}\n")).collect();
    write(&file, kept.concat());
    let run = judged(&folder, &[]).expect(3);
    let answer = run.json();
    assert!(violated(&answer).contains(&"reaction/E1"), "{:?}", violated(&answer));
    let rows = answer["beside_bounds"].as_array().expect("a list").iter();
    let row = |row: &Value| format!("{} {} {}", row["claim"], row["unit"], row["alarm"]);
    let alarms: Vec<String> = rows.map(row).filter(|row| row.ends_with("true")).collect();
    assert_eq!(alarms, ["refresh/CH01", "reaction/E1", "data_age/E1"].map(|claim| format!("{claim:?} \"ns\" true")));
    let (_, scenario) = run.err.split_once(":\n\n").expect("a scenario file");
    let (scenario, _) = scenario.split_once("internal alarm").expect("a second alarm");
    for partition in ["STOP.estop", "PROP.ctrl"] {
        assert!(scenario.contains(&format!("task = \"{partition}\"")), "{scenario}");
    }
    write(&folder.join("cut.toml"), scenario);
    call(&folder, &["simulate", "vessel", "--scenario", "cut.toml"]).expect(0);
}

#[test]
fn what_a_fault_did_to_others_stands_in_three_spans() {
    let folder = recorded("trace-spans", &["--fault", "crash:NAVF@200ms,start=warm"]);
    let answer = judged(&folder, &["--shift", "20 ms"]).json();
    let spans = &answer["spans"];
    assert_eq!(spans["from_ns"], 200_000_000);
    let victims = spans["victims"].as_array().expect("a list");
    let of = |victim: &Value| victim["of"].as_str().expect("a name").to_owned();
    assert!(victims.iter().all(|victim| !of(victim).contains("NAVF.")), "the faulty one is no victim");
    let estop = victims.iter().find(|victim| of(victim) == "response of STOP.estop").expect("a victim");
    assert_eq!(estop["before"]["values"], 20, "one in each 10 ms");
    assert!(answer["beside_bounds"].as_array().expect("a list").iter().all(|one| one["alarm"] == false));
}

#[test]
fn a_report_takes_a_recording_up_with_its_drawings() {
    let folder = recorded("trace-report", &["--fault", "crash:NAVF@200ms,start=warm"]);
    let words =
        ["report", "vessel", "--out", "out", "--allow-not-analysed", "--recording", "run.csv", "--shift", "1 ms"];
    call(&folder, &[&words[..], &["--tolerance", "0 ns", "--fault-to", "300 ms"]].concat()).expect(1);
    let report = read(&folder.join("out/report.html"));
    for said in [
        " before, during and after the fault</title>",
        "<title>How often which execution of ",
        "<title>How rarely which execution of ",
        "A clean recording is not a proof",
        "which lasted from 200 ms to 300 ms",
        "none of them is a worst-case time",
    ] {
        assert!(report.contains(said), "`{said}` is missing from the report");
    }
    let answer: Value = serde_json::from_str(&read(&folder.join("out/recording.json"))).expect("JSON");
    // The crash is noticed 20 ms later: the job that arrived with it, which has 10 ms, is late then.
    assert_eq!(violated(&answer), ["deadline/NAVF.imu"]);
    let samples = answer["samples"].as_array().expect("a list");
    assert_eq!(samples.len(), 2 * 39, "a response and an execution of every task");
    call(&folder, &["report", "vessel", "--out", "out", "--map", "map.toml"]).expect(2).complains(&["--recording"]);
}

#[test]
fn a_report_with_an_observation_above_its_bound_ends_as_an_alarm() {
    let folder = recorded("trace-report-alarm", &[]);
    change(&folder, ",completes,STOP.estop,7", |line| {
        let (_, rest) = line.split_once(',').expect("columns");
        format!("79500000,{rest}")
    });
    let words = ["report", "vessel", "--out", "out", "--allow-not-analysed", "--recording", "run.csv"];
    call(&folder, &words).expect(3).complains(&["internal alarm: response/STOP.estop"]);
    assert!(read(&folder.join("out/report.html")).contains("ALARM: response/STOP.estop was seen at 9.5 ms"));
}

#[test]
fn a_rehearsal_s_recording_is_never_set_beside_bounds() {
    let folder = recorded("trace-rehearsal", &[]);
    write(&folder.join("map.toml"), "rehearsal = true\n");
    let answer = judged(&folder, &["--map", "map.toml"]).expect(0).json();
    assert_eq!(answer["beside_bounds"], serde_json::json!([]));
    assert!(answer["rehearsal"].as_str().is_some_and(|said| said.contains("no statement about the target")));
    let words = ["trace", "vessel", "run.csv", "--tolerance", "0 ns", "--map", "map.toml", "--allow-not-analysed"];
    let said = call(&folder, &words).expect(0).out;
    assert!(
        said.split_whitespace().collect::<Vec<_>>().join(" ").contains("it is no statement about the target"),
        "{said}"
    );
}

#[test]
fn gaps_and_broken_lines_are_said_and_never_bridged() {
    let folder = recorded("trace-gaps", &[]);
    change(&folder, ",runs,OBJT.radar,1", |line| format!("x{line}"));
    let answer = judged(&folder, &[]).json();
    assert_eq!(violated(&answer), [""; 0], "what is lost is no violation");
    assert_ne!(answer["coverage"]["gaps"], 0);
    let matters = answer["sources"][0]["matters"].to_string();
    assert!(matters.contains("run.csv:"), "{matters}");
}

#[test]
fn a_recording_of_something_else_passes_by_no_allowance() {
    let folder = with_vessel("trace-other");
    write(
        &folder.join("run.csv"),
        "time_ns,core,event,who,number\n0,,arrives,HARBOUR.crane,0\n5,,completes,HARBOUR.crane,0\n",
    );
    let run = judged(&folder, &[]).expect(1);
    run.complains(&["nothing of this system was judged", "--map"]);
}

#[test]
fn wrong_calls_name_every_mistake() {
    let folder = recorded("trace-wrong", &[]);
    write(&folder.join("empty.csv"), "");
    write(&folder.join("other.bin"), [0x7F, 0x45, 0x4C, 0x46]);
    let wrong = ["missing.csv", "empty.csv", "other.bin", "vessel"];
    let run = call(&folder, &[&["trace", "vessel"][..], &wrong].concat()).expect(2);
    run.complains(&[
        "cannot read missing.csv",
        "empty.csv is empty",
        "other.bin is in no known format",
        "vessel is a folder",
    ]);
    let map = "[[thread]]\nname = \"a\"\ntask = \"NAVF.ima\"\n\n[[thread]]\nname = \"b\"\n\n[[cpu]]\nnumber = 1\ncore = \"7\"\n";
    write(&folder.join("map.toml"), map);
    let run = call(&folder, &["trace", "vessel", "run.csv", "--map", "map.toml"]).expect(2);
    run.complains(&["NAVF.imu", "E1101", "there is no core `7`", "map.toml:"]);
    call(&folder, &["trace", "vessel", "run.csv", "--map", "none.toml"]).expect(2).complains(&["there is no map file"]);
    call(&folder, &["trace", "vessel", "run.csv", "--faulty", "NAVX"]).expect(2).complains(&["did you mean `NAVF`?"]);
}

/// Judging keeps nothing that is unfinished, so Ctrl-C and what a batch system sends end it at once, whoever reads.
#[test]
fn reading_ends_at_once_and_says_nothing_half() {
    let folder = with_vessel("trace-interrupted");
    // A line without an end, long enough that nobody reads it through; the file takes no room.
    for (name, head) in [("long.csv", "time_ns,core,event,who,number\n0,,fault_begins,x,\n"), ("long.txt", SWITCH)] {
        write(&folder.join(name), head);
        let file = std::fs::OpenOptions::new().write(true).open(folder.join(name)).expect("it was written");
        file.set_len(1 << 40).expect("files with holes");
        for end in ["-INT", "-TERM"] {
            let mut command = command(&folder, &["trace", "vessel", name]);
            let child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("it starts");
            let opened = Path::new("/proc").join(child.id().to_string()).join("fd");
            let is_open = || {
                let mut files = std::fs::read_dir(&opened).expect("its files").flatten();
                files.any(|one| std::fs::read_link(one.path()).is_ok_and(|file| file.ends_with(name)))
            };
            while !is_open() {
                std::thread::sleep(Duration::from_millis(10));
            }
            signal(&child, end);
            let run: Run = child.wait_with_output().expect("it ends").into();
            let run = run.expect(130);
            assert_eq!((run.out.as_str(), run.err.as_str()), ("", ""), "{name} {end}");
        }
    }
}

const SWITCH: &str = "  <idle>-0  [000] d..2.  100.000000: sched_switch: prev_comm=swapper/0 prev_pid=0 prev_prio=120 prev_state=R ==> \
                      next_comm=nav next_pid=1084 next_prio=52\n";
