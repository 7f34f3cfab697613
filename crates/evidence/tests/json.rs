//! The answer for programs, held against the contract of the command line.

mod common;

use claim::Verdict;
use common::*;
use evidence::{Dossier, Inputs, json};
use jiff::civil::date;
use serde_json::Value;
use std::sync::Arc;

fn answer(dossier: &Dossier) -> Value {
    serde_json::from_str(&json::render(dossier)).expect("the answer is one JSON value")
}

fn find<'a>(answer: &'a Value, id: &str) -> &'a Value {
    let verdicts = answer["verdicts"].as_array().expect("a list");
    verdicts.iter().find(|v| v["id"] == id).expect("the verdict is there")
}

#[test]
fn the_answer_has_the_keys_of_the_contract() {
    let answer = answer(&dossier());
    assert_eq!(answer["schema_version"], 1);
    assert_eq!(answer["tool_version"], "0.1.0");
    assert_eq!(answer["exit_status"], 1);
    assert_eq!(answer["baseline"]["plan_matches"], true);
    assert_eq!(answer["baseline"]["system"], system().digest().to_string());
    assert_eq!(answer["baseline"]["inputs"][0]["name"], "system.toml");
    assert_eq!(answer["summary"]["statuses"]["not_analysed"], 3);
    assert_eq!(answer["summary"]["not_analysed"][1]["count"], 2);
    assert_eq!(answer["summary"]["kinds"][0]["kind"], "response");
    assert_eq!(answer["diagnostics"], Value::Array(vec![]));
    assert_eq!(answer["verdicts"].as_array().map(Vec::len), Some(verdicts().len()));
}

#[test]
fn every_verdict_has_every_key() {
    let answer = answer(&dossier());
    let strings = ["id", "kind", "subject", "status", "unit", "relation"];
    let others = [
        "bound",
        "limit",
        "reason",
        "generic",
        "table_aware",
        "growth",
        "accepted",
        "witness",
        "simulated",
        "simulated_concurrent",
    ];
    for verdict in answer["verdicts"].as_array().expect("a list") {
        strings.iter().for_each(|key| assert!(verdict[key].is_string(), "{key} of {verdict}"));
        others.iter().for_each(|key| assert!(verdict.get(key).is_some(), "{key} of {verdict}"));
        assert!(verdict["exact"].is_boolean());
        assert!(verdict["basis"]["assumptions"].is_array());
        assert!(verdict["bound"].is_u64() || verdict["reason"].is_string(), "no bound, no reason: {verdict}");
    }
}

#[test]
fn a_violated_verdict_carries_place_and_witness() {
    let answer = answer(&dossier());
    let run = find(&answer, "response/WORK.run");
    assert_eq!(run["status"], "violated");
    assert_eq!(run["where"], serde_json::json!({"file": "system.toml", "line": 2, "column": 1}));
    assert_eq!(run["witness"]["completes_ns"], 36_080_000);
    assert_eq!(run["witness"]["releases"][0]["arrival_ns"], -10_000);
    assert_eq!(run["witness"]["timeline"][1]["what"], "WORK.run");
    assert_eq!(run["accepted"], Value::Null);
}

#[test]
fn chains_carry_both_bounds_and_responses_their_growth() {
    let answer = answer(&dossier());
    let chain = find(&answer, "reaction/E1");
    assert_eq!((&chain["generic"], &chain["table_aware"]), (&67_000_000.into(), &34_700_000.into()));
    let growth = &find(&answer, "response/SAFE.stop")["growth"];
    // 300 / 268 = 1.1194029..., rounded down.
    assert_eq!(*growth, serde_json::json!({"charged_ns": 268_000, "largest_charged_ns": 300_000, "ppm": 1_119_402}));
}

#[test]
fn parts_stand_in_the_order_of_time_and_add_up() {
    let answer = answer(&whole_dossier());
    let chain = find(&answer, "reaction/E1");
    let parts = chain["parts"].as_array().expect("a list");
    assert_eq!(parts[1], serde_json::json!({"what": "SAFE.stop", "kind": "waiting", "ns": 10_000_000}));
    let sum: u64 = parts.iter().map(|part| part["ns"].as_u64().expect("a number")).sum();
    assert_eq!(chain["bound"], sum);
    assert_eq!(find(&answer, "margin/ram")["parts"], Value::Array(vec![]));
}

#[test]
fn an_accepted_claim_keeps_its_status() {
    let answer = answer(&dossier_accepting(vec![accepted("response/WORK.run", date(2026, 7, 1))]));
    let run = find(&answer, "response/WORK.run");
    assert_eq!(run["status"], "violated");
    assert_eq!(
        run["accepted"],
        serde_json::json!({"reason": "new sheet promised", "owner": "J. Doe", "until": "2026-07-01"})
    );
    assert_eq!(answer["deviations"][0]["claim"], "response/WORK.run");
    assert_eq!(answer["deviations"][0]["status"], "violated");
}

#[test]
fn integers_that_readers_would_round_are_refused() {
    let edge = quantity::LIMIT;
    for (bound, given) in [(edge, true), (edge + 1, false), (u64::MAX, false)] {
        let mut verdicts: Vec<Verdict> = verdicts();
        verdicts[5].bound = Some(bound);
        let answer = answer(&Dossier::compose(Inputs { verdicts, ..inputs_of(system()) }));
        let run = find(&answer, "response/WORK.run");
        assert_eq!(run["bound"].is_u64(), given, "{bound}");
        assert_eq!(run["reason"].as_str().is_some_and(|r| r.contains("2^53")), !given);
    }
}

#[test]
fn a_refused_input_still_gets_its_answer() {
    let sources = Arc::new(sources());
    let answer = answer(&Dossier::compose(Inputs { diagnostics: vec![error()], sources, ..Inputs::default() }));
    assert_eq!(answer["exit_status"], 2);
    assert_eq!(answer["diagnostics"][0]["severity"], "error");
    assert_eq!(answer["diagnostics"][0]["line"], 2);
    assert_eq!(answer["baseline"]["system"], Value::Null);
    assert_eq!(answer["verdicts"], Value::Array(vec![]));
}

#[test]
fn the_same_dossier_gives_the_same_bytes() {
    assert_eq!(json::render(&dossier()), json::render(&dossier()));
}
