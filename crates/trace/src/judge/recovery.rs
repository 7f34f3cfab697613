//! How long partitions were away when they started again, and when they were operational at boot, measured as the bounds of
//! analysis count these: for their own needs see `outage`.
//!
//! An outage counts from the fault, where the recording tells of one that began no longer than the declared detection time
//! before the error was noticed; else from the notice, or from the start itself, and then the detection is not in it. It lasts
//! to the first output of the declared task. A boot counts from the begin of the first frame of which a window was seen.

use super::Most;
use crate::moment::{Moment, Reading};
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
    first_window: Option<Moment>,
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
    fault: Option<Moment>,
    /// When an error of it was noticed last that no start has answered.
    noticed: Option<Moment>,
    away: Option<Away>,
    /// Whether it started again before.
    has_started: bool,
    /// When it was operational before any start that was seen.
    booted: Option<Moment>,
}

#[derive(Debug, Clone, Copy)]
struct Away {
    from: Moment,
    started_ns: u64,
    start: Start,
    since: Since,
}

impl Recovery {
    pub(super) fn new(system: &System) -> Self {
        Self {
            lives: system.partitions.iter().map(|partition| Life::new(system, partition)).collect(),
            first_window: None,
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
            let Moment { at_ns, clock } = self.first_window?;
            let since = (i128::from(at_ns) - i128::from(origin_ns?)).rem_euclid(i128::from(self.frame_ns));
            Some(Moment { at_ns: at_ns.checked_sub(u64::try_from(since).ok()?)?, clock })
        };
        let begin = begin();
        let boot = |life: &Life| {
            let at = life.booted?;
            let Reading { value, least: surely, .. } = at.since(begin.filter(|begin| begin.at_ns <= at.at_ns)?);
            Some(Most { value, surely, at_ns: at.at_ns, seen: 1 })
        };
        self.lives.iter().map(boot).collect()
    }

    /// Whether some partition was operational without having started before in sight.
    pub(super) fn has_booted(&self) -> bool {
        self.lives.iter().any(|life| life.booted.is_some())
    }

    fn starts(&mut self, at: Moment, partition: PartitionId, start: Start) {
        let life = &mut self.lives[partition.index()];
        life.has_started = true;
        let noticed = life.noticed.take().unwrap_or(at);
        if life.away.is_some() {
            // A second start before the first output: what a bound says of one does not hold for both.
            life.away = None;
            return;
        }
        let fault = life
            .fault
            .filter(|fault| noticed.at_ns.checked_sub(fault.at_ns).is_some_and(|passed| passed <= life.detection_ns));
        let (from, since) = fault.map_or((noticed, Since::Noticed), |fault| (fault, Since::Fault));
        life.away = Some(Away { from, started_ns: at.at_ns, start, since });
    }

    fn forget(&mut self) {
        self.lives.iter_mut().for_each(|life| (life.fault, life.noticed, life.away) = (None, None, None));
    }

    fn fault_begins(&mut self, at: Moment, of: Option<PartitionId>) {
        let lives = self.lives.iter_mut().enumerate();
        let may_be_its = lives.filter(|(index, _)| of.is_none_or(|of| of.index() == *index));
        may_be_its.for_each(|(_, life)| life.fault = Some(at));
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
            fault: None,
            noticed: None,
            away: None,
            has_started: false,
            booted: None,
        }
    }

    /// A job ends the outage where it is of the declared task: then the outage and when its output comes.
    fn ends(&mut self, job: &Job) -> Option<(Away, Moment)> {
        let (_, logical_ns) = self.ends_with.filter(|(task, _)| *task == job.task)?;
        let completed = job.completed()?;
        let away = self.away.take_if(|away| away.started_ns < completed.at_ns)?;
        // When it is put out under logical execution time hangs on when it arrived.
        let is_known = logical_ns.is_none() || job.arrived_ns.is_some();
        Some((away, job.output(logical_ns).filter(|_| is_known)?))
    }
}

impl Observer for Recovery {
    fn seen(&mut self, seen: &Seen) {
        let at = seen.moment();
        match seen.what {
            Happening::WindowBegins { .. } => self.first_window = self.first_window.or(Some(at)),
            Happening::FaultBegins { of, .. } => self.fault_begins(at, of),
            Happening::Noticed { partition } => self.lives[partition.index()].noticed = Some(at),
            Happening::Restarts { partition, start } => self.starts(at, partition, start),
            Happening::Operational { partition } => {
                let life = &mut self.lives[partition.index()];
                if !life.has_started {
                    life.booted = life.booted.or(Some(at));
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
            let Reading { value, least: surely, .. } = output.since(away.from);
            let key = (PartitionId::new(index), away.start, away.since);
            let most = self.outages.entry(key).or_insert(Most { value, surely, at_ns: output.at_ns, seen: 0 });
            most.seen += 1;
            if surely > most.surely {
                (most.value, most.surely, most.at_ns) = (value, surely, output.at_ns);
            }
        }
    }
}
