//! The oracle under the earliest deadline first and in cooperative guests: cases worked out by hand,
//! published verdicts, and closed forms over whole enumerations.

#![allow(clippy::disallowed_types, reason = "sets are counted here, never listed")]

use std::collections::HashSet;

use testkit::enumerate::{cooperative_count, cooperative_systems, edf_count, edf_systems};
use testkit::oracle::Policy::{Cooperative, EarliestDeadline, FixedPriority};
use testkit::oracle::Worst::{Response, Unbounded};
use testkit::oracle::{Oracle, SmallSystem, SmallTask, Worst};
use testkit::{random_systems, random_systems_without_blocking};

fn due(period: u32, deadline: u32, wcet: u32) -> SmallTask {
    SmallTask { period, deadline, wcet, bcet: wcet, ..SmallTask::default() }
}

fn ranked(priority: u32, period: u32, wcet: u32) -> SmallTask {
    SmallTask { priority, ..due(period, period, wcet) }
}

fn system(frame: u32, windows: &[(u32, u32)], tasks: &[SmallTask]) -> SmallSystem {
    SmallSystem { frame, windows: windows.to_vec(), tasks: tasks.to_vec() }
}

fn dedicated(tasks: &[SmallTask]) -> SmallSystem {
    system(1, &[(0, 1)], tasks)
}

fn edf(system: &SmallSystem) -> Vec<Worst> {
    Oracle::under(EarliestDeadline).free_running(system)
}

fn cooperative(system: &SmallSystem) -> Vec<Worst> {
    Oracle::under(Cooperative).free_running(system)
}

fn meets_all(system: &SmallSystem, worst: &[Worst]) -> bool {
    system.tasks.iter().zip(worst).all(|(task, worst)| *worst <= Response(task.deadline))
}

#[test]
fn the_numbers_the_documentation_gives() {
    assert_eq!(edf_count(), 78_736);
    assert_eq!(cooperative_count(), 29_208);
    let distinct: HashSet<SmallSystem> = edf_systems().collect();
    assert_eq!(distinct.len(), edf_count());
    let distinct: HashSet<SmallSystem> = cooperative_systems().collect();
    assert_eq!(distinct.len(), cooperative_count());
}

#[test]
fn the_earliest_deadline_by_hand() {
    // The first waits for a second one due no later than itself, so arrived 2 ticks before, with 1 tick left:
    // 1 + 2. The second waits for a first one that arrives up to 2 ticks later: 2 + 3.
    let pair = dedicated(&[due(10, 4, 2), due(10, 6, 3)]);
    assert_eq!(edf(&pair), [Response(3), Response(5)]);
    // Window [0, 2) of 4: arriving at 2 the job gets [4, 6) and [8, 9).
    let cut = system(4, &[(0, 2)], &[due(8, 8, 3)]);
    assert_eq!(edf(&cut), [Response(7)]);
    // One above supply makes both unbounded, the one with the shortest deadline too.
    assert_eq!(edf(&dedicated(&[due(4, 1, 1), due(4, 9, 4)])), [Unbounded; 2]);
    assert_eq!(edf(&system(4, &[], &[due(4, 4, 1)])), [Unbounded]);
}

#[test]
fn equals_of_the_earliest_deadline() {
    // Aligned at one instant with equal deadlines the order in the file decides.
    let equal = |offsets: [u32; 2], deadlines: [u32; 2]| {
        let task = |k: usize| SmallTask { offset: offsets[k], ..due(16, deadlines[k], 2) };
        Oracle::under(EarliestDeadline).aligned(&dedicated(&[task(0), task(1)]))
    };
    assert_eq!(equal([0, 0], [8, 8]), [Response(2), Response(4)]);
    // The second began at 0, due at 8; the first arrives at 1, due at 8: the begun one goes on.
    assert_eq!(equal([1, 0], [7, 8]), [Response(3), Response(2)]);
    // Due at 7 it displaces the begun one.
    assert_eq!(equal([1, 0], [6, 8]), [Response(2), Response(4)]);
}

/// Buttazzo, Hard Real-Time Computing Systems, 3rd edition, 2011 (from memory): deadlines 4, 5, 7 are met.
#[test]
fn the_processor_demand_example_is_met() {
    let set = dedicated(&[due(6, 4, 2), due(8, 5, 2), due(9, 7, 3)]);
    assert!(meets_all(&set, &edf(&set)));
    // Demand up to 16 is 16: one tick more in the second is too much there.
    let more = dedicated(&[due(6, 4, 2), due(8, 5, 3), due(9, 7, 3)]);
    assert!(!meets_all(&more, &edf(&more)));
}

/// Public university course notes on real-time scheduling: (1, 3, 4), (3, 9, 9), (3, 10, 12) is feasible.
#[test]
fn the_set_of_the_course_notes_is_met() {
    let set = dedicated(&[due(4, 3, 1), due(9, 9, 3), due(12, 10, 3)]);
    assert!(meets_all(&set, &edf(&set)));
}

/// Buttazzo 2011, section 4.4 (from memory): 2 of 5 and 4 of 7, where rate-monotonic order misses.
#[test]
fn rate_monotonic_misses_what_the_earliest_deadline_meets() {
    let set = dedicated(&[SmallTask { priority: 2, ..due(5, 5, 2) }, SmallTask { priority: 1, ..due(7, 7, 4) }]);
    assert!(meets_all(&set, &edf(&set)));
    // 4 + 2 * ceil(t / 5): t = 6 -> 8 -> 8.
    assert_eq!(Oracle::under(FixedPriority).free_running(&set), [Response(2), Response(8)]);
}

/// Liu and Layland 1973: with deadline equal to period, utilisation 1 on a full core is enough.
#[test]
fn full_utilisation_meets_every_deadline() {
    for sizes in [&[(2, 1), (4, 2)][..], &[(2, 1), (3, 1), (6, 1)], &[(3, 1), (4, 1), (12, 5)], &[(5, 2), (10, 6)]] {
        let tasks: Vec<_> = sizes.iter().map(|&(period, wcet)| due(period, period, wcet)).collect();
        let set = dedicated(&tasks);
        assert!(meets_all(&set, &edf(&set)), "{set:?}");
    }
}

/// The least usable time in any `length` ticks.
fn least_supply(system: &SmallSystem, length: u32) -> u32 {
    let usable = |tick: u32| system.windows.iter().any(|w| w.0 <= tick % system.frame && tick % system.frame < w.1);
    let from = |start: u32| (start..start + length).filter(|&tick| usable(tick)).count() as u32;
    (0..system.frame).map(from).min().unwrap_or(0)
}

/// The most that can fall due within `length` ticks of which nothing was released before; within none at all that of
/// a task whose jitter reaches its deadline.
fn demand(system: &SmallSystem, length: u32) -> u32 {
    let of = |task: &SmallTask| match (length + task.jitter).checked_sub(task.deadline) {
        Some(rest) => (rest / task.period + 1) * task.wcet,
        None => 0,
    };
    system.tasks.iter().map(of).sum()
}

/// Baruah, Rosier and Howell 1990 with the supply of Shin and Lee 2003: within supply, all deadlines are met
/// exactly when no interval's demand is above the least supply. Beyond a few hyperperiods the margin only grows.
#[test]
fn deadlines_are_met_exactly_where_demand_is_within_supply() {
    let mut oracle = Oracle::under(EarliestDeadline);
    let (mut met, mut missed) = (0, 0);
    for system in edf_systems().step_by(3).chain(random_systems_without_blocking(31, 200)) {
        let worst = oracle.free_running(&system);
        let bounded = worst.iter().all(|worst| *worst != Unbounded);
        let fits = bounded && (0..=200).all(|length| demand(&system, length) <= least_supply(&system, length));
        assert_eq!(meets_all(&system, &worst), fits, "{worst:?} of {system:?}");
        *if fits { &mut met } else { &mut missed } += 1;
    }
    assert!(met > 3_000 && missed > 3_000, "{met} met, {missed} missed");
}

/// Deadlines that grow downward by more than any response make the earliest deadline an order of priorities.
#[test]
fn far_deadlines_make_an_order_of_priorities() {
    for mut system in random_systems_without_blocking(32, 100) {
        let count = system.tasks.len() as u32;
        for (position, task) in system.tasks.iter_mut().enumerate() {
            task.priority = count - position as u32;
            task.deadline = 300 * position as u32;
        }
        let by_priority = Oracle::new().free_running(&system);
        if by_priority.iter().all(|worst| *worst <= Response(250)) {
            assert_eq!(edf(&system), by_priority, "{system:?}");
        }
    }
}

#[test]
fn a_cooperative_job_is_waited_for_whole() {
    // Low begun one tick before: 4 - 1 + 1; low waits for high, and no longer.
    assert_eq!(cooperative(&dedicated(&[ranked(2, 8, 1), ranked(1, 8, 4)])), [Response(4), Response(5)]);
    // Window [0, 2) of 4: low begins at 1, is cut with 2 ticks left, high arrives at 2, waits for [4, 6) and
    // runs at 8: response 7.
    let cut = system(4, &[(0, 2)], &[ranked(2, 16, 1), ranked(1, 16, 3)]);
    assert_eq!(cooperative(&cut)[0], Response(7));
    // An overloaded task below is waited for all the same.
    assert_eq!(cooperative(&dedicated(&[ranked(2, 8, 1), ranked(1, 3, 3)])), [Response(3), Unbounded]);
}

/// Davis, Burns, Bril and Lukkien 2007, section 3.2 (from memory): three messages of 1 in periods of 2.5, 3.5 and
/// 3.5, here all times twofold, where the second job of the last one is the worst (3.5).
#[test]
fn the_second_job_of_a_busy_stretch_may_be_the_worst() {
    let set = dedicated(&[ranked(3, 5, 2), ranked(2, 7, 2), ranked(1, 7, 2)]);
    assert_eq!(cooperative(&set)[2], Response(7));
}

/// The worst response on a full core by the busy stretch: it opens with a job below begun one tick before;
/// a job of the task starts when nothing above it is there: `s = B + q C + sum of (floor(s / T) + 1) C`.
fn cooperative_by_busy_stretch(tasks: &[SmallTask], k: usize) -> u32 {
    let blocking = tasks[k + 1..].iter().map(|task| task.wcet - 1).max().unwrap_or(0);
    let above = |start: u32| tasks[..k].iter().map(|task| (start / task.period + 1) * task.wcet).sum::<u32>();
    let own = &tasks[k];
    let mut worst = 0;
    for job in 0..100 {
        let mut start = blocking;
        loop {
            let next = blocking + job * own.wcet + above(start);
            if next == start {
                break;
            }
            start = next;
        }
        worst = worst.max((start + own.wcet).saturating_sub(job * own.period));
    }
    worst
}

/// George, Rivierre and Spuri 1996; Davis, Burns, Bril and Lukkien 2007: exact for non-preemptive fixed priority.
#[test]
fn a_full_core_agrees_with_the_non_preemptive_busy_stretch() {
    let mut compared = 0;
    for first in [ranked(3, 5, 1), ranked(3, 6, 2), ranked(3, 8, 3)] {
        for second in [ranked(2, 7, 1), ranked(2, 9, 2), ranked(2, 8, 3)] {
            for third in [ranked(1, 7, 2), ranked(1, 10, 3), ranked(1, 12, 1), ranked(1, 12, 4)] {
                let tasks = [first, second, third].map(|task| SmallTask { bcet: 1, ..task });
                let demand: u32 = tasks.iter().map(|task| 2_520 / task.period * task.wcet).sum();
                if demand >= 2_520 {
                    continue;
                }
                let expected = [0, 1, 2].map(|k| Response(cooperative_by_busy_stretch(&tasks, k)));
                assert_eq!(cooperative(&dedicated(&tasks)), expected, "{tasks:?}");
                compared += 1;
            }
        }
    }
    assert!(compared > 20, "{compared}");
}

/// Where every job is one tick there is nothing to displace.
#[test]
fn jobs_of_one_tick_are_served_alike_with_and_without_displacement() {
    let mut compared = 0;
    for mut system in random_systems(33, 300) {
        for task in &mut system.tasks {
            (task.wcet, task.bcet, task.blocking) = (1, 1, 0);
        }
        assert_eq!(cooperative(&system), Oracle::new().free_running(&system), "{system:?}");
        compared += 1;
    }
    assert_eq!(compared, 300);
}
