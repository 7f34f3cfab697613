//! The peers' system instance, format `peer-system-1`: only what the analyses read.

use serde::Deserialize;
use std::error::Error;
use std::path::Path;
use timing::supply::{Interval, Supply};
use timing::{Release, Task, TaskSet};

/// A whole instance; every time in ns.
#[derive(Deserialize)]
pub struct Instance {
    format: String,
    /// How long a simulated run lasts.
    #[serde(default)]
    pub hyperperiod: u64,
    pub cores: Vec<InstanceCore>,
    pub partitions: Vec<InstancePartition>,
    pub tasks: Vec<InstanceTask>,
    #[serde(default)]
    pub channels: Vec<InstanceChannel>,
}

#[derive(Deserialize)]
pub struct InstanceCore {
    pub major_frame: u64,
    /// Start, length, partition.
    pub windows: Vec<(u64, u64, usize)>,
}

#[derive(Deserialize)]
pub struct InstancePartition {
    pub id: usize,
    pub core: usize,
    pub period: u64,
    pub budget: u64,
    tasks: Vec<usize>,
}

#[derive(Deserialize)]
pub struct InstanceTask {
    pub id: usize,
    pub partition: usize,
    /// The smaller, the more urgent.
    pub prio: i64,
    pub period: u64,
    pub deadline: u64,
    pub wcet: u64,
    pub bcet: u64,
    /// Its first release in a simulated run.
    #[serde(default)]
    pub offset: u64,
}

/// A channel from one task to another.
#[derive(Deserialize)]
pub struct InstanceChannel {
    pub id: usize,
    /// `sampling` or `queuing`.
    pub kind: String,
    pub src: usize,
    pub dst: usize,
    /// The messages that a queue holds.
    #[serde(default)]
    pub depth: u64,
}

impl Instance {
    /// Reads the instance at `path`.
    pub fn read(path: &Path) -> Result<Self, Box<dyn Error>> {
        let instance: Self = serde_json::from_slice(&std::fs::read(path)?)?;
        if instance.format != "peer-system-1" {
            return Err(format!("{}: format {:?} is not peer-system-1", path.display(), instance.format).into());
        }
        Ok(instance)
    }
}

/// One partition, ready for the analyses of `timing`.
pub struct Prepared {
    pub supply: Supply,
    pub tasks: TaskSet,
    /// The instance's number of each task.
    pub ids: Vec<usize>,
}

/// Reads every partition of the instance at `path`.
pub fn read(path: &Path) -> Result<Vec<Prepared>, Box<dyn Error>> {
    let instance = Instance::read(path)?;
    instance.partitions.iter().map(|partition| prepare(&instance, partition)).collect()
}

fn prepare(instance: &Instance, partition: &InstancePartition) -> Result<Prepared, Box<dyn Error>> {
    let core = instance.cores.get(partition.core).ok_or("a partition names a core that is not there")?;
    let mut intervals: Vec<Interval> = core
        .windows
        .iter()
        .filter(|window| window.2 == partition.id)
        .map(|&(start_ns, length_ns, _)| Interval { start_ns, end_ns: start_ns + length_ns })
        .collect();
    intervals.sort_by_key(|interval| interval.start_ns);
    let tasks: Option<Vec<Task>> = partition.tasks.iter().map(|&id| instance.tasks.get(id).map(task)).collect();
    Ok(Prepared {
        supply: Supply::new(core.major_frame, &intervals)?,
        tasks: TaskSet::new(&tasks.ok_or("a partition names a task that is not there")?)?,
        ids: partition.tasks.clone(),
    })
}

fn task(task: &InstanceTask) -> Task {
    Task {
        priority: -task.prio,
        period_ns: task.period,
        deadline_ns: task.deadline,
        charged_ns: task.wcet,
        jitter_ns: 0,
        blocking_ns: 0,
        release: Release::FreeRunning,
    }
}
