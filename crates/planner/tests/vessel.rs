//! The survey vessel, planned from its demands.

mod common;

use planner::{Answer, Options};

#[test]
fn look() {
    let system = common::vessel();
    let outcome = common::plan(&system, None, Options::default());
    println!("{}", outcome.answer.words());
    if let Answer::GaveUp { reasons, .. } | Answer::Impossible(reasons) = &outcome.answer { println!("{reasons:#?}"); }
    println!("{:#?}", outcome.notes);
    if let Some(p) = outcome.answer.plan() { println!("{}", plan::write_plan(p, &system)); }
}
