//! What demands ask for, one kind of demand after another.

use crate::checker::{self, core_of};
use crate::common::{partition, plan, system, task};
use diagnostic::{Located, Span};
use model::System;
use model::system::{ModuleSchedule, RunGrant, ScheduledPartition};
use plan::Plan;
use planner::{Answer, Outcome};
use quantity::{Duration, PartitionId};
use timing::response::{Response, free_running::worst_responses};
use timing::supply::{Interval, Supply};
use timing::{Release, Task, TaskSet};

const HEAD_NS: u64 = 40_000;

fn found(outcome: &Outcome) -> &Plan {
    match &outcome.answer {
        Answer::Optimal(plan) | Answer::Feasible(plan) => plan,
        other => panic!("{}: {outcome:?}", other.words()),
    }
}

fn lengths(plan: &Plan, id: usize) -> Vec<u64> {
    let windows = plan.schedules.iter().flat_map(|table| &table.cores).flat_map(|core| &core.windows);
    windows.filter(|w| w.partition == PartitionId::new(id)).map(|w| w.length.ns()).collect()
}

/// Whether one window of `length` us in every period of 5 ms lets a task of 1 ms every 5 ms keep a deadline of 4.5 ms.
fn holds(length_us: u64) -> bool {
    let usable = Interval { start_ns: HEAD_NS, end_ns: length_us * 1_000 };
    let supply = Supply::new(5_000_000, &[usable]).expect("one window");
    let task = Task {
        priority: 1,
        period_ns: 5_000_000,
        deadline_ns: 4_500_000,
        charged_ns: 1_000_000,
        jitter_ns: 0,
        blocking_ns: 0,
        release: Release::FreeRunning,
    };
    let set = TaskSet::new(&[task]).expect("one task");
    worst_responses(&supply, &set).iter().all(|r| matches!(r, Response::Bounded(b) if b.response_ns <= 4_500_000))
}

#[test]
fn the_least_budget_is_found_where_none_is_declared() {
    let system = system("5 ms", 1, &partition("A", "5 ms", "", &task("t", "5 ms", "4.5 ms", "1 ms", 1)));
    let outcome = plan(&system);
    let least = (41..=5_000).find(|length| holds(*length)).expect("a length that holds");
    assert_eq!(lengths(found(&outcome), 0), [least * 1_000]);
    assert!(
        outcome.notes[0].starts_with("A declares no budget: the least that keeps its deadlines is "),
        "{outcome:?}"
    );
}

/// By hand: one window in 100 ms cannot serve a deadline of 10 ms unless it takes 90 ms and more; ten can with less.
#[test]
fn a_period_that_is_too_coarse_is_cut() {
    let tasks = task("t", "10 ms", "10 ms", "1 ms", 1);
    let system = system("100 ms", 1, &partition("A", "100 ms", "", &tasks));
    let outcome = plan(&system);
    assert_eq!(lengths(found(&outcome), 0), [1_040_000; 10]);
}

#[test]
fn a_longer_period_goes_round_a_shorter_one_in_few_pieces() {
    let partitions = partition("S", "10 ms", "4 ms", "") + &partition("L", "40 ms", "15 ms", "");
    let system = system("40 ms", 1, &partitions);
    let outcome = plan(&system);
    let plan = found(&outcome);
    checker::assert_windows(&system, plan, 0, &checker::declared(&system), HEAD_NS);
    // Three gaps of 6 ms: 15 ms and two heads more, since each piece pays one.
    assert_eq!(lengths(plan, 1).iter().sum::<u64>(), 15_000_000 + 2 * HEAD_NS);
    assert_eq!(lengths(plan, 1).len(), 3);
}

#[test]
fn one_window_a_period_is_optimal() {
    let partitions = partition("A", "10 ms", "4 ms", "") + &partition("B", "20 ms", "5 ms", "");
    let outcome = plan(&system("20 ms", 1, &partitions));
    assert!(matches!(outcome.answer, Answer::Optimal(_)), "{outcome:?}");
}

#[test]
fn a_partition_may_have_its_core_to_itself() {
    let outcome = plan(&system("10 ms", 1, &partition("A", "10 ms", "10 ms", "")));
    assert_eq!(lengths(found(&outcome), 0), [10_000_000]);
    let outcome = plan(&system("20 ms", 1, &partition("A", "10 ms", "10 ms", "")));
    assert_eq!(lengths(found(&outcome), 0), [20_000_000], "touching windows are one");
}

#[test]
fn virtual_cores_lie_on_cores_of_their_own_and_wishes_are_kept() {
    let partitions = partition("V", "10 ms", "2 ms", "virtual_cores = 2\n")
        + &partition("P", "10 ms", "2 ms", "cores = [\"2\"]\n")
        + &partition("T", "10 ms", "2 ms", "together_with = [\"P\"]\n")
        + &partition("U", "10 ms", "2 ms", "apart_from = [\"P\"]\n");
    let system = system("10 ms", 3, &partitions);
    let outcome = plan(&system);
    let plan = found(&outcome);
    checker::assert_windows(&system, plan, 0, &checker::declared(&system), HEAD_NS);
    let core = |id: usize, virtual_core: u32| core_of(plan, PartitionId::new(id), virtual_core).expect("windows");
    assert_ne!(core(0, 0), core(0, 1));
    assert_eq!((core(1, 0), core(2, 0)), (2, 2));
    assert_ne!(core(3, 0), 2);
}

fn second_schedule(mut system: System, changes: Vec<ScheduledPartition>) -> System {
    let name = Located::new("Night".to_owned(), Span::NOWHERE);
    system.schedules.push(ModuleSchedule { name, title: None, changes, may_follow: Vec::new() });
    system
}

#[test]
fn every_schedule_has_its_own_windows() {
    let here = |value: Duration| Located::new(value, Span::NOWHERE);
    let change = |id: usize, idle: bool, grant: Option<RunGrant>| ScheduledPartition {
        partition: Located::new(PartitionId::new(id), Span::NOWHERE),
        idle,
        active_tasks: None,
        grant,
    };
    let partitions = ["A", "B", "C"].map(|name| partition(name, "10 ms", "3 ms", "")).concat();
    let larger = RunGrant::Windows { period: here(Duration::from_ms(10)), budget: Some(here(Duration::from_ms(6))) };
    let system =
        second_schedule(system("10 ms", 1, &partitions), vec![change(0, true, None), change(1, false, Some(larger))]);
    let outcome = plan(&system);
    let plan = found(&outcome);
    checker::assert_windows(&system, plan, 0, &checker::declared(&system), HEAD_NS);
    let mut night: Vec<checker::Demand> = checker::declared(&system).into_iter().skip(1).collect();
    night[0].3 = 6_000_000;
    checker::assert_windows(&system, plan, 1, &night, HEAD_NS);
    assert_eq!(plan.schedules.len(), 2);
}

/// Without an execution time no response is known: there is a plan, and it does not pass as one that keeps all.
#[test]
fn what_is_unknown_is_no_pass() {
    let mut system = system("10 ms", 1, &partition("A", "10 ms", "3 ms", &task("t", "10 ms", "10 ms", "1 ms", 1)));
    system.tasks[0].wcet = None;
    let outcome = plan(&system);
    let Answer::GaveUp { reasons, best: Some(plan) } = &outcome.answer else { panic!("{outcome:?}") };
    assert!(reasons[0].contains("`wcet` of `A.t` is not given"), "{reasons:?}");
    assert_eq!(lengths(plan, 0), [3_000_000]);
}

/// A device that forms 32 bits reaches below 4 GiB only: its owner lies there, though it comes last in the file.
#[test]
fn what_a_narrow_device_reaches_lies_low() {
    let partitions = ["A", "B"].map(|name| partition(name, "10 ms", "3 ms", "ram = \"24 MiB\"\n")).concat();
    let mut system = system("10 ms", 1, &partitions);
    system.board.memories[0].base.value = quantity::Address::new(0xFF00_0000);
    system.board.devices.push(device(PartitionId::new(1), 32));
    let text = match &plan(&system).answer {
        Answer::Impossible(reasons) => reasons.join("\n"),
        other => panic!("{}", other.words()),
    };
    assert!(
        text.contains("B asks for 24 MiB in one piece, the largest memory that it may lie in has 16 MiB"),
        "{text}"
    );
    system.board.memories[0].base.value = quantity::Address::new(0xFE00_0000);
    let outcome = plan(&system);
    let plan = found(&outcome);
    checker::assert_memory(&system, plan);
    let place = &plan.memory[1];
    assert!(place.base.get() + place.size.get() <= 1 << 32, "{place:?}");
}

fn device(owner: PartitionId, bits: u32) -> model::system::Device {
    let named = |name: &str| Located::new(name.to_owned(), Span::NOWHERE);
    model::system::Device {
        name: named("D"),
        owner: Some(Located::new(owner, Span::NOWHERE)),
        shared_with: Vec::new(),
        service: None,
        registers: None,
        dma_stream: Some(named("D")),
        dma_rate: None,
        dma_burst: None,
        dma_address_bits: Some(bits),
        memory: None,
        reaches: Vec::new(),
        capacity: None,
        interrupts: Vec::new(),
    }
}

#[test]
fn a_dedicated_core_has_no_windows() {
    let more = r#"
[[core_set]]
name = "tables"
cores = ["0"]
policy = "window table"

[[core_set]]
name = "own"
cores = ["1"]
policy = "dedicated"

[[partition]]
name = "D"
guest = "fixed priority"
core_set = "own"
ram = "1 MiB"
"#;
    let system = system("10 ms", 2, &(more.to_owned() + &partition("A", "10 ms", "3 ms", "")));
    let outcome = plan(&system);
    let plan = found(&outcome);
    assert_eq!(plan.schedules[0].cores.len(), 1);
    assert_eq!(lengths(plan, 1), [3_000_000]);
    checker::assert_memory(&system, plan);
    let said = "D runs in a core set of its own kind (dedicated) and has no windows in the plan.";
    assert!(outcome.notes.iter().any(|note| note == said), "{outcome:?}");
}
