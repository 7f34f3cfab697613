//! `draft`: what was put into the survey vessel is found again in a recording of its simulated run; what is wrong with a call.

use crate::common::*;
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// The rows of a table of the vessel, by column. Quotes stand only around the last columns, which are not asked for.
fn rows(file: &str) -> Vec<BTreeMap<String, String>> {
    let text = read(&root().join("examples/survey-vessel").join(file));
    let mut lines = text.lines().map(|line| line.split(',').map(str::to_owned).collect::<Vec<_>>());
    let head = lines.next().expect("the table has a head");
    lines.map(|cells| head.iter().cloned().zip(cells).collect()).collect()
}

fn ns(text: &str) -> u64 {
    text.parse::<quantity::Duration>().expect("a time").ns()
}

/// A folder with `run.csv`: two seconds of the vessel, in which jobs execute for no longer than their WCET, since nothing stalls
/// on memory and a switch between tasks takes no time.
fn recorded(name: &str) -> PathBuf {
    let folder = with_vessel(name);
    edit(&folder.join("vessel/system.toml"), "context_switch = \"4 us\"", "context_switch = \"0 us\"");
    let tasks = folder.join("vessel/tasks.csv");
    let quiet = |line: &str| {
        let mut cells: Vec<&str> = line.split(',').collect();
        if cells[7] != "line_requests" {
            cells[7] = "0";
        }
        cells.join(",")
    };
    write(&tasks, read(&tasks).lines().map(quiet).collect::<Vec<_>>().join("\n") + "\n");
    call(&folder, &["simulate", "vessel", "--for", "2s", "--record", "run.csv"]).expect(0);
    folder
}

/// What a recording does not tell of the vessel's channels.
fn channel_map(folder: &Path) {
    let entry = |row: &BTreeMap<String, String>| {
        let depth = if row["depth"].is_empty() { String::new() } else { format!("depth = {}\n", row["depth"]) };
        format!(
            "[[channel]]\nname = \"{}\"\nkind = \"{}\"\nsize = \"{}\"\n{depth}",
            row["name"], row["kind"], row["size"]
        )
    };
    write(&folder.join("map.toml"), rows("channels.csv").iter().map(entry).collect::<String>());
}

fn measured(answer: &Value) -> BTreeMap<&str, &Value> {
    let tasks = answer["measured"].as_array().expect("a list");
    tasks.iter().map(|task| (task["task"].as_str().expect("a name"), task)).collect()
}

#[test]
fn the_vessel_is_found_again_in_its_recording_and_the_draft_can_be_checked() {
    let folder = recorded("draft_vessel");
    channel_map(&folder);
    let answer =
        call(&folder, &["draft", "run.csv", "--map", "map.toml", "--out", "d", "--format", "json"]).expect(0).json();
    let measured = measured(&answer);
    let tasks = rows("tasks.csv");
    assert_eq!(measured.len(), tasks.len());
    for task in &tasks {
        let label = format!("{}.{}", task["partition"], task["name"]);
        let seen = measured[label.as_str()];
        assert_eq!(seen["period_ns"], ns(&task["period"]), "{label}");
        assert_eq!(seen["jitter_ns"], 0, "{label}");
        let [least, most] = ["least_ns", "most_ns"].map(|key| seen["execution"][key].as_u64().expect("it was seen"));
        assert!(ns(&task["bcet"]) <= least && least <= most && most <= ns(&task["wcet"]), "{label}: {seen}");
    }
    let system = read(&folder.join("d/system.toml"));
    for channel in rows("channels.csv") {
        let (name, from) = (&channel["name"], &channel["from"]);
        let (_, entry) =
            system.split_once(&format!("\nname = \"{name}\"\n")).unwrap_or_else(|| panic!("{name}:\n{system}"));
        let entry = entry.split("[[").next().expect("it has an end");
        let to: Vec<String> = channel["to"].split(';').map(|end| format!("\"{}\"", end.trim())).collect();
        let ends = [format!("from = \"{from}\""), format!("to = [{}]", to.join(", "))];
        assert!(ends.iter().all(|end| entry.lines().any(|line| line == end)), "{name}: {ends:?}\n{entry}");
    }
    let check = call(&folder, &["check", "d", "--allow-not-analysed", "--format", "json"]).expect(0).json();
    assert_eq!(check["diagnostics"].as_array().expect("a list").iter().filter(|d| d["severity"] == "error").count(), 0);
    // The plan that was recorded had 4 cores and 12 partitions, each in windows of its own.
    let windows: Vec<_> = verdicts(&check).iter().filter(|verdict| verdict["kind"] == "window").collect();
    assert_eq!(windows.len(), 4 + 12);
    assert!(windows.iter().all(|verdict| verdict["status"] == "shown"), "{windows:#?}");
    assert!(read(&folder.join("d/measured.csv")).contains("\nNAVF.imu,arrivals,2,10000000,10000000,ns,199\n"));
}

#[test]
fn a_gap_changes_no_period_and_is_told() {
    let folder = recorded("draft_gap");
    let text = read(&folder.join("run.csv"));
    let at = |line: &str| line.split(',').next().and_then(|at| at.parse::<u64>().ok());
    let kept = text.lines().filter(|line| at(line).is_none_or(|at| !(703_000_000..1_114_000_000).contains(&at)));
    let mut lines: Vec<&str> = kept.collect();
    let behind = lines.iter().position(|line| at(line).is_some_and(|at| at >= 1_114_000_000)).expect("the run goes on");
    lines.insert(behind, "1113999999,,lost,,900");
    write(&folder.join("run.csv"), lines.join("\n") + "\n");
    let answer = call(&folder, &["draft", "run.csv", "--out", "d", "--format", "json"]).expect(0).json();
    assert!(answer["gaps"].as_u64().is_some_and(|gaps| gaps >= 1), "{answer}");
    let measured = measured(&answer);
    for task in rows("tasks.csv") {
        let label = format!("{}.{}", task["partition"], task["name"]);
        let seen = measured[label.as_str()];
        assert_eq!(
            (&seen["period_ns"], &seen["jitter_ns"]),
            (&ns(&task["period"]).into(), &0.into()),
            "{label}: {seen}"
        );
        assert!(seen["execution"]["most_ns"].as_u64().is_some_and(|most| most <= ns(&task["wcet"])), "{label}: {seen}");
    }
    call(&folder, &["check", "d", "--allow-not-analysed"]).expect(0);
}

#[test]
fn the_answer_says_what_was_left_out_and_what_stays_unknown() {
    let folder = scratch("draft_text");
    let text = root().join("crates/trace/tests/recorded/perf-loads.txt");
    write(&folder.join("map.toml"), "[[thread]]\nname = \"urgent*\"\ntask = \"NAV.ctl\"\njobs = true\n");
    let run = call(&folder, &["draft", text.to_str().expect("text"), "--map", "map.toml", "--out", "d"]).expect(0);
    for part in
        ["Declared: 1 of 1 partitions", "left out, as nobody maps it", "Unknown, and what each decides", "is no WCET"]
    {
        assert!(run.out.contains(part), "`{part}` is missing from\n{}", run.out);
    }
    call(&folder, &["check", "d", "--allow-not-analysed"]).expect(0);
}

#[test]
fn what_is_wrong_with_a_call_is_told_before_anything_is_written() {
    let folder = scratch("draft_wrong");
    let text = root().join("crates/trace/tests/recorded/ftrace.txt");
    let text = text.to_str().expect("text");
    write(&folder.join("map.toml"), "[[thread]]\nname = \"nobody\"\ntask = \"NAV.ctl\"\n");
    write(&folder.join("empty.toml"), "\n");
    write(&folder.join("bad.toml"), "[[thread]]\nname = \"nav*\"\n");
    write(&folder.join("empty.csv"), "");
    for (words, parts) in [
        (&["draft", text, "--out", "d"][..], &["--map", "names a partition or task"][..]),
        (&["draft", text, "--map", "empty.toml", "--out", "d"], &["names a partition or task"]),
        (&["draft", text, "--map", "map.toml", "--out", "d"], &["nothing to draft", "record for longer"]),
        (&["draft", text, "--map", "none.toml", "--out", "d"], &["there is no map file `none.toml`"]),
        (&["draft", "empty.csv", "--out", "d"], &["empty.csv is empty"]),
        (&["draft", text], &["--out"]),
    ] {
        let run = call(&folder, words).expect(2);
        run.complains(parts);
        assert!(run.out.is_empty() && !folder.join("d").exists(), "{words:?}");
    }
    write(&folder.join("bad.toml"), "[[thread]]\nname = \"nav*\"\ntask = \"NAV.ctl\"\npartition = \"NAV\"\n");
    call(&folder, &["draft", text, "--map", "bad.toml", "--out", "d"]).expect(2).complains(&["E1101", "bad.toml:1"]);
    std::fs::create_dir(folder.join("full")).expect("it is new");
    write(&folder.join("full/a"), "mine");
    call(&folder, &["draft", text, "--map", "map.toml", "--out", "full"]).expect(2).complains(&["full is not empty"]);
}
