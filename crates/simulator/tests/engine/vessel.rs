//! The survey vessel against responses worked out apart from this program.

use crate::build::{drawn, scenario};
use model::System;
use plan::Plan;
use simulator::scenario::Spread::{Ends, Even, Most};
use simulator::{Engine, Machine, Nobody, Scenario, Seen};
use std::collections::BTreeMap;

const SYSTEM: &str = include_str!("../../../../examples/survey-vessel/system.toml");
const TASKS: &str = include_str!("../../../../examples/survey-vessel/tasks.csv");
const CHANNELS: &str = include_str!("../../../../examples/survey-vessel/channels.csv");
const TREE: &str = include_str!("../../../../examples/survey-vessel/board.dts");
const PLAN: &str = include_str!("../../../../examples/survey-vessel/plan.toml");

/// Charged time and worst response of every task in microseconds, any phase: worked out apart from this program.
pub const RESPONSES_US: [(&str, u64, u64); 39] = [
    ("STOP.estop", 268, 9378),
    ("STOP.superv", 368, 9746),
    ("STOP.selftest", 1208, 39922),
    ("NAVF.imu", 768, 8278),
    ("NAVF.fuse", 2058, 18544),
    ("NAVF.gnss", 1608, 38626),
    ("NAVF.integ", 1308, 39874),
    ("PROP.ctrl", 1068, 8578),
    ("PROP.arb", 428, 9006),
    ("PROP.alloc", 1268, 18782),
    ("PROP.diag", 2208, 39642),
    ("ENGM.bms", 608, 19218),
    ("ENGM.engine", 708, 19926),
    ("ENGM.trend", 1688, 79706),
    ("TRAK.guid", 748, 18858),
    ("TRAK.line", 1308, 38954),
    ("TRAK.modem", 1548, 79326),
    ("OBJT.radar", 6008, 17918),
    ("OBJT.cam", 6808, 36566),
    ("OBJT.trk", 2908, 39474),
    ("OBJT.ais", 1408, 92066),
    ("COLA.assess", 4008, 36558),
    ("COLA.decide", 2208, 38766),
    ("COLA.rules", 3208, 96850),
    ("SONR.ping", 3608, 14718),
    ("SONR.beam", 4508, 19226),
    ("SONR.svp", 1008, 39330),
    ("RECD.writer", 4408, 36558),
    ("RECD.index", 2008, 38566),
    ("RECD.flush", 3708, 96750),
    ("LINK.rx", 808, 17918),
    ("LINK.tx", 758, 18676),
    ("LINK.crypto", 1308, 19984),
    ("LINK.hb", 288, 38818),
    ("BATH.clean", 16008, 68158),
    ("BATH.grid", 14008, 88206),
    ("BATH.qc", 5308, 93454),
    ("MAIN.log", 2108, 92218),
    ("MAIN.load", 5808, 97966),
];

fn vessel() -> (System, Plan) {
    let names = [("system.toml", SYSTEM), ("tasks.csv", TASKS), ("channels.csv", CHANNELS), ("board.dts", TREE)];
    let mut files: BTreeMap<String, Vec<u8>> =
        names.iter().map(|(name, text)| ((*name).to_owned(), text.as_bytes().to_vec())).collect();
    let mut reading = model::read_system("system.toml", &mut files);
    let system = reading.system.take().expect("the vessel reads");
    let (plan, _) = plan::read_plan("plan.toml", PLAN.as_bytes(), &system, &mut reading.sources);
    (system, plan.expect("its plan reads"))
}

pub fn machine() -> Machine {
    let (system, plan) = vessel();
    simulator::compile::machine(&system, &plan)
}

#[test]
fn the_vessel_is_charged_as_its_table_says() {
    let machine = machine();
    assert_eq!(machine.left_out, []);
    let charged = machine.tasks.iter().map(|task| (task.label.as_str(), task.charged_ns));
    let table = RESPONSES_US.iter().map(|&(label, charged_us, _)| (label, charged_us * 1000));
    assert!(charged.eq(table));
    let heads = machine.schedules[0].cores.iter().flatten().map(|window| window.head_ns);
    assert!(heads.clone().all(|head| head == 40_000));
    assert_eq!(heads.count(), 10 + 10 + 10 + 5 + 5 * 3 + 5 * 3 + 3 + 1);
    assert_eq!(machine.until_first_frame_ns, Some((250 + 1175 + 120) * 1_000_000));
}

/// Free-running tasks have any phase, as the responses are for.
pub fn free(mut machine: Machine) -> Machine {
    machine.tasks.iter_mut().for_each(|task| task.arrivals = simulator::machine::Arrivals::Free);
    machine
}

pub fn seen(machine: &Machine, frames: u64, runs: u64, times: &simulator::scenario::Times) -> Seen {
    let (mut engine, mut seen) = (Engine::new(machine), Seen::nothing(machine));
    for run in 0..runs {
        let scenario = Scenario { run, ..scenario(frames * machine.frame_ns, times.clone()) };
        engine.run(&scenario, &mut seen, &mut Nobody);
    }
    seen
}

fn holds(machine: &Machine, seen: &Seen) {
    for (task, (label, _, response_us)) in RESPONSES_US.iter().enumerate() {
        assert!(seen.tasks[task].most_ns <= response_us * 1000, "{label}: {} ns", seen.tasks[task].most_ns);
        assert_eq!(seen.tasks[task].missed, 0, "{label}");
        assert!(seen.tasks[task].jobs > 0, "{}", machine.tasks[task].label);
    }
}

#[test]
fn no_response_of_a_thousand_frames_is_above_its_bound() {
    let machine = machine();
    for spread in [Even, Most, Ends] {
        holds(&machine, &seen(&machine, 1000, 1, &drawn(spread)));
    }
}

#[test]
fn no_response_in_random_phases_is_above_its_bound_and_some_come_near() {
    let machine = free(machine());
    let mut all = Seen::nothing(&machine);
    for spread in [Even, Ends] {
        let times = simulator::scenario::Times::Drawn(simulator::scenario::Drawn {
            executions: simulator::scenario::Spread::Most,
            phases: Even,
            jitters: spread,
            blocking: spread,
        });
        all.join(&seen(&machine, 10, 500, &times));
    }
    holds(&machine, &all);
    let near =
        RESPONSES_US.iter().zip(&all.tasks).filter(|((_, _, most), seen)| seen.most_ns * 100 >= most * 1000 * 95);
    assert!(near.count() >= 20);
}
