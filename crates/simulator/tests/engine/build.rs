//! Small machines, and what a run of one tells.

use simulator::machine::{
    Arrivals, Core, Grant, Guest, Lane, Machine, Partition, Policy, Recovery, Tables, Task, Window,
};
use simulator::scenario::{Begin, Drawn, Spread, Times};
use simulator::{Engine, Event, Protections, Scenario, Seen, What};

/// A task that arrives at its offset, with nothing else to it.
pub fn task(partition: usize, priority: u32, period_ns: u64, execution: u64, offset_ns: u64) -> Task {
    Task {
        label: format!("{partition}.{priority}"),
        partition,
        lane: None,
        period_ns,
        deadline_ns: period_ns,
        arrivals: Arrivals::Aligned { offset_ns },
        jitter_ns: 0,
        least_ns: execution,
        charged_ns: execution,
        interference_ns: 0,
        line_requests: 0,
        priority,
        blocking_ns: 0,
        logical: false,
        reads: Vec::new(),
        writes: Vec::new(),
    }
}

/// `[start, end)` of a lane, whose head takes the first `head` of it.
pub fn window(lane: usize, start_ns: u64, end_ns: u64, head_ns: u64) -> Window {
    Window { start_ns, end_ns, lane, head_ns, continues: false }
}

fn partition(number: usize, guest: Guest, tasks: &[Task]) -> Partition {
    let first = tasks.iter().position(|task| task.partition == number).unwrap_or(0);
    let count = tasks.iter().filter(|task| task.partition == number).count();
    Partition {
        name: format!("P{number}"),
        guest,
        lanes: number..number + 1,
        tasks: first..first + count,
        recovery: Recovery::default(),
        at_change: None,
        built_by: None,
        untrusted: false,
    }
}

/// Partitions with a lane each, all on one core with that policy.
pub fn shared(policy: Policy, guests: &[Guest], grants: &[Grant], tasks: Vec<Task>) -> Machine {
    let lane = |(number, &grant): (usize, &Grant)| Lane { partition: number, number: 0, cores: vec![0], grant };
    Machine {
        frame_ns: 100,
        cores: vec![Core { name: "0".to_owned(), policy, set: 0 }],
        schedules: vec![Tables {
            name: "S".to_owned(),
            cores: vec![Vec::new()],
            active: vec![true; tasks.len()],
            grants: grants.to_vec(),
        }],
        lanes: grants.iter().enumerate().map(lane).collect(),
        partitions: guests.iter().enumerate().map(|(number, &guest)| partition(number, guest, &tasks)).collect(),
        tasks,
        ..Machine::default()
    }
}

/// One core with a window table in a frame of that length.
pub fn windowed(frame_ns: u64, guests: &[Guest], windows: Vec<Window>, tasks: Vec<Task>) -> Machine {
    let policy = Policy::Table { synchronised: true, slip_ns: 0 };
    let mut machine = shared(policy, guests, &vec![Grant::Windows; guests.len()], tasks);
    machine.frame_ns = frame_ns;
    machine.schedules[0].cores[0] = windows;
    machine
}

/// One partition that has the core to itself.
pub fn alone(guest: Guest, tasks: Vec<Task>) -> Machine {
    shared(Policy::Dedicated, &[guest], &[Grant::Dedicated], tasks)
}

/// Times drawn one way for everything.
pub fn drawn(spread: Spread) -> Times {
    Times::Drawn(Drawn { executions: spread, phases: spread, jitters: spread, blocking: spread })
}

pub fn scenario(span_ns: u64, times: Times) -> Scenario {
    Scenario {
        seed: 1,
        run: 0,
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

/// What happens in a run.
pub fn events(machine: &Machine, scenario: &Scenario) -> (Vec<Event>, Seen) {
    let (mut seen, mut events) = (Seen::nothing(machine), Vec::new());
    Engine::new(machine).run(scenario, &mut seen, &mut events);
    (events, seen)
}

/// Who executes from when on: task, or `None` where nobody does.
pub fn runs(machine: &Machine, scenario: &Scenario) -> Vec<(u64, Option<usize>)> {
    let who = |event: &Event| match event.what {
        What::Runs { task, .. } => Some((event.at_ns, Some(task))),
        What::Idles { .. } => Some((event.at_ns, None)),
        _ => None,
    };
    events(machine, scenario).0.iter().filter_map(who).collect()
}

/// When jobs complete: instant, task, response.
pub fn completions(machine: &Machine, scenario: &Scenario) -> Vec<(u64, usize, u64)> {
    let done = |event: &Event| match event.what {
        What::Completes { task, response_ns, .. } => Some((event.at_ns, task, response_ns)),
        _ => None,
    };
    events(machine, scenario).0.iter().filter_map(done).collect()
}
