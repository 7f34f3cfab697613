//! The harness itself: a wrong value, a value nobody answers and an unknown method are seen.

use crate::case::Case;
use crate::compare::{Row, rows};
use crate::methods;
use serde_json::{Value, json};

fn case(method: &str, expected: Value, rounding: Value) -> Case {
    let text = json!({
        "id": "x", "area": "x", "title": "x", "kind": "x", "source": {"short": "x", "citation": "x"},
        "provenance": "from memory", "confidence": "high", "method": method, "unit": "x",
        "input": {"tasks": [{"name": "a", "T": 3, "C": 1}, {"name": "b", "T": 6, "C": 2}], "priority": "RM"},
        "expected": expected, "rounding": rounding,
    });
    serde_json::from_value(text).expect("a case in the form of a file")
}

fn judged(expected: Value, rounding: Value) -> Result<Vec<Row>, String> {
    let case = case("response", expected, rounding);
    rows(&case, &methods::answers(&case)?)
}

fn agrees(expected: Value, rounding: Value) -> bool {
    judged(expected, rounding).expect("every value is answered").iter().all(|row| row.agrees)
}

#[test]
fn a_wrong_value_does_not_agree() {
    assert!(agrees(json!({"R": {"a": 1, "b": 3}, "schedulable": true}), json!({})));
    assert!(!agrees(json!({"R": {"a": 1, "b": 4}}), json!({})));
    assert!(!agrees(json!({"R": {}}), json!({})), "an empty table compares nothing");
    assert!(!agrees(json!({"misses": ["a"]}), json!({})));
}

#[test]
fn two_thirds_by_every_rounding() {
    assert!(!agrees(json!({"U": "0.667"}), json!({})), "no decimal is exactly two thirds");
    assert!(agrees(json!({"U": "0.667"}), json!({"U": "half-up"})));
    assert!(agrees(json!({"U": "0.67"}), json!({"U": "up"})));
    assert!(agrees(json!({"U": "0.66"}), json!({"U": "terms-half-up"})), "0.33 and 0.33");
    for wrong in ["0.666", "0.668", "0.66"] {
        assert!(!agrees(json!({ "U": wrong }), json!({"U": "half-up"})), "{wrong}");
    }
}

#[test]
fn what_nobody_answers_is_an_error() {
    assert!(judged(json!({"latency": 3}), json!({})).is_err());
    assert!(judged(json!({"R": {"c": 3}}), json!({})).is_err());
    assert!(judged(json!({"schedulable": true}), json!({"schedulable": "up"})).is_err());
    assert!(methods::answers(&case("guess", json!({"R": {"a": 1}}), json!({}))).is_err());
    assert!(methods::answers(&case("packing", json!({"R": {"a": 1}}), json!({}))).is_err());
}
