//! Partitions with several virtual cores, logical execution time, windows that nothing cuts.

use crate::build::{alone, completions, drawn, events, runs, scenario, shared, task, window, windowed};
use simulator::fault::{Fault, Kind, Target};
use simulator::machine::Guest::FixedPriority;
use simulator::machine::{Core, Grant, Lane, Machine, Policy, Tables};
use simulator::scenario::Spread::{Even, Least};
use simulator::{Protection, Protections, Scenario, What};

/// One partition with two lanes on two cores, each with a table of its own.
fn two_lanes(tables: [Vec<simulator::machine::Window>; 2], tasks: Vec<simulator::machine::Task>) -> Machine {
    let policy = Policy::Table { synchronised: true, slip_ns: 0 };
    let mut machine = shared(policy, &[FixedPriority], &[Grant::Windows], tasks);
    machine.frame_ns = 10;
    machine.cores = ["0", "1"].map(|name| Core { name: name.to_owned(), policy, set: 0 }).to_vec();
    machine.lanes = [0, 1]
        .map(|number| Lane { partition: 0, number, cores: vec![number as usize], grant: Grant::Windows })
        .to_vec();
    machine.partitions[0].lanes = 0..2;
    let active = machine.schedules[0].active.clone();
    machine.schedules =
        vec![Tables { name: "S".to_owned(), cores: tables.to_vec(), active, grants: vec![Grant::Windows; 2] }];
    machine
}

#[test]
fn the_most_urgent_jobs_run_on_the_virtual_cores_that_have_supply() {
    // Core 0 serves [0, 4), core 1 [2, 8). Of three jobs of 4 from 0 on the most urgent runs on core 0; the second on core 1
    // from 2 to 6; the third from 6 to 8 on core 1, and goes on on core 0 from 10 to 12.
    let tables = [vec![window(0, 0, 4, 0)], vec![window(1, 2, 8, 0)]];
    let tasks = vec![task(0, 3, 100, 4, 0), task(0, 2, 100, 4, 0), task(0, 1, 100, 4, 0)];
    let done = completions(&two_lanes(tables, tasks), &scenario(50, drawn(Least)));
    assert_eq!(done, [(4, 0, 4), (6, 1, 6), (12, 2, 12)]);
}

#[test]
fn a_job_whose_virtual_core_loses_its_supply_goes_on_at_once_on_another() {
    // One job of 7: core 0 to 4, core 1 from 4 to 7.
    let tables = [vec![window(0, 0, 4, 0)], vec![window(1, 2, 8, 0)]];
    let machine = two_lanes(tables, vec![task(0, 1, 100, 7, 0)]);
    let (events, seen) = events(&machine, &scenario(50, drawn(Least)));
    let ran: Vec<_> = events
        .iter()
        .filter_map(|event| match event.what {
            What::Runs { core, .. } => Some((event.at_ns, core)),
            _ => None,
        })
        .collect();
    assert_eq!(ran, [(0, 0), (4, 1)]);
    assert_eq!(seen.tasks[0].most_ns, 7);
}

#[test]
fn tasks_that_are_pinned_stay_on_their_virtual_core() {
    let tables = [vec![window(0, 0, 4, 0)], vec![window(1, 2, 8, 0)]];
    let mut tasks = vec![task(0, 2, 100, 3, 0), task(0, 1, 100, 3, 0)];
    (tasks[0].lane, tasks[1].lane) = (Some(1), Some(1));
    let done = completions(&two_lanes(tables.clone(), tasks.clone()), &scenario(50, drawn(Least)));
    assert_eq!(done, [(5, 0, 5), (8, 1, 8)]);
    // With the other one free to run anywhere, it runs at once on core 0.
    tasks[1].lane = None;
    let done = completions(&two_lanes(tables, tasks), &scenario(50, drawn(Least)));
    assert_eq!(done, [(3, 1, 3), (5, 0, 5)]);
}

#[test]
fn outputs_of_logical_execution_time_come_at_the_deadline_or_late() {
    let mut machine = alone(FixedPriority, vec![task(0, 2, 20, 3, 0), task(0, 1, 40, 10, 0)]);
    (machine.tasks[0].logical, machine.tasks[1].logical) = (true, true);
    machine.tasks[1].deadline_ns = 12;
    let seen = events(&machine, &Scenario { run: 3, ..scenario(400, drawn(Even)) }).1;
    assert_eq!(seen.tasks[0].output_shift_ns, Some((0, 0)), "at every deadline");
    // The other responds after 13 and misses its deadline, each time alike.
    assert_eq!((seen.tasks[1].output_shift_ns, seen.tasks[1].missed), (Some((0, 0)), 10));
}

#[test]
fn a_window_ends_as_planned_whatever_overruns_and_goes_on_where_nothing_cuts_it() {
    // Two partitions, [0, 5) and [5, 10) of 10. The first one's job is given 8 ns although 4 are charged.
    let tasks = vec![task(0, 1, 20, 4, 0), task(1, 1, 20, 3, 0)];
    let windows = vec![window(0, 0, 5, 0), window(1, 5, 10, 1)];
    let machine = windowed(10, &[FixedPriority; 2], windows, tasks);
    let given = |task, execution_ns| simulator::scenario::GivenJob {
        arrival_ns: 0,
        task,
        release_ns: 0,
        execution_ns,
        goes_on_ns: 0,
    };
    let cut = scenario(20, simulator::scenario::Times::Given(vec![given(0, 8), given(1, 3)]));
    assert_eq!(completions(&machine, &cut), [(9, 1, 9), (13, 0, 13)]);
    // Nothing cuts it: it ends at 8, the other's window begins late, pays its head and ends as planned: 9 to 10, 16 to 18.
    let protections = Protections::without(Protection::WindowEnforcement);
    let uncut = Scenario { protections, ..cut };
    assert_eq!(completions(&machine, &uncut), [(8, 0, 8), (18, 1, 18)]);
    assert_eq!(runs(&machine, &uncut)[..3], [(0, Some(0)), (8, None), (9, Some(1))]);
}

/// An overrun of the first job of task 0, and the same without anything that cuts windows.
fn uncut(span_ns: u64, extra_ns: u64) -> Scenario {
    let overrun = Fault { kind: Kind::Overrun { extra_ns, jobs: 1 }, target: Target::Task(0), at_ns: 0 };
    Scenario {
        faults: vec![overrun],
        protections: Protections::without(Protection::WindowEnforcement),
        ..scenario(span_ns, drawn(Least))
    }
}

#[test]
fn what_goes_on_beyond_the_window_of_the_next_frame_too_leaves_out_all_that_it_covers() {
    // [15, 20) and [0, 10) of a frame of 20 are one window, [10, 15) is the other's. The job of 15 takes 33, until 48, in the
    // window [40, 50); the other's of 10 runs at once, that of 30 only from 50 to 54, since [30, 35) is covered.
    let mut first = window(0, 0, 10, 0);
    first.continues = true;
    let tasks = vec![task(0, 1, 40, 3, 15), task(1, 1, 20, 4, 10)];
    let windows = vec![first, window(1, 10, 15, 0), window(0, 15, 20, 0)];
    let machine = windowed(20, &[FixedPriority; 2], windows, tasks);
    assert_eq!(completions(&machine, &uncut(55, 30)), [(14, 1, 4), (48, 0, 33), (54, 1, 24)]);
}

#[test]
fn a_job_that_keeps_one_core_does_not_run_on_another_as_well() {
    // The first job takes 3 + 20 on core 0, which it keeps beyond the window's end at 4; the second arrives at 5 and has core 1.
    let tables = [vec![window(0, 0, 4, 0)], vec![window(1, 2, 8, 0)]];
    let machine = two_lanes(tables, vec![task(0, 2, 100, 3, 0), task(0, 1, 100, 1, 5)]);
    assert_eq!(completions(&machine, &uncut(50, 20)), [(6, 1, 1), (23, 0, 23)]);
}

#[test]
fn a_core_or_a_partition_that_stops_stops_beyond_its_window_too() {
    // A job of 3 + 10 in [0, 10) of each 20, not cut, ends at 13; the other's window begins then.
    let tasks = vec![task(0, 1, 40, 3, 0), task(1, 1, 20, 2, 10)];
    let machine = windowed(20, &[FixedPriority; 2], vec![window(0, 0, 10, 0), window(1, 10, 20, 0)], tasks);
    let with = |kind, target| {
        let mut scenario = uncut(20, 10);
        scenario.faults.push(Fault { kind, target, at_ns: 11 });
        completions(&machine, &scenario)
    };
    assert_eq!(completions(&machine, &uncut(20, 10)), [(13, 0, 13), (15, 1, 5)]);
    // The core stands from 11 to 14: 2 ns are left then.
    assert_eq!(with(Kind::CoreStop { for_ns: Some(3) }, Target::Core(0)), [(16, 0, 16), (18, 1, 8)]);
    // A partition that has died keeps nothing.
    assert_eq!(with(Kind::Crash { start: None }, Target::Partition(0)), [(13, 1, 3)]);
}
