//! What is found again: values put into recordings by hand, so that each expected number is plain from the recording.

use crate::common::*;
use model::System;
use model::system::{ProvenanceClass, Task};
use quantity::Duration;

fn task<'a>(system: &'a System, label: &str) -> &'a Task {
    let id = system.task_ids().find(|id| system.task_label(*id) == label);
    system.task(id.unwrap_or_else(|| panic!("{label} is declared")))
}

fn us(us: u64) -> Duration {
    Duration::from_us(us)
}

const CHANNEL: &str = "[[channel]]\nname = \"DATA\"\nkind = \"sampling\"\nsize = \"64 B\"\n";

#[test]
fn names_said_in_the_words_of_a_plan_define_themselves_and_their_numbers_are_found_again() {
    let (draft, system) = draft(CHANNEL, &table(&pair()));
    assert_eq!(draft.declared, [(2, 2), (2, 2), (1, 1)]);
    let (work, log) = (task(&system, "A.work"), task(&system, "B.log"));
    assert_eq!((work.period.value, log.period.value), (Duration::from_ms(10), Duration::from_ms(20)));
    assert_eq!(work.jitter.map(|jitter| jitter.value), Some(Duration::ZERO));
    assert_eq!(work.wcet.map(|wcet| wcet.value), Some(us(1_390)), "the last of 40 jobs");
    assert_eq!(log.wcet.map(|wcet| wcet.value), Some(us(945)));
    let provenance = &work.provenance.as_ref().expect("it is given").value;
    assert_eq!((provenance.class, provenance.samples), (ProvenanceClass::Measured, Some(40)));
    assert_eq!(system.frame.value, Duration::from_ms(10));
    assert_eq!(system.platform.switch.map(|switch| switch.value), Some(us(55)), "the longer head, with work waiting");
    for budget in ["4 ms", "5 ms"] {
        assert!(draft.system.contains(&format!("period = \"10 ms\"\nbudget = \"{budget}\"\n")), "{}", draft.system);
    }
    let channel = &system.channels[0];
    assert_eq!((channel.name.value.as_str(), channel.size.value.get()), ("DATA", 64));
    assert!(
        draft.system.contains("from = \"A.work\"\n") && draft.system.contains("to = [\"B.log\"]\n"),
        "{}",
        draft.system
    );
    assert!(
        draft.plan.contains("partition = \"B\"\nstart = \"5 ms\"\nlength = \"5 ms\"\nevery = \"10 ms\""),
        "{}",
        draft.plan
    );
    assert!(draft.measured.contains("\nA.work,arrivals,3,20000000,20000000,ns,38\n"), "{}", draft.measured);
    assert!(draft.measured.contains("\nA.work,execution,,1000000,1390000,ns,40\n"), "{}", draft.measured);
}

#[test]
fn what_no_recording_tells_is_left_out_and_listed() {
    let (draft, system) = draft("", &table(&pair()));
    let channel = draft.unknown.iter().find(|unknown| unknown.of == "channel DATA").expect("it is listed");
    assert!(channel.what.starts_with("kind, size"), "{}", channel.what);
    assert!(system.channels.is_empty() && draft.system.contains("# name = \"DATA\""), "{}", draft.system);
    let work = task(&system, "A.work");
    assert!(work.priority.is_none() && work.bcet.is_none() && work.line_requests.is_none());
    assert!(system.platform.refill.is_none() && system.partitions[0].ram.is_none());
    for what in ["deadline", "WCET", "priorities", "memory"] {
        assert!(draft.unknown.iter().any(|unknown| unknown.what.contains(what)), "{what}");
    }
}

/// A gap cuts rows of arrivals and drops the jobs within it; the numbers beside it stay.
#[test]
fn nothing_is_measured_across_a_gap() {
    let mut rows = pair();
    let lost = |row: &String| {
        row.split(',').next().is_some_and(|at| (200_000_001..250_000_000).contains(&at.parse::<u64>().unwrap()))
    };
    rows.retain(|row| !lost(row));
    let at = rows.iter().position(|row| row.starts_with("250000000,,arrives")).expect("it is there");
    rows.insert(at, "249999999,,lost,,30".to_owned());
    let text = table(&rows);
    let (draft, measures, _) = try_draft("", &text).expect("there is enough");
    let system = reads(&draft);
    let work = task(&system, "A.work");
    assert_eq!((work.period.value, work.jitter.map(|j| j.value)), (Duration::from_ms(10), Some(Duration::ZERO)));
    // Arrivals 0 to 20 and 25 to 39: 20 and 14 steps, none of 50 ms.
    assert_eq!(measures.tasks[0].arrivals.curve.steps(1).samples, 34);
    assert_eq!(measures.tasks[0].arrivals.curve.steps(1).range(), Some((10_000_000, 10_000_000)));
    // Job 20 had arrived when events were lost.
    assert_eq!(measures.tasks[0].execution.samples, 35);
    assert!(draft.system.contains(", 1 gap.\n"), "{}", draft.system);
}

#[test]
fn arrivals_without_a_period_are_sporadic_and_few_tell_nothing() {
    let mut rows = Vec::new();
    for (number, at) in [0_u64, 3, 11, 14, 40, 43, 44, 90, 95].into_iter().enumerate() {
        let at = at * 1_000_000;
        rows.push(format!("{at},,arrives,A.odd,{number}"));
        rows.push(format!("{},0,runs,A.odd,{number}", at + 1_000));
        rows.push(format!("{},,completes,A.odd,{number}", at + 500_000));
        rows.push(format!("{},0,idles,,", at + 500_000));
    }
    rows.push("99000000,,arrives,A.rare,0".to_owned());
    let (draft, system) = draft("", &table(&rows));
    let odd = task(&system, "A.odd");
    assert!(odd.sporadic && odd.period.value == Duration::from_ms(1), "{}", draft.system);
    assert_eq!(draft.declared[1], (1, 2));
    assert!(draft.unknown.iter().any(|unknown| unknown.of == "A.rare" && unknown.what.starts_with("period")));
    assert!(draft.system.contains("# name = \"rare\""), "{}", draft.system);
}

/// Restarts and queues: outages are measured, and a message that finds no room shows a queue.
#[test]
fn restarts_and_overflows_are_told() {
    let mut rows = pair();
    // Right behind the arrivals of those instants.
    for (at, row) in [(100, "restarts_warm,B,"), (110, "operational,B,"), (120, "overflows,DATA,")] {
        let begin = format!("{at}000000,");
        let index = rows.iter().position(|row| row.starts_with(&begin)).expect("a job arrives");
        rows.insert(index + 1, format!("{begin},{row}"));
    }
    let map = "[[channel]]\nname = \"DATA\"\nsize = \"64 B\"\ndepth = 4\n";
    let (draft, system) = draft(map, &table(&rows));
    assert!(draft.system.contains("# measured: 1 start warm, operational again after 10 ms"), "{}", draft.system);
    assert!(draft.system.contains("# measured: 1 message found no room, so it is a queue"), "{}", draft.system);
    assert_eq!(system.channels.len(), 1);
}

/// A real kernel's recording of loads of known periods: threads become tasks by the map alone, and all others are left out. The
/// values are those of `tests/outside/perf_check.py`, a reader of its own.
#[test]
fn threads_of_scheduler_text_are_tasks_by_the_map() {
    let text = include_str!("../recorded/perf-loads.txt");
    let map = "[[thread]]\nname = \"urgent load\"\ntask = \"NAV.ctl\"\njobs = true\n[[thread]]\nname = \"load [0] 2\"\ntask = \"LOG.save\"\njobs = true\n";
    let (draft, system) = draft(map, text);
    assert_eq!(system.partitions.iter().map(|p| p.name.value.as_str()).collect::<Vec<_>>(), ["LOG", "NAV"]);
    for (name, period_ms, jitter_ns) in [("NAV.ctl", 7, 29_731), ("LOG.save", 10, 12_845)] {
        let task = task(&system, name);
        let jitter = task.jitter.as_ref().map(|jitter| jitter.value);
        assert_eq!((task.period.value, jitter), (Duration::from_ms(period_ms), Some(Duration::from_ns(jitter_ns))));
    }
    for row in ["NAV.ctl,execution,,552592,570807,ns,14", "LOG.save,execution,,2054748,2083181,ns,9"] {
        assert!(draft.measured.contains(&format!("\n{row}\n")), "{}", draft.measured);
    }
    let why = try_draft("", text).expect_err("nobody is named");
    assert!(why.contains("--map") && why.contains("[[thread]]"), "{why}");
}

#[test]
fn what_is_wrong_with_a_map_is_told_at_its_place() {
    let why = try_draft("[[thread]]\nname = \"a\"\ntask = \"A.work\"\njob = true\n", &table(&pair()))
        .expect_err("no such key");
    assert!(why.contains("`job`") && why.contains("map.toml:4"), "{why}");
    let why = try_draft("[[thread]]\nname = \"a\"\ntask = \"A/b.work\"\n", &table(&pair())).expect_err("no such name");
    assert!(why.contains("A/b.work"), "{why}");
    let why = try_draft("", &format!("{HEAD}0,0,idles,,\n")).expect_err("nobody is named");
    assert!(why.contains("names a partition or task"), "{why}");
}
