//! The state of one run: what every task, pool, lane, core and partition is doing.

use super::agenda::{Agenda, NEVER};
use super::build;
use super::pace::Pace;
use crate::draw::Draw;
use crate::machine::{Grant, Window};
use crate::scenario::Contention;
use std::collections::VecDeque;

/// Nothing, where an index could stand.
pub(crate) const NONE: u32 = u32::MAX;
/// The work of a partition that goes before its jobs, where the index of a task could stand.
pub(crate) const DUTY: u32 = u32::MAX - 1;

/// A job or work that has just ended, where what a core was last told to execute could stand.
pub(crate) const DONE: u32 = u32::MAX - 2;

/// The state of a run.
#[derive(Debug, Clone, Default)]
pub(crate) struct World {
    pub(crate) draw: Draw,
    pub(crate) tasks: Vec<TaskState>,
    /// The last output of each task, apart from the rest of it: several lie in one line of a cache.
    pub(crate) outputs: Vec<Output>,
    pub(crate) pools: Vec<Pool>,
    pub(crate) lanes: Vec<LaneState>,
    pub(crate) cores: Vec<CoreState>,
    pub(crate) groups: Vec<Turns>,
    pub(crate) partitions: Vec<PartitionState>,
    /// When each core is to be looked at.
    pub(crate) cores_next: Agenda,
    /// When each task is: arrivals, releases, deadlines.
    pub(crate) tasks_next: Agenda,
    /// The windows of all tables, and where those of each schedule's core lie.
    pub(crate) windows: Vec<Window>,
    pub(crate) tables: Vec<(u32, u32)>,
    /// Whether releases of any partition wait.
    pub(crate) holds: bool,
    /// Whether any window begins late.
    pub(crate) lates: bool,
    /// Whether any partition was asked for work before its jobs.
    pub(crate) duties: bool,
    /// The module schedule in force.
    pub(crate) schedule: usize,
    /// Whether a window ends where the plan says, whatever its partition does.
    pub(crate) enforced: bool,
    /// Whether nothing but windows and jobs has touched a core so far, and nobody is told what cores execute.
    pub(crate) quiet: bool,
    /// Whether any pool has jobs that go on before more urgent ones.
    pub(crate) blocks: bool,
    /// Whether the supply of any lane is measured.
    pub(crate) measures: bool,
    /// Whether `Conduct::runs` is told what each core executes.
    pub(crate) tell_runs: bool,
    /// For what line requests wait, as tasks are charged now.
    pub(crate) contention: Contention,
    /// The instant from which nothing runs any more.
    pub(crate) module_stops_ns: u64,
    /// The cores to be looked at in this instant.
    pub(crate) dirty: Vec<u32>,
    /// Writes of logical execution time to come: `(instant, task, job)`, the latest first.
    pub(crate) writes: Vec<(u64, u32, u64)>,
    /// Rooms for the dispatch of pools of several lanes.
    pub(crate) order: Vec<u32>,
    pub(crate) free: Vec<u32>,
    pub(crate) plan: Vec<(u32, u32)>,
    /// Reads of logical execution time in this instant.
    pub(crate) reads: Vec<(u32, u64)>,
    /// Given jobs by task, the next one last; empty where times are drawn.
    pub(crate) given: Vec<Vec<crate::scenario::GivenJob>>,
}

impl Default for Draw {
    fn default() -> Self {
        Self::of(0, 0)
    }
}

/// One task and its jobs. What every job touches comes first, in two lines of a cache: the second ends within `fixed`.
#[derive(Debug, Clone)]
#[repr(C, align(64))]
pub(crate) struct TaskState {
    pub(crate) next_arrival: u64,
    /// The deadline of the oldest job that has not been noted as missed.
    pub(crate) watch: u64,
    /// The job in turn.
    pub(crate) job: Job,
    /// What it has still to execute.
    pub(crate) left: u64,
    /// Whether there is a job in turn.
    pub(crate) present: bool,
    /// Whether it has executed.
    pub(crate) begun: bool,
    /// Whether it may keep more urgent ones waiting.
    pub(crate) blocks: bool,
    /// Whether some job to begin executes otherwise than it was to.
    pub(crate) faulty: bool,
    /// The first jobs of `waiting` that are released.
    pub(crate) released: u32,
    /// The oldest jobs whose miss has been noted.
    pub(crate) noted: u32,
    /// When the first job of `waiting` that is not released is.
    pub(crate) next_release: u64,
    /// The number of the next job to arrive.
    pub(crate) number: u64,
    pub(crate) fixed: Fixed,
    /// Jobs behind the one in turn.
    pub(crate) waiting: VecDeque<Waiting>,
    /// For how long the job in turn may keep more urgent ones waiting, where it may.
    pub(crate) goes_on: u64,
    pub(crate) last_arrival: u64,
    /// Jobs to come that execute longer, and by how much.
    pub(crate) overruns: u64,
    pub(crate) extra_ns: u64,
    /// Whether the next job to begin never ends.
    pub(crate) endless: bool,
    /// What is executed of the job in turn beyond whole nanoseconds, in units of [`WHOLE`](super::WHOLE).
    pub(crate) ahead: u64,
}

/// What does not change about a task.
#[derive(Debug, Clone, Copy, Default)]
#[repr(C)]
pub(crate) struct Fixed {
    pub(crate) pool: u32,
    pub(crate) rank: u32,
    pub(crate) period: u64,
    pub(crate) deadline: u64,
    pub(crate) least: u64,
    pub(crate) charged: u64,
    /// Whether its jobs arrive a period apart, are released at once, and do not keep more urgent ones waiting.
    pub(crate) strict: bool,
    pub(crate) logical: bool,
    /// Whether its jobs arrive when `World::wake` says so only.
    pub(crate) woken: bool,
    /// Whether its messages say how long a job executes.
    pub(crate) loaded: bool,
    pub(crate) reads: bool,
    pub(crate) writes: bool,
    pub(crate) sporadic: bool,
    pub(crate) aligned: bool,
    pub(crate) jitter: u64,
    /// Line requests of one job.
    pub(crate) requests: u64,
    /// The longest time for which one of its jobs may keep a more urgent one waiting.
    pub(crate) goes_on: u64,
    pub(crate) partition: u32,
    pub(crate) blocking: u64,
    /// The first and one past the last rank of its priority.
    pub(crate) group: (u32, u32),
    pub(crate) lane: u32,
    pub(crate) offset: u64,
}

/// One job.
#[derive(Debug, Clone, Copy, Default)]
#[repr(C)]
pub(crate) struct Job {
    pub(crate) number: u64,
    pub(crate) arrival: u64,
    pub(crate) execution: u64,
}

/// One job that has not been in turn yet.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Waiting {
    pub(crate) job: Job,
    pub(crate) release: u64,
    /// For how long it may keep more urgent ones waiting.
    pub(crate) goes_on: u64,
}

/// The number and the instant of the output of a task before.
pub(crate) type Output = (u64, u64);
/// No output yet.
pub(crate) const NO_OUTPUT: Output = (NEVER, 0);

/// Tasks that take turns on the same lanes. What every job touches comes first, in one line of a cache.
#[derive(Debug, Clone, Default)]
#[repr(C, align(64))]
pub(crate) struct Pool {
    /// The ready tasks, a bit for each of the first 64 ranks.
    pub(crate) ready: u64,
    /// The tasks by rank: the most urgent first, then in the order of the file.
    pub(crate) tasks: Vec<u32>,
    /// The core that serves its lane, where it has one lane.
    pub(crate) core: u32,
    /// The job that was executing last, where it has not completed.
    pub(crate) holder: u32,
    pub(crate) partition: u32,
    pub(crate) single: bool,
    /// Whether its most urgent ready job always executes: one lane, fixed priorities without equals, nothing that goes on.
    pub(crate) plain: bool,
    /// Whether its partition's work before all jobs is done here.
    pub(crate) first: bool,
    /// Whether any task can be kept waiting by a less urgent one.
    pub(crate) blocks: bool,
    /// Whether the holder goes on before a more urgent job, for how long at most, and at the cost of which ranks.
    pub(crate) going: bool,
    pub(crate) order: Order,
    pub(crate) going_left: u64,
    pub(crate) going_from: u32,
    pub(crate) going_to: u32,
    /// The ready tasks of the ranks after the first 64.
    pub(crate) ready_beyond: Vec<u64>,
    pub(crate) lanes: Vec<u32>,
    /// What is left of each rank's blocking in its busy stretch.
    pub(crate) blocking: Vec<u64>,
}

/// How the tasks of a pool take turns.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum Order {
    #[default]
    Fixed,
    Deadline,
    Cooperative,
}

/// One virtual core. What every window touches comes first.
#[derive(Debug, Clone)]
#[repr(C)]
pub(crate) struct LaneState {
    pub(crate) partition: u32,
    pub(crate) pool: u32,
    /// The same where it is a plain one.
    pub(crate) plain: u32,
    /// The core that serves it now.
    pub(crate) core: u32,
    pub(crate) stalled_until: u64,
    /// Whether what it is given is measured: the first lane of an opaque guest with a budget.
    pub(crate) measured: bool,
    pub(crate) grant: Grant,
    /// Of a server: what is left of its budget, until when it must be given, when the next period begins.
    pub(crate) left: u64,
    pub(crate) due: u64,
    pub(crate) next_period: u64,
    /// Of a share: turns taken.
    pub(crate) turns: u64,
    /// Windows that begin late, and by how much.
    pub(crate) late: (u64, u64),
}

/// One core.
#[derive(Debug, Clone)]
pub(crate) struct CoreState {
    pub(crate) lane: u32,
    pub(crate) usable: bool,
    /// The pool of its lane, where that is usable and the pool is a plain one.
    pub(crate) plain: u32,
    /// A task, `DUTY` or `NONE`.
    pub(crate) running: u32,
    /// What the recorder and `Conduct` were last told that it executes.
    pub(crate) shown: u32,
    /// Whether the recorder knows what `Conduct` does not.
    pub(crate) untold: bool,
    pub(crate) since: u64,
    pub(crate) stop_at: u64,
    /// When the lane's supply changes, and how.
    pub(crate) edge_at: u64,
    pub(crate) edge: Edge,
    /// When to look again although nothing else happens.
    pub(crate) wake_at: u64,
    pub(crate) stalled_until: u64,
    /// How fast it executes.
    pub(crate) pace: Pace,
    pub(crate) dirty: bool,
    /// The task whose unfinished job keeps the core beyond its window.
    pub(crate) overtime: u32,
    /// Windows that begin late, and by how much.
    pub(crate) late: (u64, u64),
    /// Whether the window to begin has been put off already.
    pub(crate) put_off: bool,
    /// The window in turn, those of the tables in force, and when the frame that holds it ends.
    pub(crate) window: u32,
    pub(crate) windows: (u32, u32),
    pub(crate) frame_end: u64,
    /// When the window under way ends.
    pub(crate) window_end: u64,
    pub(crate) kind: Kind,
    pub(crate) slip: u64,
    /// The tables in force; another one may wait for the frame's end.
    pub(crate) next_tables: Option<usize>,
    /// Since when its lane is supplied, counted up to the last look.
    pub(crate) supplied_since: u64,
    /// Since when its lane is supplied and the core does not stand.
    pub(crate) given_since: u64,
    /// When the head of a window, or of a server's turn, is over.
    pub(crate) head_end: u64,
    /// Server lanes of this core, or the group of its turns.
    pub(crate) servers: Vec<u32>,
    pub(crate) group: u32,
}

/// How a core is shared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum Kind {
    Table,
    Servers,
    Share,
    #[default]
    Whole,
}

/// How the supply of a core changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum Edge {
    #[default]
    None,
    /// A window begins.
    Start,
    /// Its head is over.
    Usable,
    /// A window ends.
    End,
    /// Servers or turns are to be looked at.
    Turn,
}

/// Cores that give turns of one quantum to the same lanes.
#[derive(Debug, Clone, Default)]
pub(crate) struct Turns {
    pub(crate) cores: Vec<u32>,
    pub(crate) lanes: Vec<u32>,
    pub(crate) quantum: u64,
    pub(crate) head: u64,
    pub(crate) number: u64,
}

/// One partition.
#[derive(Debug, Clone, Default)]
pub(crate) struct PartitionState {
    /// Whether jobs arrive.
    pub(crate) up: bool,
    /// Whether it has failed, and nothing has been done about it yet.
    pub(crate) dead: bool,
    /// Releases wait until then.
    pub(crate) held_until: u64,
    /// Work before all jobs, in order.
    pub(crate) duties: VecDeque<(u64, Duty)>,
    /// Of an opaque guest: its supply so far, and the begins of spans that wait for a budget.
    pub(crate) supply: super::opaque::Supply,
}

/// Work of a partition that goes before its jobs, and who is told when it is done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Duty {
    /// `Conduct::duty_done` with this tag: initialisation, building.
    Conduct(u32),
    /// `Comms::frame_done`: a frame is forwarded where no task does it.
    Frame,
}

impl World {
    /// The state of a machine before any run.
    pub(crate) fn new(machine: &crate::Machine) -> Self {
        build::world(machine)
    }

    /// Writes the next instant of a task into the agenda.
    #[inline]
    pub(crate) fn schedule_task(&mut self, task: usize) {
        let state = &self.tasks[task];
        let at = state.next_arrival.min(state.next_release).min(state.watch);
        self.tasks_next.set(task, at);
    }

    /// Writes the next instant of a core into the agenda.
    #[inline]
    pub(crate) fn schedule_core(&mut self, core: usize) {
        self.cores_next.set(core, self.cores[core].next());
    }

    /// A core is to be looked at in this instant.
    #[inline]
    pub(crate) fn touch(&mut self, core: usize) {
        if !self.cores[core].dirty {
            self.cores[core].dirty = true;
            self.dirty.push(core as u32);
        }
    }

    /// A core is to be looked at in this instant, once more where it has been already.
    pub(crate) fn look_again(&mut self, core: usize) {
        self.cores[core].dirty = false;
        self.touch(core);
    }

    /// The cores that serve a pool are to be looked at in this instant.
    #[inline]
    pub(crate) fn touch_pool(&mut self, pool: usize) {
        let state = &self.pools[pool];
        if state.single {
            if state.core != NONE {
                self.touch(state.core as usize);
            }
            return;
        }
        for index in 0..state.lanes.len() {
            let core = self.lanes[self.pools[pool].lanes[index] as usize].core;
            if core != NONE {
                self.touch(core as usize);
            }
        }
    }

    /// A job of a task that is released by messages arrives at `at`, or as soon after it as its period allows.
    pub(crate) fn wake(&mut self, task: usize, at: u64) {
        let state = &mut self.tasks[task];
        let earliest =
            if state.last_arrival == NEVER { 0 } else { state.last_arrival.saturating_add(state.fixed.period) };
        let partition = &self.partitions[state.fixed.partition as usize];
        if partition.up && state.fixed.woken {
            state.next_arrival = state.next_arrival.min(at.max(earliest));
            self.schedule_task(task);
        }
    }

    /// Asks for work of that many nanoseconds of a partition's usable time before all its jobs, after what was asked for before.
    pub(crate) fn add_duty(&mut self, partition: usize, ns: u64, duty: Duty) {
        (self.duties, self.quiet) = (true, false);
        self.partitions[partition].duties.push_back((ns.max(1), duty));
        for pool in 0..self.pools.len() {
            if self.pools[pool].partition as usize == partition {
                self.touch_pool(pool);
            }
        }
    }

    /// The lane that a core serves, its head over.
    pub(crate) fn lane_on(&self, core: usize) -> Option<usize> {
        let state = &self.cores[core];
        (state.lane != NONE).then_some(state.lane as usize)
    }

    /// The task that a core executes.
    pub(crate) fn task_on(&self, core: usize) -> Option<usize> {
        let running = self.cores[core].running;
        (running < DUTY).then_some(running as usize)
    }
}

impl CoreState {
    /// When it is to be looked at.
    #[inline]
    pub(crate) fn next(&self) -> u64 {
        self.stop_at.min(self.edge_at).min(self.wake_at)
    }
}

impl Pool {
    /// The task of that rank has a job in turn, or none any more.
    #[inline]
    pub(crate) fn set_ready(&mut self, rank: u32, ready: bool) {
        let bit = 1 << (rank % 64);
        let word = if rank < 64 { &mut self.ready } else { &mut self.ready_beyond[rank as usize / 64 - 1] };
        *word = if ready { *word | bit } else { *word & !bit };
    }

    /// The most urgent ready rank.
    #[inline]
    pub(crate) fn first_ready(&self) -> Option<u32> {
        if self.ready != 0 {
            return Some(self.ready.trailing_zeros());
        }
        if self.tasks.len() <= 64 { None } else { self.ready_ranks().next() }
    }

    pub(crate) fn is_ready(&self, rank: u32) -> bool {
        let word = if rank < 64 { self.ready } else { self.ready_beyond[rank as usize / 64 - 1] };
        word >> (rank % 64) & 1 == 1
    }

    /// The ready ranks, the most urgent first.
    pub(crate) fn ready_ranks(&self) -> impl Iterator<Item = u32> {
        let words = std::iter::once(&self.ready).chain(&self.ready_beyond);
        words.zip((0..).step_by(64)).flat_map(|(&word, first)| {
            let after = |bits: &u64| Some(bits & (bits - 1)).filter(|bits| *bits != 0);
            let bits = std::iter::successors(Some(word).filter(|bits| *bits != 0), after);
            bits.map(move |bits| first + bits.trailing_zeros())
        })
    }
}

impl TaskState {
    pub(crate) fn new(fixed: Fixed) -> Self {
        Self {
            next_arrival: NEVER,
            next_release: NEVER,
            watch: NEVER,
            job: Job::default(),
            present: false,
            begun: false,
            blocks: false,
            left: 0,
            number: 0,
            waiting: VecDeque::new(),
            released: 0,
            noted: 0,
            goes_on: 0,
            last_arrival: NEVER,
            overruns: 0,
            extra_ns: 0,
            faulty: false,
            endless: false,
            ahead: 0,
            fixed,
        }
    }

    /// Back to before a run; rooms are kept.
    pub(crate) fn reset(&mut self) {
        self.waiting.clear();
        (self.next_arrival, self.next_release, self.watch) = (NEVER, NEVER, NEVER);
        (self.present, self.begun, self.faulty, self.endless) = (false, false, false, false);
        (self.number, self.released, self.noted) = (0, 0, 0);
        (self.last_arrival, self.overruns, self.extra_ns, self.ahead) = (NEVER, 0, 0, 0);
    }

    /// Whether no job is behind the one in turn.
    #[inline]
    pub(crate) fn none_waits(&self) -> bool {
        debug_assert_eq!(self.waiting.is_empty(), self.released == 0 && self.next_release == NEVER);
        self.released == 0 && self.next_release == NEVER
    }

    /// For how long the job in turn may keep more urgent ones waiting.
    pub(crate) fn may_go_on(&self) -> u64 {
        if self.blocks { self.goes_on } else { 0 }
    }

    /// The deadline of the oldest job whose miss has not been noted.
    #[inline]
    pub(crate) fn next_watch(&self) -> u64 {
        if self.present && self.noted == 0 {
            return self.job.arrival.saturating_add(self.fixed.deadline);
        }
        if self.none_waits() {
            return NEVER;
        }
        let oldest = self.waiting.get(self.noted as usize - usize::from(self.present));
        oldest.map_or(NEVER, |oldest| oldest.job.arrival.saturating_add(self.fixed.deadline))
    }
}
