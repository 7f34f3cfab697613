//! Random whole systems: no run of many jobs passes a bound.
//!
//! A million jobs in the ordinary tests; as many as `MANY_JOBS` says, such as a hundred million, with
//! `MANY_JOBS=100000000 cargo test --release -p cofferdam-baseline --test many_jobs`.

#![allow(clippy::disallowed_methods, reason = "the number of jobs is asked for from outside")]

mod draws;

use baseline::simulated::{Search, compare};
use claim::{Kind, Verdict};
use draws::Draws;
use std::collections::{BTreeMap, BTreeSet};

fn read(text: &str, plan: &str) -> (model::System, plan::Plan) {
    let mut files = BTreeMap::from([("drawn.toml".to_owned(), text.as_bytes().to_vec())]);
    let mut reading = model::read_system("drawn.toml", &mut files);
    let system = reading.system.take().unwrap_or_else(|| panic!("{:#?}\n{text}", reading.diagnostics));
    let (plan, found) = plan::read_plan("plan.toml", plan.as_bytes(), &system, &mut reading.sources);
    (system, plan.unwrap_or_else(|| panic!("{found:#?}")))
}

/// Systems until that many jobs have completed; the kinds of claim of which some bound was looked at, and how many attained.
fn run(seed: u64, jobs: u64, search: Search) -> (BTreeSet<Kind>, u64) {
    let (mut draws, mut done) = (Draws(seed), 0);
    let (mut kinds, mut attained) = (BTreeSet::new(), 0);
    while done < jobs {
        let (text, plan_text) = draws::system(&mut draws);
        let (system, plan) = read(&text, &plan_text);
        let mut verdicts = baseline::verdicts(&system, &plan);
        let search = Search { seed: done, ..search };
        let compared = compare(&system, &plan, &mut verdicts, Some(&search));
        done += compared.unwrap_or_else(|alarms| panic!("{alarms}\n{text}\n{plan_text}")).jobs;
        let seen: Vec<&Verdict> = verdicts.iter().filter(|verdict| verdict.gap().is_some()).collect();
        kinds.extend(seen.iter().map(|verdict| verdict.kind));
        attained += seen.iter().filter(|verdict| verdict.gap() == Some(0)).count() as u64;
    }
    (kinds, attained)
}

/// How many jobs are asked for.
fn wanted_jobs() -> u64 {
    let asked = std::env::var("MANY_JOBS").ok().map(|text| text.parse().expect("MANY_JOBS is a number"));
    asked.unwrap_or(1_000_000)
}

#[test]
fn no_job_of_random_systems_passes_a_bound() {
    let (kinds, attained) = run(1, wanted_jobs(), Search { seed: 0, runs: 4, jobs: 2_000 });
    let wanted = [Kind::Response, Kind::Reaction, Kind::DataAge, Kind::OutputJitter, Kind::Refresh, Kind::QueueDepth];
    assert!(wanted.iter().all(|kind| kinds.contains(kind)), "{kinds:?}");
    assert!(attained >= 100, "{attained}");
}
