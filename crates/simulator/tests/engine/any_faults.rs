//! Any faults, together, under any protections: every run ends, gives the same again, and counts what it does.

use crate::build::scenario;
use proptest::prelude::*;
use simulator::fault::declared::{KINDS, Unit};
use simulator::fault::{Fault, Kind, Place, Target};
use simulator::scenario::{Begin, Drawn, Spread, Times};
use simulator::{Engine, Event, Machine, Protection, Protections, Scenario, Seen};
use std::collections::BTreeMap;
use std::sync::LazyLock;

const SYSTEM: &str = include_str!("../../../../examples/nacelle-controller/system.toml");
const TASKS: &str = include_str!("../../../../examples/nacelle-controller/tasks.csv");
const CHANNELS: &str = include_str!("../../../../examples/nacelle-controller/channels.csv");
const PLAN: &str = include_str!("../../../../examples/nacelle-controller/plan.toml");

/// The nacelle controller has every policy, several virtual cores, an internal network and interrupts.
static NACELLE: LazyLock<Machine> = LazyLock::new(|| {
    let texts = [("system.toml", SYSTEM), ("tasks.csv", TASKS), ("channels.csv", CHANNELS)];
    let mut files: BTreeMap<_, _> =
        texts.into_iter().map(|(name, text)| (name.to_owned(), text.as_bytes().to_vec())).collect();
    let mut reading = model::read_system("system.toml", &mut files);
    let system = reading.system.take().expect("the nacelle controller reads");
    let (plan, _) = plan::read_plan("plan.toml", PLAN.as_bytes(), &system, &mut reading.sources);
    simulator::compile::machine(&system, &plan.expect("its plan reads"))
});
static VESSEL: LazyLock<Machine> = LazyLock::new(crate::vessel::machine);

const FRAMES: u64 = 6;

fn target(machine: &Machine, place: Place, draw: usize) -> Target {
    match place {
        Place::Partition => Target::Partition(draw % machine.partitions.len()),
        Place::Task => Target::Task(draw % machine.tasks.len()),
        Place::Channel => Target::Channel(draw % machine.channels.len()),
        Place::Device => Target::Device(draw % machine.devices.len()),
        Place::Core => Target::Core(draw % machine.cores.len()),
    }
}

fn fault(machine: &'static Machine) -> impl Strategy<Value = Fault> {
    let frame_ns = machine.frame_ns;
    let values = prop::array::uniform3(prop_oneof![1..4u64, 1_000..frame_ns]);
    (0..KINDS.len(), any::<usize>(), 0..frame_ns * FRAMES, values, any::<bool>()).prop_map(
        move |(kind, draw, at_ns, numbers, given)| {
            let declared = &KINDS[kind];
            let mut values = declared.defaults();
            for (at, parameter) in declared.parameters.iter().enumerate().filter(|_| given) {
                values[at] = Some(match parameter.unit {
                    // Not so often that a run would take minutes.
                    Unit::Time => numbers[at].max(1_000),
                    Unit::Count => numbers[at] % 1_000 + 1,
                    Unit::Start => numbers[at] % 2,
                });
            }
            let place = declared.places[draw % declared.places.len()];
            Fault { kind: declared.make(values), target: target(machine, place, draw / 7), at_ns }
        },
    )
}

fn faulty_run(machine: &'static Machine) -> impl Strategy<Value = Scenario> {
    let spread = || prop::sample::select(vec![Spread::Even, Spread::Least, Spread::Most, Spread::Ends]);
    let faults = prop::collection::vec(fault(machine), 0..5);
    let off = prop::sample::subsequence(Protection::ALL.to_vec(), 0..=6);
    let begin = prop::sample::select(vec![Begin::Running, Begin::FirstFrame]);
    let change = (0..machine.frame_ns * FRAMES, 0..machine.schedules.len());
    let changes = prop::collection::vec(change, 0..3);
    (any::<u64>(), faults, off, begin, changes, spread(), spread()).prop_map(
        |(seed, mut faults, off, begin, mut changes, executions, phases)| {
            faults.sort_by_key(|fault| fault.at_ns);
            changes.sort_unstable();
            let protections = off.into_iter().fold(Protections::ALL, Protections::and_without);
            let times = Times::Drawn(Drawn { executions, phases, jitters: phases, blocking: executions });
            let plain = scenario(machine.frame_ns * FRAMES, times);
            Scenario { seed, begin, faults, protections, changes, ..plain }
        },
    )
}

/// Two runs by one engine and one by another see and tell the same; time does not run back.
fn same_again(machine: &Machine, scenario: &Scenario) -> Result<(), TestCaseError> {
    let mut used = Engine::new(machine);
    let run = |engine: &mut Engine<'_>| {
        let (mut seen, mut events): (_, Vec<Event>) = (Seen::nothing(machine), Vec::new());
        engine.run(scenario, &mut seen, &mut events);
        (seen, events)
    };
    let (first, events) = run(&mut used);
    prop_assert!(events.windows(2).all(|pair| pair[0].at_ns <= pair[1].at_ns));
    prop_assert!(first.counts.completions <= first.counts.releases);
    for again in [run(&mut used), run(&mut Engine::new(machine))] {
        prop_assert_eq!((&first, &events), (&again.0, &again.1));
    }
    let mut quiet = Seen::nothing(machine);
    used.run(scenario, &mut quiet, &mut simulator::Nobody);
    prop_assert_eq!(first, quiet);
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(100))]
    #[test]
    fn on_the_vessel(scenario in faulty_run(&VESSEL)) {
        same_again(&VESSEL, &scenario)?;
    }

    #[test]
    fn on_the_nacelle_controller(scenario in faulty_run(&NACELLE)) {
        same_again(&NACELLE, &scenario)?;
    }
}

/// The tasks outside the faulty partitions that miss a deadline in some runs at full times.
fn missed_outside(fault: Fault, faulty: &[usize], protections: Protections) -> Vec<&'static str> {
    let machine = &*NACELLE;
    let spreads =
        Drawn { executions: Spread::Most, phases: Spread::Even, jitters: Spread::Even, blocking: Spread::Even };
    let (mut engine, mut seen) = (Engine::new(machine), Seen::nothing(machine));
    for run in 0..3 {
        let plain = scenario(30 * machine.frame_ns, Times::Drawn(spreads));
        let run = Scenario { run, faults: vec![fault], protections, ..plain };
        engine.run(&run, &mut seen, &mut simulator::Nobody);
    }
    let outside = machine.tasks.iter().zip(&seen.tasks).filter(|(task, _)| !faulty.contains(&task.partition));
    outside.filter(|(_, seen)| seen.missed > 0).map(|(task, _)| task.label.as_str()).collect()
}

#[test]
fn on_the_nacelle_controller_no_fault_makes_anybody_else_miss() {
    let faults = crate::vessel_faults::every_fault(&NACELLE);
    assert!(faults.iter().any(|(fault, _)| matches!(fault.kind, Kind::InterruptStorm { .. })));
    for (fault, faulty) in faults {
        assert_eq!(missed_outside(fault, &faulty, Protections::ALL), [""; 0], "{fault:?}");
    }
}

#[test]
fn without_interrupt_pending_a_storm_reaches_whoever_shares_the_core() {
    let relays = NACELLE.devices.iter().position(|device| device.name == "safety relays").expect("a device");
    let kind = Kind::InterruptStorm { every_ns: 10_000, for_ns: 500_000_000 };
    let storm = Fault { kind, target: Target::Device(relays), at_ns: 0 };
    let owner = NACELLE.devices[relays].owner.expect("an owner");
    let missed = missed_outside(storm, &[owner], Protections::without(Protection::InterruptPending));
    let shares_core = |label: &&str| {
        let task = NACELLE.tasks.iter().find(|task| task.label == **label).expect("a task");
        NACELLE.lanes[NACELLE.partitions[task.partition].lanes.start].cores.contains(&0)
    };
    assert!(!missed.is_empty() && missed.iter().all(shares_core), "{missed:?}");
}
