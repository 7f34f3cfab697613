//! Faults on the survey vessel: with every protection on nobody outside the faulty partition responds later than its bound;
//! with the one that holds a fault off, somebody does.

use crate::build::scenario;
use crate::vessel::{RESPONSES_US, free, machine};
use simulator::fault::declared::KINDS;
use simulator::fault::{Fault, Kind, Place, Target, read_fault};
use simulator::scenario::Begin;
use simulator::scenario::Spread::{Even, Most};
use simulator::scenario::{Drawn, Times};
use simulator::{Engine, Machine, Nobody, Protection, Protections, Scenario, Seen};

const RUNS: u64 = 4;

/// Every job at its charged time, any phase.
fn worst() -> Times {
    Times::Drawn(Drawn { executions: Most, phases: Even, jitters: Even, blocking: Even })
}

/// What some runs of two seconds see with a fault at an odd instant.
fn seen(machine: &Machine, faults: &[Fault], protections: Protections) -> Seen {
    let (mut engine, mut seen) = (Engine::new(machine), Seen::nothing(machine));
    for run in 0..RUNS {
        let scenario =
            Scenario { run, faults: faults.to_vec(), protections, ..scenario(20 * machine.frame_ns, worst()) };
        engine.run(&scenario, &mut seen, &mut Nobody);
    }
    seen
}

fn fault(machine: &Machine, text: &str) -> Fault {
    let mut sources = diagnostic::Sources::new();
    read_fault("--fault", text, machine, 2_000_000_000, &mut sources)
        .unwrap_or_else(|found| panic!("{text}: {found:?}"))
}

fn bound_ns(task: usize) -> u64 {
    RESPONSES_US[task].2 * 1000
}

/// The tasks of other partitions that responded later than their bound, or missed a deadline.
fn late_outside(machine: &Machine, seen: &Seen, faulty: &[usize]) -> Vec<String> {
    let outside = (0..machine.tasks.len()).filter(|&task| !faulty.contains(&machine.tasks[task].partition));
    let late = outside.filter(|&task| seen.tasks[task].most_ns > bound_ns(task) || seen.tasks[task].missed > 0);
    late.map(|task| machine.tasks[task].label.clone()).collect()
}

/// Every fault of a machine, with its default parameters, and the partitions that are faulty.
pub fn every_fault(machine: &Machine) -> Vec<(Fault, Vec<usize>)> {
    let mut all = Vec::new();
    let of_core = |core: usize| {
        let lanes = machine.lanes.iter().filter(move |lane| lane.cores.contains(&core));
        lanes.map(|lane| lane.partition).collect::<Vec<_>>()
    };
    for declared in &KINDS {
        let kind = declared.make(declared.defaults());
        let mut add = |target: Target, faulty| all.push((Fault { kind, target, at_ns: 233_333_333 }, faulty));
        let moves = matches!(kind, Kind::DmaBurst { .. });
        for place in declared.places {
            match place {
                Place::Partition => {
                    (0..machine.partitions.len()).for_each(|one| add(Target::Partition(one), vec![one]))
                }
                Place::Device => {
                    let fits = |at: &usize| {
                        let device = &machine.devices[*at];
                        if moves { device.moves_memory } else { !device.interrupts.is_empty() }
                    };
                    let owner = |at: usize| machine.devices[at].owner.into_iter().collect();
                    (0..machine.devices.len()).filter(fits).for_each(|at| add(Target::Device(at), owner(at)));
                }
                Place::Core => (0..machine.cores.len()).for_each(|core| add(Target::Core(core), of_core(core))),
                Place::Task | Place::Channel => {}
            }
        }
    }
    all
}

#[test]
fn with_every_protection_no_fault_makes_anybody_else_late() {
    let machine = free(machine());
    let faults = every_fault(&machine);
    assert!(faults.len() > 100, "{} faults", faults.len());
    let without = seen(&machine, &[], Protections::ALL);
    for (fault, faulty) in faults {
        let seen = seen(&machine, &[fault], Protections::ALL);
        for task in (0..machine.tasks.len()).filter(|&task| !faulty.contains(&machine.tasks[task].partition)) {
            // Not only within its bound: nothing about it differs from the runs without the fault.
            assert_eq!(seen.tasks[task], without.tasks[task], "{fault:?}: {}", machine.tasks[task].label);
        }
        assert_eq!(late_outside(&machine, &seen, &faulty), [""; 0], "{fault:?}");
        assert_eq!(seen.counts.module_stops, 0, "{fault:?}");
    }
}

/// The tasks outside that a fault makes late with one protection off, of which there must be some.
fn reached(text: &str, off: Protection) -> Vec<String> {
    let machine = free(machine());
    let fault = fault(&machine, text);
    let faulty: Vec<usize> = fault.target.partition(&machine).into_iter().collect();
    late_outside(&machine, &seen(&machine, &[fault], Protections::without(off)), &faulty)
}

#[test]
fn without_window_enforcement_an_overrun_reaches_the_next_windows() {
    let late = reached("overrun:NAVF.imu@200ms,extra=9ms,jobs=20", Protection::WindowEnforcement);
    assert!(late.iter().any(|task| task.starts_with("PROP.")), "{late:?}");
    assert!(late.iter().all(|task| ["STOP", "PROP", "ENGM"].contains(&&task[..4])), "its own core only: {late:?}");
}

#[test]
fn without_regulation_bursts_reach_other_cores() {
    let late = reached("memory-burst:BATH@0s,lines=8,for=2s", Protection::Regulation);
    assert!(late.iter().any(|task| task.starts_with("OBJT.") || task.starts_with("SONR.")), "{late:?}");
    assert!(late.iter().all(|task| !["LINK", "MAIN"].contains(&&task[..4])), "not its own core: {late:?}");
    let late = reached("dma-burst:PCIe1@0s,lines=8,for=2s", Protection::Regulation);
    assert!(late.iter().any(|task| task.starts_with("OBJT.")), "{late:?}");
}

#[test]
fn without_cache_partitions_working_sets_are_fetched_again() {
    let mut machine = free(machine());
    // The vessel declares no working sets: 512 KiB each here.
    machine.bus.as_mut().expect("a bus").working_set_lines.fill(8192);
    let burst = fault(&machine, "memory-burst:BATH@0s,for=2s");
    let seen = |protections| seen(&machine, &[burst], protections);
    let bath = burst.target.partition(&machine).expect("a partition");
    assert_eq!(late_outside(&machine, &seen(Protections::ALL), &[bath]), [""; 0]);
    let late = late_outside(&machine, &seen(Protections::without(Protection::CachePartition)), &[bath]);
    assert!(late.iter().any(|task| task.starts_with("SONR.")), "{late:?}");
}

#[test]
fn without_port_protection_a_flood_loses_messages_of_others() {
    let machine = free(machine());
    let flood = fault(&machine, "queue-flood:MAIN@500ms");
    let lost = |protections| {
        let seen = seen(&machine, &[flood], protections);
        let foreign = machine.inputs.iter().zip(&seen.inputs).filter(|(input, _)| {
            machine.channels[input.channel].source != flood.target.partition(&machine).expect("a partition")
        });
        foreign.map(|(_, input)| input.lost).sum::<u64>()
    };
    assert_eq!(lost(Protections::ALL), 0);
    assert!(lost(Protections::without(Protection::PortProtection)) > 500);
}

#[test]
fn without_the_health_monitor_consumers_of_a_dead_partition_stay_stale() {
    let machine = free(machine());
    let crash = fault(&machine, "crash:NAVF@200ms");
    let stale = |protections| {
        let seen = seen(&machine, &[crash], protections);
        seen.inputs.iter().map(|input| input.stale).sum::<u64>()
    };
    let (on, off) = (stale(Protections::ALL), stale(Protections::without(Protection::HealthMonitor)));
    assert!(on > 0 && off > 5 * on, "{on} with, {off} without");
}

#[test]
fn a_storm_climbs_the_vessels_ladder_and_reaches_nobody() {
    // Three warm starts in 60 s lead to a cold one, two of these in 600 s to a stop: warm thrice and cold, twice, warm thrice, stop.
    let machine = free(machine());
    let storm = fault(&machine, "restart-storm:PROP@100ms,count=20,every=2s");
    let run = Scenario { faults: vec![storm], ..scenario(300 * machine.frame_ns, worst()) };
    let mut seen = Seen::nothing(&machine);
    Engine::new(&machine).run(&run, &mut seen, &mut Nobody);
    let prop = storm.target.partition(&machine).expect("a partition");
    let of = seen.partitions[prop];
    assert_eq!((of.warm_starts, of.cold_starts, of.stops), (9, 2, 1));
    assert_eq!(late_outside(&machine, &seen, &[prop]), [""; 0]);
}

/// Outages after warm and cold starts, worked out apart from this program, in tenths of a millisecond, for tasks that are released at
/// once.
const OUTAGES: [(&str, u64, u64); 12] = [
    ("STOP", 786, 1589),
    ("NAVF", 1058, 2668),
    ("PROP", 872, 2075),
    ("ENGM", 1379, 3188),
    ("TRAK", 1771, 4577),
    ("OBJT", 4902, 15141),
    ("COLA", 2964, 8562),
    ("SONR", 2462, 9315),
    ("RECD", 4734, 15756),
    ("LINK", 5169, 24157),
    ("BATH", 5788, 20385),
    ("MAIN", 8025, 22031),
];

#[test]
fn outages_keep_to_what_was_worked_out_apart_and_come_near() {
    let machine = free(machine());
    for (partition, (name, warm, cold)) in OUTAGES.iter().enumerate() {
        assert_eq!(machine.partitions[partition].name, *name);
        let mut all = Seen::nothing(&machine);
        let mut engine = Engine::new(&machine);
        for (start, at_ns) in (0..40).flat_map(|step| [("warm", step), ("cold", step)]) {
            let crash = fault(&machine, &format!("crash:{name}@{}us,start={start}", at_ns * 2503));
            let run = Scenario { run: at_ns, faults: vec![crash], ..scenario(30 * machine.frame_ns, worst()) };
            engine.run(&run, &mut all, &mut Nobody);
        }
        let seen = &all.partitions[partition];
        for (start, outage, limit) in [("warm", seen.warm_outage_ns, warm), ("cold", seen.cold_outage_ns, cold)] {
            let outage_ns = outage.expect("every outage ends within the run");
            assert!(outage_ns <= limit * 100_000, "{name} {start}: {outage_ns} ns");
            assert!(outage_ns * 10 >= limit * 100_000 * 8, "{name} {start}: {outage_ns} ns is far below {limit}");
        }
    }
}

/// When each partition is operational after reset, in tenths of a millisecond, rounded up: worked out apart from this program.
const OPERATIONAL: [u64; 12] = [16656, 17772, 17202, 18123, 19459, 30114, 23386, 24308, 30571, 39058, 34524, 36089];

#[test]
fn partitions_are_operational_when_it_was_worked_out_apart() {
    let machine = machine();
    let boot = Scenario { begin: Begin::FirstFrame, ..scenario(30 * machine.frame_ns, worst()) };
    let mut seen = Seen::nothing(&machine);
    Engine::new(&machine).run(&boot, &mut seen, &mut Nobody);
    let until_ns = machine.until_first_frame_ns.expect("boot is declared");
    let up = seen.partitions.iter().map(|one| one.operational_ns.map(|at| (at + until_ns).div_ceil(100_000)));
    assert_eq!(up.collect::<Vec<_>>(), OPERATIONAL.map(Some));
}
