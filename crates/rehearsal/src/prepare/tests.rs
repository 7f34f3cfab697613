//! The canal lock as it is prepared: who is told what, and what is refused.

use super::*;
use crate::faults::Mark;
use crate::orders::Does;
use simulator::fault::{Kind, Target};

const SYSTEM: &str = include_str!("../../../../examples/canal-lock/system.toml");
const PLAN: &str = include_str!("../../../../examples/canal-lock/plan.toml");
const MS: u64 = 1_000_000;

fn prepared(faults: &[Asked]) -> Result<Prepared, Vec<String>> {
    let mut files: BTreeMap<String, Vec<u8>> = [("system.toml".to_owned(), SYSTEM.as_bytes().to_vec())].into();
    let mut reading = model::read_system("system.toml", &mut files);
    let system = reading.system.take().expect("the lock reads");
    let (plan, _) = plan::read_plan("plan.toml", PLAN.as_bytes(), &system, &mut reading.sources);
    let machine = simulator::compile::machine(&system, &plan.expect("its plan reads"));
    prepare(&system, &machine, faults)
}

fn asked(kind: Kind, target: Target) -> Asked {
    Asked { kind, target, at_ns: 7 }
}

#[test]
fn windows_tasks_and_ports_are_told_as_planned() {
    let lock = prepared(&[]).expect("it can be rehearsed");
    let windows: Vec<Vec<(u64, u64)>> = lock
        .cores
        .iter()
        .map(|core| core.windows.iter().map(|window| (window.start_ns / MS, window.end_ns / MS)).collect())
        .collect();
    assert_eq!(windows, [vec![(0, 15), (20, 45), (50, 65)], vec![(0, 15), (20, 32), (50, 65), (70, 82)]]);
    let tasks: usize = lock.lanes.iter().map(|lane| lane.told.len()).sum();
    assert_eq!((lock.lanes.len(), tasks), (4, 6));
    let log = lock.lanes.iter().flat_map(|lane| &lane.told).find(|task| lock.names[task.who.0 as usize] == "DIAG.log");
    let log = log.expect("it is told");
    // Without interference and switches: those of this machine come by themselves.
    assert_eq!(log.execution_ns, (6 * MS, 12 * MS));
    assert!(matches!(log.reads[..], [Input { port: Port::Queue { depth: 16, takes: None, .. }, .. }]));
    assert!(lock.names.iter().any(|name| name == "GateState > 2"), "{:?}", lock.names);
}

#[test]
fn faults_reach_whom_they_are_for() {
    let (sluc, diag) = (Target::Partition(0), Target::Partition(3));
    let faults = [
        asked(Kind::EndlessLoop, sluc),
        asked(Kind::Silence { for_ns: 5 }, sluc),
        asked(Kind::MemoryBurst { lines: 8, for_ns: 9 }, diag),
        asked(Kind::Babble { every_ns: 10, for_ns: 35 }, Target::Channel(2)),
    ];
    let lock = prepared(&faults).expect("all can happen");
    let does = |lane: usize| lock.lanes[lane].faults.iter().map(|fault| fault.does.clone()).collect::<Vec<_>>();
    // The most urgent task, and the one channel that the partition writes.
    assert_eq!(does(0), [Does::Loop { task: 0 }, Does::Silence { channels: vec![(1, 0)], for_ns: 5 }]);
    assert_eq!(does(1), [Does::Hog { for_ns: 9 }]);
    assert_eq!(does(2), [Does::Flood { channels: vec![(1, 0)], messages: 4, every_ns: 10 }]);
    assert_eq!(does(3), []);
    let marks = |wanted| lock.outside.marks.iter().filter(|(_, mark, _)| *mark == wanted).count();
    assert_eq!((marks(Mark::Begins), marks(Mark::Ends)), (4, 2));
}

#[test]
fn a_killed_partition_starts_again_as_the_monitor_says() {
    let lock = prepared(&[asked(Kind::Crash { start: None }, Target::Partition(3))]).expect("it can happen");
    let [crash] = lock.outside.crashes[..] else { panic!("{:?}", lock.outside) };
    let again = crash.again.expect("the table answers it");
    assert_eq!((again.detection_ns, again.action_ns, again.load_ns), (20 * MS, 10 * MS, 20 * MS));
}

#[test]
fn every_fault_that_cannot_be_real_is_refused_at_once() {
    let faults = [
        asked(Kind::CoreStop { for_ns: None }, Target::Core(0)),
        asked(Kind::QueueFlood { messages: 5 }, Target::Partition(0)),
        asked(Kind::RestartStorm { count: 101, every_ns: 1, start: None }, Target::Partition(0)),
    ];
    let refused = prepared(&faults).expect_err("none of them can happen");
    let parts = ["cannot be made to stand", "nothing that is rehearsed would do it", "100 times at most"];
    assert_eq!(refused.len(), parts.len());
    assert!(refused.iter().zip(parts).all(|(why, part)| why.contains(part)), "{refused:?}");
}
