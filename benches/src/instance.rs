//! The peers' system instance, format `peer-system-1`: only what the analyses read.

use serde::Deserialize;
use std::error::Error;
use std::path::Path;
use timing::supply::{Interval, WindowSupply};
use timing::{Release, Task, TaskSet};

#[derive(Deserialize)]
struct Instance {
    format: String,
    cores: Vec<Core>,
    partitions: Vec<Partition>,
    tasks: Vec<InstanceTask>,
}

#[derive(Deserialize)]
struct Core {
    major_frame: u64,
    /// Start, length, partition.
    windows: Vec<(u64, u64, usize)>,
}

#[derive(Deserialize)]
struct Partition {
    id: usize,
    core: usize,
    tasks: Vec<usize>,
}

#[derive(Deserialize)]
struct InstanceTask {
    /// The smaller, the more urgent.
    prio: i64,
    period: u64,
    deadline: u64,
    wcet: u64,
}

/// One partition, ready for the analyses of `timing`.
pub struct Prepared {
    pub supply: WindowSupply,
    pub tasks: TaskSet,
    /// The instance's number of each task.
    pub ids: Vec<usize>,
}

/// Reads every partition of the instance at `path`.
pub fn read(path: &Path) -> Result<Vec<Prepared>, Box<dyn Error>> {
    let instance: Instance = serde_json::from_slice(&std::fs::read(path)?)?;
    if instance.format != "peer-system-1" {
        return Err(format!("{}: format {:?} is not peer-system-1", path.display(), instance.format).into());
    }
    instance.partitions.iter().map(|partition| prepare(&instance, partition)).collect()
}

fn prepare(instance: &Instance, partition: &Partition) -> Result<Prepared, Box<dyn Error>> {
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
        supply: WindowSupply::new(core.major_frame, &intervals)?,
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
