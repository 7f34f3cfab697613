//! The begin of a run, and what faults, the health monitor and changes of the module schedule do to one under way.

use super::agenda::NEVER;
use super::pace::Pace;
use super::run::Run;
use super::world::{DUTY, Duty, Edge, NONE};
use crate::Recorder;
use crate::draw::{Draw, Purpose};
use crate::event::{Stall, What};
use crate::machine::{Guest, Policy, Window};
use crate::protection::Protection;
use crate::scenario::Times;

/// What a core does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Doing {
    /// It serves nobody, or stands.
    Nothing,
    /// It pays the head of a window or of a turn.
    Head,
    /// It executes a job of this task.
    Job(usize),
    /// It executes work that goes before all jobs.
    Duty,
    /// It serves this partition, which has no job to execute.
    Idles(usize),
}

impl<R: Recorder> Run<'_, '_, R> {
    /// Everything as it is at a run's first instant, everything operational.
    pub(super) fn begin(&mut self) {
        let scenario = self.scenario;
        let world = &mut *self.world;
        world.reset(Draw::of(scenario.seed, scenario.run));
        world.schedule = scenario.schedule.min(self.machine.schedules.len().saturating_sub(1));
        world.enforced = scenario.protections.has(Protection::WindowEnforcement);
        world.take_given(&scenario.times);
        world.take_contention(self.machine, scenario.contention);
        for partition in 0..world.partitions.len() {
            world.partitions[partition].up = self.machine.runs(partition);
            world.partitions[partition].supply.begin();
        }
        self.apply_grants();
        for task in 0..self.world.tasks.len() {
            self.first_arrival(task);
        }
        for core in 0..self.world.cores.len() {
            self.begin_core(core);
            self.world.schedule_core(core);
        }
        self.begin_turns();
        for core in 0..self.world.cores.len() {
            self.world.schedule_core(core);
        }
        self.comms.begin(scenario, self.world);
    }

    fn apply_grants(&mut self) {
        let Some(tables) = self.machine.schedules.get(self.world.schedule) else { return };
        for (lane, state) in self.world.lanes.iter_mut().enumerate() {
            state.grant = tables.grants.get(lane).copied().unwrap_or(self.machine.lanes[lane].grant);
        }
    }

    fn begin_core(&mut self, core: usize) {
        match self.machine.cores[core].policy {
            Policy::Table { synchronised, .. } => self.begin_table(core, synchronised),
            Policy::Servers => self.begin_servers(core),
            Policy::Dedicated => self.begin_dedicated(core),
            Policy::Share { .. } | Policy::Off => {}
        }
    }

    /// A frame begins at the first instant; in a set that is not synchronised one is under way.
    fn begin_table(&mut self, core: usize, synchronised: bool) {
        let frame_ns = self.machine.frame_ns;
        let phase = match self.scenario.times {
            Times::Drawn(_) if !synchronised => {
                self.drawn(Purpose::Frame, self.machine.cores[core].set as u64, 0, frame_ns - 1)
            }
            Times::Drawn(_) | Times::Given(_) => 0,
        };
        let schedule = self.world.schedule;
        self.serving(core).take_tables(schedule);
        let state = &mut self.world.cores[core];
        state.frame_end = if phase == 0 { frame_ns } else { phase };
        let position = frame_ns - state.frame_end;
        let windows = &self.world.windows[state.windows.0 as usize..state.windows.1 as usize];
        let index = windows.partition_point(|window| window.end_ns <= position);
        let window = windows.get(index).copied();
        self.serving(core).await_window(index as u32);
        let Some(window) = window.filter(|window| window.start_ns < position) else { return };
        // Under way: of its head that is left which has not passed.
        self.open(core, window.lane, window.head_ns);
        let end = window.end_ns - position;
        let usable_at = self.head_end_in_frame(core, window).saturating_sub(position);
        self.world.cores[core].window = index as u32;
        self.head_until(core, usable_at, end);
    }

    /// When the head of a window is over, counted from its frame's begin: one that continues has paid it in the frame before, but
    /// for what did not fit there.
    fn head_end_in_frame(&self, core: usize, window: Window) -> u64 {
        let (first, end) = self.world.cores[core].windows;
        match self.world.windows[first as usize..end as usize].last() {
            Some(last) if window.continues => {
                last.start_ns.saturating_add(last.head_ns).saturating_sub(self.machine.frame_ns)
            }
            _ => window.start_ns.saturating_add(window.head_ns),
        }
    }

    fn begin_dedicated(&mut self, core: usize) {
        let mine = |lane: &usize| {
            self.machine.lanes[*lane].cores.contains(&core)
                && self.world.lanes[*lane].core == NONE
                && self.world.lanes[*lane].grant == crate::machine::Grant::Dedicated
        };
        if let Some(lane) = (0..self.machine.lanes.len()).find(mine) {
            self.open(core, lane, 0);
            self.usable(core);
        }
    }

    /// When the first job of a task arrives after `now`, where its partition has just begun.
    fn first_arrival(&mut self, task: usize) {
        let active = self.is_active(task);
        let draw = self.world.draw;
        let given = self.world.given.get(task).and_then(|jobs| jobs.last()).map_or(NEVER, |job| job.arrival_ns);
        let state = &mut self.world.tasks[task];
        let fixed = &state.fixed;
        let up = self.world.partitions[fixed.partition as usize].up;
        state.next_arrival = match &self.scenario.times {
            _ if !up || !active => NEVER,
            Times::Given(_) => given,
            Times::Drawn(_) if fixed.woken => NEVER,
            Times::Drawn(_) if fixed.aligned => fixed.offset,
            Times::Drawn(drawn) => {
                super::jobs::spread(draw, drawn.phases, Purpose::Phase, task as u64, 0, 0, fixed.period - 1)
            }
        };
        self.world.schedule_task(task);
    }

    fn is_active(&self, task: usize) -> bool {
        self.machine.is_active(self.world.schedule, task)
    }

    /// The jobs of a partition that are under way are dropped.
    pub(crate) fn drop_jobs(&mut self, partition: usize) {
        for task in self.machine.partitions[partition].tasks.clone() {
            while self.drop_job(task) {}
            // Those that are not released yet.
            while let Some(waiting) = self.world.tasks[task].waiting.pop_front() {
                self.count_dropped(task, waiting.job.number);
            }
            let state = &mut self.world.tasks[task];
            (state.next_release, state.released, state.noted, state.watch) = (NEVER, 0, 0, NEVER);
            self.world.schedule_task(task);
        }
        // Outputs of logical execution time that are still to come are not written either.
        let tasks = self.machine.partitions[partition].tasks.clone();
        self.world.writes.retain(|(_, task, _)| !tasks.contains(&(*task as usize)));
    }

    /// The job of a task that is in turn is dropped, and the task goes on with the next. Says whether there was one.
    pub(crate) fn drop_job(&mut self, task: usize) -> bool {
        if !self.world.tasks[task].present {
            return false;
        }
        let has =
            |core: &usize| self.world.task_on(*core) == Some(task) || self.world.cores[*core].overtime == task as u32;
        if let Some(core) = (0..self.world.cores.len()).find(has) {
            self.leave_core(core);
        }
        self.count_dropped(task, self.world.tasks[task].job.number);
        self.world.tasks[task].ahead = 0;
        self.leave(task);
        self.world.touch_pool(self.world.tasks[task].fixed.pool as usize);
        true
    }

    /// A core no longer executes its job, and no job keeps it beyond its window.
    fn leave_core(&mut self, core: usize) {
        self.account(core);
        let state = &mut self.world.cores[core];
        (state.running, state.shown, state.stop_at) = (NONE, super::world::DONE, NEVER);
        self.world.touch(core);
        if std::mem::replace(&mut self.world.cores[core].overtime, NONE) != NONE {
            self.end_window(core);
        }
    }

    /// A partition executes nothing until it is started again; what it keeps beyond its windows is let go.
    pub(crate) fn halt_partition(&mut self, partition: usize) {
        self.world.partitions[partition].dead = true;
        for lane in self.machine.partitions[partition].lanes.clone() {
            self.stall_lane(lane, NEVER);
            let core = self.world.lanes[lane].core;
            if core != NONE && self.world.cores[core as usize].overtime != NONE {
                self.leave_core(core as usize);
            }
        }
    }

    fn count_dropped(&mut self, task: usize, job: u64) {
        self.out.seen.tasks[task].dropped += 1;
        self.comms.dropped(task);
        self.tell(What::Dropped { task, job });
    }

    /// From now on no job of the partition arrives. Jobs under way stay; see `drop_jobs`.
    pub(crate) fn stop_partition(&mut self, partition: usize) {
        (self.world.partitions[partition].up, self.world.partitions[partition].dead) = (false, false);
        for task in self.machine.partitions[partition].tasks.clone() {
            if !matches!(self.scenario.times, Times::Given(_)) {
                self.world.tasks[task].next_arrival = NEVER;
            }
            self.world.schedule_task(task);
        }
    }

    /// Jobs of the partition arrive again: free-running tasks at once, frame-aligned ones at their next point.
    pub(crate) fn start_partition(&mut self, partition: usize) {
        if !self.machine.runs(partition) {
            return;
        }
        self.world.partitions[partition].up = true;
        for task in self.machine.partitions[partition].tasks.clone() {
            self.start_task(task);
        }
        self.comms.rouse(self.now, self.world);
    }

    fn start_task(&mut self, task: usize) {
        let (now, active) = (self.now, self.is_active(task));
        let state = &mut self.world.tasks[task];
        let fixed = state.fixed;
        state.next_arrival = match self.scenario.times {
            Times::Given(_) => state.next_arrival,
            Times::Drawn(_) if !active || fixed.woken => NEVER,
            Times::Drawn(_) if fixed.aligned => {
                let periods = now.saturating_sub(fixed.offset).div_ceil(fixed.period);
                fixed.offset.saturating_add(periods.saturating_mul(fixed.period))
            }
            Times::Drawn(_) => now,
        };
        self.world.schedule_task(task);
    }

    /// Asks for work of a partition before all its jobs; see [`World::add_duty`](super::World::add_duty).
    pub(crate) fn add_duty(&mut self, partition: usize, ns: u64, duty: Duty) {
        self.world.add_duty(partition, ns, duty);
    }

    /// The same while cores are being looked at: those that serve the partition are looked at once more.
    pub(crate) fn add_duty_now(&mut self, partition: usize, ns: u64, duty: Duty) {
        self.world.add_duty(partition, ns, duty);
        for lane in self.machine.partitions[partition].lanes.clone() {
            let core = self.world.lanes[lane].core;
            if core != NONE {
                self.world.look_again(core as usize);
            }
        }
    }

    /// The work that a partition has before all its jobs.
    pub(crate) fn duties(&self, partition: usize) -> impl Iterator<Item = Duty> + '_ {
        self.world.partitions[partition].duties.iter().map(|(_, duty)| *duty)
    }

    /// Work of a partition before its jobs is dropped; a frame that it had under way waits again.
    pub(crate) fn drop_duties(&mut self, partition: usize) {
        for core in 0..self.world.cores.len() {
            let state = &self.world.cores[core];
            let here = state.running == super::world::DUTY
                && self.world.lanes[state.lane as usize].partition as usize == partition;
            if here {
                self.account(core);
                let state = &mut self.world.cores[core];
                (state.running, state.shown, state.stop_at) = (NONE, super::world::DONE, NEVER);
                self.world.touch(core);
            }
        }
        let duties = &mut self.world.partitions[partition].duties;
        if duties.drain(..).any(|(_, duty)| duty == Duty::Frame) {
            self.comms.frame_dropped();
        }
    }

    /// The next jobs of a task to begin take that much longer than their charged time.
    pub(crate) fn overrun(&mut self, task: usize, extra_ns: u64, jobs: u64) {
        let state = &mut self.world.tasks[task];
        (state.extra_ns, state.overruns, state.faulty) = (extra_ns, jobs, true);
    }

    /// The next job of a task to begin never ends.
    pub(crate) fn endless(&mut self, task: usize) {
        let state = &mut self.world.tasks[task];
        (state.endless, state.faulty) = (true, true);
    }

    /// A core executes nothing until then; whose windows it has does not change.
    pub(crate) fn stall_core(&mut self, core: usize, until_ns: u64, why: Stall) {
        self.world.quiet = false;
        if self.world.measures {
            self.measure_supply(core);
        }
        let state = &mut self.world.cores[core];
        state.stalled_until = state.stalled_until.max(until_ns);
        state.given_since = state.given_since.max(state.stalled_until);
        self.world.touch(core);
        self.tell(What::Stalls { core, until_ns, why });
    }

    /// That much time is taken from whoever a core executes, now or once what stalls it is over.
    pub(crate) fn steal(&mut self, core: usize, ns: u64, why: Stall) {
        let from = self.world.cores[core].stalled_until.max(self.now);
        self.stall_core(core, from.saturating_add(ns), why);
    }

    /// A lane executes nothing until then, wherever it is served.
    pub(crate) fn stall_lane(&mut self, lane: usize, until_ns: u64) {
        self.world.quiet = false;
        let state = &mut self.world.lanes[lane];
        state.stalled_until = state.stalled_until.max(until_ns);
        if state.core != NONE {
            let core = state.core as usize;
            self.world.touch(core);
        }
    }

    /// Until when a core executes nothing.
    pub(crate) fn stalled_until(&self, core: usize) -> u64 {
        self.world.cores[core].stalled_until
    }

    /// What stalls a lane is over.
    pub(crate) fn free_lane(&mut self, lane: usize) {
        let state = &mut self.world.lanes[lane];
        state.stalled_until = 0;
        if state.core != NONE {
            let core = state.core as usize;
            self.world.touch(core);
        }
    }

    /// From now on each line request of jobs on a core waits that much longer than charged.
    pub(crate) fn slow_core(&mut self, core: usize, wait_ns: u64) {
        let pace = self.world.cores[core].pace;
        self.set_pace(core, Pace { wait_ns, ..pace });
    }

    /// From now on a core does not wait for what other masters ask for in that part of the time. Says whether that changes.
    pub(crate) fn pace_core(&mut self, core: usize, part: u64) -> bool {
        let pace = self.world.cores[core].pace;
        self.set_pace(core, Pace { part: Some(part), ..pace })
    }

    fn set_pace(&mut self, core: usize, pace: Pace) -> bool {
        if self.world.cores[core].pace == pace {
            return false;
        }
        self.world.quiet = false;
        self.account(core);
        let state = &mut self.world.cores[core];
        // The dispatch says anew when what it executes stops.
        (state.pace, state.stop_at) = (pace, NEVER);
        self.world.look_again(core);
        true
    }

    /// What a core does.
    pub(crate) fn doing(&self, core: usize) -> Doing {
        let state = &self.world.cores[core];
        let Some(lane) = self.world.lane_on(core) else { return Doing::Nothing };
        let stalled = state.stalled_until.max(self.world.lanes[lane].stalled_until) > self.now;
        match state.running {
            _ if stalled => Doing::Nothing,
            // How much of it is a call that could not be cut, which is the partition's before, is not known.
            NONE if !state.usable && state.slip > 0 => Doing::Nothing,
            NONE if !state.usable => Doing::Head,
            NONE => Doing::Idles(self.machine.lanes[lane].partition),
            DUTY => Doing::Duty,
            task => Doing::Job(task as usize),
        }
    }

    /// How long what a core executes takes where it is all that is charged, and how many lines it asks for in that.
    pub(crate) fn asks(&self, core: usize) -> Option<(u64, u64)> {
        let job = self.world.tasks[self.world.task_on(core)?].fixed;
        let pace = Pace { wait_ns: 0, ..self.world.cores[core].pace };
        Some((job.requests, pace.takes(job.charged, 0, job).max(1)))
    }

    /// The partition that a core serves, its head over.
    pub(crate) fn partition_on(&self, core: usize) -> Option<usize> {
        let lane = self.world.lane_on(core).filter(|_| self.world.cores[core].usable)?;
        Some(self.machine.lanes[lane].partition)
    }

    /// The number of the job of a task that is in turn.
    pub(crate) fn job_in_turn(&self, task: usize) -> Option<u64> {
        let state = &self.world.tasks[task];
        state.present.then_some(state.job.number)
    }

    /// The next windows of a core begin late; they end as planned.
    pub(crate) fn delay_windows_of_core(&mut self, core: usize, by_ns: u64, windows: u64) {
        self.world.cores[core].late = (windows, by_ns);
        self.world.lates = true;
    }

    /// The next windows of a partition begin late, on each of its lanes; they end as planned.
    pub(crate) fn delay_windows_of_partition(&mut self, partition: usize, by_ns: u64, windows: u64) {
        for lane in self.machine.partitions[partition].lanes.clone() {
            self.world.lanes[lane].late = (windows, by_ns);
        }
        self.world.lates = true;
    }

    /// Jobs of a partition that arrive before then are released only then.
    pub(crate) fn hold_releases(&mut self, partition: usize, until_ns: u64) {
        let state = &mut self.world.partitions[partition];
        state.held_until = state.held_until.max(until_ns);
        self.world.holds = true;
    }

    /// Another module schedule takes effect: at once where a frame ends now, on cores of a set with a phase of its own at
    /// the end of the frame that runs there. Call it in `Conduct::act` at a frame's end.
    pub(crate) fn switch_tables(&mut self, to: usize) {
        if to >= self.machine.schedules.len() {
            return;
        }
        self.world.schedule = to;
        self.tell(What::ScheduleChanges { to });
        let before: Vec<_> = self.world.lanes.iter().map(|lane| lane.grant).collect();
        self.apply_grants();
        for core in 0..self.world.cores.len() {
            match self.machine.cores[core].policy {
                Policy::Table { synchronised, .. } => self.switch_table(core, synchronised, to),
                Policy::Servers => self.switch_servers(core, &before),
                Policy::Share { .. } | Policy::Dedicated | Policy::Off => {}
            }
            self.world.touch(core);
        }
        self.switch_tasks();
    }

    fn switch_table(&mut self, core: usize, synchronised: bool, to: usize) {
        let state = &mut self.world.cores[core];
        if !synchronised && state.frame_end != self.now && state.edge != Edge::None {
            state.next_tables = Some(to);
            return;
        }
        self.close_supply(core);
        let state = &mut self.world.cores[core];
        state.next_tables = None;
        state.frame_end = self.now.saturating_add(self.machine.frame_ns);
        let mut serving = self.serving(core);
        serving.take_tables(to);
        serving.await_window(0);
    }

    fn switch_servers(&mut self, core: usize, before: &[crate::machine::Grant]) {
        for index in 0..self.world.cores[core].servers.len() {
            let lane = self.world.cores[core].servers[index] as usize;
            if self.world.lanes[lane].grant != before[lane] {
                self.begin_server(lane);
            }
        }
        let state = &mut self.world.cores[core];
        if !state.servers.is_empty() {
            (state.edge, state.edge_at) = (Edge::Turn, self.now);
        }
    }

    /// Tasks that are no longer active arrive no more; those that now are begin.
    fn switch_tasks(&mut self) {
        for task in 0..self.world.tasks.len() {
            let (active, arrives) = (self.is_active(task), self.world.tasks[task].next_arrival != NEVER);
            if matches!(self.scenario.times, Times::Given(_)) || active == arrives {
                continue;
            }
            if !active {
                self.world.tasks[task].next_arrival = NEVER;
                self.world.schedule_task(task);
            } else if self.world.partitions[self.world.tasks[task].fixed.partition as usize].up {
                self.start_task(task);
            }
        }
    }

    /// Nothing runs from now on, for anybody.
    pub(crate) fn stop_module(&mut self) {
        self.world.module_stops_ns = self.now;
        self.tell(What::ModuleStops);
    }

    /// The supply of a lane ends: of an opaque guest it is measured.
    #[inline(never)]
    pub(super) fn measure_supply(&mut self, core: usize) {
        let state = &self.world.cores[core];
        let lane = self.world.lane_on(core).filter(|&lane| state.usable && self.world.lanes[lane].measured);
        let Some(lane) = lane else { return };
        let (lane, from) = (&self.world.lanes[lane], state.given_since);
        if from >= self.now {
            return; // Its core has stood all the time.
        }
        let partition = lane.partition as usize;
        let Guest::Opaque { budget_ns: Some(budget), .. } = self.machine.partitions[partition].guest else { return };
        let longest = self.world.partitions[partition].supply.given(from, self.now, budget);
        let seen = &mut self.out.seen.partitions[partition].longest_for_budget_ns;
        *seen = (*seen).max(longest);
    }

    /// The run ends: spans that still wait for their budget are longer than they are by now.
    pub(super) fn measure_waiting(&mut self) {
        for lane in self.world.lanes.iter().filter(|lane| lane.measured) {
            let partition = lane.partition as usize;
            let since = self.world.partitions[partition].supply.waits_since();
            let seen = &mut self.out.seen.partitions[partition].longest_for_budget_ns;
            *seen = (*seen).max(since.map(|since| self.now - since));
        }
    }
}
