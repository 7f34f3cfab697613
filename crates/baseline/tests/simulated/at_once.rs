//! Interrupts that are handled at once: what a storm of them takes, against bounds that are charged with it.

use crate::vessel::read;
use baseline::simulated::above;
use claim::{Kind, Status};
use simulator::fault::{Fault, Kind as FaultKind, Target};
use simulator::machine::Arrivals;
use simulator::scenario::{Drawn, Spread, Times};
use simulator::{Engine, Nobody, Scenario, Seen};

const GAP_NS: u64 = 500_000;
const RUNS: u64 = 24;

#[test]
fn a_storm_passes_no_bound_and_takes_what_some_are_charged_with() {
    let line = "interrupt = [{ line = \"40\", core = \"0\", policy = \"immediate\", min_interarrival = \"500 us\", handler = \"20 us\" }]";
    let with_line = |name: &str, text: &str| match name {
        "system.toml" => text.replace("name = \"CAN0\"\n", &format!("name = \"CAN0\"\n{line}\n")),
        _ => text.to_owned(),
    };
    let (system, plan) = read(with_line);
    let (quiet_system, quiet_plan) = read(|_, text| text.to_owned());
    let verdicts = baseline::verdicts(&system, &plan);
    let quiet = baseline::verdicts(&quiet_system, &quiet_plan);
    let mut machine = simulator::compile::machine(&system, &plan);
    machine.tasks.iter_mut().for_each(|task| task.arrivals = Arrivals::Free);
    let device = machine.devices.iter().position(|device| device.name == "CAN0").expect("the device is there");
    let span_ns = 40 * machine.frame_ns;
    let mut most = Seen::nothing(&machine);
    let mut engine = Engine::new(&machine);
    let spreads =
        Drawn { executions: Spread::Most, phases: Spread::Ends, jitters: Spread::Ends, blocking: Spread::Most };
    let plain = Scenario { seed: 7, span_ns, times: Times::Drawn(spreads), ..Scenario::plain(&machine) };
    for run in 0..RUNS {
        let kind = FaultKind::InterruptStorm { every_ns: GAP_NS, for_ns: span_ns };
        let at_ns = 1 + run * GAP_NS / RUNS;
        let storm = Fault { kind, target: Target::Device(device), at_ns };
        let scenario = Scenario { run, faults: vec![storm], ..plain.clone() };
        engine.run(&scenario, &mut most, &mut Nobody);
    }
    assert_eq!(above(&machine, &plain, &most, &verdicts), []);
    let responses = |found: &[claim::Verdict]| -> Vec<u64> {
        found.iter().filter(|verdict| verdict.kind == Kind::Response).filter_map(|verdict| verdict.bound).collect()
    };
    let (charged, without) = (responses(&verdicts), responses(&quiet));
    assert_eq!((charged.len(), without.len()), (39, 39));
    let longer = charged.iter().zip(&without).filter(|(charged, without)| charged > without).count();
    assert_eq!(longer, 14, "those of core 0");
    // Without the charge the storm would be above some bound.
    assert!(!above(&machine, &plain, &most, &quiet).is_empty());
    let late = verdicts.iter().filter(|verdict| verdict.kind == Kind::Response && verdict.status == Status::Violated);
    assert_eq!(late.count(), 0, "no interrupt need come");
}
