//! Crashes, starts, boot and changes of the module schedule, worked out by hand.

use crate::build::{drawn, events, scenario, shared, task, window, windowed};
use model::system::HealthError;
use proptest::prelude::*;
use simulator::event::Start::{self, Cold, Warm};
use simulator::fault::{Fault, Kind, Target};
use simulator::machine::Guest::FixedPriority;
use simulator::machine::{Action, Channel, Counted, Escalation, Grant, Machine, Monitor, Policy, Port, Recovery, Rule};
use simulator::scenario::{Begin, Spread::Least};
use simulator::{Event, Protection, Protections, Scenario, Seen, What};

/// Two partitions with windows `[0, 10)` and `[10, 20)` of a frame of 20, heads of 1, a task of 3 each frame in each. The
/// first is noticed after 5, its action takes 2; it initialises in 12 warm and 20 cold.
fn two(rules: &[(HealthError, Action)]) -> Machine {
    let tasks = vec![task(0, 1, 20, 3, 0), task(1, 1, 20, 3, 0)];
    let windows = vec![window(0, 0, 10, 1), window(1, 10, 20, 1)];
    let mut machine = windowed(20, &[FixedPriority, FixedPriority], windows, tasks);
    machine.partitions[0].recovery = Recovery {
        cold_init_ns: Some(20),
        warm_init_ns: Some(12),
        detection_ns: Some(5),
        action_ns: Some(2),
        ends_with: Some(0),
    };
    let rules = rules.iter().map(|&(error, action)| Rule { partition: 0, error, action }).collect();
    machine.monitor = Some(Monitor { rules, escalations: Vec::new() });
    machine
}

fn with_fault(span_ns: u64, kind: Kind, target: Target, at_ns: u64) -> Scenario {
    Scenario { faults: vec![Fault { kind, target, at_ns }], ..scenario(span_ns, drawn(Least)) }
}

fn crash(at_ns: u64, start: Option<Start>) -> Scenario {
    with_fault(200, Kind::Crash { start }, Target::Partition(0), at_ns)
}

/// Instants of what is not the daily round of windows and jobs.
fn told(events: &[Event]) -> Vec<(u64, What)> {
    let rare = |event: &&Event| {
        matches!(
            event.what,
            What::Noticed { .. }
                | What::Restarts { .. }
                | What::Operational { .. }
                | What::Stopped { .. }
                | What::Dropped { .. }
                | What::ModuleStops
                | What::ScheduleChanges { .. }
        )
    };
    events.iter().filter(rare).map(|event| (event.at_ns, event.what)).collect()
}

fn completions(events: &[Event], of: usize) -> Vec<(u64, u64)> {
    let done = |event: &Event| match event.what {
        What::Completes { task, response_ns, .. } if task == of => Some((event.at_ns, response_ns)),
        _ => None,
    };
    events.iter().filter_map(done).collect()
}

#[test]
fn a_crash_is_noticed_and_started_again_in_its_own_windows() {
    // Crash at 2, noticed at 7, its job dropped, the action done at 9. Initialisation: 1 of [9, 10), 9 of [21, 30), 2 of [41,
    // 43): operational at 43, the next aligned arrival at 60, first output at 64: an outage of 62.
    let machine = two(&[(HealthError::MemoryViolation, Action::WarmStart)]);
    let (events, seen) = events(&machine, &crash(2, None));
    let expected = [
        (7, What::Noticed { partition: 0 }),
        (7, What::Restarts { partition: 0, start: Warm }),
        (7, What::Dropped { task: 0, job: 0 }),
        (43, What::Operational { partition: 0 }),
    ];
    assert_eq!(told(&events), expected);
    assert_eq!(completions(&events, 0)[0], (64, 4));
    assert_eq!((seen.partitions[0].warm_starts, seen.partitions[0].warm_outage_ns), (1, Some(62)));
    assert_eq!(seen.partitions[0].cold_outage_ns, None);
    // Nobody else notices.
    assert!(completions(&events, 1).iter().all(|&(_, response_ns)| response_ns == 14));
    assert_eq!(seen.tasks[1].jobs, 10);
}

#[test]
fn a_crash_may_say_how_it_is_started_and_free_tasks_begin_at_once() {
    // Cold: 1 + 9 + 9 + 1 of [61, 62): operational at 62; a free-running task arrives then and writes at 65: an outage of 63.
    let mut machine = two(&[(HealthError::MemoryViolation, Action::WarmStart)]);
    machine.tasks[0].arrivals = simulator::machine::Arrivals::Free;
    let (events, seen) = events(&machine, &crash(2, Some(Cold)));
    assert_eq!(completions(&events, 0)[0], (65, 3));
    assert_eq!((seen.partitions[0].cold_starts, seen.partitions[0].cold_outage_ns), (1, Some(63)));
}

#[test]
fn without_a_monitor_or_a_datum_a_crash_is_for_good() {
    let table = [(HealthError::MemoryViolation, Action::WarmStart)];
    let off = Scenario { protections: Protections::without(Protection::HealthMonitor), ..crash(2, None) };
    // The job of [180, 200) would miss at the run's end, and no more counts.
    let dead = |machine: &Machine, scenario: &Scenario| {
        let (events, seen) = events(machine, scenario);
        (completions(&events, 0).len(), seen.tasks[0].missed, seen.tasks[1].jobs)
    };
    assert_eq!(dead(&two(&table), &off), (0, 9, 10));
    assert_eq!(dead(&two(&[]), &crash(2, None)), (0, 9, 10));
    let mut unknown = two(&table);
    unknown.partitions[0].recovery.detection_ns = None;
    assert_eq!(dead(&unknown, &crash(2, None)), (0, 9, 10));
    unknown = two(&table);
    unknown.partitions[0].recovery.warm_init_ns = None;
    assert_eq!(dead(&unknown, &crash(2, None)).0, 0);
}

#[test]
fn a_storm_climbs_the_escalations_to_a_stop() {
    let mut machine = two(&[(HealthError::MemoryViolation, Action::WarmStart)]);
    let escalation = |from, to| Escalation { partition: 0, from: Counted::Action(from), count: 2, window_ns: 1000, to };
    machine.monitor.as_mut().expect("a table").escalations =
        vec![escalation(Action::WarmStart, Action::ColdStart), escalation(Action::ColdStart, Action::Stop)];
    // A crash every 100, each noticed 5 later: warm, warm, cold, warm, warm, cold, warm, warm, and the third cold one is a stop.
    let storm = Kind::RestartStorm { count: 9, every_ns: 100, start: None };
    let (events, seen) = events(&machine, &with_fault(2000, storm, Target::Partition(0), 0));
    let partition = seen.partitions[0];
    assert_eq!((partition.warm_starts, partition.cold_starts, partition.stops), (6, 2, 1));
    assert!(told(&events).contains(&(805, What::Stopped { partition: 0 })));
    assert_eq!(seen.tasks[1].jobs, 100);
}

#[test]
fn a_process_that_loops_is_started_again_and_the_module_may_be_reset() {
    // The job of [0, 20) loops from 1 on, misses at 20, is noticed at 25 and dropped; that of 20 then runs [25, 28).
    let machine = two(&[(HealthError::DeadlineMissed, Action::RestartProcess)]);
    let (told_events, _) = events(&machine, &with_fault(60, Kind::EndlessLoop, Target::Partition(0), 0));
    assert_eq!(told(&told_events)[1], (25, What::Dropped { task: 0, job: 0 }));
    assert_eq!(completions(&told_events, 0), [(28, 8), (44, 4)]);
    let machine = two(&[(HealthError::DeadlineMissed, Action::ModuleReset)]);
    let (told_events, seen) = events(&machine, &with_fault(60, Kind::EndlessLoop, Target::Task(0), 0));
    assert_eq!(told(&told_events)[1], (25, What::ModuleStops));
    assert_eq!((seen.counts.module_stops, completions(&told_events, 1).len()), (1, 1));
}

#[test]
fn at_boot_partitions_initialise_and_builders_build_first() {
    // The first initialises in 20: 9 of [1, 10), 9 of [21, 30), 2 of [41, 43). It builds the second in 4 before its own task: until
    // 47. The second then initialises in 11: 9 of [51, 60), 2 of [71, 73). Its next arrival is at 80.
    let mut machine = two(&[]);
    machine.partitions[1].recovery.cold_init_ns = Some(11);
    machine.partitions[1].built_by = Some((0, 4));
    let boot = Scenario { begin: Begin::FirstFrame, ..scenario(200, drawn(Least)) };
    let (events, seen) = events(&machine, &boot);
    assert_eq!(seen.partitions.iter().map(|one| one.operational_ns).collect::<Vec<_>>(), [Some(43), Some(73)]);
    assert_eq!(completions(&events, 0)[0], (64, 4));
    assert_eq!(completions(&events, 1)[0], (94, 14));
    assert_eq!((seen.partitions[0].cold_starts, seen.partitions[0].cold_outage_ns), (0, None));
}

#[test]
fn a_change_takes_effect_at_the_frames_end_and_may_start_a_partition() {
    // In the second schedule the windows are the other way round. The first starts warm at 40: its action until 42, 9 of [51, 60),
    // 3 of [71, 74).
    let mut machine = two(&[]);
    let mut second = machine.schedules[0].clone();
    second.cores[0] = vec![window(1, 0, 10, 1), window(0, 10, 20, 1)];
    machine.schedules.push(second);
    machine.partitions[0].at_change = Some(Warm);
    for (at_ns, effect_ns) in [(20, 40), (39, 40), (40, 60)] {
        let change = Scenario { changes: vec![(at_ns, 1)], ..scenario(200, drawn(Least)) };
        let (events, seen) = events(&machine, &change);
        let expected = [
            (effect_ns, What::ScheduleChanges { to: 1 }),
            (effect_ns, What::Restarts { partition: 0, start: Warm }),
            (effect_ns + 34, What::Operational { partition: 0 }),
        ];
        assert_eq!(told(&events), expected, "asked for at {at_ns}");
        let after = completions(&events, 1).into_iter().find(|done| done.0 > effect_ns);
        assert_eq!(after, Some((effect_ns + 4, 4)));
        assert_eq!(seen.partitions[0].warm_starts, 1);
    }
    // Of two requests in a frame the later one counts.
    let back = Scenario { changes: vec![(5, 1), (6, 0)], ..scenario(100, drawn(Least)) };
    assert_eq!(told(&events(&machine, &back).0)[0], (20, What::ScheduleChanges { to: 0 }));
}

#[test]
fn a_second_failure_while_it_starts_is_none() {
    let machine = two(&[(HealthError::MemoryViolation, Action::WarmStart)]);
    let mut twice = crash(2, None);
    twice.faults.push(Fault { at_ns: 20, ..twice.faults[0] });
    let (_, seen) = events(&machine, &twice);
    assert_eq!((seen.partitions[0].warm_starts, seen.partitions[0].warm_outage_ns), (1, Some(62)));
}

#[test]
fn runs_of_one_engine_do_not_see_each_other() {
    let machine = shared(Policy::Dedicated, &[FixedPriority], &[Grant::Dedicated], vec![task(0, 1, 20, 3, 0)]);
    let faulty = Scenario {
        faults: vec![
            Fault { kind: Kind::Crash { start: None }, target: Target::Partition(0), at_ns: 5 },
            Fault { kind: Kind::CoreStop { for_ns: None }, target: Target::Core(0), at_ns: 50 },
        ],
        ..scenario(100, drawn(Least))
    };
    let mut engine = simulator::Engine::new(&machine);
    let mut run = |scenario: &Scenario| {
        let mut seen = Seen::nothing(&machine);
        engine.run(scenario, &mut seen, &mut simulator::Nobody);
        seen
    };
    let before = run(&scenario(100, drawn(Least)));
    assert_eq!(run(&faulty).tasks[0].jobs, 1);
    assert_eq!(run(&scenario(100, drawn(Least))), before);
}

/// Windows of one partition that do not touch, as pairs of gap and length, with a head of 1 each, and what follows a crash.
fn drawn_restart() -> impl Strategy<Value = (Vec<(u64, u64)>, u64, [u64; 3])> {
    (
        prop::collection::vec((1..6u64, 2..7u64), 1..4),
        0..40u64,
        prop::array::uniform3(0..15u64).prop_map(|[detection, action, init]| [detection, action, init + 1]),
    )
}

proptest! {
    /// Against counting one tick after the other.
    #[test]
    fn initialisation_ends_where_ticks_say((gaps, at_ns, [detection, action, init]) in drawn_restart()) {
        let mut windows = Vec::new();
        let mut usable = Vec::new();
        for (gap, length) in gaps {
            let start = usable.len() as u64 + gap;
            windows.push(window(0, start, start + length, 1));
            usable.extend((0..gap).map(|_| false).chain([false]).chain((1..length).map(|_| true)));
        }
        usable.push(false);
        let frame = usable.len() as u64;
        let mut machine = windowed(frame, &[FixedPriority], windows, vec![task(0, 1, frame, 1, 0)]);
        machine.partitions[0].recovery =
            Recovery { warm_init_ns: Some(init), detection_ns: Some(detection), action_ns: Some(action), ..Recovery::default() };
        let rule = Rule { partition: 0, error: HealthError::MemoryViolation, action: Action::WarmStart };
        machine.monitor = Some(Monitor { rules: vec![rule], escalations: Vec::new() });
        let span_ns = 1000 + frame * 50;
        let fault = with_fault(span_ns, Kind::Crash { start: None }, Target::Partition(0), at_ns);
        let mut left = init;
        let mut tick = at_ns + detection + action;
        while left > 0 {
            left -= u64::from(usable[(tick % frame) as usize]);
            tick += 1;
        }
        let told = told(&events(&machine, &fault).0);
        prop_assert!(told.contains(&(tick, What::Operational { partition: 0 })), "{} {:?}", tick, told);
    }
}

#[test]
fn what_a_dead_partition_had_computed_is_not_written() {
    // The job of 0 is done at 4 and would write at 20. The crash at 6 is noticed at 11, the action done at 13; 12 of
    // initialisation in [21, 30) and [41, 44); the job of 60 writes at its deadline, 80: an outage of 74.
    let mut machine = two(&[(HealthError::MemoryViolation, Action::WarmStart)]);
    machine.tasks[0].logical = true;
    assert_eq!(events(&machine, &crash(6, None)).1.partitions[0].warm_outage_ns, Some(74));
    // A deadline after the end of the initialisation makes no difference.
    (machine.tasks[0].deadline_ns, machine.tasks[0].period_ns) = (50, 60);
    let (_, seen) = events(&machine, &crash(6, None));
    assert_eq!(seen.partitions[0].warm_outage_ns, Some(110 - 6));
}

#[test]
fn a_dead_partition_sends_nothing_by_itself() {
    let mut machine = two(&[(HealthError::MemoryViolation, Action::WarmStart)]);
    machine.channels.push(Channel {
        name: "C".to_owned(),
        port: Port::Sampling { refresh_ns: None },
        source_task: None,
        source: 0,
        source_period_ns: Some(4),
        batch: 1,
        inputs: 0..0,
        frame_cost_ns: None,
    });
    // At 0; dead from 2, operational again at 43: from 44 on one each 4.
    let writes = |scenario: &Scenario| {
        let mut fast = Seen::nothing(&machine);
        simulator::Table::new(&machine, 0).and_then(|mut table| table.run(scenario, &mut fast)).expect("it fits");
        let (_, seen) = events(&machine, scenario);
        assert_eq!(fast, seen);
        seen.counts.writes
    };
    assert_eq!(writes(&crash(2, None)), 1 + (200 - 44) / 4);
    let off = Protections::without(Protection::HealthMonitor);
    assert_eq!(writes(&Scenario { protections: off, ..crash(2, None) }), 1);
}
