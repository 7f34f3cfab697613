//! One tick of a board: every state that may follow a state, and the walk over all of them.

use super::state::{ASLEEP, State};
use super::{BoardTask, Exchange, MAX_TASKS, SmallBoard, Start, Unanswered};
use crate::oracle::arrivals;
use crate::oracle::supply::Supply;
use crate::oracle::visited::Visited;

/// What is watched on a board. Its note is a part of the state.
pub(in crate::oracle) trait Observer {
    /// The notes that may follow when a job of the task reads.
    fn read(&self, task: usize, note: u64) -> [Option<u64>; 2];

    /// The note that follows when a job of the task writes; none where the run need not be followed any further.
    fn write(&mut self, task: usize, note: u64, asleep: &Asleep) -> Result<Option<u64>, Unanswered>;

    /// The note one tick later; none where the run need not be followed any further.
    fn tick(&self, note: u64) -> Option<u64>;
}

/// Which tasks have not arrived for the first time.
pub(in crate::oracle) type Asleep = [bool; MAX_TASKS];

/// The walk over all reachable states of a board.
pub(in crate::oracle) struct Walk<'a, O> {
    tasks: &'a [BoardTask],
    board: &'a SmallBoard,
    kept: Vec<bool>,
    /// Of each partition, its window table.
    supplies: Vec<Supply>,
    visited: Visited<u128>,
    observer: &'a mut O,
    ended: Result<(), Unanswered>,
}

impl<'a, O: Observer> Walk<'a, O> {
    pub(super) fn new(board: &'a SmallBoard, kept: Vec<bool>, observer: &'a mut O) -> Self {
        Self {
            tasks: &board.tasks,
            board,
            kept,
            supplies: board.partitions.iter().map(|own| Supply::table(board.frame, &own.windows)).collect(),
            visited: Visited::default(),
            observer,
            ended: Ok(()),
        }
    }

    /// Breadth-first from the begin of the first frame until no new state turns up.
    pub(super) fn run(mut self) -> Result<(), Unanswered> {
        self.visited.insert(self.first_state().pack());
        let mut index = 0;
        while let Some(word) = self.visited.get(index) {
            self.arrive(0, &State::unpack(word));
            self.ended?;
            index += 1;
        }
        Ok(())
    }

    fn first_state(&self) -> State {
        let mut first = State::default();
        for (state, task) in first.tasks.iter_mut().zip(self.tasks) {
            state.next = match task.start {
                Start::FreeRunning => ASLEEP,
                Start::Aligned => task.task.offset,
            };
        }
        first
    }

    fn is_asleep(&self, task: usize, state: &State) -> bool {
        self.tasks[task].start == Start::FreeRunning && state.tasks[task].next == ASLEEP
    }

    fn is_usable(&self, partition: usize, state: &State) -> bool {
        let [_, usable] = self.supplies[partition].choices(state.position, 0);
        usable
    }

    /// Arrivals and releases at this instant, from `task` onward, in every way allowed.
    fn arrive(&mut self, task: usize, state: &State) {
        if task == self.tasks.len() {
            return self.dispatch(0, 0, state);
        }
        if !self.kept[task] {
            return self.arrive(task + 1, state);
        }
        let mut state = *state;
        if self.is_asleep(task, &state) {
            self.arrive(task + 1, &state);
            state.tasks[task].next = 0;
        }
        if state.tasks[task].next > 0 {
            return self.release(task, &state);
        }
        state.tasks[task].next = self.tasks[task].task.period;
        state.tasks[task].unreleased += 1;
        if self.tasks[task].exchange == Exchange::StartToFinish {
            return self.release(task, &state);
        }
        state.tasks[task].holds = true;
        for note in self.observer.read(task, state.note).into_iter().flatten() {
            state.note = note;
            self.release(task, &state);
        }
    }

    /// Every number of releases of one task at this instant; where the tick is not usable only those due.
    fn release(&mut self, task: usize, state: &State) {
        let rules = &self.tasks[task];
        let of_task = &state.tasks[task];
        let due = arrivals::due(rules.task.period, rules.task.jitter, of_task.next, of_task.unreleased);
        let most = if self.is_usable(rules.partition, state) { of_task.unreleased } else { due };
        for count in due..=most {
            let mut next = *state;
            next.tasks[task].unreleased -= count;
            next.tasks[task].released += count;
            self.arrive(task + 1, &next);
        }
    }

    /// One tick of the first job of each partition, from `partition` onward; `runs` has the bits of the tasks that
    /// have got this tick.
    fn dispatch(&mut self, partition: usize, runs: u32, state: &State) {
        if partition == self.board.partitions.len() {
            let note = self.observer.tick(state.note);
            return note.map_or((), |note| self.complete(0, runs, &State { note, ..*state }));
        }
        let top = if self.is_usable(partition, state) { self.top(partition, state) } else { None };
        let Some(task) = top else {
            return self.dispatch(partition + 1, runs, state);
        };
        let runs = runs | 1 << task;
        let mut state = *state;
        state.tasks[task].executed += 1;
        if state.tasks[task].executed > 1 || self.tasks[task].exchange == Exchange::Logical {
            return self.dispatch(partition + 1, runs, &state);
        }
        for note in self.observer.read(task, state.note).into_iter().flatten() {
            state.note = note;
            self.dispatch(partition + 1, runs, &state);
        }
    }

    /// The task of the partition whose head is first by the order of its policy.
    fn top(&self, partition: usize, state: &State) -> Option<usize> {
        let policy = self.board.partitions[partition].policy;
        let ready = |&task: &usize| self.tasks[task].partition == partition && state.tasks[task].released > 0;
        // The last of equal keys would win, so the order is turned to let the first one win.
        (0..self.tasks.len()).rev().filter(ready).max_by_key(|&task| {
            let (rules, of_task) = (&self.tasks[task].task, &state.tasks[task]);
            let age = arrivals::age_of_oldest(rules.period, of_task.next, of_task.unreleased + of_task.released);
            policy.key(rules.priority, rules.deadline, of_task.executed > 0, age)
        })
    }

    /// Completion of those that have got this tick, from `task` onward, where they may or must complete.
    fn complete(&mut self, task: usize, runs: u32, state: &State) {
        if task == self.tasks.len() {
            return self.end_tick(state);
        }
        if runs & 1 << task == 0 {
            return self.complete(task + 1, runs, state);
        }
        let rules = &self.tasks[task];
        let executed = state.tasks[task].executed;
        if executed < rules.task.wcet {
            self.complete(task + 1, runs, state);
        }
        if executed >= rules.task.bcet {
            let mut next = *state;
            next.tasks[task].executed = 0;
            next.tasks[task].released -= 1;
            if rules.exchange == Exchange::Logical || self.write(task, &mut next) {
                self.complete(task + 1, runs, &next);
            }
        }
    }

    /// Moves to the next instant, with what logical execution time writes there, and notes the state.
    fn end_tick(&mut self, state: &State) {
        let mut next = *state;
        next.position = (state.position + 1) % self.board.frame;
        for task in 0..self.tasks.len() {
            if self.is_asleep(task, state) || !self.kept[task] {
                continue;
            }
            next.tasks[task].next -= 1;
            if self.is_due(task, &next) && !self.write_in_time(task, &mut next) {
                return;
            }
        }
        self.visited.insert(next.pack());
    }

    /// Whether a job with logical execution time writes now.
    fn is_due(&self, task: usize, state: &State) -> bool {
        let rules = &self.tasks[task].task;
        state.tasks[task].holds && rules.period - state.tasks[task].next == rules.deadline
    }

    /// The write of logical execution time, which is late where the job is not complete.
    fn write_in_time(&mut self, task: usize, state: &mut State) -> bool {
        let of_task = &mut state.tasks[task];
        if of_task.unreleased + of_task.released > 0 {
            self.ended = Err(Unanswered::Late(task));
            return false;
        }
        of_task.holds = false;
        self.write(task, state)
    }

    /// Lets the observer note a write; whether the run is to be followed any further.
    fn write(&mut self, task: usize, state: &mut State) -> bool {
        let mut asleep = [false; MAX_TASKS];
        (0..self.tasks.len()).for_each(|task| asleep[task] = self.is_asleep(task, state));
        match self.observer.write(task, state.note, &asleep) {
            Ok(Some(note)) => state.note = note,
            Ok(None) => return false,
            Err(unanswered) => self.ended = Err(unanswered),
        }
        self.ended.is_ok()
    }
}
