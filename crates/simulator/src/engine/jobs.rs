//! Jobs: arrivals, releases, deadlines, completion.

use super::agenda::NEVER;
use super::run::Run;
use super::world::{Job, NONE, Order, Output, TaskState, Waiting};
use crate::Recorder;
use crate::conduct::Conduct;
use crate::draw::{Draw, Purpose};
use crate::event::What;
use crate::scenario::{Drawn, Spread, Times};
use crate::seen::TaskSeen;

/// A number from `least` to `most`, as the spread says.
#[inline]
pub(crate) fn spread(
    draw: Draw,
    how: Spread,
    purpose: Purpose,
    subject: u64,
    number: u64,
    least: u64,
    most: u64,
) -> u64 {
    match how {
        Spread::Even => draw.between(purpose, subject, number, least, most),
        Spread::Least => least,
        Spread::Most => most.max(least),
        Spread::Ends if draw.bits(purpose, subject, number) >> 63 == 0 => least,
        Spread::Ends => most.max(least),
    }
}

impl<R: Recorder> Run<'_, '_, R> {
    /// A task is due: deadlines that pass, then arrivals, then releases.
    pub(super) fn task_due(&mut self, task: usize, conduct: &mut Conduct) {
        while self.world.tasks[task].watch <= self.now {
            self.miss(task, conduct);
        }
        while self.world.tasks[task].next_arrival <= self.now {
            self.arrive(task);
        }
        while self.world.tasks[task].next_release <= self.now {
            self.release_waiting(task);
        }
        self.world.schedule_task(task);
    }

    #[inline(never)]
    fn miss(&mut self, task: usize, conduct: &mut Conduct) {
        let state = &mut self.world.tasks[task];
        let job = if state.present && state.noted == 0 {
            state.job.number
        } else {
            state.waiting[state.noted as usize - usize::from(state.present)].job.number
        };
        state.noted += 1;
        state.watch = state.next_watch();
        self.out.seen.tasks[task].missed += 1;
        self.tell(What::Misses { task, job });
        conduct.missed(task, job, self);
    }

    #[inline]
    fn arrive(&mut self, task: usize) {
        if self.world.tasks[task].fixed.woken && !self.comms.releases() {
            self.world.tasks[task].next_arrival = NEVER;
            return;
        }
        let mut arrived = match &self.scenario.times {
            Times::Drawn(drawn) => self.world.tasks[task].drawn_job(task, self.world.draw, drawn),
            Times::Given(_) => match self.given_job(task) {
                Some(job) => job,
                None => return,
            },
        };
        let job = arrived.job;
        self.tell(What::Arrives { task, job: job.number });
        let state = &mut self.world.tasks[task];
        if state.fixed.woken {
            state.last_arrival = job.arrival;
        }
        if state.fixed.logical && state.fixed.reads {
            self.world.reads.push((task as u32, job.number));
        }
        if self.world.holds {
            arrived.release = arrived.release.max(self.world.partitions[state.fixed.partition as usize].held_until);
        }
        if arrived.release <= self.now && !state.present && state.none_waits() {
            state.take(arrived);
            return self.released(task, job.number);
        }
        state.waiting.push_back(arrived);
        state.await_release();
        if state.watch == NEVER {
            state.watch = state.next_watch();
        }
    }

    #[inline(never)]
    fn given_job(&mut self, task: usize) -> Option<Waiting> {
        let given = self.world.given[task].pop();
        let state = &mut self.world.tasks[task];
        state.next_arrival = self.world.given[task].last().map_or(NEVER, |next| next.arrival_ns);
        let given = given.filter(|_| self.world.partitions[state.fixed.partition as usize].up)?;
        let number = state.number;
        state.number += 1;
        Some(Waiting {
            job: Job { number, arrival: given.arrival_ns, execution: given.execution_ns.max(1) },
            release: given.release_ns.max(given.arrival_ns),
            goes_on: given.goes_on_ns,
        })
    }

    /// The oldest waiting job that is not released yet is.
    #[inline(never)]
    fn release_waiting(&mut self, task: usize) {
        let state = &mut self.world.tasks[task];
        let number = state.waiting[state.released as usize].job.number;
        state.released += 1;
        state.await_release();
        if !state.present {
            self.take_waiting(task);
        }
        self.released(task, number);
    }

    /// The oldest released job is in turn.
    fn take_waiting(&mut self, task: usize) {
        let state = &mut self.world.tasks[task];
        state.released -= 1;
        if let Some(job) = state.waiting.pop_front() {
            state.take(job);
        }
    }

    #[inline]
    fn released(&mut self, task: usize, job: u64) {
        self.out.seen.counts.releases += 1;
        self.tell(What::Released { task, job });
        self.make_ready(task);
    }

    /// A task has a job in turn: levels that had none begin a busy stretch.
    #[inline]
    fn make_ready(&mut self, task: usize) {
        let fixed = &self.world.tasks[task].fixed;
        let (pool, rank) = (fixed.pool as usize, fixed.rank);
        if self.world.blocks && self.world.pools[pool].blocks {
            self.begin_stretches(pool, self.world.tasks[task].fixed.group.0);
        }
        self.world.pools[pool].set_ready(rank, true);
        self.world.touch_pool(pool);
    }

    /// Levels from rank `from` on without a job in turn begin a busy stretch, with all their blocking; by deadlines, the pool.
    #[inline(never)]
    fn begin_stretches(&mut self, index: usize, from: u32) {
        let first = self.world.pools[index].first_ready();
        let pool = &mut self.world.pools[index];
        let all = pool.tasks.len() as u32;
        let stretches = match (pool.order, first) {
            (Order::Deadline, Some(_)) => return,
            (Order::Deadline, None) => 0..all,
            (Order::Fixed | Order::Cooperative, None) => from..all,
            (Order::Fixed | Order::Cooperative, Some(first)) => {
                from..self.world.tasks[pool.tasks[first as usize] as usize].fixed.group.0
            }
        };
        for rank in stretches {
            pool.blocking[rank as usize] = self.world.tasks[pool.tasks[rank as usize] as usize].fixed.blocking;
        }
    }

    /// The job in turn is done.
    #[inline(always)]
    pub(super) fn complete(&mut self, task: usize, conduct: &mut Conduct) {
        let now = self.now;
        let state = &self.world.tasks[task];
        let job = state.job;
        let response_ns = now - job.arrival;
        note(&mut self.out.seen.tasks[task], &mut self.world.outputs[task], state, now);
        self.out.seen.counts.completions += 1;
        let due = job.arrival.saturating_add(state.fixed.deadline);
        let logical = state.fixed.logical;
        self.tell(What::Completes { task, job: job.number, response_ns });
        self.leave(task);
        if logical && due > now {
            self.write_later(due, task, job.number);
        } else {
            self.write(task, job.number, conduct);
        }
    }

    #[inline(never)]
    fn write_later(&mut self, due: u64, task: usize, job: u64) {
        let later = (due, task as u32, job);
        let at = self.world.writes.partition_point(|other| *other > later);
        self.world.writes.insert(at, later);
    }

    /// A job writes its outputs.
    #[inline]
    pub(super) fn write(&mut self, task: usize, job: u64, conduct: &mut Conduct) {
        if self.world.tasks[task].fixed.writes {
            self.comms.write(task, job, self.now, self.world, &mut self.out);
        }
        conduct.wrote(task, job, self);
    }

    /// The job in turn leaves, completed or dropped; the next one takes its turn.
    #[inline(always)]
    pub(super) fn leave(&mut self, task: usize) {
        let state = &mut self.world.tasks[task];
        state.present = false;
        state.noted = state.noted.saturating_sub(1);
        let (pool, rank) = (state.fixed.pool as usize, state.fixed.rank);
        let (watched, was) = (state.watch, state.next_arrival.min(state.next_release));
        let pool = &mut self.world.pools[pool];
        if state.released == 0 {
            state.watch = state.next_watch();
            pool.set_ready(rank, false);
        }
        if pool.holder == task as u32 {
            pool.holder = NONE;
            pool.going = false;
        }
        if state.released > 0 {
            self.take_waiting(task);
        }
        if watched < was {
            self.world.schedule_task(task);
        }
    }
}

impl TaskState {
    /// The job that arrives now, and when the next one does.
    #[inline]
    fn drawn_job(&mut self, task: usize, draw: Draw, drawn: &Drawn) -> Waiting {
        let (subject, number, fixed) = (task as u64, self.number, &self.fixed);
        let arrival = self.next_arrival;
        self.number += 1;
        let execution = spread(draw, drawn.executions, Purpose::Execution, subject, number, fixed.least, fixed.charged);
        let job = Job { number, arrival, execution };
        if fixed.strict {
            self.next_arrival = arrival.saturating_add(fixed.period);
            return Waiting { job, release: arrival, goes_on: 0 };
        }
        let jitter = match fixed.jitter {
            0 => 0,
            most => spread(draw, drawn.jitters, Purpose::Jitter, subject, number, 0, most),
        };
        let goes_on = match fixed.goes_on {
            0 => 0,
            most => spread(draw, drawn.blocking, Purpose::Blocking, subject, number, 0, most),
        };
        let gap = match fixed.sporadic {
            false => 0,
            true => spread(draw, drawn.jitters, Purpose::Gap, subject, number, 0, fixed.period),
        };
        let next = arrival.saturating_add(fixed.period).saturating_add(gap);
        self.next_arrival = if fixed.woken { NEVER } else { next };
        Waiting { job, release: arrival.saturating_add(jitter), goes_on }
    }

    /// A job is in turn.
    #[inline]
    fn take(&mut self, Waiting { job, goes_on, .. }: Waiting) {
        self.job = job;
        (self.present, self.begun, self.left) = (true, false, job.execution);
        self.blocks = goes_on > 0;
        if self.blocks {
            self.goes_on = goes_on;
        }
        self.watch = self.next_watch();
    }

    /// The next release is that of the first waiting job that is not released; one that is put off for good still waits.
    fn await_release(&mut self) {
        let next = self.waiting.get(self.released as usize);
        self.next_release = next.map_or(NEVER, |next| next.release.min(NEVER - 1));
    }
}

/// Adds a completed job to what is seen of its task.
#[inline]
fn note(seen: &mut TaskSeen, last: &mut Output, state: &TaskState, now: u64) {
    let response = now - state.job.arrival;
    seen.jobs += 1;
    seen.sum_ns = seen.sum_ns.wrapping_add(response);
    seen.most_ns = seen.most_ns.max(response);
    let output =
        if state.fixed.logical { now.max(state.job.arrival.saturating_add(state.fixed.deadline)) } else { now };
    let (number, before) = std::mem::replace(last, (state.job.number, output));
    if number.wrapping_add(1) == state.job.number && number != NEVER {
        let shift = (output - before) as i64 - state.fixed.period as i64;
        let (least, most) = seen.output_shift_ns.unwrap_or((shift, shift));
        seen.output_shift_ns = Some((least.min(shift), most.max(shift)));
    }
}
