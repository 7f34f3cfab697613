//! Faults on one line.

use crate::common;
use simulator::event::Start;
use simulator::fault::{Fault, Kind, Target, fault_text, read_fault};

const SPAN_NS: u64 = 1_000_000_000;

/// The fault, or the codes with the columns they are found at.
fn read(text: &str) -> Result<Fault, Vec<(&'static str, u32)>> {
    let (machine, mut sources) = common::example();
    read_fault("--fault", text, &machine, SPAN_NS, &mut sources)
        .map_err(|found| found.iter().map(|d| (d.code.id, sources.position(d.primary.span).column)).collect())
}

#[test]
fn kinds_targets_instants_and_parameters_are_read() {
    let overrun = Kind::Overrun { extra_ns: 250_000, jobs: 1 };
    let fault = Fault { kind: overrun, target: Target::Task(0), at_ns: 2_500_000 };
    assert_eq!(read("overrun:NAV.fuse@2.5ms,extra=250us"), Ok(fault));
    assert_eq!(read("overrun:NAV.fuse @ 2.5 ms, extra = 250 us"), Ok(fault));
    let crash = Fault { kind: Kind::Crash { start: Some(Start::Cold) }, target: Target::Partition(1), at_ns: 0 };
    assert_eq!(read("crash:LOG,start=cold"), Ok(crash));
    let stop = Fault { kind: Kind::CoreStop { for_ns: None }, target: Target::Core(0), at_ns: 7 };
    assert_eq!(read("core-stop:0@7ns"), Ok(stop));
}

#[test]
fn what_is_wrong_is_said_where_it_stands() {
    let wrong = |text| read(text).expect_err("this is no fault");
    assert_eq!(wrong("crash"), [("E1008", 1)]);
    assert_eq!(wrong("crash:"), [("E1002", 7)]);
    assert_eq!(wrong(""), [("E1008", 1)]);
    assert_eq!(wrong("crahs:NAV"), [("E1001", 1)]);
    assert_eq!(wrong("crash:NAW"), [("E1002", 7)]);
    assert_eq!(wrong("crash:CAN0"), [("E1003", 7)]);
    assert_eq!(wrong("silence:NAV"), [("E1009", 9)]);
    assert_eq!(wrong("queue-flood:port/NAV"), [("E1003", 13)]);
    assert_eq!(wrong("dma-burst:CAN0"), [("E1003", 11)]);
    assert_eq!(wrong("interrupt-storm:CAN0"), [("E1003", 17)]);
    assert_eq!(wrong("crash:NAV@1s"), [("E1006", 11)]);
    assert_eq!(wrong("crash:NAV@1"), [("E1005", 11)]);
    assert_eq!(wrong("crash:NAV@"), [("E1005", 11)]);
    assert_eq!(wrong("crash:NAV,start=hot"), [("E1005", 17)]);
    assert_eq!(wrong("crash:NAV,start"), [("E1008", 11)]);
    assert_eq!(wrong("overrun:NAV.fuse,jobs=0,extra=5"), [("E1005", 23), ("E1005", 31)]);
    assert_eq!(wrong("babble:LOG,every=999ns"), [("E1005", 18)]);
    assert_eq!(wrong("queue-flood:Events,messages=1000001"), [("E1005", 29)]);
    assert_eq!(wrong("overrun:NAV.fuse,jobs=1,jobs=2"), [("E1008", 25)]);
    assert_eq!(wrong("overrun:NAV.fuse,lines=2,colour=3"), [("E1004", 18), ("E1004", 26)]);
}

#[test]
fn messages_name_what_was_meant() {
    let (machine, mut sources) = common::example();
    let mut help = |text: &str| {
        let found = read_fault("--fault", text, &machine, SPAN_NS, &mut sources).expect_err("this is no fault");
        found[0].help.clone().unwrap_or_default()
    };
    assert_eq!(help("endles-loop:NAV"), "did you mean `endless-loop`?");
    assert_eq!(help("overrun:NAV.fuze"), "did you mean `NAV.fuse`?");
    assert_eq!(help("overrun:NAV,exta=1ms"), "did you mean `extra`?");
    assert_eq!(help("silence:NAV"), "write `partition/NAV` or `port/NAV`");
}

#[test]
fn a_fault_is_written_as_it_is_read() {
    let (machine, _) = common::example();
    for text in [
        "overrun:NAV.fuse@2.5ms,extra=250us,jobs=3",
        "restart-storm:LOG@0ns,count=5,start=warm",
        "silence:port/NAV@1us",
        "queue-flood:Events@100ms,messages=7",
        "core-stop:0@100ms,for=3ms",
    ] {
        let fault = read(text).expect("a fault");
        assert_eq!(fault_text(&fault, &machine), text);
    }
}
