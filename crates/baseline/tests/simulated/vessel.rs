//! The survey vessel: bounds worked out apart from this program, and the largest that simulation sees.

use baseline::simulated::{Search, compare};
use claim::{FoundBy, Kind, Verdict};
use model::System;
use plan::Plan;
use std::collections::BTreeMap;

const SYSTEM: &str = include_str!("../../../../examples/survey-vessel/system.toml");
const TASKS: &str = include_str!("../../../../examples/survey-vessel/tasks.csv");
const CHANNELS: &str = include_str!("../../../../examples/survey-vessel/channels.csv");
const TREE: &str = include_str!("../../../../examples/survey-vessel/board.dts");
const PLAN: &str = include_str!("../../../../examples/survey-vessel/plan.toml");

pub fn vessel() -> (System, Plan) {
    read(|_, text| text.to_owned())
}

/// The vessel with its files changed: name and text in, text out.
pub fn read(change: impl Fn(&str, &str) -> String) -> (System, Plan) {
    let names = [("system.toml", SYSTEM), ("tasks.csv", TASKS), ("channels.csv", CHANNELS), ("board.dts", TREE)];
    let mut files: BTreeMap<String, Vec<u8>> =
        names.iter().map(|(name, text)| ((*name).to_owned(), change(name, text).into_bytes())).collect();
    let mut reading = model::read_system("system.toml", &mut files);
    let system = reading.system.take().unwrap_or_else(|| panic!("{:?}", reading.diagnostics));
    let (plan, _) = plan::read_plan("plan.toml", PLAN.as_bytes(), &system, &mut reading.sources);
    (system, plan.expect("its plan reads"))
}

pub fn compared(search: Option<&Search>) -> Vec<Verdict> {
    let (system, plan) = vessel();
    let mut verdicts = baseline::verdicts(&system, &plan);
    compare(&system, &plan, &mut verdicts, search).expect("nothing is seen above a bound");
    verdicts
}

#[test]
fn the_replay_of_every_response_bound_attains_it() {
    let verdicts = compared(None);
    let responses: Vec<_> = verdicts.iter().filter(|verdict| verdict.kind == Kind::Response).collect();
    let amiss = responses.iter().filter(|verdict| verdict.gap() != Some(0)).map(|verdict| &verdict.id);
    assert_eq!(amiss.collect::<Vec<_>>(), Vec::<&String>::new());
    assert_eq!(responses.len(), 39);
    assert!(responses.iter().all(|verdict| verdict.exact));
    assert!(responses.iter().all(|verdict| verdict.simulated.is_some_and(|seen| seen.found_by == FoundBy::Replay)));
}

/// The kinds of which a run sees something, and how many claims of each the vessel has.
const SEEN: [(Kind, usize); 7] = [
    (Kind::Response, 39),
    (Kind::Reaction, 6),
    (Kind::DataAge, 1),
    (Kind::Refresh, 17),
    (Kind::QueueDepth, 7),
    (Kind::Boot, 12),
    (Kind::Restart, 24),
];

#[test]
fn runs_see_something_of_every_claim_in_time_and_nothing_above_a_bound() {
    let verdicts = compared(Some(&Search::SHORT));
    for (kind, count) in SEEN {
        let of_kind: Vec<_> = verdicts.iter().filter(|verdict| verdict.kind == kind).collect();
        assert_eq!(of_kind.len(), count, "{kind:?}");
        let unseen: Vec<_> =
            of_kind.iter().filter(|verdict| verdict.gap().is_none()).map(|verdict| &verdict.id).collect();
        assert_eq!(unseen, Vec::<&String>::new());
    }
    let boot = verdicts.iter().filter(|verdict| verdict.kind == Kind::Boot);
    assert!(boot.filter(|verdict| verdict.exact).all(|verdict| verdict.gap() == Some(0)));
}
