//! Servers, turns, sets with a phase of their own, order of runs.

use crate::build::{alone, completions, drawn, events, runs, scenario, shared, task, window, windowed};
use simulator::fault::{Fault, Kind, Target};
use simulator::machine::Guest::{FixedPriority, Opaque};
use simulator::machine::{Grant, Policy};
use simulator::scenario::Spread::{Ends, Even, Least};
use simulator::{Engine, Nobody, Seen, What};

fn server(budget_ns: u64, period_ns: u64) -> Grant {
    Grant::Server { budget_ns, period_ns, deadline_ns: period_ns, head_ns: 0 }
}

#[test]
fn servers_take_turns_by_deadline_and_pay_heads_when_the_core_turns_to_them() {
    // Budgets 2 in 5 and 3 in 10, heads of 1: 0 to 1 head, 1 to 3 the first, 3 to 4 head, then the second until the first is due
    // again at 5 with the same deadline of 10: the one that runs stays until its budget is used up at 7; head, 8 to 10.
    let with_head = |budget_ns, period_ns| Grant::Server { budget_ns, period_ns, deadline_ns: period_ns, head_ns: 1 };
    let grants = [with_head(2, 5), with_head(3, 10)];
    let tasks = vec![task(0, 1, 5, 2, 0), task(1, 1, 10, 3, 0)];
    let machine = shared(Policy::Servers, &[FixedPriority; 2], &grants, tasks);
    let run = scenario(10, drawn(Least));
    assert_eq!(runs(&machine, &run), [(1, Some(0)), (3, None), (4, Some(1)), (7, None), (8, Some(0)), (10, None)]);
}

#[test]
fn every_server_gives_its_whole_budget_in_every_period_idle_or_not() {
    let opaque = Opaque { budget_ns: Some(3), span_ns: Some(10) };
    let machine = shared(Policy::Servers, &[opaque, opaque], &[server(3, 10), server(4, 8)], Vec::new());
    for run in 0..50 {
        let (_, seen) = events(&machine, &simulator::Scenario { run, ..scenario(4000, drawn(Even)) });
        // Shin and Lee 2003, from memory: nothing for 2 (P - Q) at worst, so a budget by 2 P - Q.
        assert!(seen.partitions[0].longest_for_budget_ns.expect("a span") <= 17);
    }
}

#[test]
fn turns_follow_weights_and_lose_their_heads() {
    // Weights 3 and 1, quanta of 10 with heads of 2: of 40 turns the first has 30, each of 8 usable ns.
    let grants = [3, 1].map(|weight| Grant::Share { weight, ceiling_ppm: None });
    let policy = Policy::Share { quantum_ns: 10, head_ns: 2 };
    let tasks = vec![task(0, 1, 1000, 240, 0), task(1, 1, 1000, 80, 0)];
    let machine = shared(policy, &[FixedPriority; 2], &grants, tasks);
    let (events, _) = events(&machine, &scenario(400, drawn(Least)));
    let turns =
        |of: usize| events.iter().filter(|e| matches!(e.what, What::LaneBegins { lane, .. } if lane == of)).count();
    assert_eq!((turns(0), turns(1)), (30, 10));
    assert_eq!(completions(&machine, &scenario(401, drawn(Least))).len(), 2);
}

#[test]
fn a_ceiling_is_kept_though_the_core_idles() {
    let grants = [Grant::Share { weight: 1, ceiling_ppm: Some(250_000) }];
    let policy = Policy::Share { quantum_ns: 10, head_ns: 0 };
    let machine = shared(policy, &[FixedPriority], &grants, vec![task(0, 1, 1000, 100, 0)]);
    // Ten turns, one in four: the last begins at 360.
    assert_eq!(completions(&machine, &scenario(1000, drawn(Least))), [(370, 0, 370)]);
}

#[test]
fn a_set_that_is_not_synchronised_has_any_phase() {
    let mut machine = windowed(100, &[FixedPriority], vec![window(0, 10, 30, 5)], vec![task(0, 1, 100, 1, 0)]);
    machine.cores[0].policy = Policy::Table { synchronised: false, slip_ns: 0 };
    let mut responses = std::collections::BTreeSet::new();
    for run in 0..2000 {
        let run = simulator::Scenario { run, ..scenario(100, drawn(Even)) };
        responses.extend(completions(&machine, &run).into_iter().map(|(_, _, response)| response));
    }
    // At once in the window, or after the rest of the gap: 15 usable of 100, so from 1 to 86.
    assert_eq!((responses.first(), responses.last()), (Some(&1), Some(&86)));
    assert_eq!(responses.len(), 86);
}

#[test]
fn a_boundary_slip_begins_windows_later_and_ends_none_later() {
    let mut machine = windowed(10, &[FixedPriority], vec![window(0, 0, 5, 1)], vec![task(0, 1, 100, 8, 0)]);
    machine.cores[0].policy = Policy::Table { synchronised: true, slip_ns: 2 };
    let ends: std::collections::BTreeSet<_> = (0..200)
        .flat_map(|run| completions(&machine, &simulator::Scenario { run, ..scenario(100, drawn(Ends)) }))
        .collect();
    // From 8 usable in two windows to 2 in each of four.
    assert_eq!(ends.first(), Some(&(15, 0, 15)));
    assert_eq!(ends.last(), Some(&(35, 0, 35)));
}

#[test]
fn any_order_of_runs_gives_the_same() {
    let mut tasks = vec![task(0, 2, 40, 9, 0), task(0, 1, 70, 20, 0)];
    (tasks[0].least_ns, tasks[1].least_ns, tasks[0].jitter_ns, tasks[0].blocking_ns) = (1, 1, 5, 3);
    let machine = windowed(20, &[FixedPriority], vec![window(0, 3, 15, 1)], tasks);
    let whole = |order: &mut dyn Iterator<Item = u64>| {
        let (mut engine, mut seen) = (Engine::new(&machine), Seen::nothing(&machine));
        for run in order {
            engine.run(&simulator::Scenario { run, ..scenario(1000, drawn(Even)) }, &mut seen, &mut Nobody);
        }
        seen
    };
    let there = whole(&mut (0..40));
    assert_eq!(there, whole(&mut (0..40).rev()));
    let mut joined = Seen::nothing(&machine);
    (0..40).for_each(|run| joined.join(&whole(&mut std::iter::once(run))));
    assert_eq!(there, joined);
    assert!(there.tasks[1].jobs > 400);
}

#[test]
fn a_dedicated_core_is_there_from_the_first_instant() {
    let machine = alone(FixedPriority, vec![task(0, 1, 10, 10, 0)]);
    assert_eq!(completions(&machine, &scenario(31, drawn(Least))).len(), 3);
}

#[test]
fn a_fault_that_takes_a_window_changes_no_slip_of_the_others() {
    // [0, 5) and [5, 10) of a frame of 10, slips up to 4; the first partition's first window is taken whole by a late begin.
    let tasks = vec![task(0, 1, 10, 1, 0), task(1, 1, 10, 1, 5)];
    let mut machine = windowed(10, &[FixedPriority; 2], vec![window(0, 0, 5, 0), window(1, 5, 10, 0)], tasks);
    machine.cores[0].policy = Policy::Table { synchronised: true, slip_ns: 4 };
    let late = Fault { kind: Kind::LateWindow { by_ns: 5, windows: 1 }, target: Target::Partition(0), at_ns: 0 };
    for run in 0..20 {
        let without = simulator::Scenario { run, ..scenario(100, drawn(Even)) };
        let with = simulator::Scenario { faults: vec![late], ..without.clone() };
        let of_the_other = |scenario| -> Vec<_> {
            completions(&machine, scenario).into_iter().filter(|(_, task, _)| *task == 1).collect()
        };
        assert_eq!(of_the_other(&with), of_the_other(&without), "run {run}");
    }
}
