//! One tick: every state that may follow a state, and the walk over all of them.

use super::packing::{Packing, State, TaskState};
use super::supply::Supply;
use super::visited::Visited;
use super::{Arrivals, MAX_TASKS, Oracle, Policy, SmallTask, arrivals};

/// A task as the walk needs it.
#[derive(Clone, Copy, Debug)]
pub(super) struct TaskRules {
    pub(super) period: u32,
    deadline: u32,
    pub(super) wcet: u32,
    bcet: u32,
    pub(super) jitter: u32,
    pub(super) blocking: u32,
    priority: u32,
    pub(super) offset: u32,
    /// The value of `next` that means: not arrived for the first time.
    pub(super) asleep: u32,
    overloaded: bool,
}

/// The system as the walk needs it.
#[derive(Debug)]
pub(super) struct Rules {
    pub(super) supply: Supply,
    pub(super) tasks: Vec<TaskRules>,
    arrivals: Arrivals,
    policy: Policy,
    backlog_mark: u32,
}

impl Rules {
    pub(super) fn new(
        supply: Supply,
        tasks: &[SmallTask],
        arrivals: Arrivals,
        oracle: &Oracle,
        kept: &[usize],
        overloaded: &[bool],
    ) -> Self {
        let rules_of = |&index: &usize| {
            let task = &tasks[index];
            TaskRules {
                period: task.period,
                deadline: task.deadline,
                wcet: task.wcet,
                bcet: if oracle.longest_only { task.wcet } else { task.bcet },
                jitter: task.jitter,
                blocking: task.blocking,
                priority: task.priority,
                offset: if arrivals == Arrivals::Aligned { task.offset } else { 0 },
                asleep: task.period + 1,
                overloaded: overloaded[index],
            }
        };
        Self {
            supply,
            tasks: kept.iter().map(rules_of).collect(),
            arrivals,
            policy: oracle.policy,
            backlog_mark: oracle.backlog_mark,
        }
    }

    fn first_states(&self) -> Vec<State> {
        let mut first = State { budget: self.supply.budget(), ..State::default() };
        for (state, task) in first.tasks.iter_mut().zip(&self.tasks) {
            state.next = match self.arrivals {
                Arrivals::FreeRunning => task.asleep,
                Arrivals::Aligned => task.offset,
            };
        }
        // While all sleep, a server comes from the begin of its period to all the rest.
        let positions = match (&self.supply, self.arrivals) {
            (Supply::Table(ticks), Arrivals::FreeRunning) => ticks.len() as u32,
            _ => 1,
        };
        let at = |position| {
            let mut state = first;
            state.position = position;
            state
        };
        (0..positions).map(at).collect()
    }

    fn is_asleep(&self, state: &TaskState, task: usize) -> bool {
        self.arrivals == Arrivals::FreeRunning && state.next == self.tasks[task].asleep
    }
}

/// The walk over all reachable states of one system.
pub(super) struct Walk<'a> {
    rules: &'a Rules,
    packing: &'a Packing,
    visited: &'a mut Visited,
    /// Whether the tick under way is usable.
    usable: bool,
    /// Greatest response seen of each task, in ticks.
    pub(super) worst: [u32; MAX_TASKS],
}

impl<'a> Walk<'a> {
    pub(super) fn new(rules: &'a Rules, packing: &'a Packing, visited: &'a mut Visited) -> Self {
        Self { rules, packing, visited, usable: false, worst: [0; MAX_TASKS] }
    }

    /// Breadth-first from the first states until no new state turns up.
    pub(super) fn run(&mut self) {
        if self.rules.tasks.is_empty() {
            return;
        }
        for first in self.rules.first_states() {
            self.visited.insert(self.packing.pack(&first));
        }
        let mut index = 0;
        while let Some(word) = self.visited.get(index) {
            let state = self.packing.unpack(word);
            let choices = self.rules.supply.choices(state.position, state.budget);
            for usable in [false, true] {
                if choices[usize::from(usable)] {
                    self.usable = usable;
                    self.arrive(0, &state);
                }
            }
            index += 1;
        }
    }

    /// Arrivals and releases at this instant, from `task` onward, in every way allowed.
    fn arrive(&mut self, task: usize, state: &State) {
        if task == self.rules.tasks.len() {
            return self.dispatch(state);
        }
        let mut state = *state;
        if self.rules.is_asleep(&state.tasks[task], task) {
            self.arrive(task + 1, &state);
            state.tasks[task].next = 0;
        }
        if state.tasks[task].next == 0 {
            state.tasks[task].next = self.rules.tasks[task].period;
            state.tasks[task].unreleased += 1;
        }
        self.release(task, &state);
    }

    /// Every number of releases of one task at this instant.
    ///
    /// Where the tick is not usable only those due are made. A release matters at a dispatch alone, and an
    /// earlier one is made up for at the next usable tick or when due. It does not matter to
    /// blocking either: nothing executes before that tick, so no stretch ends and nothing is lent.
    fn release(&mut self, task: usize, state: &State) {
        let rules = &self.rules.tasks[task];
        let waiting = state.tasks[task].unreleased;
        let due = arrivals::due(rules.period, rules.jitter, state.tasks[task].next, waiting);
        let most = if self.usable { waiting } else { due };
        for count in due..=most {
            let mut next = *state;
            next.tasks[task].unreleased -= count;
            next.tasks[task].released = self.add_released(rules, state.tasks[task].released, count);
            self.arrive(task + 1, &next);
        }
    }

    fn add_released(&self, rules: &TaskRules, released: u32, count: u32) -> u32 {
        if rules.overloaded {
            return (released + count).min(self.rules.backlog_mark);
        }
        let sum = released + count;
        assert!(sum <= self.packing.most_released, "a backlog within supply outgrew its bits");
        sum
    }

    /// Every choice of the job that gets this tick.
    fn dispatch(&mut self, state: &State) {
        let top = if self.usable { self.top(state) } else { None };
        let Some(top) = top else {
            return self.end_tick(state);
        };
        self.execute(top, state);
        for other in 0..self.rules.tasks.len() {
            if other != top && self.may_go_first(other, top, state) {
                let mut lent = *state;
                self.lend(other, top, &mut lent);
                self.execute(other, &lent);
            }
        }
    }

    /// The task whose head is first by the order of the policy.
    fn top(&self, state: &State) -> Option<usize> {
        let ready = (0..self.rules.tasks.len()).filter(|&task| state.tasks[task].released > 0);
        // The last of equal keys would win, so the order is turned to let the first one win.
        ready.rev().max_by_key(|&task| {
            let age = head_age(&self.rules.tasks[task], &state.tasks[task]);
            let rules = &self.rules.tasks[task];
            self.rules.policy.key(rules.priority, rules.deadline, state.tasks[task].executed > 0, age)
        })
    }

    /// Whether the head of `other` may execute although `top` is first.
    fn may_go_first(&self, other: usize, top: usize, state: &State) -> bool {
        let rules = &self.rules.tasks;
        let of_other = &state.tasks[other];
        if rules[other].priority == rules[top].priority {
            // How old a head of an overloaded task is, is not known at the mark: either goes first.
            let open = rules[other].overloaded && state.tasks[top].executed == 0;
            return open && of_other.released > 0;
        }
        let between = |task: &usize| is_between(rules, *task, other, top);
        // Without this a job above one that a policy put first would have nothing between to ask.
        rules[other].priority < rules[top].priority
            && of_other.executed > 0
            && (0..rules.len()).filter(between).all(|task| state.tasks[task].lent < rules[task].blocking)
    }

    /// Charges one tick of `other` to every task between it and `top`.
    fn lend(&self, other: usize, top: usize, state: &mut State) {
        for task in 0..self.rules.tasks.len() {
            if is_between(&self.rules.tasks, task, other, top) {
                state.tasks[task].lent += 1;
            }
        }
    }

    /// One tick of the head of `task`, and its completion where it may or must complete.
    fn execute(&mut self, task: usize, state: &State) {
        let rules = &self.rules.tasks[task];
        let mut state = *state;
        let executed = state.tasks[task].executed + 1;
        if executed >= rules.bcet {
            self.complete(task, &state);
        }
        if executed < rules.wcet {
            state.tasks[task].executed = executed;
            self.end_tick(&state);
        }
    }

    fn complete(&mut self, task: usize, state: &State) {
        let rules = &self.rules.tasks[task];
        let response = head_age(rules, &state.tasks[task]) + 1;
        self.worst[task] = self.worst[task].max(response);
        let at_mark = rules.overloaded && state.tasks[task].released == self.rules.backlog_mark;
        let mut state = *state;
        state.tasks[task].executed = 0;
        if at_mark {
            self.end_tick(&state);
        }
        state.tasks[task].released -= 1;
        self.end_tick(&state);
    }

    /// Moves to the next instant and notes the state there.
    fn end_tick(&mut self, state: &State) {
        let mut next = *state;
        next.position = (state.position + 1) % self.rules.supply.cycle();
        next.budget = match next.position {
            0 => self.rules.supply.budget(),
            _ => state.budget.saturating_sub(self.usable.into()),
        };
        for task in 0..self.rules.tasks.len() {
            if !self.rules.is_asleep(&state.tasks[task], task) {
                next.tasks[task].next -= 1;
            }
            if !self.lends_on(task, state) {
                next.tasks[task].lent = 0;
            }
        }
        self.visited.insert(self.packing.pack(&next));
    }

    /// Whether what `task` has lent still counts: its level is busy, and some begun job below could
    /// ask for more. Without one none can begin before the level's stretch ends.
    fn lends_on(&self, task: usize, state: &State) -> bool {
        if state.tasks[task].lent == 0 {
            return false;
        }
        let priority = self.rules.tasks[task].priority;
        let mut busy = false;
        let mut begun_below = false;
        for (rules, of_task) in self.rules.tasks.iter().zip(&state.tasks) {
            busy |= rules.priority >= priority && of_task.released > 0;
            begun_below |= rules.priority < priority && of_task.executed > 0;
        }
        busy && begun_below
    }
}

/// Whether `task` is above `low` and not above `high`.
fn is_between(rules: &[TaskRules], task: usize, low: usize, high: usize) -> bool {
    rules[low].priority < rules[task].priority && rules[task].priority <= rules[high].priority
}

/// Ticks since the head arrived.
fn head_age(rules: &TaskRules, state: &TaskState) -> u32 {
    arrivals::age_of_oldest(rules.period, state.next, state.unreleased + state.released)
}
