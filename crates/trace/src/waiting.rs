//! Which windows began with work to do: a job of their partition was under way and ready, which the partition then executes as
//! soon as the switch and the refill are over. Elsewhere it may merely have had nothing to do.

use crate::moment::Moment;
use crate::seen::{Happening, Seen};
use model::System;
use quantity::{CoreId, PartitionId, TaskId};

#[derive(Debug)]
pub(crate) struct Waiting {
    tasks: Vec<OfTask>,
    /// By partition: whether it has one virtual core. With several, a job may be under way on another one.
    is_single: Vec<bool>,
    /// How long the switch and the refill may take, as far as the platform sheet says.
    head_ns: u64,
    /// By core: the open window.
    open: Vec<Option<Open>>,
}

/// A window that has begun.
#[derive(Debug, Clone, Copy)]
struct Open {
    partition: PartitionId,
    begins: Moment,
    work: Option<Work>,
}

/// What a window began with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Work {
    /// A job was ready.
    Ready,
    /// A job was ready or not: the clocks of those who tell of it and of the window are off each other by so much.
    Perhaps(u64),
}

#[derive(Debug)]
struct OfTask {
    home: PartitionId,
    jitter_ns: u64,
    /// How many jobs that were seen to arrive are under way.
    under_way: u64,
    /// When the last of them arrived.
    arrived: Moment,
    /// When one ended of which no arrival was seen, or all were given up: an arrival that is told after that may have come before.
    spare: Option<Moment>,
    /// When one of them ended last.
    ended: Option<Moment>,
    /// Whether completions are told: else none of its jobs is ever seen to end.
    told: bool,
}

impl Waiting {
    pub(crate) fn new(system: &System) -> Self {
        let task = |id| OfTask {
            home: system.task(id).partition,
            jitter_ns: system.jitter(id).map_or(0, |jitter| jitter.ns()),
            under_way: 0,
            arrived: Moment::default(),
            spare: None,
            ended: None,
            told: false,
        };
        Self {
            tasks: system.task_ids().map(task).collect(),
            is_single: system.partitions.iter().map(|partition| partition.virtual_cores.value == 1).collect(),
            head_ns: [system.platform.switch, system.platform.refill]
                .iter()
                .flatten()
                .map(|cost| cost.value.ns())
                .sum(),
            open: vec![None; system.board.cores.len()],
        }
    }

    pub(crate) fn seen(&mut self, seen: &Seen) {
        match seen.what {
            Happening::Arrives { task, .. } => {
                self.tasks[task.index()].arrives(seen.moment());
                self.look_again(task);
            }
            Happening::Completes { task, .. } => {
                self.tasks[task.index()].told = true;
                self.ends(task, seen.moment());
            }
            Happening::Dropped { task } => self.ends(task, seen.moment()),
            Happening::Restarts { partition, .. } | Happening::Stopped { partition } => {
                let mine = self.tasks.iter_mut().filter(|task| task.home == partition);
                mine.for_each(|task| (task.under_way, task.spare) = (0, Some(seen.moment())));
            }
            Happening::WindowBegins { core, partition } => {
                let (begins, mut open) = (seen.moment(), None);
                if self.is_single[partition.index()] {
                    let mine = self.tasks.iter().filter(|task| task.home == partition);
                    let work = mine.filter_map(|task| task.work(begins, self.head_ns)).reduce(Work::or);
                    open = Some(Open { partition, begins, work });
                }
                self.open[core.index()] = open;
            }
            Happening::Gap { .. } => {
                self.tasks.iter_mut().for_each(|task| (task.under_way, task.told) = (0, false));
                self.open.fill(None);
            }
            _ => {}
        }
    }

    fn ends(&mut self, task: TaskId, at: Moment) {
        self.tasks[task.index()].ends(at);
        let home = self.tasks[task.index()].home;
        // It may have ended before a window of its partition began that is told earlier.
        for open in self.open.iter_mut().flatten().filter(|open| open.partition == home && open.work.is_some()) {
            if let Some(error_ns) = open.begins.may_swap_with(at) {
                open.work = Some(Work::Perhaps(error_ns));
            }
        }
    }

    /// A job has arrived, which may have been before a window of its partition began that is told earlier.
    fn look_again(&mut self, task: TaskId) {
        let task = &self.tasks[task.index()];
        for open in self.open.iter_mut().flatten().filter(|open| open.partition == task.home && open.work.is_none()) {
            if open.begins.may_swap_with(task.arrived).is_some() {
                open.work = task.work(open.begins, self.head_ns);
            }
        }
    }

    /// What the window that ends on a core began with; asked once.
    pub(crate) fn take(&mut self, core: CoreId) -> Option<Work> {
        self.open[core.index()].take()?.work
    }
}

impl OfTask {
    fn arrives(&mut self, at: Moment) {
        self.arrived = at;
        match self.spare.take().and_then(|spare| at.may_swap_with(spare)) {
            None => self.under_way += 1,
            // It may be over already: nothing is known of the task's jobs until one is seen to end.
            Some(_) => (self.under_way, self.told) = (0, false),
        }
    }

    fn ends(&mut self, at: Moment) {
        self.spare = (self.under_way == 0).then_some(at);
        self.under_way = self.under_way.saturating_sub(1);
        self.ended = Some(at);
    }

    /// Whether a job of it is under way and ready when a window begins.
    fn work(&self, begins: Moment, head_ns: u64) -> Option<Work> {
        // One that is released while the switch goes on executes no later for it.
        let usable_ns = begins.at_ns.saturating_add(head_ns);
        let ready_ns = self.arrived.at_ns.saturating_add(self.jitter_ns);
        let error_ns = self.arrived.clock.error_to_ns(begins.clock);
        let is_before = self.arrived.may_swap_with(begins).is_none();
        let has_just_ended = self.ended.and_then(|ended| begins.may_swap_with(ended));
        match () {
            () if !self.told => None,
            () if self.under_way > 0 && is_before && ready_ns.saturating_add(error_ns) <= usable_ns => {
                Some(Work::Ready)
            }
            () if self.under_way > 0 && ready_ns.saturating_sub(error_ns) <= usable_ns => Some(Work::Perhaps(error_ns)),
            () => has_just_ended.map(Work::Perhaps),
        }
    }
}

impl Work {
    /// With another job beside.
    fn or(self, other: Self) -> Self {
        match (self, other) {
            (Self::Perhaps(own), Self::Perhaps(other)) => Self::Perhaps(own.max(other)),
            _ => Self::Ready,
        }
    }
}
