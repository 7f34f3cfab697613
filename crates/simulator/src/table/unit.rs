//! One partition alone, in supply time.
//!
//! **Computes** when each job of a partition begins and completes, from its releases and its supply alone.
//! **Source.** Ours; the idea that time be counted only while a partition's windows last is common practice, no source.
//! **Assumptions.** Nothing but the releases and the usable parts of the windows acts on the partition: one lane, preemptive
//! fixed priority with distinct priorities, no blocking, and no message changes what executes when.
//! **Symbols.** `now`, `next`: supply so far and up to the next release, in nanoseconds of supply; other times in nanoseconds.
//! **Invariants and why it ends.** A job begins at the first instant after its supply was reached and completes at the instant
//! at which its last nanosecond was supplied, so a release between two windows comes after the completions of the first and
//! before the begins of the second, as `docs/semantics.md` orders them. Each step takes a release or completes a job.
//! **Checked by** the general engine, to the byte, on random machines; jobs worked by hand; the peers' checksums.

use super::list::List;
use super::releases::{POINT, Ranked, Release};
use super::script::{Point, Script};
use super::supply::Open;
use crate::draw::{Draw, Purpose};
use crate::engine::{NEVER, spread};
use crate::scenario::Spread;
use crate::seen::TaskSeen;
use std::collections::VecDeque;

/// Longer than any run: the execution of a job that never ends.
pub(super) const ENDLESS: u64 = 1 << 60;

/// What does not change about a task.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Fixed {
    subject: u64,
    deadline_ns: u64,
    least_ns: u64,
    pub(super) charged_ns: u64,
}

/// One partition.
#[derive(Debug, Clone, Default)]
pub(super) struct Unit {
    pub(super) ranked: Ranked,
    fixed: Vec<Fixed>,
    /// The tasks that read, by rank, and those that write.
    readers: u64,
    writers: u64,
}

/// The job in turn of a task, and what was seen of the task.
#[derive(Debug, Clone, Copy)]
#[repr(align(64))]
struct State {
    left: u64,
    arrival_ns: u64,
    jobs: u64,
    sum_ns: u64,
    most_ns: u64,
    /// The last output and the least and most time between two.
    last_ns: u64,
    least_gap_ns: u64,
    most_gap_ns: u64,
}

impl State {
    const FRESH: Self = Self {
        left: 0,
        arrival_ns: 0,
        jobs: 0,
        sum_ns: 0,
        most_ns: 0,
        last_ns: NEVER,
        least_gap_ns: NEVER,
        most_gap_ns: 0,
    };
}

/// When the jobs of a task read and wrote.
#[derive(Debug, Clone, Default)]
pub(super) struct Log {
    pub(super) reads: Vec<u64>,
    pub(super) writes: Vec<u64>,
}

/// What one run of a unit leaves, and the room for the next.
#[derive(Debug, Clone)]
pub(super) struct Room {
    states: [State; 64],
    pub(super) missed: [u64; 64],
    pub(super) dropped: [u64; 64],
    pub(super) logs: Vec<Log>,
    /// How many jobs to begin a fault changes still.
    changes: [u64; 64],
    /// Released jobs behind the one in turn: arrival and execution.
    waiting: Vec<VecDeque<(u64, u64)>>,
    /// Whether a deadline was missed while the health monitor could see it.
    pub(super) noticed: bool,
}

/// What a run draws and how long it lasts.
#[derive(Debug, Clone, Copy)]
pub(super) struct Clock {
    pub(super) draw: Draw,
    pub(super) executions: Spread,
    pub(super) span_ns: u64,
}

impl Unit {
    pub(super) fn new(ranked: Ranked) -> Self {
        let fixed = ranked.tasks.iter().map(|(index, task)| Fixed {
            subject: *index as u64,
            deadline_ns: task.deadline_ns,
            least_ns: task.least_ns.max(1),
            charged_ns: task.charged_ns.max(1),
        });
        let mask = |holds: fn(&crate::machine::Task) -> bool| {
            let bit = |(rank, (_, task)): (usize, &(usize, _))| u64::from(holds(task)) << rank;
            ranked.tasks.iter().enumerate().map(bit).fold(0, std::ops::BitOr::bitor)
        };
        Self {
            fixed: fixed.collect(),
            readers: mask(|task| !task.reads.is_empty()),
            writers: mask(|task| !task.writes.is_empty()),
            ranked,
        }
    }

    pub(super) fn room(&self) -> Room {
        Room {
            states: [State::FRESH; 64],
            missed: [0; 64],
            dropped: [0; 64],
            logs: vec![Log::default(); self.fixed.len()],
            changes: [0; 64],
            waiting: vec![VecDeque::new(); self.fixed.len()],
            noticed: false,
        }
    }

    /// Runs the partition.
    pub(super) fn run(&self, list: &List, opens: &[Open], script: &Script, clock: Clock, room: &mut Room) {
        room.clear(self.fixed.len());
        if script.acts() {
            Progress::<true>::new(self, opens, script, clock, room).run(list);
        } else {
            Progress::<false>::new(self, opens, script, clock, room).run(list);
        }
        for &(rank, arrival_ns) in &list.unreleased {
            self.overdue(rank, arrival_ns, clock.span_ns, script, room);
        }
    }

    /// Jobs under way are dropped at an instant; their tasks' next outputs have none before them.
    fn drop_all(&self, ready: u64, list: &List, at_ns: u64, script: &Script, room: &mut Room) {
        for rank in (0..self.fixed.len()).filter(|rank| ready >> rank & 1 == 1) {
            let behind = room.waiting[rank].len() as u64;
            self.leave_one(rank, at_ns, script, room);
            room.dropped[rank] += 1 + behind;
            room.states[rank].last_ns = NEVER;
        }
        for &(rank, arrival_ns) in &list.dropped {
            self.overdue(rank, arrival_ns, at_ns, script, room);
            room.dropped[rank] += 1;
            room.states[rank].last_ns = NEVER;
        }
    }

    /// Jobs under way have missed what deadlines lie before an instant.
    fn leave(&self, ready: u64, at_ns: u64, script: &Script, room: &mut Room) {
        for rank in (0..self.fixed.len()).filter(|rank| ready >> rank & 1 == 1) {
            self.leave_one(rank, at_ns, script, room);
        }
    }

    fn leave_one(&self, rank: usize, at_ns: u64, script: &Script, room: &mut Room) {
        let arrivals = std::mem::take(&mut room.waiting[rank]);
        let in_turn = (room.states[rank].arrival_ns, 0);
        for (arrival_ns, _) in std::iter::once(in_turn).chain(arrivals) {
            self.overdue(rank, arrival_ns, at_ns, script, room);
        }
    }

    /// A job that has not completed at an instant, and does not.
    fn overdue(&self, rank: usize, arrival_ns: u64, at_ns: u64, script: &Script, room: &mut Room) {
        let due_ns = arrival_ns.saturating_add(self.fixed[rank].deadline_ns);
        room.missed[rank] += u64::from(due_ns < at_ns);
        room.noticed |= due_ns < at_ns && !script.is_dead(due_ns);
    }
}

/// A run under way; where it is not `FAULTY`, nothing that only faults do is looked at.
struct Progress<'a, const FAULTY: bool> {
    unit: &'a Unit,
    opens: &'a [Open],
    script: &'a Script,
    clock: Clock,
    room: &'a mut Room,
    /// The supply so far, and the usable part in which it is reached.
    now: u64,
    open: usize,
    /// By rank: jobs in turn, those that have not executed and whose begin matters, tasks with more jobs behind.
    ready: u64,
    fresh: u64,
    behind: u64,
    /// By rank: tasks whose next job to begin executes otherwise. Whether any may execute: 0 while the partition is dead.
    changed: u64,
    awake: u64,
}

impl<'a, const FAULTY: bool> Progress<'a, FAULTY> {
    fn new(unit: &'a Unit, opens: &'a [Open], script: &'a Script, clock: Clock, room: &'a mut Room) -> Self {
        let (now, open, ready, fresh, behind, changed, awake) = (0, 0, 0, 0, 0, 0, u64::MAX);
        Self { unit, opens, script, clock, room, now, open, ready, fresh, behind, changed, awake }
    }

    fn run(mut self, list: &List) {
        for release in &list.releases {
            self.execute(release.supply);
            if release.rank < POINT {
                self.release(*release);
            } else {
                self.point(Point::of(release.number), release.arrival_ns, list);
            }
        }
    }

    /// Executes jobs, the most urgent first, until that much is supplied.
    #[inline(always)]
    fn execute(&mut self, next: u64) {
        while self.ready != 0 && (!FAULTY || self.awake != 0) && self.now < next {
            let rank = (self.ready.trailing_zeros() & 63) as usize;
            let bit = self.ready & self.ready.wrapping_neg();
            if self.fresh & bit != 0 {
                self.begin(rank, bit);
            }
            let state = &mut self.room.states[rank];
            let done = self.now + state.left;
            if done > next {
                state.left = done - next;
                break;
            }
            self.now = done;
            if !self.complete(rank, bit) {
                break;
            }
        }
        self.now = next;
    }

    /// A job executes for the first time, at the instant at which supply goes on.
    #[inline(always)]
    fn begin(&mut self, rank: usize, bit: u64) {
        self.fresh ^= bit;
        if self.unit.readers & bit != 0 {
            while self.opens[self.open].until <= self.now {
                self.open += 1;
            }
            let instant_ns = self.instant_ns();
            self.room.logs[rank].reads.push(instant_ns);
        }
        if FAULTY && self.changed & bit != 0 {
            self.room.states[rank].left = self.script.execution(&self.unit.fixed[rank]);
            self.room.changes[rank] -= 1;
            self.changed ^= if self.room.changes[rank] == 0 { bit } else { 0 };
        }
    }

    /// A job completes, at the instant at which its last nanosecond was supplied. Says whether that lies within the run.
    #[inline(always)]
    fn complete(&mut self, rank: usize, bit: u64) -> bool {
        while self.opens[self.open].until < self.now {
            self.open += 1;
        }
        let instant_ns = self.instant_ns();
        let state = &mut self.room.states[rank];
        if instant_ns >= self.clock.span_ns {
            // It does not count, and is looked at once more at the end.
            state.left = ENDLESS;
            return false;
        }
        self.ready ^= bit;
        if state.note(instant_ns) > self.unit.fixed[rank].deadline_ns {
            self.room.missed[rank] += 1;
            self.room.noticed = true;
        }
        if (self.unit.writers | if FAULTY { self.script.logged } else { 0 }) & bit != 0 {
            self.room.logs[rank].writes.push(instant_ns);
        }
        if self.behind & bit != 0 {
            self.take_turn(bit);
            self.behind ^= if self.room.take_waiting(rank) { bit } else { 0 };
        }
        true
    }

    /// The instant of what is supplied now.
    #[inline(always)]
    fn instant_ns(&self) -> u64 {
        let open = self.opens[self.open];
        open.end_ns - (open.until - self.now)
    }

    /// A job of a task is in turn.
    #[inline(always)]
    fn take_turn(&mut self, bit: u64) {
        let matters = self.unit.readers | if FAULTY { self.script.changed } else { 0 };
        self.ready |= bit;
        self.fresh |= bit & matters;
    }

    #[inline(always)]
    fn release(&mut self, release: Release) {
        let rank = (release.rank & 63) as usize;
        let (bit, of, number) = (1 << rank, &self.unit.fixed[rank], u64::from(release.number));
        let Clock { draw, executions, .. } = self.clock;
        let execution = spread(draw, executions, Purpose::Execution, of.subject, number, of.least_ns, of.charged_ns);
        if self.ready & bit == 0 {
            self.take_turn(bit);
            let state = &mut self.room.states[rank];
            (state.left, state.arrival_ns) = (execution, release.arrival_ns);
        } else {
            self.behind |= bit;
            self.room.waiting[rank].push_back((release.arrival_ns, execution));
        }
    }

    fn point(&mut self, point: Point, at_ns: u64, list: &List) {
        let (unit, script) = (self.unit, self.script);
        match point {
            Point::Changes => {
                self.changed = if script.jobs > 0 { script.changed } else { 0 };
                self.room.changes = [script.jobs; 64];
            }
            Point::Fails => self.awake = 0,
            Point::TakenDown => {
                unit.drop_all(self.ready, list, at_ns, script, self.room);
                (self.ready, self.fresh, self.behind, self.awake) = (0, 0, 0, u64::MAX);
            }
            Point::End => unit.leave(self.ready, at_ns, script, self.room),
        }
    }
}

impl State {
    /// The job in turn completes. Its response.
    #[inline(always)]
    fn note(&mut self, instant_ns: u64) -> u64 {
        let response_ns = instant_ns - self.arrival_ns;
        self.jobs += 1;
        self.sum_ns = self.sum_ns.wrapping_add(response_ns);
        self.most_ns = self.most_ns.max(response_ns);
        if self.last_ns != NEVER {
            let gap_ns = instant_ns - self.last_ns;
            self.least_gap_ns = self.least_gap_ns.min(gap_ns);
            self.most_gap_ns = self.most_gap_ns.max(gap_ns);
        }
        self.last_ns = instant_ns;
        response_ns
    }
}

impl Room {
    fn clear(&mut self, tasks: usize) {
        self.states[..tasks].fill(State::FRESH);
        self.missed[..tasks].fill(0);
        self.dropped[..tasks].fill(0);
        for log in &mut self.logs {
            log.reads.clear();
            log.writes.clear();
        }
        self.noticed = false;
    }

    /// The next released job of a task is in turn. Says whether it was the last.
    fn take_waiting(&mut self, rank: usize) -> bool {
        if let Some((arrival_ns, execution)) = self.waiting[rank].pop_front() {
            (self.states[rank].left, self.states[rank].arrival_ns) = (execution, arrival_ns);
        }
        self.waiting[rank].is_empty()
    }

    pub(super) fn completions(&self) -> u64 {
        self.states[..self.logs.len()].iter().map(|state| state.jobs).sum()
    }

    /// What was seen of a task whose jobs arrive that far apart.
    pub(super) fn seen(&self, rank: usize, period_ns: u64) -> TaskSeen {
        let state = &self.states[rank];
        let shift = |gap_ns: u64| gap_ns as i64 - period_ns as i64;
        let shifts = (shift(state.least_gap_ns), shift(state.most_gap_ns));
        TaskSeen {
            jobs: state.jobs,
            sum_ns: state.sum_ns,
            most_ns: state.most_ns,
            missed: self.missed[rank],
            dropped: self.dropped[rank],
            output_shift_ns: (state.least_gap_ns != NEVER).then_some(shifts),
        }
    }
}
