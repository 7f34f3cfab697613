//! What the vessel still bears: overheads pushed to their largest value and one step beyond, and new partitions.

use super::system::{at, vessel};
use claim::{Kind, Status, Verdict};
use model::System;
use quantity::Duration;
use timing::claims::check;

fn bound(verdicts: &[Verdict], id: &str) -> u64 {
    let verdict = verdicts.iter().find(|verdict| verdict.id == id).unwrap_or_else(|| panic!("no verdict {id}"));
    verdict.bound.unwrap_or_else(|| panic!("{id} has no bound: {:?}", verdict.reason))
}

/// The responses that do not hold with a changed vessel.
fn broken(change: impl FnOnce(&mut System)) -> Vec<String> {
    let (mut system, plan) = vessel();
    change(&mut system);
    let verdicts = check(&system, &plan);
    let broken = verdicts.iter().filter(|v| v.kind == Kind::Response && v.status != Status::Shown);
    broken.map(|v| v.id.clone()).collect()
}

/// Sets one overhead of a system to so many ns.
type Setter = fn(&mut System, u64);

const OVERHEADS: [(&str, Setter); 5] = [
    ("switch", |system, ns| system.platform.switch = Some(at(Duration::from_ns(ns)))),
    ("refill", |system, ns| system.platform.refill = Some(at(Duration::from_ns(ns)))),
    ("context_switch", |system, ns| system.platform.context_switch = Some(at(Duration::from_ns(ns)))),
    ("release_jitter", |system, ns| system.platform.release_jitter = Some(at(Duration::from_ns(ns)))),
    ("nonpreemptable", |system, ns| system.platform.nonpreemptable = Some(at(Duration::from_ns(ns)))),
];

#[test]
fn each_overhead_holds_at_its_largest_value_and_not_one_step_beyond() {
    let (system, plan) = vessel();
    let verdicts = check(&system, &plan);
    for (name, set) in OVERHEADS {
        let largest_ns = bound(&verdicts, &format!("margin/overhead/{name}"));
        assert_eq!(broken(|system| set(system, largest_ns)), [""; 0], "{name} at {largest_ns} ns");
        assert_ne!(broken(|system| set(system, largest_ns + 1)), [""; 0], "{name} at {largest_ns} ns and one more");
    }
}

/// The page of the vessel: at 60 ns a line OBJT.trk misses, so the factor lies below 60/50.
#[test]
fn the_line_service_breaks_where_the_tracker_does() {
    let (system, plan) = vessel();
    let verdict = check(&system, &plan).into_iter().find(|v| v.id == "margin/overhead/line_service");
    let verdict = verdict.expect("the vessel has an interconnect");
    assert!(verdict.bound.is_some_and(|ppm| (1_000_000..1_200_000).contains(&ppm)), "{verdict:?}");
    assert!(verdict.reason.is_some_and(|reason| reason.contains("`OBJT`")));
}

/// The page of the vessel: a partition of 6 ms in 100 ms fits no core under the rule, one of 5 ms fits core 2 exactly.
#[test]
fn the_largest_new_partition_is_that_of_the_page() {
    let (system, plan) = vessel();
    let verdicts = check(&system, &plan);
    let largest = ["0", "1", "2", "3"].map(|core| bound(&verdicts, &format!("margin/new_partition/{core}")));
    assert_eq!(largest, [500_000, 0, 5_000_000, 3_000_000]);
}
