//! The life of a partition: it fails, is noticed, starts, initialises, is up again; it boots; it stops.

use super::Conduct;
use super::calendar::{Happening, Notice};
use crate::engine::{Duty, Run};
use crate::event::{Start, What};
use crate::machine::Action;
use crate::{Machine, Recorder};
use model::system::HealthError;

/// Where a partition is in its life.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) enum Stage {
    /// Its tasks run.
    #[default]
    Up,
    /// It has failed and executes nothing.
    Dead,
    /// The action takes its time, or it initialises, or waits to be built.
    Down,
    /// It has stopped for good.
    Stopped,
}

/// One partition.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Life {
    pub(super) stage: Stage,
    /// Which of its lives this is: what was asked for in another one comes to nothing.
    pub(super) number: u32,
    /// How the crash that it is dead of is answered at first, in place of the table.
    answer: Option<Start>,
    /// The outage that its first output ends: since when, and how it started.
    outage: Option<(u64, Start)>,
}

impl Life {
    pub(super) fn is_up(&self) -> bool {
        self.stage == Stage::Up
    }
}

/// Work that goes before a partition's jobs, as the engine's tags carry it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Work {
    Initialise,
    Refill,
    /// Building this partition.
    Build(usize),
    /// Handling an interrupt of this line.
    Interrupt(usize),
}

impl Work {
    pub(super) fn of_tag(tag: u32) -> Self {
        let index = (tag >> 2) as usize;
        match tag & 3 {
            0 => Self::Initialise,
            1 => Self::Refill,
            2 => Self::Build(index),
            _ => Self::Interrupt(index),
        }
    }

    pub(super) fn duty(self) -> Duty {
        // Partitions and lines are far below 2^30.
        Duty::Conduct(match self {
            Self::Initialise => 0,
            Self::Refill => 1,
            Self::Build(index) => (index as u32) << 2 | 2,
            Self::Interrupt(index) => (index as u32) << 2 | 3,
        })
    }
}

impl Conduct {
    /// A partition dies, unless it is down already.
    pub(super) fn crash<R: Recorder>(&mut self, partition: usize, answer: Option<Start>, run: &mut Run<'_, '_, R>) {
        let life = &mut self.lives[partition];
        if !life.is_up() || !run.machine.runs(partition) {
            return;
        }
        life.stage = Stage::Dead;
        life.answer = answer;
        run.halt_partition(partition);
        self.look_at_bursts(run);
        if self.watches {
            self.await_notice(partition, HealthError::MemoryViolation, None, run);
        }
    }

    /// An error will be noticed; without a declared detection time it never is.
    pub(super) fn await_notice<R: Recorder>(
        &mut self,
        partition: usize,
        error: HealthError,
        job: Option<(usize, u64)>,
        run: &Run<'_, '_, R>,
    ) {
        if let Some(detection_ns) = run.machine.partitions[partition].recovery.detection_ns {
            let life = self.lives[partition].number;
            let notice = Notice { partition, error, job, since_ns: run.now, life };
            self.calendar.add(run.now.saturating_add(detection_ns), Happening::Noticed(notice));
        }
    }

    /// The health monitor notices an error and answers it.
    pub(super) fn noticed<R: Recorder>(&mut self, notice: Notice, run: &mut Run<'_, '_, R>) {
        let Notice { partition, error, .. } = notice;
        let life = self.lives[partition];
        let Some(table) = run.machine.monitor.as_ref().filter(|_| life.number == notice.life) else { return };
        run.tell(What::Noticed { partition });
        let at_first = life.answer.filter(|_| error == HealthError::MemoryViolation).map(|start| match start {
            Start::Warm => Action::WarmStart,
            Start::Cold => Action::ColdStart,
        });
        if let Some(action) = self.counters.answer(table, partition, error, at_first, run.now) {
            self.carry_out(notice, action, run);
        }
    }

    /// A start begins: jobs are dropped, queues emptied; the action takes its time. Where it answers an error, the outage
    /// counts from then.
    pub(super) fn restart<R: Recorder>(
        &mut self,
        partition: usize,
        start: Start,
        since_ns: Option<u64>,
        run: &mut Run<'_, '_, R>,
    ) {
        run.tell(What::Restarts { partition, start });
        self.take_down(partition, Stage::Down, run);
        let seen = &mut run.out.seen.partitions[partition];
        match start {
            Start::Warm => seen.warm_starts += 1,
            Start::Cold => seen.cold_starts += 1,
        }
        let recovery = run.machine.partitions[partition].recovery;
        if let Some(since_ns) = since_ns.filter(|_| recovery.ends_with.is_some()) {
            self.outages += 1;
            self.lives[partition].outage = Some((since_ns, start));
        }
        if let Some(action_ns) = recovery.action_ns {
            let life = self.lives[partition].number;
            self.calendar.add(run.now.saturating_add(action_ns), Happening::Starts { partition, start, life });
        }
    }

    /// A partition stops for good.
    pub(super) fn stop<R: Recorder>(&mut self, partition: usize, run: &mut Run<'_, '_, R>) {
        run.tell(What::Stopped { partition });
        run.out.seen.partitions[partition].stops += 1;
        self.take_down(partition, Stage::Stopped, run);
    }

    /// Nothing of a partition is left under way, and another life begins.
    fn take_down<R: Recorder>(&mut self, partition: usize, stage: Stage, run: &mut Run<'_, '_, R>) {
        run.stop_partition(partition);
        run.drop_jobs(partition);
        run.drop_duties(partition);
        run.comms.empty_queues(partition);
        self.bursts.refilled(partition);
        self.pending.dropped(partition);
        let life = &mut self.lives[partition];
        self.outages -= usize::from(life.outage.is_some());
        *life = Life { stage, number: life.number + 1, ..Life::default() };
        for lane in run.machine.partitions[partition].lanes.clone() {
            run.free_lane(lane);
        }
        self.look_at_bursts(run);
    }

    /// The action is done: the partition initialises in its own windows.
    pub(super) fn initialise<R: Recorder>(
        &mut self,
        partition: usize,
        start: Start,
        life: u32,
        run: &mut Run<'_, '_, R>,
    ) {
        if self.lives[partition].number != life {
            return;
        }
        let recovery = run.machine.partitions[partition].recovery;
        let work_ns = match start {
            Start::Warm => recovery.warm_init_ns,
            Start::Cold => recovery.cold_init_ns,
        };
        match work_ns {
            Some(0) => self.operational(partition, run),
            Some(work_ns) => run.add_duty(partition, work_ns, Work::Initialise.duty()),
            // Without a declared time it never is operational.
            None => {}
        }
    }

    /// Initialisation is done: tasks are released, at boot only once all that the partition builds is built. Until then it has not
    /// begun its work, and misses no deadline that a health monitor would answer.
    pub(super) fn operational<R: Recorder>(&mut self, partition: usize, run: &mut Run<'_, '_, R>) {
        self.lives[partition].stage = Stage::Up;
        run.tell(What::Operational { partition });
        let boots = run.scenario.begin == crate::scenario::Begin::FirstFrame && self.lives[partition].number == 0;
        if boots {
            let seen = &mut run.out.seen.partitions[partition].operational_ns;
            *seen = (*seen).max(Some(run.now));
            self.build_all(partition, run);
        }
        if !boots || !is_building(partition, run) {
            self.start(partition, run);
        }
    }

    fn start<R: Recorder>(&mut self, partition: usize, run: &mut Run<'_, '_, R>) {
        run.start_partition(partition);
        self.look_at_bursts(run);
    }

    fn build_all<R: Recorder>(&mut self, builder: usize, run: &mut Run<'_, '_, R>) {
        for built in 0..run.machine.partitions.len() {
            match run.machine.partitions[built].built_by {
                Some((by, 0)) if by == builder => self.initialise_built(built, run),
                Some((by, work_ns)) if by == builder => run.add_duty(builder, work_ns, Work::Build(built).duty()),
                _ => {}
            }
        }
    }

    /// A partition has been built; with the last one its builder begins its own work.
    pub(super) fn built<R: Recorder>(&mut self, builder: usize, built: usize, run: &mut Run<'_, '_, R>) {
        self.initialise_built(built, run);
        if !is_building(builder, run) {
            self.start(builder, run);
        }
    }

    /// Boot: nobody's tasks run, and who is built by nobody initialises.
    pub(super) fn boot<R: Recorder>(&mut self, run: &mut Run<'_, '_, R>) {
        for partition in 0..run.machine.partitions.len() {
            run.stop_partition(partition);
            self.lives[partition].stage = Stage::Down;
        }
        for partition in 0..run.machine.partitions.len() {
            if run.machine.partitions[partition].built_by.is_none() {
                self.initialise_built(partition, run);
            }
        }
    }

    /// A partition is there to initialise: it has been built, or was there from the first.
    pub(super) fn initialise_built<R: Recorder>(&mut self, partition: usize, run: &mut Run<'_, '_, R>) {
        let life = self.lives[partition].number;
        self.initialise(partition, Start::Cold, life, run);
    }

    /// The first output of the declared task ends an outage.
    pub(super) fn end_outage<R: Recorder>(&mut self, task: usize, run: &mut Run<'_, '_, R>) {
        let partition = run.machine.tasks[task].partition;
        if run.machine.partitions[partition].recovery.ends_with != Some(task) {
            return;
        }
        let Some((since_ns, start)) = self.lives[partition].outage.take() else { return };
        self.outages -= 1;
        let seen = &mut run.out.seen.partitions[partition];
        let longest = match start {
            Start::Warm => &mut seen.warm_outage_ns,
            Start::Cold => &mut seen.cold_outage_ns,
        };
        *longest = (*longest).max(Some(run.now - since_ns));
    }

    /// Another module schedule takes effect; who declares a start and has windows there, starts.
    pub(super) fn change<R: Recorder>(&mut self, to: usize, run: &mut Run<'_, '_, R>) {
        run.switch_tables(to);
        for partition in 0..run.machine.partitions.len() {
            let Some(start) = run.machine.partitions[partition].at_change else { continue };
            let can = !matches!(self.lives[partition].stage, Stage::Stopped);
            if can && is_served(run.machine, partition, to) {
                self.restart(partition, start, None, run);
            }
        }
    }
}

/// Whether the partition has windows, or another supply, in a module schedule.
fn is_served(machine: &Machine, partition: usize, schedule: usize) -> bool {
    let Some(tables) = machine.schedules.get(schedule) else { return false };
    let lanes = machine.partitions[partition].lanes.clone();
    let windows = || tables.cores.iter().flatten().any(|window| lanes.contains(&window.lane));
    let granted = |lane: usize| {
        use crate::machine::Grant;
        !matches!(tables.grants.get(lane), None | Some(Grant::Windows | Grant::Nothing))
    };
    windows() || lanes.clone().any(granted)
}

/// Whether a partition still has others to build.
fn is_building<R: Recorder>(partition: usize, run: &Run<'_, '_, R>) -> bool {
    run.duties(partition).any(|duty| matches!(duty, Duty::Conduct(tag) if matches!(Work::of_tag(tag), Work::Build(_))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn work_is_told_apart_by_its_tag() {
        for work in [Work::Initialise, Work::Refill, Work::Build(0), Work::Build(77), Work::Interrupt(5)] {
            let Duty::Conduct(tag) = work.duty() else { panic!("work of the conduct") };
            assert_eq!(Work::of_tag(tag), work);
        }
    }
}
