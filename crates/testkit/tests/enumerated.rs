//! What the enumeration holds, and properties of the oracle over all of it or a fixed part of it.

#![allow(clippy::disallowed_types, reason = "sets are counted here, never listed")]

use std::collections::{BTreeMap, HashSet};

use testkit::enumerate::{aligned_count, aligned_systems, free_running_count, free_running_systems};
use testkit::oracle::{Oracle, SmallSystem, Worst};
use testkit::random_systems;

fn usable(system: &SmallSystem) -> u32 {
    system.windows.iter().map(|(start, end)| end - start).sum()
}

/// Demand minus supply over the product of all periods and the frame, in ticks.
fn surplus(system: &SmallSystem) -> i64 {
    let span: u32 = system.tasks.iter().map(|task| task.period).product();
    let demand: u32 = system.tasks.iter().map(|task| task.wcet * (span / task.period)).sum();
    i64::from(demand * system.frame) - i64::from(usable(system) * span)
}

fn touches_inside(system: &SmallSystem) -> bool {
    system.windows.windows(2).any(|pair| pair[0].1 == pair[1].0)
}

fn touches_across_the_end(system: &SmallSystem) -> bool {
    let starts = system.windows.iter().any(|window| window.0 == 0);
    let ends = system.windows.iter().any(|window| window.1 == system.frame);
    starts && ends && usable(system) < system.frame
}

fn has_equals(system: &SmallSystem) -> bool {
    let distinct: HashSet<u32> = system.tasks.iter().map(|task| task.priority).collect();
    distinct.len() < system.tasks.len()
}

fn kinds_of(system: &SmallSystem) -> Vec<&'static str> {
    let any = |holds: fn(&testkit::oracle::SmallTask) -> bool| system.tasks.iter().any(holds);
    let kinds = [
        ("jitter", any(|task| task.jitter > 0)),
        ("jitter of a period or more", any(|task| task.jitter >= task.period)),
        ("blocking", any(|task| task.blocking > 0)),
        ("shorter executions", any(|task| task.bcet < task.wcet)),
        ("deadline above the period", any(|task| task.deadline > task.period)),
        ("deadline below the period", any(|task| task.deadline < task.period)),
        ("offset", any(|task| task.offset > 0)),
        ("offset of a period or more", any(|task| task.offset >= task.period)),
        ("equal priorities", has_equals(system)),
        ("windows that touch", touches_inside(system)),
        ("windows that touch across the frame's end", touches_across_the_end(system)),
        ("a core of its own", usable(system) == system.frame),
        ("demand below supply", surplus(system) < 0),
        ("demand equal to supply", surplus(system) == 0),
        ("demand above supply", surplus(system) > 0),
        ("three tasks", system.tasks.len() == 3),
    ];
    kinds.iter().filter(|(_, holds)| *holds).map(|(kind, _)| *kind).collect()
}

type Counts = BTreeMap<&'static str, usize>;

/// Explores every system given and counts the kinds among those with some bounded response.
fn explore_all(
    systems: impl Iterator<Item = SmallSystem>,
    mut explore: impl FnMut(&SmallSystem) -> Vec<Worst>,
) -> Counts {
    let mut counts = Counts::new();
    for system in systems {
        let worst = explore(&system);
        *counts.entry("all").or_default() += 1;
        let bounded = |(_, worst): &(_, &Worst)| matches!(worst, Worst::Response(_));
        if !system.tasks.iter().zip(&worst).any(|pair| bounded(&pair)) {
            continue;
        }
        *counts.entry("explored").or_default() += 1;
        for kind in kinds_of(&system) {
            *counts.entry(kind).or_default() += 1;
        }
        // Still under way when the next job of the task arrives: work is carried from each period into
        // the next, and so from each hyperperiod into the next where that is one period long.
        let carries = system
            .tasks
            .iter()
            .zip(&worst)
            .any(|(task, worst)| matches!(worst, Worst::Response(response) if *response > task.period));
        if carries {
            *counts.entry("carry-in").or_default() += 1;
        }
    }
    counts
}

fn assert_present(counts: &Counts, kinds: &[&str]) {
    for kind in kinds {
        let count = counts.get(kind).copied().unwrap_or_default();
        assert!(count >= 100, "only {count} systems with {kind}");
    }
}

const EVERYWHERE: &[&str] = &[
    "jitter",
    "jitter of a period or more",
    "blocking",
    "shorter executions",
    "deadline above the period",
    "deadline below the period",
    "equal priorities",
    "windows that touch",
    "windows that touch across the frame's end",
    "a core of its own",
    "demand below supply",
    "demand equal to supply",
    "demand above supply",
    "three tasks",
    "carry-in",
];

#[test]
fn every_kind_is_among_the_free_running_systems() {
    let mut oracle = Oracle::new();
    let counts = explore_all(free_running_systems(), |system| oracle.free_running(system));
    assert_eq!(counts["all"], free_running_count());
    assert!(counts["explored"] >= 100_000, "{counts:?}");
    assert_present(&counts, EVERYWHERE);
}

#[test]
fn every_kind_is_among_the_aligned_systems() {
    let mut oracle = Oracle::new();
    let counts = explore_all(aligned_systems(), |system| oracle.aligned(system));
    assert_eq!(counts["all"], aligned_count());
    assert!(counts["explored"] >= 100_000, "{counts:?}");
    assert_present(&counts, EVERYWHERE);
    assert_present(&counts, &["offset", "offset of a period or more"]);
}

#[test]
fn no_system_comes_twice() {
    // The numbers the documentation gives.
    assert_eq!(free_running_count(), 152_640);
    assert_eq!(aligned_count(), 387_594);
    let distinct: HashSet<SmallSystem> = free_running_systems().map(without_deadlines).collect();
    assert_eq!(distinct.len(), free_running_count());
    let distinct: HashSet<SmallSystem> = aligned_systems().map(without_deadlines).collect();
    assert_eq!(distinct.len(), aligned_count());
}

fn without_deadlines(mut system: SmallSystem) -> SmallSystem {
    for task in &mut system.tasks {
        task.deadline = 0;
    }
    system
}

/// Without blocking, no run with shorter executions is worse than the runs at `wcet`.
#[test]
fn longest_executions_are_worst_without_blocking() {
    let (mut full, mut longest) = (Oracle::new(), Oracle::longest_only());
    let free = free_running_systems().step_by(5).filter_map(shortened);
    let aligned = aligned_systems().step_by(5).filter_map(shortened);
    let mut compared = 0;
    for system in free {
        assert_eq!(full.free_running(&system), longest.free_running(&system), "{system:?}");
        compared += 1;
    }
    for system in aligned {
        assert_eq!(full.aligned(&system), longest.aligned(&system), "{system:?}");
        compared += 1;
    }
    assert!(compared > 10_000, "only {compared} systems compared");
}

/// The system with no blocking and every execution from 1 tick up, if that says anything.
fn shortened(mut system: SmallSystem) -> Option<SmallSystem> {
    for task in &mut system.tasks {
        task.bcet = 1;
        task.blocking = 0;
    }
    let varied = system.tasks.iter().any(|task| task.wcet > 1);
    (varied && surplus(&system) <= 0).then_some(system)
}

/// The place in the file decides between equals alone.
#[test]
fn the_order_in_the_file_only_decides_between_equals() {
    let mut oracle = Oracle::new();
    let distinct = random_systems(11, 60).filter(|system| !has_equals(system));
    for system in distinct {
        let mut turned = system.clone();
        turned.tasks.reverse();
        let mut free = oracle.free_running(&turned);
        let mut aligned = oracle.aligned(&turned);
        free.reverse();
        aligned.reverse();
        assert_eq!(free, oracle.free_running(&system), "{system:?}");
        assert_eq!(aligned, oracle.aligned(&system), "{system:?}");
    }
}

/// Every aligned run is one of the runs in which each task may first arrive at any instant.
#[test]
fn aligned_is_never_worse_than_free_running() {
    let mut oracle = Oracle::new();
    for system in random_systems(12, 200).chain(aligned_systems().step_by(50)) {
        let free = oracle.free_running(&system);
        let aligned = oracle.aligned(&system);
        let holds = aligned.iter().zip(&free).all(|(aligned, free)| aligned <= free);
        assert!(holds, "{aligned:?} above {free:?} in {system:?}");
    }
}

/// A frame written twice, or begun elsewhere, is the same to free-running tasks.
#[test]
fn a_frame_can_be_repeated_and_turned() {
    let mut oracle = Oracle::new();
    for system in random_systems(13, 40).filter(|system| system.frame <= 6) {
        let truth = oracle.free_running(&system);
        let frame = system.frame;
        let mut twice = system.clone();
        twice.frame *= 2;
        twice.windows.extend(system.windows.iter().map(|(start, end)| (start + frame, end + frame)));
        assert_eq!(oracle.free_running(&twice), truth, "{system:?}");
        assert_eq!(oracle.aligned(&twice), oracle.aligned(&system), "{system:?}");
        let mut turned = system.clone();
        let ticks = system.windows.iter().flat_map(|&(start, end)| start..end);
        turned.windows = ticks.map(|tick| (tick + 1) % frame).map(|tick| (tick, tick + 1)).collect();
        assert_eq!(oracle.free_running(&turned), truth, "{system:?}");
    }
}
