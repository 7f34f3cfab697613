//! What partitions were given and what they made of it: their windows, the time that they executed, what beginning to serve them
//! cost. Figures without a limit; the rules about windows and switches are judged elsewhere.

use crate::rebuilt::{Observer, Slice, Window};
use crate::seen::Who;
use model::System;
use quantity::PartitionId;

/// How often something was measured, and between which times it lay.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Extent {
    /// How often.
    pub times: u64,
    /// The least, in nanoseconds; 0 where nothing was measured.
    pub least_ns: u64,
    /// The most, in nanoseconds.
    pub most_ns: u64,
    /// All of it together, in nanoseconds.
    pub total_ns: u64,
}

impl Extent {
    pub(super) fn note(&mut self, ns: u64) {
        self.least_ns = if self.times == 0 { ns } else { self.least_ns.min(ns) };
        self.most_ns = self.most_ns.max(ns);
        self.total_ns = self.total_ns.saturating_add(ns);
        self.times += 1;
    }
}

/// What one partition was given.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Supply {
    /// Its windows that were told of, whole.
    pub windows: Extent,
    /// Its stretches of execution, whole, in windows or not.
    pub executed: Extent,
    /// From the beginning of a window to its first execution in it, where a job waited.
    pub switches: Extent,
}

#[derive(Debug)]
pub(super) struct Supplies {
    home: Vec<PartitionId>,
    list: Vec<Supply>,
}

impl Supplies {
    pub(super) fn new(system: &System) -> Self {
        Self {
            home: system.tasks.iter().map(|task| task.partition).collect(),
            list: vec![Supply::default(); system.partitions.len()],
        }
    }

    /// By partition, with what the switches to each were seen to take.
    pub(super) fn finish(&self, switches: &[Extent]) -> Vec<Supply> {
        self.list.iter().zip(switches).map(|(supply, switches)| Supply { switches: *switches, ..*supply }).collect()
    }
}

impl Observer for Supplies {
    fn window(&mut self, window: &Window) {
        if window.told && window.whole {
            self.list[window.partition.index()].windows.note(window.to_ns.saturating_sub(window.from_ns));
        }
    }

    fn slice(&mut self, slice: &Slice) {
        let partition = match slice.who {
            Who::Task(task) => self.home.get(task.index()).copied(),
            Who::Partition(partition) => Some(partition),
            Who::Platform | Who::Foreign(_) => None,
        };
        if let Some(partition) = partition.filter(|_| slice.whole) {
            self.list[partition.index()].executed.note(slice.to_ns.saturating_sub(slice.from_ns));
        }
    }
}
