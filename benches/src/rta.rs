//! Response times and sensitivity of a peer instance, timed.

use crate::instance::{self, Prepared};
use serde::Serialize;
use std::error::Error;
use std::hint::black_box;
use std::path::Path;
use std::time::Instant;
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

/// What one repetition took.
struct Time {
    reps: u32,
    wall_s: f64,
    cpu_s: Option<f64>,
}

fn seconds_each(reps: Option<u32>, mut work: impl FnMut()) -> Time {
    // The least of some is what it takes when nothing else runs.
    let warm_up = (0..8).map(|_| {
        let begin = Instant::now();
        work();
        begin.elapsed().as_secs_f64()
    });
    let least_s = warm_up.fold(f64::INFINITY, f64::min);
    let reps = reps.unwrap_or_else(|| (0.5 / least_s).clamp(3.0, 1e6) as u32).max(1);
    let (begin, cpu_begin) = (Instant::now(), cpu_seconds());
    for _ in 0..reps {
        work();
    }
    let each = |seconds: f64| seconds / f64::from(reps);
    let cpu_s = cpu_begin.zip(cpu_seconds()).map(|(begin, end)| each(end - begin));
    Time { reps, wall_s: each(begin.elapsed().as_secs_f64()), cpu_s }
}

/// The processor time of this thread, where the system tells it.
fn cpu_seconds() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/self/schedstat").ok()?;
    let nanoseconds: f64 = text.split_whitespace().next()?.parse().ok()?;
    Some(nanoseconds / 1e9)
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

fn checksum(values: impl IntoIterator<Item = Option<u64>>) -> u64 {
    values.into_iter().fold(0, |sum: u64, value| sum.wrapping_mul(1_000_003).wrapping_add(value.unwrap_or(u64::MAX)))
}
