//! Line requests that wait for what other masters really ask for: never above the bounds on waiting, and how close.
//!
//! Each board is run in many phases, its jobs as long as they may be, and every response is held against the request-driven
//! bound and against the one that counts what others can ask for. On boards whose windows are the whole frame nothing but the
//! others' jobs limits that, on boards whose other partitions are not trusted nothing but their windows.

use crate::vessel;
use baseline::simulated::protections;
use claim::{Kind, Verdict};
use model::System;
use plan::Plan;
use simulator::scenario::{Contention, Drawn, Spread, Times};
use simulator::{Engine, Machine, Nobody, Protections, Scenario, Seen};
use std::collections::BTreeMap;
use std::fmt::Write;

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
fn largest(machine: &Machine, protections: Protections, schedule: usize, (runs, frames): (u64, u64)) -> Seen {
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
            schedule,
            protections,
            ..Scenario::plain(machine)
        };
        engine.run(&scenario, &mut seen, &mut Nobody);
    }
    seen
}

/// Holds every response under every module schedule against both bounds; a bound that is passed fails the test.
fn held((system, plan): &(System, Plan), much: (u64, u64), board: &str) -> Closest {
    let verdicts = baseline::verdicts(system, plan);
    let machine = simulator::compile::machine(system, plan);
    assert_eq!(machine.left_out, [], "{board}: everything runs");
    let protections = protections(system, plan);
    let responses: BTreeMap<&str, &Verdict> = verdicts
        .iter()
        .filter(|verdict| verdict.kind == Kind::Response)
        .map(|verdict| (verdict.id.as_str(), verdict))
        .collect();
    let mut closest = Closest::default();
    for (schedule, table) in machine.schedules.iter().enumerate() {
        let of = if machine.schedules.len() > 1 { format!("@{}", table.name) } else { String::new() };
        let seen = largest(&machine, protections, schedule, much);
        for (index, (task, seen)) in machine.tasks.iter().zip(&seen.tasks).enumerate() {
            if seen.jobs == 0 {
                assert!(!machine.is_active(schedule, index), "{board}: {} has no job{of}", task.label);
                continue;
            }
            let verdict = responses[format!("response/{}{of}", task.label).as_str()];
            closest = closest.and(Closest::of(verdict, seen.most_ns, board));
        }
    }
    closest
}

#[test]
fn no_response_of_the_examples_is_above_a_bound() {
    let vessel = held(&vessel::vessel(), (24, 40), "the vessel");
    let lock = held(&canal_lock(|text| text.to_owned()), (200, 40), "the canal lock");
    let nacelle = held(&nacelle(), (100, 40), "the nacelle");
    assert_eq!((vessel.held, lock.held, nacelle.held), (39, 6, 59));
    assert_eq!((vessel.by_requests, vessel.gained), (973, 0), "all of the vessel's cores ask for much");
    assert_eq!((lock.by_requests, lock.by_others, lock.gained), (999, 992, 1));
    assert_eq!((nacelle.by_requests, nacelle.gained), (999, 0), "an opaque guest may ask for memory at any time");
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

/// What limits how much others can ask for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum By {
    Jobs,
    Windows,
    Both,
    /// The rates and bursts of devices.
    Devices,
}

/// Numbers that look drawn: a linear congruential generator, common practice.
struct Chance(u64);

impl Chance {
    fn within(&mut self, from: u64, to: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        from + (self.0 >> 33) % (to - from + 1)
    }
}

const FRAME_US: u64 = 10_000;

/// A board of that many cores, each with up to two partitions of up to two tasks. A line takes 50 ns.
fn drawn_board(chance: &mut Chance, cores: u64, by: By) -> (System, Plan) {
    let head = if matches!(by, By::Jobs | By::Devices) { 0 } else { chance.within(0, 30) };
    let mut system = format!(
        "[system]\nname = \"S\"\nframe = \"{FRAME_US} us\"\ndeadlines_hold_in = \"any phase\"\n[board]\nname = \"B\"\n\
         [board.interconnect]\nline = \"64 B\"\nguaranteed = \"1280 MB/s\"\narbitration = \"round-robin\"\n\
         waiting = \"window-overlap\"\n\
         [platform]\nswitch = \"{head} us\"\nrefill = \"{head} us\"\ncontext_switch = \"2 us\"\nrelease_jitter = \"3 us\"\n\
         nonpreemptable = \"{} us\"\nsynchronised = true\n",
        chance.within(0, 20)
    );
    if by == By::Devices {
        let (rate, burst) = (chance.within(10, 300), chance.within(1, 256));
        // Writing to a text cannot fail.
        let _ = write!(
            system,
            "[[board.interconnect.master]]\nname = \"DMA\"\n[[board.device]]\nname = \"D\"\ndma_stream = \"1\"\n\
             dma_rate = \"{rate} MB/s\"\ndma_burst = \"{burst} KiB\"\n"
        );
    }
    let mut plan = String::new();
    for core in 0..cores {
        // Writing to a text cannot fail.
        let _ = write!(
            system,
            "[[board.core]]\nname = \"{core}\"\n[[board.interconnect.master]]\nname = \"core{core}\"\ncore = \"{core}\"\n"
        );
        let middle = chance.within(3_000, 7_000);
        let windows = match by {
            By::Jobs | By::Devices => vec![(0, FRAME_US)],
            By::Windows | By::Both => vec![(0, middle), (middle, FRAME_US - chance.within(0, 2_000))],
        };
        for (number, (start, end)) in windows.into_iter().enumerate() {
            let trusted = by != By::Windows || core == 0;
            system += &partition(chance, (core, number), (end - start, trusted));
            let _ = write!(
                plan,
                "[[window]]\ncore = \"{core}\"\npartition = \"P{core}{number}\"\nstart = \"{start} us\"\nlength = \"{} us\"\n",
                end - start
            );
        }
    }
    parsed(&system, &plan)
}

/// A partition whose tasks use about half of its window, and ask for memory in up to all of that.
fn partition(chance: &mut Chance, (core, number): (u64, usize), (window, trusted): (u64, bool)) -> String {
    let untrusted = if trusted { "" } else { "untrusted = true\n" };
    let mut text = format!(
        "[[partition]]\nname = \"P{core}{number}\"\nguest = \"fixed priority\"\ncores = [\"{core}\"]\n{untrusted}"
    );
    for task in 0..chance.within(1, 2) {
        let frames = chance.within(1, 3);
        let wcet = chance.within(window / 20, window / 8) * frames;
        let requests = wcet * 20 * chance.within(0, 100) / 100;
        // Writing to a text cannot fail.
        let _ = write!(
            text,
            "[[partition.task]]\nname = \"t{task}\"\nperiod = \"{} us\"\ndeadline = \"{} us\"\npriority = {}\n\
             wcet = \"{wcet} us\"\nbcet = \"{} us\"\nline_requests = {requests}\n",
            frames * FRAME_US,
            frames * FRAME_US * 4,
            9 - task,
            wcet / 2,
        );
    }
    text
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
