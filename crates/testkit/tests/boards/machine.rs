//! A second, plain machine for boards: explicit jobs, each choice by lot, and a log of who read and wrote when.

use testkit::oracle::board::{BoardTask, Exchange, SmallBoard, Start};
use testkit::oracle::{Policy, SmallTask};

/// A multiplicative congruential generator, Lehmer's of 1951 with modulus 2^31 - 1.
pub struct Lot(pub u64);

impl Lot {
    pub fn below(&mut self, limit: u32) -> u32 {
        self.0 = self.0 * 48_271 % 0x7FFF_FFFF;
        (self.0 % u64::from(limit)) as u32
    }

    /// An end of the range more often than what lies between: worst cases sit there.
    fn within(&mut self, low: u32, high: u32) -> u32 {
        match self.below(3) {
            0 => low,
            1 => high,
            _ => low + self.below(high - low + 1),
        }
    }
}

/// When one job arrived, read and wrote; `u32::MAX` where it had not by the end of the run.
#[derive(Clone, Copy, Debug)]
pub struct Exchanged {
    pub arrival: u32,
    pub read: u32,
    pub write: u32,
}

struct Job {
    /// Its number among those of its task.
    number: usize,
    task: usize,
    arrival: u32,
    release: u32,
    left: u32,
    begun: bool,
}

/// One run of `length` ticks: what the jobs of each task exchanged, in order.
pub fn run(board: &SmallBoard, length: u32, lot: &mut Lot) -> Vec<Vec<Exchanged>> {
    let first = |task: &BoardTask| match task.start {
        Start::FreeRunning => lot.below(2 * task.task.period + board.frame),
        Start::Aligned => task.task.offset,
    };
    let firsts: Vec<u32> = board.tasks.iter().map(first).collect();
    let mut log = vec![Vec::new(); board.tasks.len()];
    let mut jobs = Vec::new();
    for now in 0..length {
        for (place, task) in board.tasks.iter().enumerate() {
            if now >= firsts[place] && (now - firsts[place]).is_multiple_of(task.task.period) {
                jobs.push(arrive(place, task, now, &mut log[place], lot));
            }
        }
        for partition in 0..board.partitions.len() {
            execute(board, partition, now, &mut jobs, &mut log);
        }
    }
    log
}

fn arrive(place: usize, task: &BoardTask, now: u32, log: &mut Vec<Exchanged>, lot: &mut Lot) -> Job {
    let SmallTask { jitter, bcet, wcet, deadline, .. } = task.task;
    log.push(match task.exchange {
        Exchange::StartToFinish => Exchanged { arrival: now, read: u32::MAX, write: u32::MAX },
        Exchange::Logical => Exchanged { arrival: now, read: now, write: now + deadline },
    });
    let (release, left) = (now + lot.within(0, jitter), lot.within(bcet, wcet));
    Job { number: log.len() - 1, task: place, arrival: now, release, left, begun: false }
}

fn execute(board: &SmallBoard, partition: usize, now: u32, jobs: &mut Vec<Job>, log: &mut [Vec<Exchanged>]) {
    let position = now % board.frame;
    let rules = &board.partitions[partition];
    if !rules.windows.iter().any(|window| window.0 <= position && position < window.1) {
        return;
    }
    let oldest = |task| jobs.iter().position(|job: &Job| job.task == task);
    let heads = (0..board.tasks.len()).filter(|&task| board.tasks[task].partition == partition).filter_map(oldest);
    let ready = heads.filter(|&job| jobs[job].release <= now);
    let Some(chosen) = ready.min_by_key(|&job| order(board, rules.policy, &jobs[job])) else {
        return;
    };
    let job = &mut jobs[chosen];
    let exchanged = &mut log[job.task][job.number];
    let logical = board.tasks[job.task].exchange == Exchange::Logical;
    if !job.begun && !logical {
        exchanged.read = now;
    }
    job.begun = true;
    job.left -= 1;
    if job.left == 0 {
        if !logical {
            exchanged.write = now + 1;
        }
        jobs.remove(chosen);
    }
}

/// The least goes first.
fn order(board: &SmallBoard, policy: Policy, job: &Job) -> (bool, u32, bool, u32, usize) {
    let rules = &board.tasks[job.task].task;
    let by_priority = u32::MAX - rules.priority;
    match policy {
        Policy::FixedPriority => (false, by_priority, !job.begun, job.arrival, job.task),
        Policy::Cooperative => (!job.begun, by_priority, !job.begun, job.arrival, job.task),
        Policy::EarliestDeadline => (false, job.arrival + rules.deadline, !job.begun, job.arrival, job.task),
    }
}
