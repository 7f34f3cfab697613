//! The nacelle controller: what is seeded is found, and nothing else of time is open.

use crate::common::*;
use serde_json::Value;

/// What no time analysis of this example may leave open.
const KINDS_OF_TIME: [&str; 12] = [
    "window",
    "response",
    "reaction",
    "data_age",
    "output_jitter",
    "refresh",
    "queue_depth",
    "margin",
    "boot",
    "restart",
    "health",
    "schedule_change",
];

/// Of both module schedules. The first two are seeded, and a queue that overflows has no growth; the rest is what a core
/// comes to on which an untrusted guest and others ask for memory as nobody declares.
const OPEN_IN_BOTH: [&str; 12] = [
    "queue_depth/VibrationBlock",
    "margin/port/VibrationBlock",
    "response/UPDT.fetch",
    "response/UPDT.offer",
    "queue_depth/UpdateOffer",
    "margin/partition/UPDT",
    "margin/port/UpdateOffer",
    "restart/UPDT/cold",
    "restart/UPDT/warm",
    "health/escalation/HMIP",
    "health/escalation/SCAD",
    "health/escalation/UPDT",
];

/// Of the schedule after boot: initialisation on that core may be throttled too.
const OPEN_ONCE: [&str; 4] = ["refresh/TowerDamping@Power production", "boot/HMIP", "boot/SCAD", "boot/UPDT"];

fn judged() -> Value {
    call(&root(), &["check", "examples/nacelle-controller", "--format", "json", "--allow-not-analysed"])
        .expect(1)
        .json()
}

fn ids(answer: &Value, holds: impl Fn(&Value) -> bool) -> Vec<String> {
    let all = answer["verdicts"].as_array().expect("a list").iter();
    let mut ids: Vec<_> = all.filter(|v| holds(v)).map(|v| v["id"].as_str().expect("a text").to_owned()).collect();
    ids.sort();
    ids
}

fn is_of_time(verdict: &Value) -> bool {
    let kind = verdict["kind"].as_str().expect("a text");
    KINDS_OF_TIME.contains(&kind) || kind == "forwarding"
}

#[test]
fn what_is_open_is_seeded_or_a_consequence_of_the_untrusted_guest() {
    let answer = judged();
    assert_eq!(answer["diagnostics"], Value::Array(Vec::new()));
    let schedules = ["Power production", "Service"];
    let in_both = OPEN_IN_BOTH.iter().flat_map(|id| schedules.map(|schedule| format!("{id}@{schedule}")));
    let mut expected: Vec<_> = in_both.chain(OPEN_ONCE.map(str::to_owned)).collect();
    expected.sort();
    let open = |v: &Value| is_of_time(v) && (v["status"] == "not_shown" || v["status"] == "violated");
    assert_eq!(ids(&answer, open), expected);
    assert_eq!(ids(&answer, |v| is_of_time(v) && v["status"] == "not_analysed"), [""; 0]);
    for kind in KINDS_OF_TIME.iter().chain(&["forwarding"]) {
        assert!(!ids(&answer, |v| v["kind"] == *kind).is_empty(), "nothing is claimed of {kind}");
    }
}

fn milliseconds(ns: &Value) -> String {
    let ns = ns.as_u64().expect("a number");
    let text = format!("{}.{:06}", ns / 1_000_000, ns % 1_000_000);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// The page states what the program finds.
#[test]
fn the_figures_of_its_page_are_those_found() {
    let (answer, page) = (judged(), read(&root().join("examples/nacelle-controller/README.md")));
    let verdict = |id: &str| {
        let all = answer["verdicts"].as_array().expect("a list");
        all.iter().find(|v| v["id"] == id).unwrap_or_else(|| panic!("no verdict {id}"))
    };
    let chains = ["reaction/E1", "data_age/E2", "reaction/E3", "reaction/E4", "data_age/E5"];
    for (chain, schedule) in chains.iter().flat_map(|chain| [(chain, "Power production"), (chain, "Service")]) {
        let found = verdict(&format!("{chain}@{schedule}"));
        let aware =
            if found["table_aware"].is_null() { "none".to_owned() } else { milliseconds(&found["table_aware"]) };
        let name = chain.rsplit('/').next().expect("a name");
        let row = format!(
            "| {name} | {schedule} | {} | {aware} | {} |",
            milliseconds(&found["generic"]),
            milliseconds(&found["limit"])
        );
        assert!(page.contains(&row), "the page lacks {row}");
    }
    let stale = format!("{} ms", milliseconds(&verdict("refresh/TowerDamping@Power production")["bound"]));
    let waiting = format!("{} blocks may wait", verdict("queue_depth/VibrationBlock@Service")["bound"]);
    let pitch = format!("{} ms after reset", milliseconds(&verdict("boot/PTCH")["bound"]));
    let back = format!("{} ms", milliseconds(&verdict("schedule_change/Service/Power production")["bound"]));
    for figure in [stale, waiting, pitch, back] {
        assert!(page.contains(&figure), "the page lacks {figure}");
    }
}

/// A report searches drawn runs, from boot and in every module schedule, for more than a bound allows.
#[test]
fn a_report_finds_nothing_above_a_bound_and_names_the_open_way() {
    let folder = scratch("nacelle-report");
    let nacelle = root().join("examples/nacelle-controller").display().to_string();
    call(&folder, &["report", &nacelle, "--out", "out", "--allow-not-analysed"]).expect(1);
    let report = read(&folder.join("out/report.html"));
    assert!(
        report.contains("device `eMMC0` flows from Z-EXT to Z-DRIVE")
            || report.contains("<code>eMMC0</code> flows from Z-EXT")
    );
}

#[test]
fn what_a_reader_that_rests_leaves_in_its_queue_is_above_no_bound() {
    let nacelle = root().join("examples/nacelle-controller").display().to_string();
    let said = call(&root(), &["simulate", &nacelle, "--schedule", "Service", "--runs", "5"]).expect(1).out;
    assert!(said.contains("GearboxBlock to TOWR.fatigue") && !said.contains("above its bound"), "{said}");
}
