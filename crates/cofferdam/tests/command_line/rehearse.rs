//! `rehearse` on this machine, whatever it is and however loaded: what is recorded is whole, and nothing is left behind. How
//! well windows and jobs are kept is for nobody here to say.

use crate::common::*;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::thread::sleep;
use std::time::Duration;

const LOCK: &str = "examples/canal-lock";
/// The processes of one test are found by this variable, which they have from the program that started them.
const MARK: &str = "COFFERDAM_TEST_REHEARSAL";

/// A row of a table: instant, core, event, who, number.
type Row = (u64, String, String, String, String);

fn rows(file: &Path) -> Vec<Row> {
    let text = read(file);
    let row = |line: &str| {
        let cells: Vec<&str> = line.split(',').collect();
        let [at, core, event, who @ .., number] = &cells[..] else { panic!("{line}") };
        (at.parse().expect("an instant"), core.to_string(), event.to_string(), who.join(","), number.to_string())
    };
    text.lines().skip(1).map(row).collect()
}

/// How many processes have the mark of that value.
fn marked(value: &str) -> usize {
    let wanted = format!("{MARK}={value}");
    let processes = fs::read_dir("/proc").expect("the kernel tells of its processes").flatten();
    let environments = processes.filter_map(|process| fs::read(process.path().join("environ")).ok());
    environments.filter(|all| all.split(|byte| *byte == 0).any(|one| one == wanted.as_bytes())).count()
}

/// Waits until so many processes have the mark, a minute at most.
fn wait_for(value: &str, wanted: impl Fn(usize) -> bool) {
    for _ in 0..6_000 {
        if wanted(marked(value)) {
            return;
        }
        sleep(Duration::from_millis(10));
    }
    panic!("{} processes of {value} are there", marked(value));
}

#[test]
fn a_killed_partition_starts_again_and_everything_recorded_is_paired() {
    let out = scratch("rehearse_crash").join("seen");
    let words = ["rehearse", LOCK, "--for", "3s", "--fault", "crash:SLUC@500ms,start=cold", "--out"];
    let run = call(&root(), &[&words[..], &[out.to_str().expect("the path is text")]].concat());
    assert!([0, 1].contains(&run.status), "{}{}", run.out, run.err);
    for part in ["A rehearsal on another machine", "no statement about the target"] {
        assert!(run.out.replace("\n  ", " ").contains(part), "`{part}` is missing from\n{}", run.out);
    }
    assert!(!run.out.contains("ALARM"), "{}", run.out);

    let rows = rows(&out.join("recording.csv"));
    assert!(rows.windows(2).all(|pair| pair[0].0 <= pair[1].0), "the table is in the order of time");
    let of = |event: &str| rows.iter().filter(|row| row.2 == event).map(|row| row.3.as_str()).collect::<Vec<_>>();
    assert_eq!(of("restarts_cold"), ["SLUC"]);
    assert_eq!(of("operational"), ["SLUC"]);
    assert_eq!(of("fault_begins").len(), 1);
    assert_eq!(of("fault_begins"), of("fault_ends"));
    let place = |event: &str| rows.iter().position(|row| row.2 == event).expect("it is recorded");
    let order = ["frame", "fault_begins", "noticed", "restarts_cold", "operational", "fault_ends"].map(place);
    assert!(order.is_sorted(), "{order:?}");
    let again = rows[place("operational")..].iter().any(|row| row.2 == "completes" && row.3.starts_with("SLUC."));
    assert!(again, "jobs of the partition complete once it is there again");

    windows_are_paired(&rows);
    jobs_complete_once_and_after_their_arrival(&rows);
    // The same files are read by `trace`.
    let (table, map) = (out.join("recording.csv"), out.join("map.toml"));
    let again = call(&root(), &["trace", LOCK, table.to_str().expect("text"), "--map", map.to_str().expect("text")]);
    assert!([0, 1, 3].contains(&again.status), "{}{}", again.out, again.err);
    assert!(read(&out.join("judged.txt")).contains("rehearsal on another machine"));
}

/// The answer for programs is the judgement that the files get from `trace`, and says what it is.
#[test]
fn the_answer_in_json_is_that_of_the_files() {
    let out = scratch("rehearse_json").join("seen");
    let out = out.to_str().expect("the path is text");
    let words =
        ["--for", "2s", "--fault", "memory-burst:DIAG@1s,for=300ms", "--fault", "crash:SLUC@500ms", "--shift", "5 ms"];
    let run = call(&root(), &[&["rehearse", LOCK, "--format", "json", "--out", out], &words[..]].concat());
    assert!([0, 1].contains(&run.status), "{}{}", run.out, run.err);
    let answer = run.json();
    assert_eq!(answer["exit_status"], run.status);
    assert!(answer["rehearsal"].to_string().contains("no statement about the target"), "{answer:#}");
    assert_eq!(answer["faults"], serde_json::json!(["crash:SLUC@500ms", "memory-burst:DIAG@1s,for=300ms"]));
    assert_eq!(
        (&answer["span_ns"], &answer["interrupted"]),
        (&serde_json::json!(2_000_000_000_u64), &serde_json::json!(false))
    );
    assert!(
        answer["not_kept"].as_array().is_some_and(|all| all.iter().any(|one| one.to_string().contains("--tolerance")))
    );
    // The kernel's events, or why there are none.
    assert_ne!(answer["kernel"].is_null(), answer["no_kernel"].is_null());
    let names: Vec<String> = answer["written"].as_array().expect("files").iter().map(|file| file.to_string()).collect();
    assert_eq!(names.len(), if answer["kernel"].is_null() { 3 } else { 5 }, "{names:?}");

    let recorded = &answer["recorded"];
    let of = |list: &serde_json::Value, id: &str| {
        list.as_array().and_then(|all| all.iter().find(|one| one["id"] == id)).cloned()
    };
    let crash = of(&recorded["findings"], "outage/SLUC/warm").expect("a warm start is judged");
    assert_eq!(crash["seen"], 1, "{crash:#}");
    let faulty =
        recorded["spans"]["victims"].as_array().expect("there was a fault").iter().map(|one| one["of"].to_string());
    let told: Vec<String> = faulty.collect();
    assert!(told.iter().any(|of| of.contains("GATE")) && !told.iter().any(|of| of.contains("SLUC.")), "{told:?}");
    let again = call(
        &root(),
        &[
            "trace",
            LOCK,
            &format!("{out}/recording.csv"),
            "--map",
            &format!("{out}/map.toml"),
            "--format",
            "json",
            "--shift",
            "5 ms",
        ],
    );
    let again = again.json();
    assert_eq!((&again["findings"], &again["coverage"]), (&recorded["findings"], &recorded["coverage"]));
}

fn windows_are_paired(rows: &[Row]) {
    let mut open: BTreeMap<&str, &str> = BTreeMap::new();
    for (at, core, event, who, _) in rows {
        match event.as_str() {
            "window_begins" => assert_eq!(open.insert(core, who), None, "a window of core {core} is open at {at}"),
            "window_ends" => assert_eq!(open.remove(core.as_str()), Some(who.as_str()), "core {core} at {at}"),
            _ => {}
        }
    }
    assert!(open.is_empty(), "{open:?}");
}

fn jobs_complete_once_and_after_their_arrival(rows: &[Row]) {
    let mut arrived = BTreeSet::new();
    let mut completed = BTreeSet::new();
    for (_, _, event, who, number) in rows {
        match event.as_str() {
            "arrives" => assert!(arrived.insert((who, number)), "{who} {number} arrives twice"),
            "completes" => {
                assert!(arrived.contains(&(who, number)), "{who} {number} completes before it arrives");
                assert!(completed.insert((who, number)), "{who} {number} completes twice");
            }
            _ => {}
        }
    }
    let tasks: BTreeSet<&str> = completed.iter().map(|(who, _)| who.as_str()).collect();
    let all = ["DIAG.log", "GATE.ctl", "GATE.seal", "SLUC.ctl", "SLUC.pos", "TRAF.lights"];
    assert_eq!(tasks.into_iter().collect::<Vec<_>>(), all);
}

/// Ended in any way, no process of it stays.
#[test]
fn whatever_ends_a_rehearsal_leaves_no_process_behind() {
    for (signal, status) in [("INT", Some(130)), ("TERM", Some(130)), ("KILL", None)] {
        let mut command = command(&root(), &["rehearse", LOCK, "--for", "5min"]);
        let mut program =
            command.env(MARK, signal).stdout(Stdio::null()).stderr(Stdio::null()).spawn().expect("it starts");
        // The program itself and a process for each partition; some more where the kernel's events are recorded.
        wait_for(signal, |count| count >= 5);
        let sent = Command::new("kill").args([format!("-{signal}"), program.id().to_string()]).status();
        assert!(sent.expect("there is a `kill`").success());
        assert_eq!(program.wait().expect("it ends").code(), status, "{signal}");
        wait_for(signal, |count| count == 0);
        let instance = format!("/sys/kernel/tracing/instances/cofferdam-rehearsal-{}", program.id());
        assert!(!Path::new(&instance).exists(), "{signal}: {instance}");
    }
}

#[test]
fn what_cannot_be_rehearsed_is_refused_with_the_reason() {
    let taken = scratch("rehearse_taken");
    write(&taken.join("note"), "mine");
    let cases: [(&[&str], &[&str]); 8] = [
        (&["--fault", "core-stop:0@1s"], &["core-stop:0@1s", "a cpu of this machine cannot be made to stand"]),
        (&["--fault", "late-window:SLUC"], &["late-window:SLUC", "say nothing"]),
        (&["--fault", "restart-storm:SLUC,count=5000"], &["100 times at most", "count=10"]),
        (&["--fault", "crash:NOPE", "--fault", "crsh:SLUC"], &["`NOPE`", "did you mean `crash`?"]),
        (&["--fault", "crash:SLUC@9s"], &["the run ends at 5 s"]),
        (&["--for", "11min"], &["10 minutes at most"]),
        (&["--for", "1ms"], &["a frame of 100 ms at least"]),
        (&["--out", taken.to_str().expect("the path is text")], &["is not empty"]),
    ];
    for (words, parts) in cases {
        let run = call(&root(), &[&["rehearse", LOCK], words].concat()).expect(2);
        run.complains(parts);
        assert!(run.out.is_empty(), "{}", run.out);
        let in_json = call(&root(), &[&["rehearse", LOCK, "--format", "json"], words].concat()).expect(2).json();
        assert!(in_json["diagnostics"].as_array().is_some_and(|all| !all.is_empty()), "{in_json:#}");
    }
}

/// Called by hand, the process of a partition refuses what is not from `rehearse`.
#[test]
fn the_process_of_a_partition_is_for_nobody_else() {
    for input in ["", "{}\n", "nonsense\n"] {
        let mut child = command(&root(), &["rehearsal-process"])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("it starts");
        // One that has refused already does not listen any more.
        let _ = std::io::Write::write_all(&mut child.stdin.take().expect("it is piped"), input.as_bytes());
        let run: Run = child.wait_with_output().expect("it ends").into();
        run.expect(2).complains(&["order"]);
    }
}
