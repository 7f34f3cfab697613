//! Line requests that wait for what other masters really ask for: never above the bounds on waiting, and how close.
//!
//! Each board is run in many phases, its jobs as long as they may be, and every response is held against the request-driven
//! bound and against the one that counts what others can ask for. On boards whose windows are the whole frame nothing but the
//! others' jobs limits that, on boards whose other partitions are not trusted nothing but their windows. Other boards are of every guest
//! and every supply.

mod boards;

use crate::vessel;
use boards::{By, Chance, Form, board_of, drawn_board};
use claim::{Assumption, Kind, Status, Verdict, sum_of_parts};
use model::System;
use plan::Plan;
use simulator::fault::{Fault, Kind as FaultKind, Target};
use simulator::scenario::{Contention, Drawn, Spread, Times};
use simulator::{Engine, Machine, Nobody, Scenario, Seen};
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
    fn and(self, other: Self) -> Self {
        Self {
            by_requests: self.by_requests.max(other.by_requests),
            by_others: self.by_others.max(other.by_others),
            gained: self.gained + other.gained,
            held: self.held + other.held,
        }
    }
}

/// The largest response of each task over runs of so many frames in many phases.
fn largest(system: &System, plan: &Plan, runs: u64, frames: u64) -> (Machine, Seen) {
    let machine = simulator::compile::machine(system, plan);
    assert_eq!(machine.left_out, [], "everything runs");
    let mut seen = Seen::nothing(&machine);
    let mut engine = Engine::new(&machine);
    for run in 0..runs {
        let executions = if run % 4 == 3 { Spread::Ends } else { Spread::Most };
        let drawn = Drawn { executions, phases: Spread::Even, jitters: Spread::Ends, blocking: Spread::Most };
        let scenario = Scenario {
            seed: 5,
            run,
            span_ns: frames * machine.frame_ns,
            times: Times::Drawn(drawn),
            contention: Contention::Concurrent,
            faults: storms(system, &machine, frames, run),
            ..Scenario::plain(&machine)
        };
        engine.run(&scenario, &mut seen, &mut Nobody);
    }
    (machine, seen)
}

/// Every interrupt that is handled at once, as often as it may come, from some instant on.
fn storms(system: &System, machine: &Machine, frames: u64, run: u64) -> Vec<Fault> {
    let mut storms = Vec::new();
    for (at, device) in system.board.devices.iter().enumerate() {
        for gap in device.interrupts.iter().filter_map(|line| line.min_interarrival) {
            let (every_ns, for_ns) = (gap.value.ns(), frames * machine.frame_ns);
            let kind = FaultKind::InterruptStorm { every_ns, for_ns };
            storms.push(Fault { kind, target: Target::Device(at), at_ns: 1 + run * every_ns / 40 });
        }
    }
    storms
}

/// Holds every response against both bounds; a bound that is passed fails the test.
fn held((system, plan): &(System, Plan), (runs, frames): (u64, u64), board: &str) -> Closest {
    let verdicts = baseline::verdicts(system, plan);
    let (machine, seen) = largest(system, plan, runs, frames);
    let responses: BTreeMap<&str, &Verdict> = verdicts
        .iter()
        .filter(|verdict| verdict.kind == Kind::Response)
        .map(|verdict| (verdict.id.as_str(), verdict))
        .collect();
    let mut closest = Closest::default();
    for (task, seen) in machine.tasks.iter().zip(&seen.tasks) {
        let verdict = responses[format!("response/{}", task.label).as_str()];
        if verdict.basis.assumptions.contains(&Assumption::NotThrottled) && verdict.status != Status::Shown {
            continue; // Its stalls are in no bound.
        }
        assert!(verdict.bound.is_none_or(|bound| sum_of_parts(&verdict.parts) == bound), "{board}: {verdict:#?}");
        let share = |bound_ns: u64| {
            assert!(seen.most_ns <= bound_ns, "{board}: {} takes {} ns of {bound_ns}", task.label, seen.most_ns);
            seen.most_ns * 1000 / bound_ns
        };
        if let (Some(by_requests), Some(by_others)) = (verdict.generic.or(verdict.bound), verdict.table_aware) {
            let gained = usize::from(by_others < by_requests);
            let (by_requests, by_others) = (share(by_requests), share(by_others) * gained as u64);
            closest = closest.and(Closest { by_requests, by_others, gained, held: 1 });
        } else if let Some(bound) = verdict.bound {
            closest = closest.and(Closest { by_requests: share(bound), held: 1, ..Closest::default() });
        }
    }
    closest
}

#[test]
fn no_response_of_the_examples_is_above_a_bound() {
    let vessel = held(&vessel::vessel(), (24, 40), "the vessel");
    let lock = held(&canal_lock(|text| text.to_owned()), (200, 40), "the canal lock");
    assert_eq!((vessel.held, lock.held), (39, 6));
    assert_eq!((vessel.by_requests, vessel.gained), (973, 0), "all of the vessel's cores ask for much");
    assert_eq!((lock.by_requests, lock.by_others, lock.gained), (999, 992, 1));
}

fn canal_lock(change: impl Fn(&str) -> String) -> (System, Plan) {
    parsed(
        &change(include_str!("../../../../examples/canal-lock/system.toml")),
        include_str!("../../../../examples/canal-lock/plan.toml"),
    )
}

fn parsed(system: &str, plan: &str) -> (System, Plan) {
    let mut files = BTreeMap::from([("system.toml".to_owned(), system.as_bytes().to_vec())]);
    let mut reading = model::read_system("system.toml", &mut files);
    let read = reading.system.take().unwrap_or_else(|| panic!("{:?}\n{system}", reading.diagnostics));
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
    ] {
        let boards = (0..16).map(|number| {
            let cores = if form == Form::Dedicated { 3 } else { 2 + number % 2 };
            held(&board_of(&mut chance, cores, form), (40, 12), &format!("{form:?} {number}"))
        });
        let all = boards.fold(Closest::default(), Closest::and);
        assert!(all.gained > 15 && all.held > 90, "{form:?}: {all:?}");
        assert_eq!((all.by_requests, all.by_others), (by_requests, by_others), "{form:?}");
    }
}
