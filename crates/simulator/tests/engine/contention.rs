//! Line requests that wait for what other masters ask for at the same time, worked out by hand.

use crate::build::{drawn, events, scenario, task, window, windowed};
use simulator::machine::Guest::{FixedPriority, Opaque};
use simulator::machine::{Bus, Core, Grant, Lane, Machine, Master, Policy, Task};
use simulator::scenario::Contention;
use simulator::scenario::Spread::Most;
use simulator::{Protections, Scenario, Seen};

const FRAME: u64 = 10_000;

/// A task alone in its partition: `alone` ns of execution with so many line requests, each of which may wait 1 ns for each of
/// `others` masters.
fn asking(partition: usize, alone: u64, requests: u64, others: u64) -> Task {
    let interference_ns = requests * others;
    Task { line_requests: requests, interference_ns, ..task(partition, 1, FRAME, alone + interference_ns, 0) }
}

/// A core for each partition, with one window all the time or as given; a line takes 1 ns.
fn board(tasks: Vec<Task>, windows: &[(u64, u64, u64)], rates: &[Option<u64>]) -> Machine {
    let cores = windows.len();
    let mut machine = windowed(FRAME, &vec![FixedPriority; cores], Vec::new(), tasks);
    machine.cores = (0..cores).map(|core| Core { name: core.to_string(), ..machine.cores[0].clone() }).collect();
    machine.schedules[0].cores =
        windows.iter().enumerate().map(|(core, &(start, end, head))| vec![window(core, start, end, head)]).collect();
    for (core, lane) in machine.lanes.iter_mut().enumerate() {
        *lane = Lane { cores: vec![core], grant: Grant::Windows, ..lane.clone() };
    }
    let of_core = |core| Master { core: Some(core), budget_lines: None, rate: None };
    let beside = rates.iter().map(|&rate| Master { core: None, budget_lines: None, rate });
    machine.bus = Some(Bus {
        bytes_per_s: 64_000_000_000,
        line_bytes: 64,
        masters: (0..cores).map(of_core).chain(beside).collect(),
        regulation_ns: None,
        working_set_lines: vec![0; cores],
    });
    machine
}

fn run(contention: Contention) -> Scenario {
    Scenario { contention, ..scenario(FRAME, drawn(Most)) }
}

fn responses(machine: &Machine, contention: Contention) -> Vec<u64> {
    events(machine, &run(contention)).1.tasks.iter().map(|task| task.most_ns).collect()
}

/// Parts of the memory's time are rounded down, so a job may be done 1 ns sooner than worked out.
fn assert_near(machine: &Machine, worked_out: &[u64]) {
    let seen = responses(machine, Contention::Concurrent);
    let near = |(seen, worked): (&u64, &u64)| *seen == *worked || *seen + 1 == *worked;
    assert!(seen.len() == worked_out.len() && seen.iter().zip(worked_out).all(near), "{seen:?}, not {worked_out:?}");
}

const ALWAYS: (u64, u64, u64) = (0, FRAME, 0);

#[test]
fn a_core_alone_waits_for_nobody_and_two_that_only_fetch_take_turns() {
    let both = |requests: u64| vec![asking(0, 1000, 1000, 1), asking(1, 1000, requests, 1)];
    let machine = board(both(1000), &[ALWAYS, ALWAYS], &[]);
    assert_eq!(responses(&machine, Contention::Full), [2000, 2000]);
    assert_eq!(responses(&machine, Contention::Concurrent), [2000, 2000]);
    // The other one asks for nothing: nobody waits, where full contention charges every request.
    let machine = board(both(0), &[ALWAYS, ALWAYS], &[]);
    assert_eq!(responses(&machine, Contention::Full), [2000, 1000]);
    assert_eq!(responses(&machine, Contention::Concurrent), [1000, 1000]);
}

#[test]
fn nobody_waits_longer_than_the_other_one_asks() {
    // 300 requests in 400 ns beside one that only fetches. While both run, the shorter one waits for each request: 700 ns; the
    // longer one waits for 300 lines: 1300.
    let machine = board(vec![asking(0, 1000, 1000, 1), asking(1, 400, 300, 1)], &[ALWAYS, ALWAYS], &[]);
    assert_near(&machine, &[1300, 700]);
    assert_eq!(responses(&machine, Contention::Full), [2000, 700]);
}

#[test]
fn only_what_runs_at_the_same_time_is_waited_for() {
    // The other one's window begins at 600: until then 600 of 1000 lines are fetched, then both take turns until the first is done
    // at 600 + 2 * 400.
    let machine = board(vec![asking(0, 1000, 1000, 1), asking(1, 1000, 1000, 1)], &[ALWAYS, (600, FRAME, 0)], &[]);
    assert_eq!(responses(&machine, Contention::Concurrent), [1400, 600 + 1000 + 400]);
}

#[test]
fn heads_and_opaque_guests_ask_line_after_line() {
    // A head of 200 from 100 on: 1000 lines meet 200 others.
    let tasks = || vec![asking(0, 1000, 1000, 1), asking(1, 50, 0, 1)];
    let machine = board(tasks(), &[ALWAYS, (100, 500, 200)], &[]);
    assert_eq!(responses(&machine, Contention::Concurrent)[0], 1100);
    let mut machine = board(tasks(), &[ALWAYS, (100, 500, 0)], &[]);
    assert_eq!(responses(&machine, Contention::Concurrent)[0], 1000);
    machine.partitions[1].guest = Opaque { budget_ns: None, span_ns: None };
    // From 150 to 500 it has no job and takes its window all the same.
    assert_eq!(responses(&machine, Contention::Concurrent)[0], 1175);
    // Of a head that may hold a call of the window before nobody knows how much of it asks.
    let mut machine = board(tasks(), &[ALWAYS, (100, 500, 200)], &[]);
    machine.cores[1].policy = Policy::Table { synchronised: true, slip_ns: 1 };
    assert_eq!(responses(&machine, Contention::Concurrent)[0], 1000);
}

#[test]
fn a_master_that_is_no_core_asks_for_its_rate_or_for_all() {
    let tasks = || vec![asking(0, 1000, 1000, 1)];
    // A fourth of 64 GB/s: the core fetches in three fourths of the time.
    let machine = board(tasks(), &[ALWAYS], &[Some(16_000_000_000)]);
    assert_eq!(responses(&machine, Contention::Concurrent), [1333]);
    let machine = board(tasks(), &[ALWAYS], &[None]);
    assert_eq!(responses(&machine, Contention::Concurrent), [2000]);
}

#[test]
fn a_budget_is_used_up_the_sooner_the_less_is_waited_for() {
    // 20 lines in each 100 ns; the job asks for 500 in 1000 ns. Alone it has them in 40 ns and stands for 60: 25 periods. Beside
    // one that never stops each request waits 1 ns: 20 lines take 60 ns.
    let mut machine = board(vec![asking(0, 1000, 500, 1)], &[ALWAYS], &[Some(0)]);
    let bus = machine.bus.as_mut().expect("a bus");
    (bus.regulation_ns, bus.masters[0].budget_lines) = (Some(100), Some(20));
    assert_eq!(responses(&machine, Contention::Concurrent), [24 * 100 + 40]);
    machine.bus.as_mut().expect("a bus").masters[1].rate = None;
    assert_near(&machine, &[24 * 100 + 60]);
    let off = Scenario {
        protections: Protections::without(simulator::Protection::Regulation),
        ..run(Contention::Concurrent)
    };
    assert_eq!(events(&machine, &off).1.tasks[0].most_ns, 1499, "1500, which a part rounded down makes 1 ns less");
}

#[test]
fn runs_after_one_another_do_not_mix_what_they_wait_for() {
    let machine = board(vec![asking(0, 1000, 1000, 1), asking(1, 400, 300, 1)], &[ALWAYS, ALWAYS], &[]);
    let mut engine = simulator::Engine::new(&machine);
    for contention in [Contention::Concurrent, Contention::Full, Contention::Concurrent] {
        let mut seen = Seen::nothing(&machine);
        engine.run(&run(contention), &mut seen, &mut simulator::Nobody);
        let again: Vec<_> = seen.tasks.iter().map(|task| task.most_ns).collect();
        assert_eq!(again, responses(&machine, contention));
    }
}
