//! Published examples that have a schedule on one core, in the simulator from the critical instant.
//!
//! Each published field that a run can show is compared with what the run shows, apart from every analysis.

use crate::case::{self, Case};
use crate::tasks::{Order, Row};
use serde::Deserialize;
use serde_json::{Map, Value, json};
use simulator::machine::{Arrivals, Core, Grant, Guest, Lane, Machine, Partition, Policy, Recovery, Tables, Task};
use simulator::scenario::{Begin, Drawn, Spread, Times};
use simulator::{Engine, Event, Protections, Scenario, Seen, What};

/// The cases that are simulated, and how many of their published fields a run shows.
const SIMULATED: [(&str, usize); 18] = [
    ("edf-01-buttazzo-pdc", 1),
    ("edf-04-notes-c", 1),
    ("edf-06-ll-example", 2),
    ("fp-02-bw-set-a", 2),
    ("fp-03-bw-set-b", 1),
    ("fp-04-bw-set-c", 2),
    ("fp-07-bw-offset", 1),
    ("fp-08-bw-no-offset", 1),
    ("fp-09-buttazzo-dm-rta", 2),
    ("fp-11-lsd-points", 1),
    ("fp-13-liu-tda", 2),
    ("fp-17-notes-rta-a", 2),
    ("fp-19-notes-rta-c", 2),
    ("fp-22-exam-dm-miss", 2),
    ("fp-23-ttk4145", 2),
    ("fp-31-rm-timeline", 1),
    ("fp-33-gap-one-core", 1),
    ("fp-40-lehoczky-busy-window", 2),
];

#[derive(Deserialize)]
struct Tasks {
    tasks: Vec<Row>,
    priority: Option<Order>,
}

/// What one run of the tasks shows.
struct Run {
    names: Vec<String>,
    events: Vec<Event>,
    seen: Seen,
}

fn task(row: &Row, priority: u32) -> Task {
    Task {
        label: row.name.clone(),
        partition: 0,
        lane: None,
        period_ns: row.period,
        deadline_ns: row.deadline(),
        arrivals: Arrivals::Aligned { offset_ns: row.offset },
        jitter_ns: 0,
        least_ns: row.charged,
        charged_ns: row.charged,
        interference_ns: 0,
        line_requests: 0,
        priority,
        blocking_ns: 0,
        logical: false,
        reads: Vec::new(),
        writes: Vec::new(),
    }
}

fn machine(rows: &[Row], guest: Guest, order: Order) -> Machine {
    let ranks = order.most_urgent_first(rows);
    let priority = |row: usize| (rows.len() - ranks.iter().take_while(|&&other| other != row).count()) as u32;
    Machine {
        frame_ns: 1,
        cores: vec![Core { name: "0".to_owned(), policy: Policy::Dedicated, set: 0 }],
        schedules: vec![Tables {
            name: "main".to_owned(),
            cores: vec![Vec::new()],
            active: vec![true; rows.len()],
            grants: vec![Grant::Dedicated],
        }],
        lanes: vec![Lane { partition: 0, number: 0, cores: vec![0], grant: Grant::Dedicated }],
        partitions: vec![Partition {
            name: "P".to_owned(),
            guest,
            lanes: 0..1,
            tasks: 0..rows.len(),
            recovery: Recovery::default(),
            at_change: None,
            built_by: None,
            untrusted: false,
        }],
        tasks: rows.iter().enumerate().map(|(index, row)| task(row, priority(index))).collect(),
        ..Machine::default()
    }
}

fn lcm(a: u64, b: u64) -> u64 {
    let (mut x, mut y) = (a, b);
    while y != 0 {
        (x, y) = (y, x % y);
    }
    a / x * b
}

/// Two hyperperiods from the instant at which all without an offset arrive.
fn run(rows: &[Row], guest: Guest, order: Order) -> Run {
    let machine = machine(rows, guest, order);
    let most = Spread::Most;
    let span =
        2 * rows.iter().map(|row| row.period).fold(1, lcm) + rows.iter().map(|row| row.offset).max().unwrap_or(0);
    let scenario = Scenario {
        seed: 0,
        run: 0,
        begin: Begin::Running,
        schedule: 0,
        span_ns: span + 1,
        times: Times::Drawn(Drawn { executions: most, phases: Spread::Least, jitters: most, blocking: most }),
        faults: Vec::new(),
        protections: Protections::ALL,
        changes: Vec::new(),
        contention: Default::default(),
    };
    let (mut seen, mut events) = (Seen::nothing(&machine), Vec::new());
    Engine::new(&machine).run(&scenario, &mut seen, &mut events);
    Run { names: rows.iter().map(|row| row.name.clone()).collect(), events, seen }
}

impl Run {
    /// The completions of a task: instant, job, response.
    fn completions(&self, name: &str) -> Vec<(u64, u64, u64)> {
        let done = |event: &Event| match event.what {
            What::Completes { task, job, response_ns } if self.names[task] == name => {
                Some((event.at_ns, job, response_ns))
            }
            _ => None,
        };
        self.events.iter().filter_map(done).collect()
    }

    /// A published table of tasks, each with what the run shows of it; `of` also sees the published value.
    fn table(&self, expected: &Value, of: impl Fn(&str, &Value) -> Value) -> Value {
        let published = expected.as_object().expect("a table of tasks");
        Value::Object(published.iter().map(|(name, value)| (name.clone(), of(name, value))).collect())
    }

    fn most(&self, name: &str) -> Value {
        json!(self.completions(name).iter().map(|&(_, _, response)| response).max())
    }

    /// The first job with the longest response.
    fn worst_job(&self, name: &str) -> Value {
        let worst = self.completions(name).into_iter().max_by_key(|&(_, job, response)| (response, u64::MAX - job));
        json!(worst.map(|(_, job, _)| job))
    }

    fn first_completions(&self, name: &str, published: &Value) -> Value {
        let count = published.as_array().map_or(0, Vec::len);
        json!(self.completions(name).iter().take(count).map(|&(at, _, _)| at).collect::<Vec<_>>())
    }

    fn misses(&self) -> Vec<&str> {
        let late = self.names.iter().zip(&self.seen.tasks).filter(|(_, seen)| seen.missed > 0);
        late.map(|(name, _)| name.as_str()).collect()
    }

    fn first_miss(&self) -> Value {
        let miss = self.events.iter().find_map(|event| match event.what {
            What::Misses { task, .. } => Some(json!({ "task": self.names[task], "time": event.at_ns })),
            _ => None,
        });
        miss.unwrap_or(Value::Null)
    }

    /// What the run shows of a published field; none where it shows nothing of it.
    fn shows(&self, field: &str, published: &Value) -> Option<Value> {
        Some(match field {
            "R" | "max_response" => self.table(published, |name, _| self.most(name)),
            "worst_job" => self.table(published, |name, _| self.worst_job(name)),
            "first_completions" => self.table(published, |name, value| self.first_completions(name, value)),
            "misses" => json!(self.misses()),
            "schedulable" | "feasible" | "edf_feasible" => json!(self.misses().is_empty()),
            "rm_first_miss" => self.first_miss(),
            _ => return None,
        })
    }
}

/// How many published fields a run of the case shows; none where the case is no schedule of tasks on one core.
fn simulate(case: &Case) -> Option<usize> {
    let methods = ["response", "aligned-response", "scheduling-points", "demand", "rate-monotonic-against-edf"];
    if !methods.contains(&case.method.as_str()) {
        return None;
    }
    let input: Tasks = serde_json::from_value(case.input.clone()).ok()?;
    let order = input.priority.unwrap_or(Order::RateMonotonic);
    let by_deadline = |field: &str| matches!(field, "feasible" | "edf_feasible");
    let published: Map<String, Value> = case.expected.clone();
    let mut fields = 0;
    for (field, value) in &published {
        let guest = if by_deadline(field) { Guest::Edf } else { Guest::FixedPriority };
        let Some(shown) = run(&input.tasks, guest, order).shows(field, value) else { continue };
        assert_eq!(&shown, value, "{}: {field}", case.id);
        fields += 1;
    }
    Some(fields)
}

#[test]
fn published_schedules_come_out_of_the_simulator() {
    let cases = case::all();
    let found: Vec<_> = cases.iter().filter_map(|case| Some((case.id.as_str(), simulate(case)?))).collect();
    assert_eq!(found, SIMULATED);
}
