//! Demands that cannot all hold: the answer says which, with their numbers.

use crate::common::{partition, plan, plan_keeping, system, task, with_growth};
use claim::Status;
use diagnostic::{Located, Span};
use model::System;
use model::system::{GrowthSubject, RunGrant};
use plan::{CoreTable, Plan, ScheduleTable, Window};
use planner::{Answer, Options, Outcome};
use quantity::{CoreId, Duration, Instant, PartitionId, ScheduleId};
use std::ops::ControlFlow;

/// The reasons of an impossible system, as one text.
fn why(outcome: &Outcome) -> String {
    match &outcome.answer {
        Answer::Impossible(reasons) => reasons.join("\n"),
        other => panic!("{} instead of impossible: {outcome:?}", other.words()),
    }
}

fn assert_says(text: &str, parts: &[&str]) {
    parts.iter().for_each(|part| assert!(text.contains(part), "{text}\ndoes not say\n{part}"));
}

#[test]
fn a_budget_beyond_its_period() {
    let mut system = system("20 ms", 2, &partition("A", "10 ms", "10 ms", ""));
    let budget = Located::new(Duration::from_us(10_100), Span::NOWHERE);
    let period = Located::new(Duration::from_ms(10), Span::NOWHERE);
    system.partitions[0].grant = Some(RunGrant::Windows { period, budget: Some(budget) });
    assert_says(&why(&plan(&system)), &["A asks for 10.1 ms in every period of 10 ms"]);
}

/// 6.1 ms in 10 ms and 8 ms in 20 ms: 101 % of a core, 0.2 ms too much in a frame of 20 ms.
#[test]
fn tasks_beyond_a_whole_core() {
    let tasks = task("fast", "10 ms", "10 ms", "6.1 ms", 2) + &task("slow", "20 ms", "20 ms", "8 ms", 1);
    let system = system("20 ms", 2, &partition("A", "10 ms", "9 ms", &tasks));
    assert_says(
        &why(&plan(&system)),
        &["even with a whole core to itself, A misses", "A.slow", "200 us more in every frame"],
    );
}

#[test]
fn a_deadline_below_the_execution_time() {
    let mut system = system("20 ms", 1, &partition("A", "10 ms", "9 ms", &task("t", "10 ms", "3 ms", "3 ms", 1)));
    system.tasks[0].deadline.value = Duration::from_ms(2);
    assert_says(&why(&plan(&system)), &["A.t responds in 3.04 ms, its deadline is 2 ms"]);
}

/// A table of one window a tick, and whether every claim in time about it is shown.
fn holds(system: &System, frame: u64, tick_ns: u64, owners: &[usize]) -> bool {
    let window = |(at, owner): (usize, &usize)| Window {
        partition: PartitionId::new(*owner),
        virtual_core: 0,
        start: Instant::from_ns(at as u64 * tick_ns),
        length: Duration::from_ns(tick_ns),
        pinned: false,
        span: None,
    };
    let count = system.partitions.len();
    let windows = owners.iter().enumerate().filter(|(_, owner)| **owner < count).map(window).collect();
    assert_eq!(owners.len() as u64, frame);
    let cores = vec![CoreTable { core: CoreId::new(0), windows }];
    let plan = Plan { schedules: vec![ScheduleTable { schedule: ScheduleId::new(0), cores }], ..Plan::default() };
    timing::claims::check(system, &plan).iter().all(|verdict| verdict.status == Status::Shown)
}

/// Small systems without budgets against all their window tables: where some table keeps every deadline, no proof may
/// say that none does, however uneven its windows are.
#[test]
fn nothing_is_impossible_that_some_table_does() {
    const FRAME: u64 = 6;
    let pairs = [(1, 6, 6), (1, 3, 3), (1, 4, 4), (2, 6, 6), (1, 6, 4), (2, 6, 3), (3, 6, 4), (4, 6, 6)];
    let (mut possible, mut proven) = (0, 0);
    for a in pairs {
        for b in pairs {
            let text = [("A", a), ("B", b)].map(|(name, (wcet, period, deadline))| {
                let us = |value: u64| format!("{value} us");
                partition(name, "2 us", "", &task("t", &us(period), &us(deadline), &us(wcet), 1))
            });
            let mut system = system("6 us", 1, &text.concat());
            (system.platform.switch, system.platform.refill) = (Some(nothing()), Some(nothing()));
            let tables = 3usize.pow(FRAME as u32);
            let owners = |table: usize| (0..FRAME as u32).map(|at| table / 3usize.pow(at) % 3).collect::<Vec<_>>();
            let some = (0..tables).any(|table| holds(&system, FRAME, 1_000, &owners(table)));
            let outcome = plan(&system);
            possible += usize::from(some);
            match outcome.answer {
                Answer::Impossible(_) => {
                    proven += 1;
                    assert!(!some, "{a:?} {b:?}: {outcome:?}");
                }
                // Tables of whole ticks are not all there are.
                Answer::Optimal(_) | Answer::Feasible(_) | Answer::GaveUp { .. } => {}
            }
        }
    }
    assert!(possible > 10 && proven > 5, "{possible} possible, {proven} proven impossible");
}

fn nothing() -> Located<Duration> {
    Located::new(Duration::ZERO, Span::NOWHERE)
}

#[test]
fn more_partitions_apart_than_cores() {
    let apart = |names: &str| format!("apart_from = [{names}]\n");
    let partitions = partition("A", "10 ms", "1 ms", &apart("\"B\", \"C\""))
        + &partition("B", "10 ms", "1 ms", &apart("\"C\""))
        + &partition("C", "10 ms", "1 ms", "")
        + &partition("D", "10 ms", "1 ms", "");
    let system = system("20 ms", 2, &partitions);
    let expected = "A, B and C must each have a core of their own, and only core 0 and core 1 may hold them";
    assert_eq!(why(&plan(&system)), expected);
}

#[test]
fn apart_and_together_at_once() {
    let mut system = system("20 ms", 2, &(partition("A", "10 ms", "1 ms", "") + &partition("B", "10 ms", "1 ms", "")));
    let (a, b) = (PartitionId::new(0), PartitionId::new(1));
    let at = system.partitions[b.index()].name.span;
    system.partitions[a.index()].apart_from.push(Located::new(b, at));
    system.partitions[a.index()].together_with.push(Located::new(b, at));
    assert_eq!(why(&plan(&system)), "A and B must share a core and must not share one");
}

/// 6 + 5 of 10 ms on one core.
#[test]
fn more_than_the_cores_have() {
    let system = system("10 ms", 1, &(partition("A", "10 ms", "6 ms", "") + &partition("B", "10 ms", "5 ms", "")));
    let outcome = plan(&system);
    let numbers = [
        "A and B ask for 11 ms a frame (110 % of one core) in all",
        "core 0 may give 10 ms a frame (100 % of one core)",
    ];
    assert_says(&why(&outcome), &numbers);
    assert!(
        outcome.notes.contains(&"It would fit if A asked for at most 5 ms in every 10 ms instead of 6 ms.".to_owned())
    );
}

/// The growth rule leaves 7 of 10 ms: three times 4 ms are less than 14 ms, but no two share a core.
#[test]
fn sums_that_fit_and_cannot_be_packed() {
    let partitions = ["A", "B", "C"].map(|name| partition(name, "10 ms", "4 ms", "")).concat();
    let system = with_growth(system("10 ms", 2, &partitions), GrowthSubject::Cores, 300_000);
    let outcome = plan(&system);
    let numbers = [
        "A, B and C ask for 12 ms",
        "may give 14 ms",
        "3 cores of 7 ms of the 10 ms frame (70 %) would be needed, there are 2",
    ];
    assert_says(&why(&outcome), &numbers);
    assert!(
        outcome.notes.contains(&"It would fit if A asked for at most 3 ms in every 10 ms instead of 4 ms.".to_owned())
    );
}

/// Only those that conflict are named.
#[test]
fn bystanders_are_not_named() {
    let partitions = partition("X", "10 ms", "1 ms", "")
        + &partition("A", "10 ms", "6 ms", "cores = [\"0\"]\n")
        + &partition("B", "10 ms", "6 ms", "cores = [\"0\"]\n");
    let text = why(&plan(&system("10 ms", 3, &partitions)));
    assert_says(&text, &["A and B ask for 12 ms", "core 0 may give 10 ms"]);
    assert!(!text.contains('X'), "{text}");
}

#[test]
fn more_ram_than_the_board_has() {
    let partitions =
        partition("A", "10 ms", "1 ms", "ram = \"40 MiB\"\n") + &partition("B", "10 ms", "1 ms", "ram = \"30 MiB\"\n");
    let text = why(&plan(&system("10 ms", 1, &partitions)));
    assert_says(&text, &["ask for 70 MiB of RAM", "the board has 64 MiB"]);
    let one = system("10 ms", 1, &partition("A", "10 ms", "1 ms", "ram = \"48 MiB\"\n"));
    let text = why(&plan(&with_growth(one, GrowthSubject::Ram, 300_000)));
    assert_says(&text, &["ask for 48 MiB of RAM (75 %)", "the growth rule keeps"]);
}

#[test]
fn pinned_windows_that_overlap() {
    let system = system("10 ms", 1, &(partition("A", "10 ms", "2 ms", "") + &partition("B", "10 ms", "2 ms", "")));
    let window = |partition: usize, start: u64| Window {
        partition: PartitionId::new(partition),
        virtual_core: 0,
        start: Instant::from_ns(start),
        length: Duration::from_ms(2),
        pinned: true,
        span: None,
    };
    let core = CoreTable { core: CoreId::new(0), windows: vec![window(0, 0), window(1, 1_000_000)] };
    let table = ScheduleTable { schedule: ScheduleId::new(0), cores: vec![core] };
    let keep = Plan { schedules: vec![table], ..Plan::default() };
    let text = why(&plan_keeping(&system, Some(&keep)));
    assert_eq!(text, "on core 0 the pinned windows of A at 0 ns and of B at 1 ms overlap");
}

#[test]
fn a_caller_may_stop_the_search() {
    let system = system("10 ms", 2, &partition("A", "10 ms", "2 ms", ""));
    let outcome = planner::plan(&system, None, Options::default(), &mut |_| ControlFlow::Break(()));
    let Answer::GaveUp { reasons, best: None } = &outcome.answer else { panic!("{outcome:?}") };
    assert_says(&reasons.join("\n"), &["the caller stopped the search"]);
}

/// Boundary: of a window as long as its head of 40 us nothing can be used.
#[test]
fn a_budget_that_its_head_eats_up() {
    let mut system = system("10 ms", 1, &partition("A", "10 ms", "41 us", ""));
    assert!(matches!(plan(&system).answer, Answer::Optimal(_)));
    let here = |ns: u64| Located::new(Duration::from_ns(ns), Span::NOWHERE);
    system.partitions[0].grant = Some(RunGrant::Windows { period: here(10_000_000), budget: Some(here(40_000)) });
    assert_says(&why(&plan(&system)), &["the budget 40 us of A is no longer than the head 40 us of a window"]);
}

#[test]
fn more_virtual_cores_than_cores() {
    let system = system("10 ms", 2, &partition("A", "10 ms", "2 ms", "virtual_cores = 2\n"));
    let mut more = system.clone();
    more.partitions[0].virtual_cores.value = u32::MAX;
    assert_eq!(why(&plan(&more)), format!("A has {} virtual cores, and 2 cores have window tables", u32::MAX));
}

/// Periods of a nanosecond ask for more windows than any table holds: refused, not tried.
#[test]
fn more_windows_than_a_table_holds() {
    let mut system = system("10 ms", 1, &partition("A", "10 ms", "2 ms", ""));
    let here = |ns: u64| Located::new(Duration::from_ns(ns), Span::NOWHERE);
    system.partitions[0].grant = Some(RunGrant::Windows { period: here(1), budget: Some(here(1)) });
    let outcome = plan(&system);
    let Answer::GaveUp { reasons, best: None } = &outcome.answer else { panic!("{outcome:?}") };
    assert_says(&reasons.join("\n"), &["the periods ask for 10000000 windows a frame"]);
}
