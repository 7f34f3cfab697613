//! The fast engine against the general one on random machines, and on jobs worked by hand.

use super::{Table, Unfit};
use crate::event::Start;
use crate::fault::{Fault, Kind, Target};
use crate::machine::{
    Action, Arrivals, Channel, Core, Counted, Escalation, Grant, Guest, Input, Lane, Monitor, Partition, Policy, Port,
    Recovery, Rule, Tables, Task, Window,
};
use crate::scenario::{Begin, Drawn, Spread, Times};
use crate::{Engine, Machine, Nobody, Protections, Scenario, Seen};
use model::system::HealthError;
use proptest::prelude::*;

fn task(partition: usize, priority: u32, period_ns: u64, (least_ns, charged_ns): (u64, u64)) -> Task {
    Task {
        label: format!("{partition}.{priority}"),
        partition,
        lane: None,
        period_ns,
        deadline_ns: period_ns,
        arrivals: Arrivals::Aligned { offset_ns: 0 },
        jitter_ns: 0,
        least_ns,
        charged_ns,
        interference_ns: 0,
        line_requests: 0,
        priority,
        blocking_ns: 0,
        logical: false,
        reads: Vec::new(),
        writes: Vec::new(),
    }
}

/// Partitions with a lane each; lane `n` has the windows of partition `n`.
fn machine(frame_ns: u64, partitions: usize, cores: Vec<Vec<Window>>, tasks: Vec<Task>) -> Machine {
    let policy = Policy::Table { synchronised: true, slip_ns: 0 };
    let core = |number: usize| Core { name: number.to_string(), policy, set: 0 };
    let partition = |number: usize| {
        let first = tasks.iter().position(|task| task.partition == number).unwrap_or(0);
        let count = tasks.iter().filter(|task| task.partition == number).count();
        Partition {
            name: format!("P{number}"),
            guest: Guest::FixedPriority,
            lanes: number..number + 1,
            tasks: first..first + count,
            recovery: Recovery::default(),
            at_change: None,
            built_by: None,
            untrusted: false,
        }
    };
    Machine {
        frame_ns,
        schedules: vec![Tables {
            name: "S".to_owned(),
            active: vec![true; tasks.len()],
            grants: vec![Grant::Windows; partitions],
            cores: cores.clone(),
        }],
        cores: (0..cores.len()).map(core).collect(),
        lanes: (0..partitions)
            .map(|number| Lane { partition: number, number: 0, cores: vec![0], grant: Grant::Windows })
            .collect(),
        partitions: (0..partitions).map(partition).collect(),
        tasks,
        ..Machine::default()
    }
}

/// Adds a channel from one task to another.
fn connect(machine: &mut Machine, from: usize, to: usize, port: Port, batch: u64) {
    let (channel, input) = (machine.channels.len(), machine.inputs.len());
    machine.channels.push(Channel {
        name: format!("C{channel}"),
        port,
        source_task: Some(from),
        source: machine.tasks[from].partition,
        source_period_ns: None,
        batch,
        inputs: input..input + 1,
        frame_cost_ns: None,
    });
    machine.inputs.push(Input { channel, partition: machine.tasks[to].partition, task: Some(to) });
    machine.tasks[from].writes.push(channel);
    machine.tasks[to].reads.push(input);
}

fn scenario(span_ns: u64, spread: Spread) -> Scenario {
    let drawn = Drawn { executions: spread, phases: spread, jitters: spread, blocking: spread };
    Scenario {
        seed: 1,
        run: 0,
        begin: Begin::Running,
        schedule: 0,
        span_ns,
        times: Times::Drawn(drawn),
        faults: Vec::new(),
        protections: Protections::ALL,
        changes: Vec::new(),
        contention: Default::default(),
    }
}

fn general(machine: &Machine, scenario: &Scenario) -> Seen {
    let mut seen = Seen::nothing(machine);
    Engine::new(machine).run(scenario, &mut seen, &mut Nobody);
    seen
}

fn fast(machine: &Machine, scenario: &Scenario) -> Result<Seen, Unfit> {
    let mut seen = Seen::nothing(machine);
    Table::new(machine, 0)?.run(scenario, &mut seen)?;
    Ok(seen)
}

fn window(lane: usize, start_ns: u64, end_ns: u64, head_ns: u64) -> Window {
    Window { start_ns, end_ns, lane, head_ns, continues: false }
}

/// Usable in [10, 20) and [50, 60) of every 100 ns: 7 ns every 50 and 8 ns every 100.
fn two_windows() -> Machine {
    let windows = vec![window(0, 8, 20, 2), window(0, 50, 60, 0)];
    let tasks = vec![task(0, 2, 50, (7, 7)), task(0, 1, 100, (8, 8))];
    let mut machine = machine(100, 1, vec![windows], tasks);
    connect(&mut machine, 1, 0, Port::Queuing { depth: 1, takes: None }, 1);
    machine
}

#[test]
fn a_job_that_is_cut_by_the_window_goes_on_in_the_next() {
    // The urgent one in [10, 17), the other from 17 to 20; the urgent one of 50 in [50, 57); the other 57 to 60 and, of the
    // next frame, 117 to 119, after the urgent one of 100; the next one of 100 has begun at 119.
    let seen = fast(&two_windows(), &scenario(200, Spread::Most)).expect("it fits");
    assert_eq!((seen.tasks[0].jobs, seen.tasks[0].sum_ns, seen.tasks[0].most_ns), (4, 17 + 7 + 17 + 7, 17));
    assert_eq!((seen.tasks[1].jobs, seen.tasks[1].most_ns, seen.tasks[1].missed), (1, 119, 1));
    // Outputs at 17, 57, 117, 157.
    assert_eq!(seen.tasks[0].output_shift_ns, Some((-10, 10)));
    assert_eq!((seen.counts.windows, seen.counts.releases, seen.counts.reads, seen.counts.writes), (4, 6, 4, 1));
    // Written at 119, read at 150.
    assert_eq!((seen.inputs[0].messages, seen.inputs[0].sum_age_ns, seen.inputs[0].empty), (1, 31, 3));
}

#[test]
fn a_job_that_never_ends_leaves_nothing_to_those_below() {
    let machine = two_windows();
    let fault = Fault { kind: Kind::EndlessLoop, target: Target::Task(0), at_ns: 20 };
    let scenario = Scenario { faults: vec![fault], ..scenario(200, Spread::Most) };
    let seen = fast(&machine, &scenario).expect("it fits");
    // Only the first job completes. Of the urgent task those of 50 and 100 miss their deadlines within the span, of the
    // other one that of 0 does.
    assert_eq!((seen.tasks[0].jobs, seen.tasks[0].missed), (1, 2));
    assert_eq!((seen.tasks[1].jobs, seen.tasks[1].missed), (0, 1));
    assert_eq!(seen, general(&machine, &scenario));
}

#[test]
fn what_does_not_fit_is_said() {
    let plain = two_windows();
    let refused = |change: fn(&mut Machine)| {
        let mut machine = two_windows();
        change(&mut machine);
        Table::new(&machine, 0).err()
    };
    assert_eq!(refused(|_| ()), None);
    assert_eq!(Table::new(&plain, 1).err(), Some(Unfit::Schedule));
    assert_eq!(refused(|machine| machine.tasks[1].priority = 2), Some(Unfit::Task(0)));
    assert_eq!(refused(|machine| machine.tasks[1].blocking_ns = 1), Some(Unfit::Task(1)));
    assert_eq!(refused(|machine| machine.tasks[1].logical = true), Some(Unfit::Task(1)));
    assert_eq!(refused(|machine| machine.partitions[0].guest = Guest::Edf), Some(Unfit::Partition(0)));
    assert_eq!(refused(|machine| machine.cores[0].policy = Policy::Servers), Some(Unfit::Core(0)));
    assert_eq!(refused(|machine| machine.schedules[0].cores[0].reverse()), Some(Unfit::Windows(0)));
    assert_eq!(refused(|machine| machine.tasks[0].writes.push(0)), Some(Unfit::Channel(0)));
    assert_eq!(refused(|machine| machine.tasks[1].reads.push(0)), Some(Unfit::Input(0)));
    let stop = Fault { kind: Kind::CoreStop { for_ns: None }, target: Target::Core(0), at_ns: 0 };
    let with = |faults| fast(&plain, &Scenario { faults, ..scenario(200, Spread::Even) }).err();
    assert_eq!(with(vec![stop]), Some(Unfit::Fault(0)));
    assert_eq!(with(vec![stop, stop]), Some(Unfit::Fault(1)));
    let boots = Scenario { begin: Begin::FirstFrame, ..scenario(200, Spread::Even) };
    assert_eq!(fast(&plain, &boots).err(), Some(Unfit::Scenario));
}

const PERIODS: [u64; 6] = [20, 25, 40, 50, 100, 200];

fn any_task() -> impl Strategy<Value = (usize, Task)> {
    let arrivals = prop_oneof![
        (0..30u64).prop_map(|offset_ns| Arrivals::Aligned { offset_ns }),
        Just(Arrivals::Free),
        Just(Arrivals::Sporadic)
    ];
    (0..3usize, 0..6usize, 1..6u64, 0..12u64, 1..150u64, prop_oneof![Just(0), 0..60u64], arrivals).prop_map(
        |(partition, period, least_ns, more, deadline_ns, jitter_ns, arrivals)| {
            let plain = task(partition, 0, PERIODS[period], (least_ns, least_ns + more));
            (partition, Task { deadline_ns, jitter_ns, arrivals, ..plain })
        },
    )
}

/// Cuts of the frame of one core, and who has what lies between: one of two partitions or nobody.
fn any_windows(first: usize) -> impl Strategy<Value = Vec<Window>> {
    prop::collection::vec((1..30u64, 0..3usize, 0..4u64), 1..8).prop_map(move |parts| {
        let mut start_ns = 0;
        let mut windows = Vec::new();
        for (length_ns, whose, head_ns) in parts {
            let end_ns = (start_ns + length_ns).min(100);
            if whose < 2 && start_ns < end_ns {
                windows.push(window(first + whose, start_ns, end_ns, head_ns));
            }
            start_ns = end_ns;
        }
        let (last, frame) = (windows.last().copied(), 100);
        if let (Some(begin), Some(last)) = (windows.first_mut(), last) {
            begin.continues = begin.start_ns == 0 && begin.lane == last.lane && last.end_ns == frame;
        }
        windows
    })
}

type Link = (usize, usize, Port, u64);

fn any_link() -> impl Strategy<Value = Link> {
    let port = prop_oneof![
        prop_oneof![Just(None), (0..80u64).prop_map(Some)].prop_map(|refresh_ns| Port::Sampling { refresh_ns }),
        (0..4u64, prop_oneof![Just(None), (1..3u64).prop_map(Some)])
            .prop_map(|(depth, takes)| Port::Queuing { depth, takes }),
    ];
    (any::<usize>(), any::<usize>(), port, 0..3u64)
}

fn any_machine() -> impl Strategy<Value = Machine> {
    let tasks = prop::collection::vec(any_task(), 1..12);
    (tasks, any_windows(0), any_windows(2), prop::collection::vec(any_link(), 0..6), any::<u8>()).prop_map(
        |(mut tasks, one, other, links, silent)| {
            tasks.sort_by_key(|(partition, _)| *partition);
            let ranked = tasks.into_iter().enumerate();
            // Urgencies that differ, in an order that is not that of the file.
            let tasks: Vec<Task> =
                ranked.map(|(index, (_, task))| Task { priority: (index as u32 * 7 + 3) % 13, ..task }).collect();
            let count = tasks.len();
            let mut machine = machine(100, 4, vec![one, other], tasks);
            for (from, to, port, batch) in links {
                connect(&mut machine, from % count, to % count, port, batch);
            }
            // A source that is no task, and a reader that is not modelled.
            if let Some(channel) = machine.channels.first_mut().filter(|_| silent % 3 == 0) {
                channel.source_period_ns = Some(u64::from(silent) + 1);
                machine.tasks.iter_mut().for_each(|task| task.writes.retain(|channel| *channel != 0));
            }
            machine
        },
    )
}

/// How each partition starts again, and a health monitor.
fn any_recovery() -> impl Strategy<Value = (Vec<Recovery>, Option<Monitor>)> {
    let time = |most: u64| prop_oneof![1 => Just(None), 2 => Just(Some(0)), 6 => (0..most).prop_map(Some)];
    let recovery = (time(15), time(15), time(60), time(60), prop::option::of(0..12usize)).prop_map(
        |(cold_init_ns, warm_init_ns, detection_ns, action_ns, ends_with)| Recovery {
            cold_init_ns,
            warm_init_ns,
            detection_ns,
            action_ns,
            ends_with,
        },
    );
    use Action::{ColdStart, Handler, Ignore, RestartProcess, Stop, WarmStart};
    let action = || prop::sample::select(vec![Ignore, Handler, RestartProcess, WarmStart, ColdStart, Stop]);
    let rule = (0..3usize, any::<bool>(), action()).prop_map(|(partition, missed, action)| Rule {
        partition,
        error: if missed { HealthError::DeadlineMissed } else { HealthError::MemoryViolation },
        action,
    });
    let escalation = (0..3usize, action(), 1..3u64, action()).prop_map(|(partition, from, count, to)| Escalation {
        partition,
        from: Counted::Action(from),
        count,
        window_ns: 100,
        to,
    });
    let monitor = (prop::collection::vec(rule, 0..6), prop::collection::vec(escalation, 0..2))
        .prop_map(|(rules, escalations)| Monitor { rules, escalations });
    (prop::collection::vec(recovery, 4), prop::option::weighted(0.8, monitor))
}

/// The same with recoveries, where tasks end outages of their own partition only.
fn recovering(mut machine: Machine, (recoveries, monitor): (Vec<Recovery>, Option<Monitor>)) -> Machine {
    for (partition, recovery) in machine.partitions.iter_mut().zip(recoveries) {
        let tasks = partition.tasks.clone();
        let ends_with = recovery.ends_with.filter(|_| !tasks.is_empty()).map(|draw| tasks.start + draw % tasks.len());
        partition.recovery = Recovery { ends_with, ..recovery };
    }
    Machine { monitor, ..machine }
}

fn any_fault() -> impl Strategy<Value = (Kind, usize, u64, usize)> {
    let kind = prop_oneof![
        (0..60u64, 0..4u64).prop_map(|(extra_ns, jobs)| Kind::Overrun { extra_ns, jobs }),
        Just(Kind::EndlessLoop),
        (0..300u64).prop_map(|for_ns| Kind::Silence { for_ns }),
        (1..20u64, 0..200u64).prop_map(|(every_ns, for_ns)| Kind::Babble { every_ns, for_ns }),
        (0..6u64).prop_map(|messages| Kind::QueueFlood { messages }),
        (0..40u64, 0..4u64).prop_map(|(by_ns, windows)| Kind::LateWindow { by_ns, windows }),
        (0..200u64).prop_map(|for_ns| Kind::LostTick { for_ns }),
    ];
    let start = prop::option::of(prop::sample::select(vec![Start::Warm, Start::Cold]));
    let kind = prop_oneof![2 => kind, 1 => start.prop_map(|start| Kind::Crash { start })];
    (kind, 0..3usize, 0..400u64, any::<usize>())
}

/// A fault at something of the machine that it may happen to.
fn placed(machine: &Machine, (kind, place, at_ns, draw): (Kind, usize, u64, usize)) -> Fault {
    let partition = Target::Partition(draw % machine.partitions.len());
    let task = Target::Task(draw % machine.tasks.len());
    let target = match (kind, place) {
        (Kind::Overrun { .. } | Kind::EndlessLoop | Kind::Silence { .. } | Kind::Babble { .. }, 0) => task,
        (Kind::Silence { .. } | Kind::Babble { .. } | Kind::QueueFlood { .. }, 1) if !machine.channels.is_empty() => {
            Target::Channel(draw % machine.channels.len())
        }
        _ => partition,
    };
    Fault { kind, target, at_ns }
}

fn any_spread() -> impl Strategy<Value = Spread> {
    prop::sample::select(vec![Spread::Even, Spread::Least, Spread::Most, Spread::Ends])
}

fn any_scenario() -> impl Strategy<Value = Scenario> {
    (any::<u64>(), 0..4u64, 1..900u64, any_spread(), any_spread(), any_spread()).prop_map(
        |(seed, run, span_ns, executions, phases, jitters)| {
            let drawn = Drawn { executions, phases, jitters, blocking: Spread::Even };
            Scenario { seed, run, times: Times::Drawn(drawn), ..scenario(span_ns, Spread::Even) }
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2_000))]
    #[test]
    fn it_sees_what_the_general_engine_sees(machine in any_machine(), scenario in any_scenario()) {
        let mut table = Table::new(&machine, 0).expect("the machine fits");
        let mut engine = Engine::new(&machine);
        let (mut mine, mut its) = (Seen::nothing(&machine), Seen::nothing(&machine));
        for run in 0..3 {
            let scenario = Scenario { run, span_ns: scenario.span_ns + run % 2, ..scenario.clone() };
            table.run(&scenario, &mut mine).expect("the scenario fits");
            engine.run(&scenario, &mut its, &mut Nobody);
            prop_assert_eq!(&mine, &its);
        }
    }

    #[test]
    fn with_a_fault_too(
        machine in any_machine(),
        recovery in any_recovery(),
        scenario in any_scenario(),
        fault in any_fault(),
    ) {
        let machine = recovering(machine, recovery);
        let faulty = Scenario { faults: vec![placed(&machine, fault)], ..scenario.clone() };
        let mut table = Table::new(&machine, 0).expect("the machine fits");
        let (mut with, mut without) = (Seen::nothing(&machine), Seen::nothing(&machine));
        let (plain, other) = (general(&machine, &scenario), general(&machine, &faulty));
        match table.pair(&faulty, &mut with, &mut without) {
            Err(Unfit::Answered(partition)) => {
                let missed = |seen: &Seen| machine.partitions[partition].tasks.clone().any(|task| seen.tasks[task].missed > 0);
                prop_assert!(missed(&plain) || missed(&other));
            }
            Err(other) => prop_assert!(false, "{other}"),
            Ok(()) => {
                prop_assert_eq!(&without, &plain);
                prop_assert_eq!(&with, &other);
                let mut alone = Seen::nothing(&machine);
                table.run(&faulty, &mut alone).expect("the scenario fits");
                prop_assert_eq!(&alone, &with);
            }
        }
    }
}
