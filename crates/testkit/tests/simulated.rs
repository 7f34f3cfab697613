//! The simulator against the oracle on small systems: over all first arrivals it reaches what the oracle finds where no job
//! has jitter or blocking, and in drawn runs of all the others it never passes it. The two share nothing but the meaning of
//! the words.

use simulator::machine::{
    Arrivals, Core, Grant, Guest, Lane, Machine, Partition, Policy, Recovery, Tables, Task, Window,
};
use simulator::scenario::{Begin, Drawn, GivenJob, Spread, Times};
use simulator::{Engine, Nobody, Protections, Scenario, Seen};
use testkit::enumerate::{aligned_systems, cooperative_systems, edf_systems, free_running_systems};
use testkit::oracle::Policy::{Cooperative, EarliestDeadline, FixedPriority};
use testkit::oracle::{Oracle, SmallSystem, SmallTask, Worst};
use testkit::random_systems;

/// One core with the windows of the system, one partition.
fn machine(system: &SmallSystem, guest: Guest, aligned: bool) -> Machine {
    let count = system.tasks.len();
    Machine {
        frame_ns: system.frame.into(),
        cores: vec![Core { name: "0".to_owned(), policy: Policy::Table { synchronised: true, slip_ns: 0 }, set: 0 }],
        schedules: vec![Tables {
            name: "main".to_owned(),
            cores: vec![windows(system)],
            active: vec![true; count],
            grants: vec![Grant::Windows],
        }],
        lanes: vec![Lane { partition: 0, number: 0, cores: vec![0], grant: Grant::Windows }],
        partitions: vec![Partition {
            name: "P".to_owned(),
            guest,
            lanes: 0..1,
            tasks: 0..count,
            recovery: Recovery::default(),
            at_change: None,
            built_by: None,
            untrusted: false,
        }],
        tasks: system.tasks.iter().enumerate().map(|(index, task)| small(index, task, aligned, system)).collect(),
        ..Machine::default()
    }
}

fn windows(system: &SmallSystem) -> Vec<Window> {
    let window = |&(start, end): &(u32, u32)| Window {
        start_ns: start.into(),
        end_ns: end.into(),
        lane: 0,
        head_ns: 0,
        continues: false,
    };
    system.windows.iter().map(window).collect()
}

fn small(index: usize, task: &SmallTask, aligned: bool, system: &SmallSystem) -> Task {
    let below = system.tasks.iter().any(|other| other.priority < task.priority);
    Task {
        label: index.to_string(),
        partition: 0,
        lane: None,
        period_ns: task.period.into(),
        deadline_ns: task.deadline.into(),
        arrivals: if aligned { Arrivals::Aligned { offset_ns: task.offset.into() } } else { Arrivals::Free },
        jitter_ns: task.jitter.into(),
        least_ns: task.bcet.into(),
        charged_ns: task.wcet.into(),
        interference_ns: 0,
        line_requests: 0,
        priority: task.priority,
        blocking_ns: if below { task.blocking.into() } else { 0 },
        logical: false,
        reads: Vec::new(),
        writes: Vec::new(),
    }
}

fn scenario(run: u64, span_ns: u64, times: Times) -> Scenario {
    Scenario {
        seed: 1,
        run,
        begin: Begin::Running,
        schedule: 0,
        span_ns,
        times,
        faults: Vec::new(),
        protections: Protections::ALL,
        changes: Vec::new(),
        contention: Default::default(),
    }
}

fn gcd(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { gcd(b, a % b) }
}

fn hyperperiod(system: &SmallSystem) -> u64 {
    let lcm = |a: u64, b: u64| a / gcd(a, b) * b;
    system.tasks.iter().fold(system.frame.into(), |all, task| lcm(all, task.period.into()))
}

/// Every job at its longest, the first of each task at its own instant of `firsts`.
fn jobs(system: &SmallSystem, firsts: &[u64], span: u64) -> Times {
    let of_task = |(task, (small, &first)): (usize, (&SmallTask, &u64))| {
        let arrivals = (first..span).step_by(small.period as usize);
        let execution_ns = small.wcet.into();
        arrivals.map(move |arrival_ns| GivenJob {
            arrival_ns,
            task,
            release_ns: arrival_ns,
            execution_ns,
            goes_on_ns: 0,
        })
    };
    let mut all: Vec<_> = system.tasks.iter().zip(firsts).enumerate().flat_map(of_task).collect();
    all.sort_unstable();
    Times::Given(all)
}

/// The worst response of each task over every combination of first arrivals within one lcm of its period and the frame.
fn over_all_phases(system: &SmallSystem, machine: &Machine) -> Vec<u64> {
    let hyperperiod = hyperperiod(system);
    let ranges: Vec<u64> = system.tasks.iter().map(|_| hyperperiod).collect();
    let (mut seen, mut engine) = (Seen::nothing(machine), Engine::new(machine));
    for number in 0..ranges.iter().product() {
        let mut left: u64 = number;
        let mut firsts = Vec::new();
        for range in &ranges {
            firsts.push(left % range);
            left /= range;
        }
        let span = 4 * hyperperiod + 64;
        engine.run(&scenario(0, span, jobs(system, &firsts, span)), &mut seen, &mut Nobody);
    }
    seen.tasks.iter().map(|task| task.most_ns).collect()
}

fn is_plain(system: &SmallSystem) -> bool {
    system.tasks.iter().all(|task| task.jitter == 0 && task.blocking == 0)
}

fn responses(worst: &[Worst]) -> Option<Vec<u64>> {
    let response = |worst: &Worst| match worst {
        Worst::Response(ticks) => Some(u64::from(*ticks)),
        Worst::Unbounded => None,
    };
    worst.iter().map(response).collect()
}

#[test]
fn over_all_phases_the_worst_of_free_running_tasks_is_the_oracles() {
    let mut oracle = Oracle::longest_only();
    let small = |system: &SmallSystem| is_plain(system) && hyperperiod(system) <= 12 && system.tasks.len() <= 2;
    let mut compared = 0;
    for system in free_running_systems().filter(small).step_by(23).chain(random_systems(11, 400).filter(small)) {
        let Some(worst) = responses(&oracle.free_running(&system)) else { continue };
        let machine = machine(&system, Guest::FixedPriority, false);
        assert_eq!(over_all_phases(&system, &machine), worst, "{system:?}");
        compared += 1;
    }
    assert!(compared >= 60, "{compared}");
}

#[test]
fn the_worst_of_aligned_tasks_is_the_oracles() {
    let mut oracle = Oracle::longest_only();
    let mut compared = 0;
    for system in aligned_systems().filter(is_plain).step_by(3).chain(random_systems(12, 3000).filter(is_plain)) {
        let Some(worst) = responses(&oracle.aligned(&system)) else { continue };
        let machine = machine(&system, Guest::FixedPriority, true);
        let latest = system.tasks.iter().map(|task| u64::from(task.offset)).max().unwrap_or(0);
        let most =
            Drawn { executions: Spread::Most, phases: Spread::Least, jitters: Spread::Least, blocking: Spread::Least };
        let mut seen = Seen::nothing(&machine);
        // From an empty start the backlog grows to its greatest within a few hyperperiods, at full demand too.
        let span = latest + 12 * hyperperiod(&system) + 64;
        Engine::new(&machine).run(&scenario(0, span, Times::Drawn(most)), &mut seen, &mut Nobody);
        assert_eq!(seen.tasks.iter().map(|task| task.most_ns).collect::<Vec<_>>(), worst, "{system:?}");
        compared += 1;
    }
    assert!(compared >= 1000, "{compared}");
}

/// Draws runs of every kind and holds them against the oracle; how many of the responses were reached.
fn never_passed(system: &SmallSystem, machine: &Machine, worst: &[Worst]) -> usize {
    let (mut seen, mut engine) = (Seen::nothing(machine), Engine::new(machine));
    let spreads = [Spread::Even, Spread::Ends, Spread::Most, Spread::Ends];
    for run in 0..24_u64 {
        let spread = spreads[run as usize % 4];
        let drawn = Drawn { executions: spread, phases: Spread::Even, jitters: spread, blocking: spread };
        let span = 6 * hyperperiod(system) + 64;
        engine.run(&scenario(run, span, Times::Drawn(drawn)), &mut seen, &mut Nobody);
    }
    let mut reached = 0;
    for (task, worst) in seen.tasks.iter().zip(worst) {
        if let Worst::Response(ticks) = worst {
            assert!(task.most_ns <= u64::from(*ticks), "{} passes {ticks}: {system:?}", task.most_ns);
            reached += usize::from(task.most_ns == u64::from(*ticks));
        }
    }
    reached
}

#[test]
fn no_drawn_run_passes_the_oracle_with_jitter_blocking_and_shorter_jobs() {
    let mut oracle = Oracle::new();
    let (mut reached, mut responses) = (0, 0);
    for system in free_running_systems().step_by(197).chain(random_systems(13, 200)) {
        let worst = oracle.free_running(&system);
        responses += worst.iter().filter(|worst| matches!(worst, Worst::Response(_))).count();
        reached += never_passed(&system, &machine(&system, Guest::FixedPriority, false), &worst);
    }
    for system in aligned_systems().step_by(197).chain(random_systems(14, 200)) {
        let worst = oracle.aligned(&system);
        responses += worst.iter().filter(|worst| matches!(worst, Worst::Response(_))).count();
        reached += never_passed(&system, &machine(&system, Guest::FixedPriority, true), &worst);
    }
    assert!(reached * 2 > responses && responses > 2000, "{reached} of {responses}");
}

#[test]
fn no_drawn_run_passes_the_oracle_under_other_policies() {
    for (policy, guest) in [(EarliestDeadline, Guest::Edf), (Cooperative, Guest::Cooperative)] {
        let systems: Box<dyn Iterator<Item = SmallSystem>> = match policy {
            EarliestDeadline => Box::new(edf_systems()),
            Cooperative => Box::new(cooperative_systems()),
            FixedPriority => continue,
        };
        let mut oracle = Oracle::under(policy);
        let mut reached = 0;
        for system in systems.step_by(211) {
            let worst = oracle.free_running(&system);
            reached += never_passed(&system, &machine(&system, guest, false), &worst);
        }
        assert!(reached > 100, "{policy:?}: {reached}");
    }
}
