//! The survey vessel from its files, as far as response times need it, and changes to it.

use quantity::{Bytes, Duration, Rate};
use serde::de::Error;
use serde::{Deserialize, Deserializer};
use std::collections::BTreeMap;
use std::path::Path;
use std::str::FromStr;
use timing::supply::{Interval, WindowSupply};
use timing::{Release, Task, TaskSet};

/// Everything that a response depends on; times in ns.
#[derive(Clone)]
pub struct Vessel {
    frame_ns: u64,
    switch_ns: u64,
    refill_ns: u64,
    context_switch_ns: u64,
    jitter_ns: u64,
    blocking_ns: u64,
    line_service_ns: u64,
    other_masters: u64,
    windows: BTreeMap<String, Vec<Window>>,
    tasks: BTreeMap<String, Vec<TaskRow>>,
    factor_ppm: BTreeMap<String, u64>,
}

/// A change to the system or its plan.
#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Change {
    refill: Option<Text<Duration>>,
    line_service: Option<Text<Duration>>,
    other_masters: Option<u64>,
    /// All windows of a partition, in place of the planned ones.
    windows: BTreeMap<String, Vec<Window>>,
    /// Factors on all charged times of a partition.
    charged_factor_ppm: BTreeMap<String, u64>,
}

/// A window as the plan file writes it.
#[derive(Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Window {
    start: Text<Duration>,
    length: Text<Duration>,
    every: Option<Text<Duration>>,
}

/// A quantity written as a text with its unit.
#[derive(Clone, Copy)]
struct Text<T>(T);

impl<'de, T: FromStr<Err: std::fmt::Display>> Deserialize<'de> for Text<T> {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        String::deserialize(from)?.parse().map(Self).map_err(D::Error::custom)
    }
}

/// A row of the table of tasks; the columns that no response depends on are passed over.
#[derive(Clone, Deserialize)]
pub struct TaskRow {
    partition: String,
    pub name: String,
    period: Text<Duration>,
    deadline: Text<Duration>,
    priority: i64,
    wcet: Text<Duration>,
    line_requests: u64,
    offset: Text<Duration>,
}

#[derive(Deserialize)]
struct SystemFile {
    system: SystemSection,
    board: Board,
    platform: Platform,
}

#[derive(Deserialize)]
struct SystemSection {
    frame: Text<Duration>,
}

#[derive(Deserialize)]
struct Board {
    interconnect: Interconnect,
}

#[derive(Deserialize)]
struct Interconnect {
    line: Text<Bytes>,
    guaranteed: Text<Rate>,
    master: Vec<toml::Table>,
}

#[derive(Deserialize)]
struct Platform {
    switch: Text<Duration>,
    refill: Text<Duration>,
    context_switch: Text<Duration>,
    release_jitter: Text<Duration>,
    nonpreemptable: Text<Duration>,
}

#[derive(Deserialize)]
struct PlanFile {
    window: Vec<PlannedWindow>,
}

#[derive(Deserialize)]
struct PlannedWindow {
    partition: String,
    start: Text<Duration>,
    length: Text<Duration>,
    every: Option<Text<Duration>>,
}

impl Vessel {
    pub fn read(folder: &Path) -> Self {
        let system: SystemFile = toml(&folder.join("system.toml"));
        let (bus, platform) = (&system.board.interconnect, &system.platform);
        Self {
            frame_ns: system.system.frame.0.ns(),
            switch_ns: platform.switch.0.ns(),
            refill_ns: platform.refill.0.ns(),
            context_switch_ns: platform.context_switch.0.ns(),
            jitter_ns: platform.release_jitter.0.ns(),
            blocking_ns: platform.nonpreemptable.0.ns(),
            line_service_ns: bus.guaranteed.0.time_for(bus.line.0).expect("the bus moves lines").ns(),
            other_masters: bus.master.len() as u64 - 1,
            windows: windows(&folder.join("plan.toml")),
            tasks: tasks(&folder.join("tasks.csv")),
            factor_ppm: BTreeMap::new(),
        }
    }

    pub fn changed(&self, change: &Change) -> Self {
        let mut changed = self.clone();
        changed.refill_ns = change.refill.map_or(self.refill_ns, |refill| refill.0.ns());
        changed.line_service_ns = change.line_service.map_or(self.line_service_ns, |service| service.0.ns());
        changed.other_masters = change.other_masters.unwrap_or(self.other_masters);
        changed.windows.extend(change.windows.clone());
        changed.factor_ppm.extend(change.charged_factor_ppm.clone());
        changed
    }

    pub fn partitions(&self) -> impl Iterator<Item = &String> {
        self.tasks.keys()
    }

    pub fn tasks_of(&self, partition: &str) -> &[TaskRow] {
        self.tasks.get(partition).map_or(&[], Vec::as_slice)
    }

    /// Execution, interference of every line request, and two context switches; then the factor, rounded down.
    pub fn charged_ns(&self, task: &TaskRow) -> u64 {
        let interference_ns = task.line_requests * self.other_masters * self.line_service_ns;
        let charged_ns = task.wcet.0.ns() + interference_ns + 2 * self.context_switch_ns;
        self.factor_ppm.get(&task.partition).map_or(charged_ns, |ppm| charged_ns * ppm / 1_000_000)
    }

    pub fn supply(&self, partition: &str) -> WindowSupply {
        let repeated = self.windows.get(partition).into_iter().flatten().flat_map(|window| {
            let starts = window.start.0.ns()..self.frame_ns;
            let every = window.every.map_or(self.frame_ns, |every| every.0.ns());
            starts.step_by(every as usize).map(|start_ns| self.usable(start_ns, window)) // Spans of a few ms.
        });
        WindowSupply::new(self.frame_ns, &repeated.collect::<Vec<_>>()).expect("the windows are apart")
    }

    fn usable(&self, start_ns: u64, window: &Window) -> Interval {
        Interval { start_ns: start_ns + self.switch_ns + self.refill_ns, end_ns: start_ns + window.length.0.ns() }
    }

    /// The tasks of a partition in any phase, or tied to the frame.
    pub fn task_set(&self, partition: &str, aligned: bool) -> TaskSet {
        let task = |row: &TaskRow| Task {
            priority: row.priority,
            period_ns: row.period.0.ns(),
            deadline_ns: row.deadline.0.ns(),
            charged_ns: self.charged_ns(row),
            jitter_ns: self.jitter_ns,
            blocking_ns: self.blocking_ns,
            release: if aligned {
                Release::FrameAligned { offset_ns: row.offset.0.ns() }
            } else {
                Release::FreeRunning
            },
        };
        let tasks: Vec<_> = self.tasks_of(partition).iter().map(task).collect();
        TaskSet::new(&tasks).expect("the vessel's tasks are well-formed")
    }

    /// What the jobs of a partition ask for in one frame; every period divides it.
    pub fn demand_per_frame_ns(&self, partition: &str) -> u64 {
        self.tasks_of(partition).iter().map(|task| self.charged_ns(task) * (self.frame_ns / task.period.0.ns())).sum()
    }
}

impl TaskRow {
    pub fn deadline_ns(&self) -> u64 {
        self.deadline.0.ns()
    }
}

fn toml<T: for<'a> Deserialize<'a>>(path: &Path) -> T {
    let text = std::fs::read_to_string(path).expect("the example is there");
    toml::from_str(&text).unwrap_or_else(|why| panic!("{}: {why}", path.display()))
}

fn windows(path: &Path) -> BTreeMap<String, Vec<Window>> {
    let mut windows = BTreeMap::<String, Vec<Window>>::new();
    for planned in toml::<PlanFile>(path).window {
        let PlannedWindow { partition, start, length, every } = planned;
        windows.entry(partition).or_default().push(Window { start, length, every });
    }
    windows
}

fn tasks(path: &Path) -> BTreeMap<String, Vec<TaskRow>> {
    let mut tasks = BTreeMap::<String, Vec<TaskRow>>::new();
    let mut rows = csv::Reader::from_path(path).expect("the table of tasks is there");
    for row in rows.deserialize::<TaskRow>() {
        let row = row.expect("a row of the table");
        tasks.entry(row.partition.clone()).or_default().push(row);
    }
    tasks
}
