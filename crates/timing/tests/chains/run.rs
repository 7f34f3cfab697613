//! One run of a made system, tick by tick: jitter, execution times, blocking and the phases of free-running tasks
//! drawn at random.

use crate::data::Data;
use crate::made::{Draws, Made, Task};

/// The greatest of a run, in ticks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Latencies {
    pub reaction: u64,
    pub age: u64,
}

impl Latencies {
    pub fn or_greater(self, other: Self) -> Self {
        Self { reaction: self.reaction.max(other.reaction), age: self.age.max(other.age) }
    }
}

/// How long a run is, in ticks: long against the hyperperiod of 48.
const TICKS: u64 = 500;

struct Job {
    task: usize,
    arrival: u64,
    release: u64,
    left: u64,
    begun: bool,
}

/// The tasks of one partition at work.
#[derive(Default)]
struct Guest {
    /// All jobs not completed, by arrival.
    jobs: Vec<Job>,
    /// For how long a begun job may still go on before a more urgent one, while it does.
    going_on: Option<(usize, u64)>,
    /// Whether some job went on in this busy window already.
    has_gone_on: bool,
    /// The task that executed last.
    last: Option<usize>,
}

pub fn latencies(made: &Made, seed: u64) -> Latencies {
    let mut draws = Draws(seed);
    let phases: Vec<u64> = made.tasks.iter().map(|task| phase(&mut draws, task)).collect();
    // Some runs take all times at one end.
    let habit = draws.within(0, 4);
    let mut guests: Vec<Guest> = made.windows.iter().map(|_| Guest::default()).collect();
    let mut data = Data::new(made);
    for now in 0..TICKS {
        for guest in &mut guests {
            guest.complete(now, &mut data);
        }
        data.write_logical(now);
        for (k, task) in made.tasks.iter().enumerate() {
            if now >= phases[k] && (now - phases[k]).is_multiple_of(task.period) {
                let job = job(&mut draws, k, task, now, habit);
                guests[task.partition].arrive(job, made, &mut data);
            }
        }
        for (partition, guest) in guests.iter_mut().enumerate() {
            if usable(made, partition, now) {
                guest.step(made, now, &mut draws, &mut data);
            }
        }
    }
    data.latencies()
}

fn phase(draws: &mut Draws, task: &Task) -> u64 {
    if task.aligned { task.offset } else { draws.within(0, task.period - 1) }
}

fn job(draws: &mut Draws, k: usize, task: &Task, now: u64, habit: u64) -> Job {
    let left = match habit {
        0 => task.wcet,
        1 => task.bcet,
        _ => draws.within(task.bcet, task.wcet),
    };
    let late = if habit == 2 { 0 } else { draws.within(0, task.jitter) };
    Job { task: k, arrival: now, release: now + late, left, begun: false }
}

fn usable(made: &Made, partition: usize, now: u64) -> bool {
    let at = now % made.frame;
    let inside = |&(core, start, length): &(usize, u64, u64)| {
        // A window that goes on from the one before pays no head of its own.
        let touches = |&(other, from, long): &(usize, u64, u64)| {
            other == core && (from + long) % made.frame == start % made.frame
        };
        let joined = made.windows[partition].iter().any(touches);
        let first_frame_pays = start == 0 && now < made.frame;
        let head = if joined && !first_frame_pays { 0 } else { made.head };
        at >= start + head && at < start + length
    };
    made.windows[partition].iter().any(inside)
}

impl Guest {
    fn complete(&mut self, now: u64, data: &mut Data<'_>) {
        let Some(done) = self.jobs.iter().position(|job| job.left == 0) else { return };
        let job = self.jobs.remove(done);
        data.complete(job.task, job.arrival, now);
        self.going_on = self.going_on.filter(|&(task, _)| task != job.task);
        if self.last == Some(job.task) {
            self.last = None;
        }
    }

    fn arrive(&mut self, job: Job, made: &Made, data: &mut Data<'_>) {
        if made.tasks[job.task].logical {
            data.read(job.task, job.arrival, job.arrival);
        }
        self.jobs.push(job);
    }

    /// Executes one tick.
    fn step(&mut self, made: &Made, now: u64, draws: &mut Draws, data: &mut Data<'_>) {
        let Some(chosen) = self.choose(made, now, draws) else {
            (self.going_on, self.has_gone_on, self.last) = (None, false, None);
            return;
        };
        let job = &mut self.jobs[chosen];
        if !job.begun && !made.tasks[job.task].logical {
            data.read(job.task, job.arrival, now);
        }
        job.begun = true;
        job.left -= 1;
        self.last = Some(job.task);
        if let Some((task, left)) = &mut self.going_on
            && *task == job.task
        {
            *left -= 1;
        }
        self.going_on = self.going_on.filter(|&(_, left)| left > 0);
    }

    /// The job that has the core: the most urgent, of equal ones the begun one, then the first come; or a less urgent
    /// one that goes on.
    fn choose(&mut self, made: &Made, now: u64, draws: &mut Draws) -> Option<usize> {
        let priority = |job: &Job| made.tasks[job.task].priority;
        let first_of_task = |k: usize| !self.jobs[..k].iter().any(|job| job.task == self.jobs[k].task);
        let ready = (0..self.jobs.len()).filter(|&k| self.jobs[k].release <= now && first_of_task(k));
        let rank = |&k: &usize| {
            let job = &self.jobs[k];
            (priority(job), job.begun, std::cmp::Reverse((job.arrival, job.task)))
        };
        let best = ready.max_by_key(rank)?;
        if let Some((task, _)) = self.going_on {
            return self.jobs.iter().position(|job| job.task == task);
        }
        let displaced = self.last.and_then(|last| self.jobs.iter().position(|job| job.task == last && job.begun));
        let displaced = displaced.filter(|&k| priority(&self.jobs[k]) < priority(&self.jobs[best]));
        let released_now = self.jobs[best].release == now;
        if let Some(k) = displaced
            && released_now
            && !self.has_gone_on
            && made.blocking > 0
        {
            let left = draws.within(0, made.blocking);
            if left > 0 {
                self.has_gone_on = true;
                self.going_on = Some((self.jobs[k].task, left));
                return Some(k);
            }
        }
        Some(best)
    }
}
