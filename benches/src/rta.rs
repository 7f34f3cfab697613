//! Response times and sensitivity of a peer instance, timed.

use crate::instance::{self, Prepared};
use crate::timed::{checksum, seconds_each};
use serde::Serialize;
use std::error::Error;
use std::hint::black_box;
use std::path::Path;
use timing::response::free_running;
use timing::sensitivity;

/// What the peers print too, under the same names.
#[derive(Serialize)]
pub struct Figures {
    peer: &'static str,
    tasks: usize,
    gap_starts_kept: usize,
    reps: u32,
    s_per_analysis: f64,
    cpu_s_per_analysis: Option<f64>,
    unschedulable: usize,
    checksum: u64,
    sens_s: f64,
    sens_cpu_s: Option<f64>,
    sens_checksum: u64,
    sens_partition_checksum: u64,
}

/// Analyses the instance at `path` `reps` times, or for about half a second where `reps` is not given.
pub fn run(path: &Path, reps: Option<u32>) -> Result<Figures, Box<dyn Error>> {
    let partitions = instance::read(path)?;
    let tasks = partitions.iter().map(|partition| partition.ids.len()).sum();
    let time = seconds_each(reps, || {
        for partition in &partitions {
            black_box(free_running::worst_responses(&partition.supply, &partition.tasks));
        }
    });
    let sens_time = seconds_each(reps.map(|reps| reps / 20 + 1), || {
        for partition in &partitions {
            black_box(sensitivity::largest_charged_ns(&partition.supply, &partition.tasks));
            black_box(sensitivity::common_factor_ppm(&partition.supply, &partition.tasks));
        }
    });
    let responses = responses(&partitions, tasks);
    Ok(Figures {
        peer: "cofferdam",
        tasks,
        gap_starts_kept: partitions.iter().map(|partition| partition.supply.busy_starts().len()).sum(),
        reps: time.reps,
        s_per_analysis: time.wall_s,
        cpu_s_per_analysis: time.cpu_s,
        unschedulable: responses.iter().filter(|response| response.is_none()).count(),
        checksum: checksum(responses),
        sens_s: sens_time.wall_s,
        sens_cpu_s: sens_time.cpu_s,
        sens_checksum: checksum(largest_charged(&partitions, tasks)),
        sens_partition_checksum: checksum(partitions.iter().map(|p| Some(common_factor(p)))),
    })
}

/// Responses by the instance's task number; none where a deadline is missed, as the peers have it.
fn responses(partitions: &[Prepared], tasks: usize) -> Vec<Option<u64>> {
    let mut by_id = vec![None; tasks];
    for partition in partitions {
        let found = free_running::worst_responses(&partition.supply, &partition.tasks);
        for (k, (&id, response)) in partition.ids.iter().zip(found).enumerate() {
            let within = |bound_ns: &u64| *bound_ns <= partition.tasks.deadline_ns(k);
            by_id[id] = response.bound().map(|bound| bound.response_ns).filter(within);
        }
    }
    by_id
}

fn largest_charged(partitions: &[Prepared], tasks: usize) -> Vec<Option<u64>> {
    let mut by_id = vec![None; tasks];
    for partition in partitions {
        let largest = sensitivity::largest_charged_ns(&partition.supply, &partition.tasks);
        for (&id, largest_ns) in partition.ids.iter().zip(largest) {
            by_id[id] = Some(largest_ns);
        }
    }
    by_id
}

fn common_factor(partition: &Prepared) -> u64 {
    sensitivity::common_factor_ppm(&partition.supply, &partition.tasks)
}
