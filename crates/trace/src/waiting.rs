//! Which windows began with work to do: a job of their partition, seen to arrive, was under way.
//!
//! Then the partition executes as soon as the switch and the refill are over. Elsewhere it may merely have had nothing to do.

use crate::seen::{Happening, Seen};
use model::System;
use quantity::{CoreId, PartitionId};

#[derive(Debug)]
pub(crate) struct Waiting {
    home: Vec<PartitionId>,
    /// By partition: how many jobs that were seen to arrive are under way.
    under_way: Vec<u64>,
    /// By core: whether the open window began with work to do.
    waiting: Vec<bool>,
}

impl Waiting {
    pub(crate) fn new(system: &System) -> Self {
        Self {
            home: system.tasks.iter().map(|task| task.partition).collect(),
            under_way: vec![0; system.partitions.len()],
            waiting: vec![false; system.board.cores.len()],
        }
    }

    pub(crate) fn seen(&mut self, seen: &Seen) {
        match seen.what {
            Happening::Arrives { task, .. } => self.under_way[self.home[task.index()].index()] += 1,
            Happening::Completes { task, .. } | Happening::Dropped { task } => {
                let count = &mut self.under_way[self.home[task.index()].index()];
                *count = count.saturating_sub(1);
            }
            Happening::Restarts { partition, .. } | Happening::Stopped { partition } => {
                self.under_way[partition.index()] = 0;
            }
            Happening::WindowBegins { core, partition } => {
                self.waiting[core.index()] = self.under_way[partition.index()] > 0;
            }
            Happening::Gap { .. } => {
                self.under_way.fill(0);
                self.waiting.fill(false);
            }
            _ => {}
        }
    }

    /// Whether the window that ends on a core began with work to do; asked once.
    pub(crate) fn take(&mut self, core: CoreId) -> bool {
        std::mem::take(&mut self.waiting[core.index()])
    }
}
