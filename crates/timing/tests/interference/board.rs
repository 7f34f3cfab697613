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

/// By which rule a partition chooses among its jobs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Guest {
    /// The most urgent.
    Priority,
    /// The one that is due first, of several the one that arrived first; each is due when the next one of its task arrives.
    Deadline,
    /// The most urgent, and who has begun goes on to the end.
    Cooperative,
}

/// A task of a partition; the first of a partition is the most urgent.
#[derive(Clone, Debug)]
pub struct Task {
    pub period: u64,
    pub phase: u64,
    /// A job is released as late after its arrival as the board's seed has it, but no later than this; below the period.
    pub jitter: u64,
    pub program: Vec<Step>,
}

/// A partition with windows on one core.
#[derive(Clone, Debug)]
pub struct Partition {
    pub guest: Guest,
    pub windows: Vec<(u64, u64)>,
    pub tasks: Vec<Task>,
}

#[derive(Clone, Debug)]
pub struct Board {
    pub frame: u64,
    /// How many instants a line takes.
    pub line: u64,
    pub cores: [Vec<Partition>; 2],
    /// When the partition of core 0 has its core, where that is not by its windows in each frame.
    pub served: Vec<(u64, u64)>,
    /// An interrupt handler that takes core 0 from whoever computes there: its distance, its length and its first instant.
    pub handler: Option<(u64, u64, u64)>,
    pub seed: u64,
}

/// The jobs of a task that are there, the oldest first, and how many have arrived.
type Queue = (VecDeque<Job>, u64);

/// A job under way.
struct Job {
    arrival: u64,
    at: usize,
    begun: bool,
    /// Instants left of the request in service.
    in_service: u64,
    /// Whether its request waits for the memory.
    pending: bool,
}

impl Job {
    fn arrived(arrival: u64) -> Self {
        Self { arrival, at: 0, begun: false, in_service: 0, pending: false }
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
                    let arrival = task.phase + *count * task.period;
                    if now == arrival + task.late(self.board.seed, *count) {
                        queue.push_back(Job::arrived(arrival));
                        *count += 1;
                    }
                }
            }
        }
    }

    /// The partition and task that has the core: the one whose request is under way, else, where no handler has it, the one that the guest of
    /// the window chooses.
    fn running(&self, core: usize, now: u64) -> Option<(usize, usize)> {
        let partitions = &self.jobs[core];
        let on_memory =
            |tasks: &Vec<Queue>| tasks.iter().position(|(queue, _)| queue.front().is_some_and(Job::is_on_memory));
        let busy = partitions.iter().enumerate().find_map(|(p, tasks)| Some((p, on_memory(tasks)?)));
        let handled = |&(gap, length, first): &(u64, u64, u64)| now >= first && (now - first) % gap < length;
        let windows = || {
            let p = self.board.cores[core].iter().position(|partition| self.has_window(core, partition, now))?;
            Some((p, chosen(&self.board.cores[core][p], &partitions[p])?))
        };
        let interrupted = core == 0 && self.board.handler.as_ref().is_some_and(handled);
        busy.or_else(|| if interrupted { None } else { windows() })
    }

    fn has_window(&self, core: usize, partition: &Partition, now: u64) -> bool {
        let by_frame = core > 0 || self.board.served.is_empty();
        let (windows, at) =
            if by_frame { (&partition.windows, now % self.board.frame) } else { (&self.board.served, now) };
        windows.iter().any(|&(start, end)| (start..end).contains(&at))
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
        job.begun = true;
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

impl Task {
    /// How late job `number` is released: mostly at once or as late as can be.
    fn late(&self, seed: u64, number: u64) -> u64 {
        let drawn = (seed ^ number.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ self.period)
            .wrapping_mul(6_364_136_223_846_793_005)
            >> 33;
        match drawn % 4 {
            0 | 1 => self.jitter,
            2 => 0,
            _ => drawn / 4 % (self.jitter + 1),
        }
    }
}

/// The task whose job has its turn.
fn chosen(partition: &Partition, jobs: &[Queue]) -> Option<usize> {
    let front = |t: usize| jobs[t].0.front();
    let mut there = (0..jobs.len()).filter(|&t| front(t).is_some());
    match partition.guest {
        Guest::Priority => there.next(),
        Guest::Deadline => {
            there.min_by_key(|&t| front(t).map(|job| (job.arrival + partition.tasks[t].period, job.arrival)))
        }
        Guest::Cooperative => (0..jobs.len()).find(|&t| front(t).is_some_and(|job| job.begun)).or_else(|| there.next()),
    }
}
