//! What it costs to begin serving a partition, against the platform sheet.
//!
//! Seen where a job of the partition was under way when its window began: then it executes as soon as the switch and the
//! refill are over. Elsewhere the partition may merely have had nothing to do.

use super::partition_name;
use super::tally::{Finding, Limit, Rule, Tally};
use crate::rebuilt::{Observer, Window};
use crate::seen::{Happening, Seen};
use model::System;
use quantity::PartitionId;

#[derive(Debug)]
pub(super) struct Switches {
    home: Vec<PartitionId>,
    /// By partition: how many jobs that were seen to arrive are under way.
    under_way: Vec<u64>,
    /// By core: whether the open window began with work to do.
    waiting: Vec<bool>,
    tallies: Vec<Tally>,
}

impl Switches {
    pub(super) fn new(system: &System) -> Self {
        let platform = &system.platform;
        let limit: Limit = match (platform.switch, platform.refill) {
            (Some(switch), Some(refill)) => Ok(switch.value.ns().saturating_add(refill.value.ns())),
            (None, _) => Err("the platform sheet does not give `switch`".to_owned()),
            (_, None) => Err("the platform sheet does not give `refill`".to_owned()),
        };
        Self {
            home: system.tasks.iter().map(|task| task.partition).collect(),
            under_way: vec![0; system.partitions.len()],
            waiting: vec![false; system.board.cores.len()],
            tallies: vec![Tally::new(Rule::Switch, limit); system.partitions.len()],
        }
    }

    pub(super) fn findings(&self, system: &System) -> Vec<Finding> {
        let silent = "no window of it was seen to begin with a job waiting";
        let tallies = self.tallies.iter().enumerate();
        tallies.map(|(index, tally)| tally.finding(partition_name(system, index), silent)).collect()
    }
}

impl Observer for Switches {
    fn seen(&mut self, seen: &Seen) {
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

    fn window(&mut self, window: &Window) {
        if !window.told || !std::mem::take(&mut self.waiting[window.core.index()]) {
            return;
        }
        let tally = &mut self.tallies[window.partition.index()];
        match window.first_ns {
            Some(first) if window.whole => {
                let cost = first.saturating_sub(window.from_ns);
                tally.note(cost, window.from_ns, || {
                    format!("its work waited, and executed only {cost} ns into the window")
                });
            }
            _ => tally.note_gap(),
        }
    }
}
