//! The longest reaction times of the chains of a peer instance under logical execution time, timed.

use crate::timed::{checksum, seconds_each};
use serde::{Deserialize, Serialize};
use std::error::Error;
use std::hint::black_box;
use std::path::Path;
use timing::chain::logical::{LogicalTask, LogicalTasks};

/// The peers' chain instance, format `peer-chains-1`; every time in ns.
#[derive(Deserialize)]
struct Instance {
    format: String,
    tasks: Vec<InstanceTask>,
    chains: Vec<Vec<usize>>,
}

#[derive(Deserialize)]
struct InstanceTask {
    period: u64,
    offset: u64,
    deadline: u64,
}

/// What the peers print too, under the same names.
#[derive(Serialize)]
pub struct Figures {
    peer: &'static str,
    chains: usize,
    reps: u32,
    seconds: f64,
    cpu_seconds: Option<f64>,
    chains_per_s: f64,
    checksum: u64,
}

/// Follows the chains of the instance at `path` `reps` times, or for about half a second where `reps` is not given.
pub fn run(path: &Path, reps: Option<u32>) -> Result<Figures, Box<dyn Error>> {
    let instance: Instance = serde_json::from_slice(&std::fs::read(path)?)?;
    if instance.format != "peer-chains-1" {
        return Err(format!("{}: format {:?} is not peer-chains-1", path.display(), instance.format).into());
    }
    let logical = |task: &InstanceTask| LogicalTask {
        period_ns: task.period,
        offset_ns: task.offset,
        deadline_ns: task.deadline,
    };
    let tasks = LogicalTasks::new(&instance.tasks.iter().map(logical).collect::<Vec<_>>())?;
    let mut longest_ns = vec![0; instance.chains.len()];
    let mut failed = None;
    let time = seconds_each(reps, || {
        for (chain, longest_ns) in instance.chains.iter().zip(&mut longest_ns) {
            match tasks.longest_ns(chain) {
                Ok(found_ns) => *longest_ns = found_ns,
                Err(why) => failed = Some(why),
            }
        }
        black_box(&mut longest_ns);
    });
    if let Some(why) = failed {
        return Err(why.into());
    }
    Ok(Figures {
        peer: "cofferdam",
        chains: instance.chains.len(),
        reps: time.reps,
        seconds: time.wall_s,
        cpu_seconds: time.cpu_s,
        chains_per_s: instance.chains.len() as f64 / time.wall_s,
        checksum: checksum(longest_ns.into_iter().map(Some)),
    })
}
