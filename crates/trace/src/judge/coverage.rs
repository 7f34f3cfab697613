//! What a recording covers, said before anything is concluded from it.

use crate::rebuilt::{Job, Observer, Window};
use crate::seen::{Happening, Seen};
use model::System;
use quantity::ScheduleId;

/// What a recording covers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Coverage {
    /// The first and the last instant seen, in nanoseconds of the common clock; `None`: nothing was seen.
    pub span_ns: Option<(u64, u64)>,
    /// How many things were seen.
    pub seen: u64,
    /// In how many places events were lost.
    pub gaps: u64,
    /// How many frames lie between the first window told of and the last.
    pub frames: u64,
    /// How often each module schedule took effect; the first counts as in effect at the beginning.
    pub schedules: Vec<u64>,
    /// By partition: how many windows of it are told, and how many of these lie in gaps.
    pub windows: Vec<(u64, u64)>,
    /// By task.
    pub tasks: Vec<TaskSeen>,
    /// By channel: how many messages were written.
    pub writes: Vec<u64>,
    /// By channel: how often it was read.
    pub reads: Vec<u64>,
    /// How many faults began.
    pub faults: u64,
    /// How often a partition started anew or stopped.
    pub restarts: u64,
}

/// How often a task was seen.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct TaskSeen {
    /// Jobs seen to complete, with nothing lost between.
    pub whole: u64,
    /// Jobs that a gap or the recording's ends cut.
    pub cut: u64,
    /// Jobs that a start or stop of their partition gave up.
    pub given_up: u64,
}

#[derive(Debug)]
pub(super) struct Cover {
    so_far: Coverage,
    failed: Vec<bool>,
}

impl Cover {
    pub(super) fn new(system: &System) -> Self {
        let mut schedules = vec![0; system.schedules.len()];
        schedules.iter_mut().take(1).for_each(|first| *first = 1);
        let so_far = Coverage {
            span_ns: None,
            seen: 0,
            gaps: 0,
            frames: 0,
            schedules,
            windows: vec![(0, 0); system.partitions.len()],
            tasks: vec![TaskSeen::default(); system.tasks.len()],
            writes: vec![0; system.channels.len()],
            reads: vec![0; system.channels.len()],
            faults: 0,
            restarts: 0,
        };
        Self { so_far, failed: vec![false; system.partitions.len()] }
    }

    /// The last instant seen.
    pub(super) fn last_ns(&self) -> u64 {
        self.so_far.span_ns.map_or(0, |(_, last)| last)
    }

    pub(super) fn failed(&self) -> Vec<bool> {
        self.failed.clone()
    }

    pub(super) fn finish(self, frames: u64) -> Coverage {
        Coverage { frames, ..self.so_far }
    }

    fn schedule(&mut self, schedule: ScheduleId) {
        self.so_far.schedules[schedule.index()] += 1;
    }
}

impl Observer for Cover {
    fn seen(&mut self, seen: &Seen) {
        let so_far = &mut self.so_far;
        so_far.seen += 1;
        let first = so_far.span_ns.map_or(seen.at_ns, |(first, _)| first);
        so_far.span_ns = Some((first, seen.at_ns));
        if let Happening::Noticed { partition }
        | Happening::Restarts { partition, .. }
        | Happening::Stopped { partition } = seen.what
        {
            self.failed[partition.index()] = true;
        }
        match seen.what {
            Happening::Gap { ends, .. } => so_far.gaps += u64::from(ends),
            Happening::Writes { channel, .. } => so_far.writes[channel.index()] += 1,
            Happening::Reads { channel, .. } => so_far.reads[channel.index()] += 1,
            Happening::FaultBegins { .. } => so_far.faults += 1,
            Happening::Restarts { .. } | Happening::Stopped { .. } => so_far.restarts += 1,
            Happening::Schedule { schedule } => self.schedule(schedule),
            _ => {}
        }
    }

    fn window(&mut self, window: &Window) {
        if window.told {
            let (all, cut) = &mut self.so_far.windows[window.partition.index()];
            *all += 1;
            *cut += u64::from(!window.whole);
        }
    }

    fn job(&mut self, job: &Job) {
        let seen = &mut self.so_far.tasks[job.task.index()];
        match () {
            () if job.given_up => seen.given_up += 1,
            () if job.whole && job.completed_ns.is_some() => seen.whole += 1,
            () => seen.cut += 1,
        }
    }
}
