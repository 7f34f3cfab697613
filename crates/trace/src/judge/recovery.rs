//! How long partitions were away when they started again, and when they were operational at boot, measured as the bounds of
//! analysis count these: for their own needs see `outage`.
//!
//! An outage counts from the fault, where the recording tells of one that began no longer than the declared detection time
//! before the error was noticed; else from the notice, or from the start itself, and then the detection is not in it. It lasts
//! to the first output of the declared task. A boot counts from the begin of the first frame of which a window was seen.

use super::Most;
use crate::rebuilt::{Job, Observer};
use crate::seen::{Happening, Seen, Start};
use model::System;
use model::system::{Exchange, Partition};
use quantity::{PartitionId, TaskId};
use std::collections::BTreeMap;

/// From when an outage was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Since {
    /// From the fault.
    Fault,
    /// From when the error was noticed, or the start began: when it failed is not recorded.
    Noticed,
}

/// Outages of a partition after starts of one kind, measured alike.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OutageSeen {
    /// The partition.
    pub partition: PartitionId,
    /// How it started.
    pub start: Start,
    /// From when these were measured.
    pub since: Since,
    /// The longest.
    pub most: Most,
}

#[derive(Debug)]
pub(super) struct Recovery {
    /// By partition.
    lives: Vec<Life>,
    /// When the first window began that was seen.
    first_window_ns: Option<u64>,
    frame_ns: u64,
    outages: BTreeMap<(PartitionId, Start, Since), Most>,
}

/// What is known of a partition.
#[derive(Debug)]
struct Life {
    /// The task whose first output ends an outage, and from its arrival to its output under logical execution time.
    ends_with: Option<(TaskId, Option<u64>)>,
    detection_ns: u64,
    /// When a fault began last that is its own or of no one partition.
    fault_ns: Option<u64>,
    /// When an error of it was noticed last that no start has answered.
    noticed_ns: Option<u64>,
    away: Option<Away>,
    /// Whether it started again before.
    has_started: bool,
    /// When it was operational before any start that was seen.
    booted_ns: Option<u64>,
}

#[derive(Debug, Clone, Copy)]
struct Away {
    from_ns: u64,
    started_ns: u64,
    start: Start,
    since: Since,
}

impl Recovery {
    pub(super) fn new(system: &System) -> Self {
        Self {
            lives: system.partitions.iter().map(|partition| Life::new(system, partition)).collect(),
            first_window_ns: None,
            frame_ns: system.frame.value.ns(),
            outages: BTreeMap::new(),
        }
    }

    /// The longest outages, by partition, kind of start, and from when they were measured.
    pub(super) fn outages(&self) -> Vec<OutageSeen> {
        let outage = |(&(partition, start, since), &most): (&(PartitionId, Start, Since), &Most)| OutageSeen {
            partition,
            start,
            since,
            most,
        };
        self.outages.iter().map(outage).collect()
    }

    /// By partition: how long after the first frame's begin it was operational. Frames begin at `origin_ns`.
    pub(super) fn boots(&self, origin_ns: Option<u64>) -> Vec<Option<Most>> {
        let begin = || {
            let first = self.first_window_ns?;
            let since = (i128::from(first) - i128::from(origin_ns?)).rem_euclid(i128::from(self.frame_ns));
            first.checked_sub(u64::try_from(since).ok()?)
        };
        let begin = begin();
        let boot = |life: &Life| {
            let at_ns = life.booted_ns?;
            Some(Most { value: at_ns.checked_sub(begin?)?, at_ns, seen: 1 })
        };
        self.lives.iter().map(boot).collect()
    }

    /// Whether some partition was operational without having started before in sight.
    pub(super) fn has_booted(&self) -> bool {
        self.lives.iter().any(|life| life.booted_ns.is_some())
    }

    fn starts(&mut self, at: u64, partition: PartitionId, start: Start) {
        let life = &mut self.lives[partition.index()];
        life.has_started = true;
        let noticed = life.noticed_ns.take().unwrap_or(at);
        if life.away.is_some() {
            // A second start before the first output: what a bound says of one does not hold for both.
            life.away = None;
            return;
        }
        let fault =
            life.fault_ns.filter(|fault| noticed.checked_sub(*fault).is_some_and(|passed| passed <= life.detection_ns));
        let (from_ns, since) = fault.map_or((noticed, Since::Noticed), |fault| (fault, Since::Fault));
        life.away = Some(Away { from_ns, started_ns: at, start, since });
    }

    fn forget(&mut self) {
        self.lives.iter_mut().for_each(|life| (life.fault_ns, life.noticed_ns, life.away) = (None, None, None));
    }

    fn fault_begins(&mut self, at: u64, of: Option<PartitionId>) {
        let lives = self.lives.iter_mut().enumerate();
        let may_be_its = lives.filter(|(index, _)| of.is_none_or(|of| of.index() == *index));
        may_be_its.for_each(|(_, life)| life.fault_ns = Some(at));
    }
}

impl Life {
    fn new(system: &System, partition: &Partition) -> Self {
        let restart = partition.restart.as_ref();
        let ends_with = restart.and_then(|restart| restart.ends_with).map(|task| task.value);
        let logical_ns = |task: TaskId| {
            let declared = system.task(task);
            (declared.exchange == Exchange::Logical).then(|| declared.deadline.value.ns())
        };
        Self {
            ends_with: ends_with.map(|task| (task, logical_ns(task))),
            detection_ns: restart.and_then(|restart| restart.detection).map_or(0, |time| time.value.ns()),
            fault_ns: None,
            noticed_ns: None,
            away: None,
            has_started: false,
            booted_ns: None,
        }
    }

    /// A job ends the outage where it is of the declared task: then the outage and when its output comes.
    fn ends(&mut self, job: &Job) -> Option<(Away, u64)> {
        let (_, logical_ns) = self.ends_with.filter(|(task, _)| *task == job.task)?;
        let completed = job.completed_ns?;
        let away = self.away.take_if(|away| away.started_ns < completed)?;
        let output = match logical_ns {
            None => completed,
            Some(after) => job.arrived_ns?.saturating_add(after).max(completed),
        };
        Some((away, output))
    }
}

impl Observer for Recovery {
    fn seen(&mut self, seen: &Seen) {
        let at = seen.at_ns;
        match seen.what {
            Happening::WindowBegins { .. } => self.first_window_ns = self.first_window_ns.or(Some(at)),
            Happening::FaultBegins { of, .. } => self.fault_begins(at, of),
            Happening::Noticed { partition } => self.lives[partition.index()].noticed_ns = Some(at),
            Happening::Restarts { partition, start } => self.starts(at, partition, start),
            Happening::Operational { partition } => {
                let life = &mut self.lives[partition.index()];
                if !life.has_started {
                    life.booted_ns = life.booted_ns.or(Some(at));
                }
            }
            Happening::Stopped { partition } => self.lives[partition.index()].away = None,
            Happening::Gap { .. } => self.forget(),
            _ => {}
        }
    }

    fn job(&mut self, job: &Job) {
        for (index, life) in self.lives.iter_mut().enumerate() {
            let Some((away, output)) = life.ends(job) else { continue };
            let value = output.saturating_sub(away.from_ns);
            let key = (PartitionId::new(index), away.start, away.since);
            let most = self.outages.entry(key).or_insert(Most { value, at_ns: output, seen: 0 });
            most.seen += 1;
            if value > most.value {
                (most.value, most.at_ns) = (value, output);
            }
        }
    }
}
