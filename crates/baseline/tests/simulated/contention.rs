//! Line requests that wait for what other masters really ask for: never above the bounds on waiting, and how close.
//!
//! Each board is run in many phases, its jobs as long as they may be, and every response is held against the request-driven
//! bound and against the one that counts what others can ask for. On boards whose windows are the whole frame nothing but the
//! others' jobs limits that, on boards whose other partitions are not trusted nothing but their windows. Other boards are of every guest
//! and every supply.

mod boards;

use crate::vessel;
use baseline::simulated::protections;
use boards::{By, Chance, Form, board_of, drawn_board};
use claim::{Assumption, Kind, Status, Verdict, sum_of_parts};
use model::System;
use model::system::{Device, Interrupt, InterruptPolicy};
use plan::Plan;
use simulator::fault::{Fault, Kind as FaultKind, Target};
use simulator::scenario::{Contention, Drawn, Spread, Times};
use simulator::{Engine, Machine, Nobody, Protection, Protections, Scenario, Seen};
use std::collections::BTreeMap;

/// The largest share of each bound that any response came to, in thousandths; of those by what others ask for only where they
/// are below the request-driven ones.
#[derive(Debug, Default, Clone, Copy)]
struct Closest {
    by_requests: u64,
    by_others: u64,
    /// How many of the bounds held are such ones.
    gained: usize,
    held: usize,
}

impl Closest {
    /// How close the largest response comes to the bounds of its claim; nothing where that has none.
    fn of(verdict: &Verdict, most_ns: u64, board: &str) -> Self {
        let share = |bound_ns: u64| {
            assert!(most_ns <= bound_ns, "{board}: {} takes {most_ns} ns of {bound_ns}", verdict.subject);
            most_ns * 1000 / bound_ns
        };
        match (verdict.generic.or(verdict.bound), verdict.table_aware) {
            (None, _) => Self::default(),
            (Some(by_requests), None) => Self { by_requests: share(by_requests), held: 1, ..Self::default() },
            (Some(by_requests), Some(by_others)) => {
                let gained = usize::from(by_others < by_requests);
                let (by_requests, by_others) = (share(by_requests), share(by_others) * gained as u64);
                Self { by_requests, by_others, gained, held: 1 }
            }
        }
    }

    fn and(self, other: Self) -> Self {
        Self {
            by_requests: self.by_requests.max(other.by_requests),
            by_others: self.by_others.max(other.by_others),
            gained: self.gained + other.gained,
            held: self.held + other.held,
        }
    }
}

/// The largest response of each task under a module schedule over runs of so many frames in many phases.
fn largest(machine: &Machine, plain: &Scenario, system: &System, (runs, frames): (u64, u64)) -> Seen {
    let mut seen = Seen::nothing(machine);
    let mut engine = Engine::new(machine);
    for run in 0..runs {
        let executions = if run % 4 == 3 { Spread::Ends } else { Spread::Most };
        let drawn = Drawn { executions, phases: Spread::Even, jitters: Spread::Ends, blocking: Spread::Most };
        let scenario = Scenario {
            seed: 5,
            run,
            span_ns: frames * machine.frame_ns,
            times: Times::Drawn(drawn),
            contention: Contention::Concurrent,
            faults: storms(system, machine, frames, run),
            ..plain.clone()
        };
        engine.run(&scenario, &mut seen, &mut Nobody);
    }
    seen
}

/// Every interrupt that is handled at once, as often as it may come, from some instant on.
fn storms(system: &System, machine: &Machine, frames: u64, run: u64) -> Vec<Fault> {
    let lines = |device: &Device| device.interrupts.clone();
    let devices = system.board.devices.iter().enumerate();
    let lines = devices.flat_map(|(at, device)| lines(device).into_iter().map(move |line| (at, line)));
    let at_once =
        lines.filter(|(_, line)| line.policy.is_some_and(|policy| policy.value == InterruptPolicy::Immediate));
    let storm = |(at, line): (usize, Interrupt)| {
        let every_ns = line.min_interarrival?.value.ns();
        let kind = FaultKind::InterruptStorm { every_ns, for_ns: frames * machine.frame_ns };
        Some(Fault { kind, target: Target::Device(at), at_ns: 1 + run * every_ns / 40 })
    };
    at_once.filter_map(storm).collect()
}

/// Holds every response under every module schedule against both bounds; a bound that is passed fails the test.
fn held(board: &(System, Plan), much: (u64, u64), name: &str) -> Closest {
    held_with(board, protections(&board.0, &board.1), much, name)
}

fn held_with((system, plan): &(System, Plan), protections: Protections, much: (u64, u64), board: &str) -> Closest {
    let verdicts = baseline::verdicts(system, plan);
    let machine = simulator::compile::machine(system, plan);
    assert_eq!(machine.left_out, [], "{board}: everything runs");
    let responses: BTreeMap<&str, &Verdict> = verdicts
        .iter()
        .filter(|verdict| verdict.kind == Kind::Response)
        .map(|verdict| (verdict.id.as_str(), verdict))
        .collect();
    let mut closest = Closest::default();
    for (schedule, table) in machine.schedules.iter().enumerate() {
        let of = if machine.schedules.len() > 1 { format!("@{}", table.name) } else { String::new() };
        let seen = largest(&machine, &Scenario { schedule, protections, ..Scenario::plain(&machine) }, system, much);
        for (index, (task, seen)) in machine.tasks.iter().zip(&seen.tasks).enumerate() {
            if seen.jobs == 0 {
                assert!(!machine.is_active(schedule, index), "{board}: {} has no job{of}", task.label);
                continue;
            }
            let verdict = responses[format!("response/{}{of}", task.label).as_str()];
            let told =
                verdict.untold.is_some() || verdict.bound.is_none_or(|bound| sum_of_parts(&verdict.parts) == bound);
            assert!(told, "{board}: {verdict:#?}");
            if protections.has(Protection::Regulation) && !counts_stalls(verdict) {
                continue;
            }
            closest = closest.and(Closest::of(verdict, seen.most_ns, board));
        }
    }
    closest
}

/// Whether a bound holds where cores are throttled, or none can be.
fn counts_stalls(verdict: &Verdict) -> bool {
    verdict.status == Status::Shown || !verdict.basis.assumptions.contains(&Assumption::NotThrottled)
}

#[test]
fn no_response_of_the_examples_is_above_a_bound() {
    let vessel = held(&vessel::vessel(), (24, 40), "the vessel");
    let lock = held(&canal_lock(|text| text.to_owned()), (200, 40), "the canal lock");
    let nacelle = held(&nacelle(), (100, 40), "the nacelle");
    assert_eq!((vessel.held, lock.held, nacelle.held), (39, 6, 59));
    assert_eq!((vessel.by_requests, vessel.gained), (973, 0), "all of the vessel's cores ask for much");
    assert_eq!((lock.by_requests, lock.by_others, lock.gained), (999, 992, 1));
    // All the others wait beside an opaque guest, which may ask for memory at any time.
    assert_eq!((nacelle.by_requests, nacelle.by_others, nacelle.gained), (999, 945, 1));
}

fn nacelle() -> (System, Plan) {
    let texts = [
        ("system.toml", include_str!("../../../../examples/nacelle-controller/system.toml")),
        ("tasks.csv", include_str!("../../../../examples/nacelle-controller/tasks.csv")),
        ("channels.csv", include_str!("../../../../examples/nacelle-controller/channels.csv")),
    ];
    let files = texts.map(|(name, text)| (name.to_owned(), text.as_bytes().to_vec()));
    read(BTreeMap::from(files), include_str!("../../../../examples/nacelle-controller/plan.toml"))
}

fn canal_lock(change: impl Fn(&str) -> String) -> (System, Plan) {
    parsed(
        &change(include_str!("../../../../examples/canal-lock/system.toml")),
        include_str!("../../../../examples/canal-lock/plan.toml"),
    )
}

fn parsed(system: &str, plan: &str) -> (System, Plan) {
    read(BTreeMap::from([("system.toml".to_owned(), system.as_bytes().to_vec())]), plan)
}

fn read(mut files: BTreeMap<String, Vec<u8>>, plan: &str) -> (System, Plan) {
    let mut reading = model::read_system("system.toml", &mut files);
    let read = reading.system.take().unwrap_or_else(|| panic!("{:?}", reading.diagnostics));
    let (plan, found) = plan::read_plan("plan.toml", plan.as_bytes(), &read, &mut reading.sources);
    (read, plan.unwrap_or_else(|| panic!("{found:?}")))
}

#[test]
fn no_response_of_a_drawn_board_is_above_a_bound() {
    let mut chance = Chance(7);
    for (by, by_requests, by_others) in
        [(By::Jobs, 1000, 999), (By::Windows, 998, 965), (By::Both, 999, 979), (By::Devices, 991, 971)]
    {
        let boards = (0..24).map(|number| {
            let cores = if by == By::Devices { 1 + number % 2 } else { 2 + number % 3 };
            held(&drawn_board(&mut chance, cores, by), (40, 12), &format!("{by:?} {number}"))
        });
        let all = boards.fold(Closest::default(), Closest::and);
        assert!(all.gained > 20, "{by:?}: {all:?}");
        assert_eq!((all.by_requests, all.by_others), (by_requests, by_others), "{by:?}");
    }
}

#[test]
fn so_it_is_under_every_guest_and_every_supply() {
    let mut chance = Chance(11);
    for (form, by_requests, by_others) in [
        (Form::InPhase, 999, 993),
        (Form::Cooperative, 1000, 996),
        (Form::Deadline, 999, 991),
        (Form::Servers, 999, 957),
        (Form::Shares, 999, 964),
        (Form::Dedicated, 997, 969),
        (Form::Interrupted, 997, 983),
        (Form::Stalled, 963, 876),
        (Form::Moving, 1000, 996),
        (Form::Pinned, 999, 1000),
    ] {
        let boards = (0..16).map(|number| {
            let cores = if form == Form::Dedicated { 3 } else { 2 + number % 2 };
            let board = board_of(&mut chance, cores, form);
            held_with(&board, Protections::ALL, (40, 12), &format!("{form:?} {number}"))
        });
        let all = boards.fold(Closest::default(), Closest::and);
        assert!(all.gained > 15 && all.held > 90, "{form:?}: {all:?}");
        assert_eq!((all.by_requests, all.by_others), (by_requests, by_others), "{form:?}");
    }
}
