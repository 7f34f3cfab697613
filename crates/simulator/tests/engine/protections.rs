//! Each protection on a small system: on, a fault stays with its partition; off, it reaches another. Worked out by hand.

use crate::build::{drawn, events, scenario, task, window, windowed};
use simulator::event::Stall;
use simulator::fault::{Fault, Kind, Target};
use simulator::machine::Guest::FixedPriority;
use simulator::machine::{
    Bus, Channel, Core, Device, Grant, Input, Interrupt, Lane, Machine, Master, Policy, Port, Task,
};
use simulator::scenario::Spread::Least;
use simulator::{Protection, Protections, Scenario, Seen, What};

const LONG: u64 = 1_000_000;

/// Two partitions with windows `[0, 10)` and `[10, 20)` of a frame of 20 without heads, and a task in each: 3 ns of the first's
/// window, 4 of the second's.
fn one_core() -> Machine {
    let tasks = vec![task(0, 1, 20, 3, 0), task(1, 1, 20, 4, 0)];
    windowed(20, &[FixedPriority, FixedPriority], vec![window(0, 0, 10, 0), window(1, 10, 20, 0)], tasks)
}

/// Two partitions with a core each, one window all the time, a task of 10 in 100 with 2 line requests on the second. Lines
/// take 1 ns; each core may move 5 in a period of 50.
fn two_cores() -> Machine {
    let mut tasks = vec![task(0, 1, 100, 10, 0), task(1, 1, 100, 10, 0)];
    tasks[1].line_requests = 2;
    let mut machine = windowed(100, &[FixedPriority, FixedPriority], vec![window(0, 0, 100, 0)], tasks);
    machine.cores.push(Core { name: "1".to_owned(), ..machine.cores[0].clone() });
    machine.schedules[0].cores.push(vec![window(1, 0, 100, 0)]);
    machine.lanes[1] = Lane { cores: vec![1], grant: Grant::Windows, ..machine.lanes[1].clone() };
    let master = |core| Master { core, budget_lines: Some(5), rate: None };
    machine.bus = Some(Bus {
        bytes_per_s: 64_000_000_000,
        line_bytes: 64,
        masters: vec![master(Some(0)), master(Some(1)), master(None)],
        regulation_ns: Some(50),
        working_set_lines: vec![0, 4],
    });
    machine
}

fn faulty(machine: &Machine, kind: Kind, target: Target, off: &[Protection]) -> Seen {
    events(machine, &with(kind, target, off)).1
}

fn with(kind: Kind, target: Target, off: &[Protection]) -> Scenario {
    Scenario {
        faults: vec![Fault { kind, target, at_ns: 0 }],
        protections: off.iter().fold(Protections::ALL, |on, &one| on.and_without(one)),
        ..scenario(200, drawn(Least))
    }
}

#[test]
fn windows_end_where_the_plan_says_while_they_are_enforced() {
    // The first job takes 3 + 9 = 12: cut at 10 it ends at 22; not cut it ends at 12, and the second's window begins late.
    let overrun = Kind::Overrun { extra_ns: 9, jobs: 1 };
    let seen = |off: &[Protection]| faulty(&one_core(), overrun, Target::Partition(0), off);
    let on = seen(&[]);
    assert_eq!((on.tasks[0].most_ns, on.tasks[1].most_ns), (22, 14));
    let off = seen(&[Protection::WindowEnforcement]);
    assert_eq!((off.tasks[0].most_ns, off.tasks[1].most_ns), (12, 16));
    // A loop never lets go of the core.
    let endless = |off: &[Protection]| faulty(&one_core(), Kind::EndlessLoop, Target::Task(0), off);
    assert_eq!((endless(&[]).tasks[0].jobs, endless(&[]).tasks[1].jobs), (0, 10));
    assert_eq!(endless(&[Protection::WindowEnforcement]).tasks[1].jobs, 0);
}

#[test]
fn regulation_holds_bursts_of_partitions_and_devices() {
    // Unregulated each of the 2 requests waits 3 lines more, spread over 10: it takes 16. Regulated nothing changes there,
    // and the partition that bursts has 5 of each 50.
    let burst = Kind::MemoryBurst { lines: 4, for_ns: LONG };
    let on = faulty(&two_cores(), burst, Target::Partition(0), &[]);
    assert_eq!((on.tasks[0].most_ns, on.tasks[1].most_ns), (55, 10));
    let off = faulty(&two_cores(), burst, Target::Partition(0), &[Protection::Regulation]);
    assert_eq!((off.tasks[0].most_ns, off.tasks[1].most_ns), (10, 16));
    let mut machine = two_cores();
    machine.devices.push(Device { name: "E".into(), owner: Some(0), moves_memory: true, interrupts: Vec::new() });
    let dma = Kind::DmaBurst { lines: 4, for_ns: LONG };
    assert_eq!(faulty(&machine, dma, Target::Device(0), &[]).tasks[1].most_ns, 10);
    let off = faulty(&machine, dma, Target::Device(0), &[Protection::Regulation]);
    assert_eq!((off.tasks[0].most_ns, off.tasks[1].most_ns), (10, 16));
    // One line a turn is what is charged.
    let granted = Kind::MemoryBurst { lines: 1, for_ns: LONG };
    let off = faulty(&machine, granted, Target::Partition(0), &[Protection::Regulation]);
    assert_eq!(off.tasks[1].most_ns, 10);
    // Where the plan gives no budget, nothing holds it.
    machine.bus.as_mut().expect("a bus").masters[0].budget_lines = None;
    assert_eq!(faulty(&machine, burst, Target::Partition(0), &[]).tasks[1].most_ns, 16);
}

#[test]
fn a_burst_slows_others_only_while_its_partition_is_served() {
    // Served in [0, 4) only: the second executes 4 * 10 / 16 = 2 by then, rounded down, and the other 8 by 12.
    let mut machine = two_cores();
    machine.schedules[0].cores[0] = vec![window(0, 0, 4, 0)];
    let burst = Kind::MemoryBurst { lines: 4, for_ns: LONG };
    let off = faulty(&machine, burst, Target::Partition(0), &[Protection::Regulation]);
    assert_eq!(off.tasks[1].most_ns, 12);
    // Until 8 only: 5 by then, the other 5 by 13.
    let short = Kind::MemoryBurst { lines: 4, for_ns: 8 };
    let off = faulty(&two_cores(), short, Target::Partition(0), &[Protection::Regulation]);
    assert_eq!(off.tasks[1].most_ns, 13);
}

#[test]
fn a_core_that_has_used_its_budget_waits_for_the_next_period() {
    // 10 lines over 40 ns against 5 in each 50: it executes [0, 20) and [50, 70).
    let mut machine = two_cores();
    machine.tasks[1] = Task { line_requests: 10, least_ns: 40, charged_ns: 40, ..machine.tasks[1].clone() };
    let (events, seen) = events(&machine, &scenario(200, drawn(Least)));
    assert_eq!((seen.tasks[0].most_ns, seen.tasks[1].most_ns), (10, 70));
    let stalls: Vec<_> = events.iter().filter(|event| matches!(event.what, What::Stalls { .. })).collect();
    let throttled = |until_ns| What::Stalls { core: 1, until_ns, why: Stall::Throttled };
    assert_eq!((stalls[0].at_ns, stalls[0].what), (20, throttled(50)));
    assert_eq!((stalls[1].at_ns, stalls[1].what), (70, throttled(100)));
    let off = Scenario { protections: Protections::without(Protection::Regulation), ..scenario(200, drawn(Least)) };
    assert_eq!(crate::build::events(&machine, &off).1.tasks[1].most_ns, 40);
    // 5 lines in 40 ns are never too many.
    machine.tasks[1].line_requests = 4;
    assert_eq!(crate::build::events(&machine, &scenario(200, drawn(Least))).1.tasks[1].most_ns, 40);
}

#[test]
fn cache_partitions_keep_working_sets() {
    // 4 lines at 3 ns each (own and two others') are fetched before the job: 22 instead of 10.
    let burst = Kind::MemoryBurst { lines: 4, for_ns: 40 };
    let off = faulty(&two_cores(), burst, Target::Partition(0), &[Protection::CachePartition]);
    assert_eq!(off.tasks[1].most_ns, 22);
}

/// A sampling and a queuing port from the first partition to a foreign one, and one from the second to itself.
fn ports() -> Machine {
    let mut machine = one_core();
    let channel = |name: &str, source: usize, inputs, port| Channel {
        name: name.to_owned(),
        port,
        source_task: Some(source),
        source,
        source_period_ns: None,
        batch: 1,
        inputs,
        frame_cost_ns: None,
    };
    let queue = Port::Queuing { depth: 2, takes: None };
    machine.channels = vec![channel("own", 0, 0..1, queue), channel("foreign", 1, 1..2, queue)];
    let input = |channel, partition, task| Input { channel, partition, task: Some(task) };
    machine.inputs = vec![input(0, 1, 1), input(1, 0, 0)];
    (machine.tasks[0].writes, machine.tasks[0].reads) = (vec![0], vec![1]);
    (machine.tasks[1].writes, machine.tasks[1].reads) = (vec![1], vec![0]);
    machine
}

#[test]
fn ports_take_messages_of_their_declared_source_only() {
    let machine = ports();
    for kind in [Kind::QueueFlood { messages: 9 }, Kind::Babble { every_ns: 2, for_ns: 60 }] {
        let on = faulty(&machine, kind, Target::Partition(0), &[]);
        assert!(on.inputs[0].lost > 0 && on.inputs[1].lost == 0, "{kind:?}");
        let off = faulty(&machine, kind, Target::Partition(0), &[Protection::PortProtection]);
        assert!(off.inputs[1].lost > 0, "{kind:?}");
    }
    // 9 messages find room for 2; the one of the next job is read before another comes.
    let on = faulty(&machine, Kind::QueueFlood { messages: 9 }, Target::Channel(0), &[]);
    assert_eq!((on.inputs[0].lost, on.inputs[0].most_held), (8, 2));
    let silent = faulty(&machine, Kind::Silence { for_ns: 100 }, Target::Task(0), &[]);
    assert_eq!((silent.channels[0].writes, silent.channels[1].writes), (5, 10));
}

#[test]
fn interrupts_are_kept_until_the_windows_of_their_owner() {
    // An interrupt every 10 with a handler of 2. Kept: one before the job of 3 in each window of the first, since the one of 10 and
    // that of 20 are one. Handled at once: at 10 in the second's window too.
    let line = Interrupt { core: Some(0), immediate: false, least_gap_ns: None, handler_ns: Some(2) };
    let mut machine = one_core();
    machine.devices.push(Device { name: "E".into(), owner: Some(0), moves_memory: false, interrupts: vec![line] });
    let storm = Kind::InterruptStorm { every_ns: 10, for_ns: LONG };
    let on = faulty(&machine, storm, Target::Device(0), &[]);
    assert_eq!((on.tasks[0].most_ns, on.tasks[1].most_ns), (5, 14));
    let off = faulty(&machine, storm, Target::Device(0), &[Protection::InterruptPending]);
    assert_eq!((off.tasks[0].most_ns, off.tasks[1].most_ns), (5, 16));
    // Declared as handled at once and rare: held to that.
    let gap = Interrupt { immediate: true, least_gap_ns: Some(LONG), ..line };
    machine.devices[0].interrupts = vec![gap];
    let on = faulty(&machine, storm, Target::Device(0), &[]);
    assert_eq!((on.tasks[0].most_ns, on.tasks[1].most_ns), (5, 14));
    let off = faulty(&machine, storm, Target::Device(0), &[Protection::InterruptPending]);
    assert_eq!((off.tasks[0].most_ns, off.tasks[1].most_ns), (5, 16));
}

#[test]
fn late_windows_lost_ticks_and_standing_cores_stay_where_they_are() {
    let machine = one_core();
    let late = faulty(&machine, Kind::LateWindow { by_ns: 5, windows: 1 }, Target::Partition(1), &[]);
    assert_eq!((late.tasks[0].most_ns, late.tasks[1].most_ns), (3, 19));
    // Both windows of the first frame: [5, 10) and [15, 20).
    let both = faulty(&machine, Kind::LateWindow { by_ns: 5, windows: 2 }, Target::Core(0), &[]);
    assert_eq!((both.tasks[0].most_ns, both.tasks[1].most_ns), (8, 19));
    let tick = faulty(&machine, Kind::LostTick { for_ns: 5 }, Target::Partition(0), &[]);
    assert_eq!((tick.tasks[0].most_ns, tick.tasks[1].most_ns), (8, 14));
    let stop = faulty(&two_cores(), Kind::CoreStop { for_ns: Some(7) }, Target::Core(0), &[]);
    assert_eq!((stop.tasks[0].most_ns, stop.tasks[1].most_ns), (17, 10));
    let for_good = faulty(&two_cores(), Kind::CoreStop { for_ns: None }, Target::Core(0), &[]);
    assert_eq!((for_good.tasks[0].jobs, for_good.tasks[1].jobs), (0, 2));
}

#[test]
fn faults_combine_and_are_told() {
    let mut both = with(Kind::Overrun { extra_ns: 9, jobs: 1 }, Target::Task(0), &[]);
    both.faults.push(Fault { kind: Kind::CoreStop { for_ns: Some(3) }, target: Target::Core(0), at_ns: 100 });
    let (events, seen) = events(&one_core(), &both);
    assert_eq!((seen.tasks[0].most_ns, seen.tasks[1].most_ns), (22, 14));
    let told: Vec<_> = events
        .iter()
        .filter(|event| matches!(event.what, What::FaultBegins { .. } | What::FaultEnds { .. } | What::Stalls { .. }))
        .map(|event| (event.at_ns, event.what))
        .collect();
    let expected = [
        (0, What::FaultBegins { fault: 0 }),
        (100, What::FaultBegins { fault: 1 }),
        (100, What::Stalls { core: 0, until_ns: 103, why: Stall::CoreStops }),
        (103, What::FaultEnds { fault: 1 }),
    ];
    assert_eq!(told, expected);
}

#[test]
fn a_window_that_overtime_has_taken_is_not_late() {
    // The first job takes 3 + 19 = 22 without enforcement: the second's window `[10, 20)` is gone, and `[20, 30)` of the first begins 3
    // late at 25, `[30, 40)` is the next of the second: its job of 0 ends at 34.
    let mut scenario = with(Kind::Overrun { extra_ns: 19, jobs: 1 }, Target::Task(0), &[Protection::WindowEnforcement]);
    scenario.faults.push(Fault { kind: Kind::LateWindow { by_ns: 3, windows: 1 }, target: Target::Core(0), at_ns: 1 });
    let (events, seen) = events(&one_core(), &scenario);
    assert_eq!((seen.tasks[0].most_ns, seen.tasks[1].most_ns), (22, 34));
    let late = What::Stalls { core: 0, until_ns: 25, why: Stall::LateWindow };
    assert!(events.iter().any(|event| (event.at_ns, event.what) == (22, late)));
}

#[test]
fn only_cores_with_a_table_have_windows_to_be_late() {
    let mut machine = two_cores();
    machine.cores[0].policy = Policy::Dedicated;
    machine.schedules[0].cores[0].clear();
    machine.schedules[0].grants[0] = Grant::Dedicated;
    let late = faulty(&machine, Kind::LateWindow { by_ns: 5, windows: 1 }, Target::Core(0), &[]);
    assert_eq!(late.tasks[0].most_ns, 10);
}

#[test]
fn what_is_taken_from_an_opaque_guest_makes_it_wait_longer_for_its_budget() {
    // 10 in [10, 20) of each 20: from 20 on the budget is there at 40. A handler of 4 at 12 leaves 6 of the first window, so
    // that from 0 on it is there at 34, and from 12 on at 34.
    let opaque = simulator::machine::Guest::Opaque { budget_ns: Some(10), span_ns: Some(20) };
    let windows = vec![window(0, 0, 10, 0), window(1, 10, 20, 0)];
    let mut machine = windowed(20, &[FixedPriority, opaque], windows, vec![task(0, 1, 20, 3, 0)]);
    let line = Interrupt { core: Some(0), immediate: false, least_gap_ns: None, handler_ns: Some(4) };
    machine.devices.push(Device { name: "E".into(), owner: Some(0), moves_memory: false, interrupts: vec![line] });
    let longest = |fault: Option<Fault>, off: &[Protection]| {
        let kind = Kind::InterruptStorm { every_ns: LONG, for_ns: LONG };
        let faults = fault.into_iter().collect();
        let scenario = Scenario { faults, span_ns: 60, ..with(kind, Target::Device(0), off) };
        events(&machine, &scenario).1.partitions[1].longest_for_budget_ns
    };
    let storm = Kind::InterruptStorm { every_ns: LONG, for_ns: LONG };
    let storm = Some(Fault { kind: storm, target: Target::Device(0), at_ns: 12 });
    assert_eq!((longest(None, &[]), longest(storm, &[])), (Some(20), Some(20)));
    assert_eq!(longest(storm, &[Protection::InterruptPending]), Some(34));
    // A core that stands for good never gives it: it waits until the run's end.
    let stop = Some(Fault { kind: Kind::CoreStop { for_ns: None }, target: Target::Core(0), at_ns: 5 });
    assert_eq!(longest(stop, &[]), Some(60));
}
