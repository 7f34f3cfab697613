//! Dispatch: what each core executes, and for how long.

use super::agenda::NEVER;
use super::pace::Pace;
use super::run::{Out, Run};
use super::world::{DONE, DUTY, Duty, NONE, TaskState, World};
use crate::Recorder;
use crate::comms::Comms;
use crate::conduct::Conduct;
use crate::event::What;

impl<R: Recorder> Run<'_, '_, R> {
    /// Charges what a core has executed to whom it executed.
    #[inline(always)]
    pub(super) fn account(&mut self, core: usize) {
        let state = &mut self.world.cores[core];
        let elapsed = self.now - state.since;
        let (running, pace) = (state.running, state.pace);
        state.since = self.now;
        // Less than 1 ns may be left of a job that waits for what others ask for.
        if running == NONE || (elapsed == 0 && pace.part.is_none()) {
            return;
        }
        if running == DUTY {
            return self.account_duty(core, elapsed);
        }
        let task = &mut self.world.tasks[running as usize];
        let done = if pace == Pace::FULL { elapsed } else { task.advance(pace, elapsed) };
        debug_assert!(done <= task.left, "no job executes beyond its end");
        task.left -= done;
        let pool = task.fixed.pool as usize;
        if self.world.blocks && self.world.pools[pool].going && self.world.pools[pool].holder == running {
            // How long it goes on holds what it waits for.
            self.world.went_on(pool, if pace.part.is_some() { elapsed } else { done });
        }
    }

    #[inline(never)]
    fn account_duty(&mut self, core: usize, elapsed: u64) {
        let partition = self.world.lanes[self.world.cores[core].lane as usize].partition as usize;
        if let Some((left, _)) = self.world.partitions[partition].duties.front_mut() {
            *left -= elapsed;
        }
    }

    /// What a core executes comes to its end, or to where it must be looked at.
    #[inline(always)]
    pub(super) fn stop(&mut self, core: usize, conduct: &mut Conduct) {
        self.account(core);
        let state = &mut self.world.cores[core];
        state.stop_at = NEVER;
        match state.running {
            NONE => {}
            DUTY => self.duty_stops(core, conduct),
            task => self.job_stops(core, task as usize, conduct),
        }
    }

    #[inline(never)]
    fn duty_stops(&mut self, core: usize, conduct: &mut Conduct) {
        let partition = self.world.lanes[self.world.cores[core].lane as usize].partition as usize;
        self.world.cores[core].running = NONE;
        self.world.cores[core].shown = DONE;
        match self.world.partitions[partition].duties.pop_front() {
            Some((0, Duty::Conduct(tag))) => conduct.duty_done(partition, tag, self),
            Some((0, Duty::Frame)) => self.comms.frame_done(),
            Some(unfinished) => self.world.partitions[partition].duties.push_front(unfinished),
            None => {}
        }
    }

    #[inline(always)]
    fn job_stops(&mut self, core: usize, task: usize, conduct: &mut Conduct) {
        let state = &self.world.tasks[task];
        if state.left == 0 {
            if state.fixed.loaded && self.forwards_more(core, task) {
                return;
            }
            let state = &mut self.world.cores[core];
            (state.running, state.shown) = (NONE, DONE);
            let overtime = std::mem::replace(&mut state.overtime, NONE);
            self.complete(task, conduct);
            if overtime != NONE {
                self.end_window(core);
            }
        }
    }

    /// A job of the forwarding task goes on with its next frame, within what it is charged.
    #[inline(never)]
    fn forwards_more(&mut self, core: usize, task: usize) -> bool {
        let state = &mut self.world.tasks[task];
        if self.world.cores[core].overtime != NONE || state.job.execution >= state.fixed.charged {
            return false;
        }
        let Some(more) = self.comms.more() else { return false };
        state.left = more;
        state.job.execution = state.job.execution.saturating_add(more);
        true
    }

    /// Every core that was touched in this instant.
    #[inline]
    pub(super) fn dispatch_all(&mut self, conduct: &mut Conduct) {
        if self.world.dirty.len() > 1 {
            self.world.dirty.sort_unstable();
        }
        self.look_at_touched(conduct);
    }

    /// The cores that were touched, in the order of the list; looking at one may add some.
    #[inline]
    pub(super) fn look_at_touched(&mut self, conduct: &mut Conduct) {
        let mut index = 0;
        while index < self.world.dirty.len() {
            self.look_at(self.world.dirty[index] as usize, conduct);
            index += 1;
        }
        self.world.dirty.clear();
    }

    /// A core that was touched executes what it should from now on.
    #[inline(always)]
    pub(super) fn look_at(&mut self, core: usize, conduct: &mut Conduct) {
        let World { cores, pools, tasks, cores_next, quiet, .. } = &mut *self.world;
        let state = &mut cores[core];
        state.dirty = false;
        if *quiet && state.plain != NONE {
            // Nothing but windows and jobs is to be thought of: the most urgent ready job.
            let pool = &pools[state.plain as usize];
            let next = pool.first_ready().map_or(NONE, |rank| pool.tasks[rank as usize]);
            if next != state.running || (next != NONE && state.stop_at == NEVER) {
                if state.running != NONE {
                    tasks[state.running as usize].left -= self.now - state.since;
                }
                (state.running, state.shown, state.since, state.stop_at) = (next, next, self.now, NEVER);
                if next != NONE {
                    let job = &mut tasks[next as usize];
                    begin_job(next as usize, job, self.now, self.comms, &mut self.out);
                    state.stop_at = self.now.saturating_add(job.left);
                }
            }
        } else if !*quiet || state.usable {
            self.dispatch(core, conduct);
            return self.world.schedule_core(core);
        }
        cores_next.set(core, state.next());
    }

    #[inline(never)]
    fn dispatch(&mut self, core: usize, conduct: &mut Conduct) {
        let state = &mut self.world.cores[core];
        state.wake_at = NEVER;
        if state.overtime != NONE {
            return self.dispatch_overtime(core, conduct);
        }
        if !state.usable {
            // Of most cores that are not served everybody knows already that they idle.
            if state.shown != NONE || state.untold {
                self.execute(core, NONE, NEVER, conduct);
            }
            return;
        }
        let lane = &self.world.lanes[state.lane as usize];
        let pool = lane.pool as usize;
        if !self.world.pools[pool].single {
            return self.dispatch_lanes(pool, conduct);
        }
        let stalled = state.stalled_until.max(lane.stalled_until);
        if stalled > self.now {
            self.world.cores[core].wake_at = stalled;
            return self.execute(core, NONE, NEVER, conduct);
        }
        let going = self.world.pools[pool].blocks;
        if going {
            self.account(core);
        }
        let (next, most) = self.next_of(pool);
        let state = &self.world.cores[core];
        let goes_on = !going && next == state.running && state.stop_at != NEVER;
        let idles_on = next == NONE && state.shown == NONE && !state.untold;
        if goes_on || idles_on {
            return;
        }
        self.execute(core, next, most, conduct);
    }

    /// A job that keeps the core beyond its window goes on, and stands while its core or its lane does.
    #[inline(never)]
    fn dispatch_overtime(&mut self, core: usize, conduct: &mut Conduct) {
        let state = &self.world.cores[core];
        let stalled = state.stalled_until.max(self.world.lanes[state.lane as usize].stalled_until);
        if stalled > self.now {
            self.world.cores[core].wake_at = stalled;
            self.execute(core, NONE, NEVER, conduct);
        } else if state.running == NONE || state.stop_at == NEVER {
            self.execute(core, state.overtime, u64::MAX, conduct);
        }
    }

    /// What a pool of one lane executes next, and for how long at most.
    #[inline]
    fn next_of(&mut self, pool: usize) -> (u32, u64) {
        let state = &self.world.pools[pool];
        if self.world.duties && state.first && !self.world.partitions[state.partition as usize].duties.is_empty() {
            return (DUTY, u64::MAX);
        }
        self.world.pick(pool)
    }

    /// The lanes of a pool of several: the most urgent ready jobs on those that have supply.
    #[inline(never)]
    fn dispatch_lanes(&mut self, pool: usize, conduct: &mut Conduct) {
        let mut order = std::mem::take(&mut self.world.order);
        let mut free = std::mem::take(&mut self.world.free);
        self.world.in_order(pool, &mut order);
        if !self.world.enforced {
            order.retain(|&task| self.world.cores.iter().all(|core| core.overtime != task));
        }
        free.clear();
        for index in 0..self.world.pools[pool].lanes.len() {
            let lane = &self.world.lanes[self.world.pools[pool].lanes[index] as usize];
            let Some(core) = (lane.core != NONE).then_some(lane.core as usize) else { continue };
            if self.world.cores[core].overtime != NONE {
                continue;
            }
            self.account(core);
            self.world.cores[core].wake_at = NEVER;
            let state = &self.world.cores[core];
            let stalled = state.stalled_until.max(self.world.lanes[state.lane as usize].stalled_until);
            if stalled > self.now {
                self.world.cores[core].wake_at = stalled;
                self.execute(core, NONE, NEVER, conduct);
                self.world.schedule_core(core);
            } else if state.usable {
                free.push(core as u32);
            }
        }
        self.assign(pool, &order, &mut free, conduct);
        (self.world.order, self.world.free) = (order, free);
    }

    fn assign(&mut self, pool: usize, order: &[u32], free: &mut Vec<u32>, conduct: &mut Conduct) {
        let state = &self.world.pools[pool];
        let duty = state.first && !self.world.partitions[state.partition as usize].duties.is_empty();
        let mut plan = std::mem::take(&mut self.world.plan);
        plan.clear();
        if duty && let Some(at) = self.place(DUTY, free) {
            plan.push((free.remove(at), DUTY));
        }
        for &task in order {
            if let Some(at) = self.place(task, free) {
                plan.push((free.remove(at), task));
            }
        }
        plan.extend(free.drain(..).map(|core| (core, NONE)));
        // A job that moves leaves its core before it runs on another.
        for &(core, next) in &plan {
            if self.world.cores[core as usize].running != next {
                self.world.cores[core as usize].running = NONE;
            }
        }
        plan.sort_unstable();
        for &(core, next) in &plan {
            self.execute(core as usize, next, u64::MAX, conduct);
            self.world.schedule_core(core as usize);
        }
        self.world.plan = plan;
    }

    /// Which of the free cores a task takes: the one it executes on, else the first that may serve it.
    fn place(&self, task: u32, free: &[u32]) -> Option<usize> {
        let stays = free.iter().position(|&core| self.world.cores[core as usize].running == task);
        let pinned = if task == DUTY { NONE } else { self.world.tasks[task as usize].fixed.lane };
        let fits = |core: &u32| pinned == NONE || self.world.cores[*core as usize].lane == pinned;
        stays.or_else(|| free.iter().position(fits))
    }

    /// A core executes this from now on.
    #[inline]
    pub(super) fn execute(&mut self, core: usize, next: u32, most: u64, conduct: &mut Conduct) {
        self.account(core);
        let changes = self.world.cores[core].shown != next;
        if changes {
            self.world.cores[core].shown = next;
            self.tell_running(core, next);
        }
        if next < DUTY {
            let job = &mut self.world.tasks[next as usize];
            begin_job(next as usize, job, self.now, self.comms, &mut self.out);
        }
        let (left, pace) = (self.left_of(core, next), self.world.cores[core].pace);
        let lasts = if pace == Pace::FULL || next >= DUTY {
            left.min(most)
        } else {
            let job = &self.world.tasks[next as usize];
            pace.lasts((left, job.ahead), most, job.fixed)
        };
        let state = &mut self.world.cores[core];
        state.running = next;
        state.since = self.now;
        state.stop_at = if next == NONE { NEVER } else { self.now.saturating_add(lasts) };
        if next < DUTY {
            let pool = self.world.tasks[next as usize].fixed.pool as usize;
            self.world.pools[pool].holder = next;
        }
        if self.world.tell_runs && (changes || self.world.cores[core].untold) {
            self.world.cores[core].untold = false;
            conduct.runs(core, self);
        }
    }

    /// What is left to execute.
    #[inline]
    fn left_of(&self, core: usize, what: u32) -> u64 {
        if what == NONE {
            return NEVER;
        }
        if what == DUTY {
            let partition = self.world.lanes[self.world.cores[core].lane as usize].partition as usize;
            return self.world.partitions[partition].duties.front().map_or(NEVER, |&(left, _)| left);
        }
        self.world.tasks[what as usize].left
    }

    fn tell_running(&mut self, core: usize, next: u32) {
        if !R::WANTED {
            return;
        }
        match next {
            NONE => self.tell(What::Idles { core }),
            DUTY => {
                let partition = self.world.lanes[self.world.cores[core].lane as usize].partition as usize;
                self.tell(What::Initialises { core, partition });
            }
            task => {
                let job = self.world.tasks[task as usize].job.number;
                self.tell(What::Runs { core, task: task as usize, job });
            }
        }
    }
}

/// A job executes: where it is for the first time, it reads its inputs, and faults of its task take hold.
#[inline(always)]
fn begin_job<R: Recorder>(task: usize, state: &mut TaskState, now: u64, comms: &mut Comms<'_>, out: &mut Out<'_, R>) {
    if std::mem::replace(&mut state.begun, true) {
        return;
    }
    if state.fixed.reads && !state.fixed.logical {
        comms.read(task, state.job.number, now, out);
    }
    if state.fixed.loaded
        && let Some(load) = comms.load(state.job.execution)
    {
        state.job.execution = load.max(1);
    }
    if state.faulty {
        state.begin_faulty();
    }
    state.left = state.job.execution;
}

impl TaskState {
    /// How much of the job in turn is executed in that time; what is executed beyond that is kept.
    #[inline(never)]
    fn advance(&mut self, pace: Pace, elapsed: u64) -> u64 {
        let (done, ahead) = pace.executes(elapsed, (self.left, self.ahead), self.fixed);
        self.ahead = ahead;
        done
    }

    /// The job that begins executes longer than it was to, or never ends.
    #[inline(never)]
    fn begin_faulty(&mut self) {
        if self.overruns > 0 {
            self.overruns -= 1;
            // It takes that much longer than its charged time.
            self.job.execution = self.fixed.charged.saturating_add(self.extra_ns);
        }
        if std::mem::take(&mut self.endless) {
            self.job.execution = NEVER;
        }
        self.faulty = self.overruns > 0;
    }
}
