//! `--format json`: one object on every status, of the shape that scripts rely on.

use crate::common::*;
use serde_json::Value;
use std::collections::BTreeSet;

/// 2^53: above it some readers of JSON round integers.
const LARGEST: u64 = 1 << 53;

#[test]
fn every_verdict_has_the_keys_and_types_of_the_contract() {
    let folder = with_vessel("json_shape");
    grow(&folder.join("vessel/tasks.csv"), "OBJT", 8);
    let answer = call(&folder, &["check", "vessel", "--format", "json"]).expect(1).json();
    assert_eq!(answer["schema_version"], 1);
    assert_eq!(answer["tool_version"], env!("CARGO_PKG_VERSION"));
    let ids: BTreeSet<_> = verdicts(&answer).iter().map(|v| text(&v["id"])).collect();
    assert_eq!(ids.len(), verdicts(&answer).len(), "ids are unique");
    verdicts(&answer).iter().for_each(has_the_shape);
    no_integer_is_rounded(&answer);
}

fn text(value: &Value) -> &str {
    value.as_str().filter(|text| !text.is_empty()).unwrap_or_else(|| panic!("{value} is no text"))
}

fn has_the_shape(verdict: &Value) {
    let id = text(&verdict["id"]);
    assert!(id.starts_with(&format!("{}/", text(&verdict["kind"]))), "{id}");
    text(&verdict["subject"]);
    let status = text(&verdict["status"]);
    assert!(["shown", "not_shown", "violated", "not_analysed"].contains(&status), "{id}");
    for number in ["bound", "limit", "generic", "table_aware"] {
        assert!(verdict[number].is_null() || verdict[number].is_u64(), "{id}: {number} is {}", verdict[number]);
        assert!(verdict.get(number).is_some(), "{id} has no {number}");
    }
    assert!(["ns", "bytes", "messages", "ppm", "count"].contains(&text(&verdict["unit"])), "{id}");
    assert!(["at_most", "at_least"].contains(&text(&verdict["relation"])), "{id}");
    assert!(verdict["exact"].is_boolean(), "{id}");
    text(&verdict["basis"]["analysis"]);
    text(&verdict["basis"]["source"]);
    assert!(verdict["basis"]["assumptions"].as_array().is_some_and(|all| all.iter().all(Value::is_string)), "{id}");
    text(&verdict["where"]["file"]);
    assert!(verdict["where"]["line"].as_u64() >= Some(1) && verdict["where"]["column"].as_u64() >= Some(1), "{id}");
    assert_eq!(verdict["witness"].is_object(), status == "violated", "{id}");
    if verdict["bound"].is_null() || status != "shown" {
        text(&verdict["reason"]);
    }
}

fn no_integer_is_rounded(value: &Value) {
    match value {
        Value::Number(number) => {
            let magnitude = number.as_i64().map(i64::unsigned_abs).or_else(|| number.as_u64());
            assert!(magnitude.is_some_and(|magnitude| magnitude <= LARGEST), "{number}");
        }
        Value::Array(list) => list.iter().for_each(no_integer_is_rounded),
        Value::Object(map) => map.values().for_each(no_integer_is_rounded),
        _ => {}
    }
}

/// Each partition may at least need what it needs now.
#[test]
fn a_margin_without_a_rule_is_held_to_the_times_as_they_are() {
    let answer = call(&root(), &["check", "examples/survey-vessel", "--format", "json"]).expect(1).json();
    let margin = verdict(&answer, "margin/partition/OBJT");
    let numbers = ["bound", "limit", "unit", "relation"].map(|key| margin[key].to_string());
    // The vessel's description says x1.034 for OBJT, rounded down.
    assert_eq!(numbers[1..], ["1000000", "\"ppm\"", "\"at_least\""]);
    assert_eq!(margin["bound"].as_u64().map(|ppm| ppm / 1000), Some(1034));
}

#[test]
fn a_wrong_input_is_one_object_with_diagnostics() {
    let folder = with_vessel("json_wrong");
    write(&folder.join("bad.toml"), "[system]\nname = \"x\"\nfram = \"1 ms\"\n");
    write(&folder.join("plan-bad.toml"), "[[window]]\ncore = \"9\"\n");
    let cases: [(&[&str], &str); 7] = [
        (&["check", "bad.toml"], "E0101"),
        (&["check", "nowhere"], "E0001"),
        (&["check", "vessel", "--plan", "nowhere.toml"], "E0532"),
        (&["check", "vessel", "--plan", "vessel"], "E0532"),
        (&["check", "vessel", "--plan", "plan-bad.toml"], "E0109"),
        (&["plan", "bad.toml", "--out", "p.toml"], "E0101"),
        (&["report", "vessel", "--plan", "nowhere.toml", "--out", "evidence"], "E0532"),
    ];
    for (words, code) in cases {
        let run = call(&folder, &[words, &["--format", "json"]].concat()).expect(2);
        assert!(codes(&run.json()).contains(&code), "{words:?}: {}", run.out);
        assert!(run.json()["diagnostics"][0]["file"].is_string(), "{words:?}");
        run.complains(&[&format!("error[{code}]")]);
    }
    assert!(!folder.join("p.toml").exists() && !folder.join("evidence").exists());
}

#[test]
fn a_wrong_call_is_one_object_with_its_message() {
    let folder = with_vessel("json_call");
    let cases: [(&[&str], &str); 7] = [
        (&["check", "vessel", "--format", "json", "--bogus"], "--bogus"),
        (&["check", "vessel", "--format=json", "--bogus"], "--bogus"),
        (&["check", "--format", "json"], "SYSTEM"),
        (&["chekc", "vessel", "--format", "json"], "check"),
        (&["plan", "vessel", "--format", "json"], "--out"),
        (&["plan", "vessel", "--format", "json", "--out", "p.toml", "--seed", "many"], "many"),
        (&["plan", "vessel", "--format", "json", "--out", "no/such/p.toml"], "no/such"),
    ];
    for (words, part) in cases {
        let run = call(&folder, words).expect(2);
        let answer = run.json();
        assert_eq!((codes(&answer), verdicts(&answer).len()), (vec!["call"], 0), "{words:?}");
        assert!(text(&answer["diagnostics"][0]["message"]).contains(part), "{words:?}: {answer}");
        run.complains(&[part]);
    }
    let other = call(&folder, &["check", "vessel", "--format", "xml"]).expect(2);
    assert!(other.out.is_empty(), "no JSON was asked for");
}

#[test]
fn a_system_without_its_plan_still_has_its_claims() {
    let folder = with_starter("json_no_plan");
    let system = folder.join("ramp/system.toml");
    edit(&system, "lowest first\nplan = \"plan.toml\"", "lowest first\nplan = \"gone.toml\"");
    let answer = call(&folder, &["check", "ramp", "--format", "json"]).expect(2).json();
    assert_eq!(codes(&answer), ["E0532"]);
    assert_eq!(answer["baseline"]["system_name"], "Bow ramp");
    assert_eq!(answer["diagnostics"][0]["file"], "system.toml");
    let with_plan = call(&folder, &["check", "ramp", "--plan", "ramp/plan.toml", "--format", "json"]).expect(0).json();
    // Windows are claims about the plan itself; every other claim is one about the system.
    let ids = |answer: &Value| -> Vec<String> {
        verdicts(answer).iter().map(|v| text(&v["id"]).to_owned()).filter(|id| !id.starts_with("window/")).collect()
    };
    assert_eq!(ids(&answer), ids(&with_plan));
    let mut of_plan = verdicts(&answer).iter().filter(|v| v["kind"] != "channel");
    assert!(of_plan.all(|v| v["status"] == "not_analysed"), "what is not about the board alone needs a plan");
}

#[test]
fn a_report_answers_with_what_it_writes() {
    let folder = with_starter("json_report");
    let run = call(&folder, &["report", "ramp", "--out", "evidence", "--format", "json"]).expect(0);
    assert_eq!(run.out, read(&folder.join("evidence/verdicts.json")));
}
