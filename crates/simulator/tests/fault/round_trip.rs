//! A scenario that is written is read as the same scenario, and everything wrong in a file is found in one run.

use crate::common;
use proptest::prelude::*;
use simulator::fault::declared::KINDS;
use simulator::fault::{Fault, Target, read_scenario, write_scenario};
use simulator::scenario::{Begin, Contention, Drawn, GivenJob, Spread, Times};
use simulator::{Protection, Protections, Scenario};

fn spread() -> impl Strategy<Value = Spread> {
    prop::sample::select(vec![Spread::Even, Spread::Least, Spread::Most, Spread::Ends])
}

const SPAN: u64 = 1_000_000_007;

fn fault() -> impl Strategy<Value = Fault> {
    (0..KINDS.len(), 0..SPAN, prop::array::uniform3(1..=quantity::LIMIT), any::<bool>()).prop_map(
        |(kind, at_ns, numbers, given)| {
            let declared = &KINDS[kind];
            let mut values = declared.defaults();
            for (at, parameter) in declared.parameters.iter().enumerate().filter(|_| given) {
                let (least, most) = parameter.range();
                values[at] = Some(numbers[at].clamp(least, most));
            }
            let target = match declared.word {
                "overrun" => Target::Task(1),
                "babble" => Target::Channel(0),
                "queue-flood" => Target::Channel(1),
                "dma-burst" | "interrupt-storm" => Target::Device(1),
                "core-stop" | "late-window" => Target::Core(0),
                _ => Target::Partition(0),
            };
            Fault { kind: declared.make(values), target, at_ns }
        },
    )
}

fn times() -> impl Strategy<Value = Times> {
    let drawn = (spread(), spread(), spread(), spread()).prop_map(|(executions, phases, jitters, blocking)| {
        Times::Drawn(Drawn { executions, phases, jitters, blocking })
    });
    let job = (0..SPAN, 0usize..2, 0..99u64, 1..=SPAN, 0..9u64).prop_map(
        |(arrival_ns, task, late, execution_ns, goes_on_ns)| GivenJob {
            arrival_ns,
            task,
            release_ns: arrival_ns + late,
            execution_ns,
            goes_on_ns,
        },
    );
    prop_oneof![drawn, prop::collection::vec(job, 0..4).prop_map(Times::Given)]
}

fn scenario() -> impl Strategy<Value = Scenario> {
    let off = prop::sample::subsequence(Protection::ALL.to_vec(), 0..=6);
    let begin = prop::sample::select(vec![Begin::Running, Begin::FirstFrame]);
    let faults = prop::collection::vec(fault(), 0..4);
    let changes = prop::collection::vec((0..SPAN, Just(0usize)), 0..3);
    let contention = prop::sample::select(vec![Contention::Full, Contention::Concurrent]);
    (any::<u64>(), any::<u64>(), begin, times(), off, faults, changes, contention).prop_map(
        |(seed, run, begin, times, off, mut faults, mut changes, contention)| {
            faults.sort_by_key(|fault| fault.at_ns);
            changes.sort_by_key(|change| change.0);
            let protections = off.into_iter().fold(Protections::ALL, Protections::and_without);
            Scenario { seed, run, begin, schedule: 0, span_ns: SPAN, times, faults, protections, changes, contention }
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]
    #[test]
    fn written_and_read_again(scenario in scenario()) {
        let (machine, mut sources) = common::example();
        let text = write_scenario(&scenario, &machine);
        let (read, found) = read_scenario("scenario.toml", text.as_bytes(), &machine, &mut sources);
        prop_assert_eq!(read.as_ref(), Some(&scenario), "{}{}", text, common::text(&found, &sources));
    }

    #[test]
    fn no_text_makes_the_reader_panic(text in "\\PC{0,60}") {
        let (machine, mut sources) = common::example();
        let _ = read_scenario("scenario.toml", text.as_bytes(), &machine, &mut sources);
        let _ = simulator::fault::read_fault("--fault", &text, &machine, SPAN, &mut sources);
    }
}

#[test]
fn every_mistake_is_found_in_one_run() {
    let text = r#"off = ["window-enforcment", "regulation"]

[run]
span = "1 s"
seed = "many"
begin = "boot"
schedule = "Night"
times = "drawn"
execution = "mostly"

[[fault]]
kind = "overun"
target = "NAV"

[[fault]]
kind = "overrun"
target = "NAV.fuze"
at = "1 s"
parameters = { extra = "0 ms", jobs = "3", lines = 2, colour = 1 }

[[fault]]
kind = "crash"
parameters = { start = "hot" }

[[fault]]
kind = "babble"
target = "LOG"
parameters = { every = "999 ns" }

[[change]]
at = "2 s"
to = "Night"

[[job]]
task = "NAV.fuse"
arrival = "2 ms"
release = "1 ms"
execution = "0 ms"
"#;
    let (machine, mut sources) = common::example();
    let (read, found) = read_scenario("scenario.toml", text.as_bytes(), &machine, &mut sources);
    let found: Vec<_> = found.iter().map(|d| (d.code.id, sources.position(d.primary.span).line)).collect();
    let expected = [
        ("E1007", 1),
        ("E0105", 5),
        ("E0106", 6),
        ("E0109", 7),
        ("E0111", 8),
        ("E0106", 9),
        ("E1001", 12),
        ("E1002", 17),
        ("E1006", 18),
        ("E0112", 19),
        ("E0103", 19),
        ("E1004", 19),
        ("E0101", 19),
        ("E0102", 21),
        ("E0106", 23),
        ("E1005", 28),
        ("E1006", 31),
        ("E0109", 32),
        ("E0112", 38),
    ];
    assert_eq!(found, expected);
    assert!(read.is_none());
}
