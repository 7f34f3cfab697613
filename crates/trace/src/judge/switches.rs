//! What it costs to begin serving a partition, against the platform sheet.
//!
//! Seen where a job of the partition was under way when its window began.

use super::partition_name;
use super::supply::Extent;
use super::tally::{Finding, Limit, Rule, Tally};
use crate::rebuilt::{Observer, Window};
use crate::seen::Seen;
use crate::waiting::{Waiting, Work};
use model::System;

#[derive(Debug)]
pub(super) struct Switches {
    waiting: Waiting,
    tallies: Vec<Tally>,
    /// What switches took, by partition.
    costs: Vec<Extent>,
}

impl Switches {
    pub(super) fn new(system: &System) -> Self {
        let platform = &system.platform;
        let limit: Limit = match (platform.switch, platform.refill) {
            (Some(switch), Some(refill)) => {
                // A call that the window's beginning does not cut may put it off.
                let slip = platform.boundary_slip.map_or(0, |slip| slip.value.ns());
                Ok(switch.value.ns().saturating_add(refill.value.ns()).saturating_add(slip))
            }
            (None, _) => Err("the platform sheet does not give `switch`".to_owned()),
            (_, None) => Err("the platform sheet does not give `refill`".to_owned()),
        };
        let partitions = system.partitions.len();
        Self {
            waiting: Waiting::new(system),
            tallies: vec![Tally::new(Rule::Switch, limit); partitions],
            costs: vec![Extent::default(); partitions],
        }
    }

    /// What switches took, by partition.
    pub(super) fn costs(&self) -> &[Extent] {
        &self.costs
    }

    pub(super) fn findings(&self, system: &System) -> Vec<Finding> {
        let silent = "no window of it was seen to begin with a job waiting";
        let tallies = self.tallies.iter().enumerate();
        tallies.map(|(index, tally)| tally.finding(partition_name(system, index), silent)).collect()
    }
}

impl Observer for Switches {
    fn seen(&mut self, seen: &Seen) {
        self.waiting.seen(seen);
    }

    fn window(&mut self, window: &Window) {
        if !window.told {
            return;
        }
        let Some(work) = self.waiting.take(window.core) else { return };
        let tally = &mut self.tallies[window.partition.index()];
        match window.first {
            Some(first) if window.whole => {
                let cost = first.since(window.began());
                if let Work::Perhaps(error_ns) = work {
                    // Where nothing waited the time says nothing, and where something did it may say too much.
                    if tally.limit().is_some_and(|limit| cost.most > limit) {
                        tally.note_undecided(error_ns);
                    }
                    return;
                }
                self.costs[window.partition.index()].note(cost.value);
                tally.note(cost, window.from_ns, || {
                    format!("its work waited, and executed only {} ns into the window", cost.value)
                });
            }
            _ if work == Work::Ready => tally.note_gap(),
            _ => {}
        }
    }
}
