//! Random machines as JSON, with what the simulator sees of each task: for a simulator from outside to do the same.
//!
//! `tests/outside/simpy.sh` runs it.

#![allow(clippy::disallowed_macros, reason = "its answer goes to standard output")]

use serde_json::{Value, json};
use simulator::draw::{Draw, Purpose};
use simulator::machine::{
    Arrivals, Core, Grant, Guest, Lane, Machine, Partition, Policy, Recovery, Tables, Task, Window,
};
use simulator::scenario::{Begin, Drawn, Spread, Times};
use simulator::{Engine, Nobody, Protections, Scenario, Seen};

const SYSTEMS: u64 = 24;
const FRAME_NS: u64 = 20_000_000;
const FRAMES: u64 = 50;
const GUESTS: [(Guest, &str); 3] =
    [(Guest::FixedPriority, "fixed priority"), (Guest::Edf, "EDF"), (Guest::Cooperative, "cooperative")];

fn main() {
    let systems: Vec<Value> = (0..SYSTEMS).map(system).collect();
    println!("{}", json!({ "systems": systems }));
}

/// The numbers that a system is made of.
struct Numbers {
    draw: Draw,
    next: u64,
}

impl Numbers {
    fn within(&mut self, least: u64, most: u64) -> u64 {
        self.next += 1;
        self.draw.between(Purpose::FaultParameter, 0, self.next, least, most)
    }
}

fn system(number: u64) -> Value {
    let machine = machine(&mut Numbers { draw: Draw::of(77, number), next: 0 });
    let spread = Spread::Even;
    let scenario = Scenario {
        seed: 5,
        run: number,
        begin: Begin::Running,
        schedule: 0,
        span_ns: FRAMES * FRAME_NS,
        times: Times::Drawn(Drawn { executions: spread, phases: spread, jitters: spread, blocking: spread }),
        faults: Vec::new(),
        protections: Protections::ALL,
        changes: Vec::new(),
        contention: Default::default(),
    };
    let mut seen = Seen::nothing(&machine);
    Engine::new(&machine).run(&scenario, &mut seen, &mut Nobody);
    let tasks = machine.tasks.iter().zip(&seen.tasks).map(|(task, seen)| {
        let offset = match task.arrivals {
            Arrivals::Aligned { offset_ns } => Some(offset_ns),
            Arrivals::Free | Arrivals::Sporadic => None,
        };
        json!({
            "label": task.label, "partition": task.partition, "period": task.period_ns, "deadline": task.deadline_ns,
            "offset": offset, "jitter": task.jitter_ns, "least": task.least_ns, "most": task.charged_ns,
            "priority": task.priority,
            "seen": { "jobs": seen.jobs, "sum": seen.sum_ns, "most": seen.most_ns, "missed": seen.missed },
        })
    });
    let window = |window: &Window| json!([window.start_ns, window.end_ns, window.lane, window.head_ns]);
    let guest =
        |partition: &Partition| GUESTS.iter().find(|(guest, _)| *guest == partition.guest).map(|(_, name)| *name);
    json!({
        "seed": scenario.seed, "run": scenario.run, "span": scenario.span_ns, "frame": machine.frame_ns,
        "cores": machine.schedules[0].cores.iter().map(|all| all.iter().map(window).collect()).collect::<Vec<Vec<_>>>(),
        "partitions": machine.partitions.iter().map(guest).collect::<Vec<_>>(),
        "tasks": tasks.collect::<Vec<_>>(),
    })
}

/// Two cores with two partitions each, one lane a partition.
fn machine(numbers: &mut Numbers) -> Machine {
    let mut tasks = Vec::new();
    let partitions = (0..4).map(|number| partition(numbers, number, &mut tasks)).collect();
    let core = |number: usize| Core {
        name: number.to_string(),
        policy: Policy::Table { synchronised: true, slip_ns: 0 },
        set: 0,
    };
    let lane = |partition| Lane { partition, number: 0, cores: vec![partition / 2], grant: Grant::Windows };
    Machine {
        frame_ns: FRAME_NS,
        cores: (0..2).map(core).collect(),
        schedules: vec![Tables {
            name: "main".to_owned(),
            cores: (0..2).map(|core| windows(numbers, core)).collect(),
            active: vec![true; tasks.len()],
            grants: vec![Grant::Windows; 4],
        }],
        lanes: (0..4).map(lane).collect(),
        partitions,
        tasks,
        ..Machine::default()
    }
}

fn windows(numbers: &mut Numbers, core: usize) -> Vec<Window> {
    let slots = 2 * numbers.within(1, 4);
    let slot_ns = FRAME_NS / slots;
    let window = |slot: u64| {
        let start_ns = slot * slot_ns + numbers.within(0, slot_ns / 8);
        let end_ns = (slot + 1) * slot_ns - numbers.within(1, slot_ns / 8);
        Window { start_ns, end_ns, lane: 2 * core + (slot % 2) as usize, head_ns: 40_000, continues: false }
    };
    (0..slots).map(window).collect()
}

fn partition(numbers: &mut Numbers, number: usize, tasks: &mut Vec<Task>) -> Partition {
    let first = tasks.len();
    let count = numbers.within(2, 5);
    for index in 0..count {
        let task = task(numbers, number, index, count);
        tasks.push(task);
    }
    Partition {
        name: number.to_string(),
        guest: GUESTS[numbers.within(0, 2) as usize].0,
        lanes: number..number + 1,
        tasks: first..tasks.len(),
        recovery: Recovery::default(),
        at_change: None,
        built_by: None,
        untrusted: false,
    }
}

fn task(numbers: &mut Numbers, partition: usize, index: u64, count: u64) -> Task {
    let period_ns = [5_000_000, 10_000_000, 20_000_000, 40_000_000, 13_000_000][numbers.within(0, 4) as usize];
    let charged_ns = numbers.within(period_ns / 20, period_ns * 4 / 10 / count);
    Task {
        label: format!("{partition}.{index}"),
        partition,
        lane: None,
        period_ns,
        deadline_ns: numbers.within(period_ns / 2, period_ns),
        arrivals: match numbers.within(0, 1) {
            0 => Arrivals::Free,
            _ => Arrivals::Aligned { offset_ns: numbers.within(0, 4) * 1_000_000 },
        },
        jitter_ns: numbers.within(0, 1) * numbers.within(0, period_ns / 4),
        least_ns: charged_ns - numbers.within(0, charged_ns / 2),
        charged_ns,
        interference_ns: 0,
        line_requests: 0,
        priority: numbers.within(1, 4) as u32,
        blocking_ns: 0,
        logical: false,
        reads: Vec::new(),
        writes: Vec::new(),
    }
}
