//! Which windows began with work to do: a job of their partition was under way and ready, which the partition then executes as
//! soon as the switch and the refill are over. Elsewhere it may merely have had nothing to do.

use crate::moment::Moment;
use crate::seen::{Happening, Seen};
use model::System;
use quantity::{CoreId, PartitionId};

#[derive(Debug)]
pub(crate) struct Waiting {
    tasks: Vec<OfTask>,
    /// By partition: whether it has one virtual core. With several, a job may be under way on another one.
    is_single: Vec<bool>,
    /// How long the switch and the refill may take, as far as the platform sheet says.
    head_ns: u64,
    /// By core: whether the open window began with work to do: then whose, and when.
    waiting: Vec<Option<(PartitionId, Moment)>>,
}

#[derive(Debug)]
struct OfTask {
    home: PartitionId,
    jitter_ns: u64,
    /// How many jobs that were seen to arrive are under way.
    under_way: u64,
    /// When the last of them arrived.
    arrived: Moment,
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
            waiting: vec![None; system.board.cores.len()],
        }
    }

    pub(crate) fn seen(&mut self, seen: &Seen) {
        match seen.what {
            Happening::Arrives { task, .. } => {
                let task = &mut self.tasks[task.index()];
                task.under_way += 1;
                task.arrived = seen.moment();
            }
            Happening::Completes { task, .. } => {
                let task = &mut self.tasks[task.index()];
                task.under_way = task.under_way.saturating_sub(1);
                task.told = true;
                let home = task.home;
                self.doubt(home, seen.moment());
            }
            Happening::Dropped { task } => {
                let task = &mut self.tasks[task.index()];
                task.under_way = task.under_way.saturating_sub(1);
                let home = task.home;
                self.doubt(home, seen.moment());
            }
            Happening::Restarts { partition, .. } | Happening::Stopped { partition } => {
                let mine = self.tasks.iter_mut().filter(|task| task.home == partition);
                mine.for_each(|task| task.under_way = 0);
            }
            Happening::WindowBegins { core, partition } => {
                let waits = self.is_single[partition.index()] && self.has_work(partition, seen.moment());
                self.waiting[core.index()] = waits.then_some((partition, seen.moment()));
            }
            Happening::Gap { .. } => {
                self.tasks.iter_mut().for_each(|task| (task.under_way, task.told) = (0, false));
                self.waiting.fill(None);
            }
            _ => {}
        }
    }

    /// Whether a job of the partition is surely under way and ready when a window of it begins.
    fn has_work(&self, partition: PartitionId, begins: Moment) -> bool {
        // One that is released while the switch goes on executes no later for it.
        let usable_ns = begins.at_ns.saturating_add(self.head_ns);
        let ready_ns = |task: &OfTask| {
            let arrived_ns = task.arrived.at_ns.saturating_add(task.arrived.clock.error_to_ns(begins.clock));
            arrived_ns.saturating_add(task.jitter_ns)
        };
        let is_ready = |task: &OfTask| task.told && task.under_way > 0 && ready_ns(task) <= usable_ns;
        self.tasks.iter().any(|task| task.home == partition && is_ready(task))
    }

    /// A job of a partition ends, which may have been before a window of it began that is told earlier by another source.
    fn doubt(&mut self, home: PartitionId, ended: Moment) {
        let may_be_before = |(partition, begins): &mut (PartitionId, Moment)| {
            *partition == home && begins.may_swap_with(ended).is_some()
        };
        self.waiting.iter_mut().for_each(|waiting| _ = waiting.take_if(may_be_before));
    }

    /// Whether the window that ends on a core began with work to do; asked once.
    pub(crate) fn take(&mut self, core: CoreId) -> bool {
        self.waiting[core.index()].take().is_some()
    }
}
