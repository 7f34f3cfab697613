//! A board of two cores and one memory, run instant by instant: nothing of it is the analysis'.
//!
//! Each job is a program of instants that compute and of line requests. A request waits for the memory, which serves one at a
//! time and takes turns, and is then served for `line` instants, during which its core does nothing else. A request under
//! way at a window's end is served all the same; its job goes on in its partition's next window.

use std::collections::VecDeque;

/// What a job does in one step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    Compute,
    Request,
}

/// A task of a partition; the first of a partition is the most urgent.
#[derive(Clone, Debug)]
pub struct Task {
    pub period: u64,
    pub phase: u64,
    pub program: Vec<Step>,
}

/// A partition with windows on one core.
#[derive(Clone, Debug)]
pub struct Partition {
    pub windows: Vec<(u64, u64)>,
    pub tasks: Vec<Task>,
}

#[derive(Clone, Debug)]
pub struct Board {
    pub frame: u64,
    /// How many instants a line takes.
    pub line: u64,
    pub cores: [Vec<Partition>; 2],
}

/// The jobs of a task that are there, the oldest first, and how many have arrived.
type Queue = (VecDeque<Job>, u64);

/// A job under way.
struct Job {
    arrival: u64,
    at: usize,
    /// Instants left of the request in service.
    in_service: u64,
    /// Whether its request waits for the memory.
    pending: bool,
}

impl Job {
    fn arrived(arrival: u64) -> Self {
        Self { arrival, at: 0, in_service: 0, pending: false }
    }

    fn is_on_memory(&self) -> bool {
        self.pending || self.in_service > 0
    }
}

impl Board {
    /// The longest response of each task of the first partition of core 0 up to `horizon`.
    pub fn longest_responses(&self, horizon: u64) -> Vec<u64> {
        let mut run = Run::new(self);
        (0..horizon).for_each(|now| run.step(now));
        run.longest
    }
}

struct Run<'a> {
    board: &'a Board,
    /// By core, partition and task.
    jobs: Vec<Vec<Vec<Queue>>>,
    /// The core that was served last.
    last: usize,
    longest: Vec<u64>,
}

impl<'a> Run<'a> {
    fn new(board: &'a Board) -> Self {
        let empty = |partition: &Partition| partition.tasks.iter().map(|_| Default::default()).collect();
        let jobs = board.cores.iter().map(|partitions| partitions.iter().map(empty).collect()).collect();
        Self { board, jobs, last: 1, longest: vec![0; board.cores[0][0].tasks.len()] }
    }

    fn step(&mut self, now: u64) {
        self.arrive(now);
        let runs: Vec<_> = (0..2).map(|core| self.running(core, now)).collect();
        for (core, running) in runs.iter().enumerate() {
            if let Some((partition, task)) = *running {
                self.begin_request(core, partition, task);
            }
        }
        self.arbitrate();
        for (core, running) in runs.into_iter().enumerate() {
            self.advance(core, running, now + 1);
        }
    }

    fn arrive(&mut self, now: u64) {
        for (core, partitions) in self.board.cores.iter().enumerate() {
            for (p, partition) in partitions.iter().enumerate() {
                for (t, task) in partition.tasks.iter().enumerate() {
                    let (queue, count) = &mut self.jobs[core][p][t];
                    if now == task.phase + *count * task.period {
                        queue.push_back(Job::arrived(now));
                        *count += 1;
                    }
                }
            }
        }
    }

    /// The partition and task that has the core: the one whose request is under way, else the most urgent of the window.
    fn running(&self, core: usize, now: u64) -> Option<(usize, usize)> {
        let partitions = &self.jobs[core];
        let on_memory =
            |tasks: &Vec<Queue>| tasks.iter().position(|(queue, _)| queue.front().is_some_and(Job::is_on_memory));
        let busy = partitions.iter().enumerate().find_map(|(p, tasks)| Some((p, on_memory(tasks)?)));
        let within = now % self.board.frame;
        let has_window =
            |partition: &Partition| partition.windows.iter().any(|&(start, end)| (start..end).contains(&within));
        let windows = || {
            let p = self.board.cores[core].iter().position(has_window)?;
            Some((p, partitions[p].iter().position(|(queue, _)| !queue.is_empty())?))
        };
        busy.or_else(windows)
    }

    fn front(&mut self, core: usize, partition: usize, task: usize) -> &mut Job {
        self.jobs[core][partition][task].0.front_mut().expect("who has the core has a job")
    }

    fn begin_request(&mut self, core: usize, partition: usize, task: usize) {
        let step = {
            let at = self.front(core, partition, task).at;
            self.board.cores[core][partition].tasks[task].program[at]
        };
        let job = self.front(core, partition, task);
        if step == Step::Request && !job.is_on_memory() {
            job.pending = true;
        }
    }

    /// Gives a free memory to the core whose turn it is, if it asks, else to the other one.
    fn arbitrate(&mut self) {
        let all = || self.jobs.iter().flatten().flatten();
        if all().any(|(queue, _)| queue.front().is_some_and(|job| job.in_service > 0)) {
            return;
        }
        for core in [1 - self.last, self.last] {
            let line = self.board.line;
            let mut fronts = self.jobs[core].iter_mut().flatten().filter_map(|(queue, _)| queue.front_mut());
            if let Some(job) = fronts.find(|job| job.pending) {
                (job.pending, job.in_service) = (false, line);
                self.last = core;
                return;
            }
        }
    }

    fn advance(&mut self, core: usize, running: Option<(usize, usize)>, end: u64) {
        let Some((partition, task)) = running else { return };
        let length = self.board.cores[core][partition].tasks[task].program.len();
        let job = self.front(core, partition, task);
        if job.pending {
            return;
        }
        job.in_service = job.in_service.saturating_sub(1);
        if job.in_service == 0 {
            job.at += 1;
        }
        if job.at == length {
            let response = end - job.arrival;
            self.jobs[core][partition][task].0.pop_front();
            if (core, partition) == (0, 0) {
                self.longest[task] = self.longest[task].max(response);
            }
        }
    }
}
