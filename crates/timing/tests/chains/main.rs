//! Chains through the door of the claims, against runs drawn at random: an independent witness that steps tick by
//! tick and shares nothing with the analyses. No run may pass a bound.

#![allow(clippy::disallowed_methods, reason = "tests read what they wrote")]

mod data;
mod made;
mod run;

use claim::{Status, Verdict};
use made::{Made, Shape};
use run::Latencies;

/// Runs of each system.
const RUNS: u64 = 16;

/// The greatest reaction time and data age over some runs.
fn observed(made: &Made, seed: u64) -> Latencies {
    let runs = (0..RUNS).map(|run| run::latencies(made, seed.wrapping_mul(1_000_003).wrapping_add(run)));
    runs.fold(Latencies::default(), Latencies::or_greater)
}

/// The verdicts on the same chain as a need of either kind.
fn both(made: &Made) -> [Verdict; 2] {
    ["reaction/C", "data_age/A"].map(|id| made.verdict(id))
}

fn hold(shape: Shape, systems: u64) -> Tally {
    let mut tally = Tally::default();
    for seed in 0..systems {
        let made = Made::draw(seed, shape);
        let [reaction, age] = both(&made);
        assert_eq!((reaction.bound, reaction.table_aware), (age.bound, age.table_aware), "seed {seed}");
        assert!(timing::claims::alarms(&[reaction.clone(), age]).is_empty(), "seed {seed}");
        let Some(generic) = reaction.generic else { continue };
        tally.bounded += 1;
        if reaction.status == Status::NotShown && reaction.reason.as_ref().is_some_and(|why| why.contains("lost")) {
            continue;
        }
        let seen = observed(&made, seed);
        let least = reaction.table_aware.unwrap_or(generic);
        assert!(seen.reaction <= least && seen.age <= least, "seed {seed}: {seen:?} passes {least}\n{made:?}");
        tally.followed += u64::from(reaction.table_aware.is_some());
        tally.attained += u64::from(seen.reaction == least);
        if reaction.exact {
            tally.exact += 1;
            assert_eq!((seen.reaction, seen.age), (least, least), "seed {seed}: an exact bound is reached\n{made:?}");
        }
    }
    tally
}

#[derive(Debug, Default)]
struct Tally {
    bounded: u64,
    followed: u64,
    attained: u64,
    exact: u64,
}

#[test]
fn no_run_of_aligned_tasks_passes_the_table_aware_bound() {
    let tally = hold(Shape::Aligned, 300);
    assert!(tally.bounded > 150 && tally.followed == tally.bounded, "{tally:?}");
    assert!(tally.attained > 100, "the runs reach some of the bounds: {tally:?}");
}

#[test]
fn logical_execution_time_is_exact() {
    let tally = hold(Shape::Logical, 150);
    assert!(tally.exact > 50, "{tally:?}");
}

#[test]
fn chains_cut_at_free_running_tasks_hold_in_any_phase() {
    let tally = hold(Shape::Mixed, 200);
    assert!(tally.followed > 30 && tally.bounded > tally.followed, "{tally:?}");
}

#[test]
fn messages_of_queues_are_followed() {
    let tally = hold(Shape::Queues, 200);
    assert!(tally.bounded > 80, "{tally:?}");
}

#[test]
fn more_load_never_lowers_a_bound() {
    for seed in 0..150 {
        let made = Made::draw(seed, Shape::Aligned);
        let heavier = made.with_longer_job(seed);
        let [before, after] = [&made, &heavier].map(|made| made.verdict("reaction/C"));
        for (before, after) in [(before.generic, after.generic), (before.table_aware, after.table_aware)] {
            assert!(after.is_none() || after >= before, "seed {seed}: {before:?} to {after:?}");
        }
    }
}

#[test]
fn scaling_all_times_scales_the_bounds() {
    for seed in 0..150 {
        let made = Made::draw(seed, Shape::Mixed);
        let [one, many] = [1, 7].map(|factor| made.clone().scaled(factor).verdict("reaction/C"));
        let times = |bound: Option<u64>| bound.map(|bound| 7 * bound);
        // One nanosecond is the least that a job takes, at any scale; every task here declares its own.
        assert_eq!((many.generic, many.table_aware), (times(one.generic), times(one.table_aware)), "seed {seed}");
    }
}
