//! What is put together from what was seen: windows, slices of execution, jobs. Whoever wants them is an [`Observer`].
//!
//! `whole` is false where a gap of the recording, its beginning or its end lies within: such a piece is counted as seen, and
//! speaks for nothing that a missing event could have changed.

use crate::moment::{Clock, Moment, Reading};
use crate::seen::{Seen, Who};
use quantity::{CoreId, PartitionId, TaskId};

/// A stretch in which a core served a partition.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// The core.
    pub core: CoreId,
    /// The partition.
    pub partition: PartitionId,
    /// When it began.
    pub from_ns: u64,
    /// When it ended.
    pub to_ns: u64,
    /// By whose clocks it began and ended.
    pub clocks: (Clock, Clock),
    /// When its partition first executed in it, where it did: from the beginning to here the switch took.
    pub first: Option<Moment>,
    /// Whether the recording says its beginning and end itself, instead of leaving them to be seen from who executes.
    pub told: bool,
    /// Whether nothing within was lost.
    pub whole: bool,
}

impl Window {
    /// When it began.
    pub fn began(&self) -> Moment {
        Moment { at_ns: self.from_ns, clock: self.clocks.0 }
    }

    /// When it ended.
    pub fn ended(&self) -> Moment {
        Moment { at_ns: self.to_ns, clock: self.clocks.1 }
    }
}

/// A stretch in which one executed on a core without a break.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Slice {
    /// The core.
    pub core: CoreId,
    /// Who.
    pub who: Who,
    /// When it began.
    pub from_ns: u64,
    /// When it ended.
    pub to_ns: u64,
    /// By whose clock it began.
    pub clock: Clock,
    /// Whether nothing within was lost.
    pub whole: bool,
}

/// A job that completed, or was given up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Job {
    /// Its task.
    pub task: TaskId,
    /// When it arrived, where that was seen.
    pub arrived_ns: Option<u64>,
    /// When it first executed, where that was seen.
    pub began_ns: Option<u64>,
    /// When it completed; `None`: it was given up, or the recording does not show it.
    pub completed_ns: Option<u64>,
    /// Whether a start or stop of its partition gave it up.
    pub given_up: bool,
    /// Of a job that did not complete: the last instant up to which it is certain that it had not. `None`: that is not known.
    pub open_ns: Option<u64>,
    /// By whose clock it arrived, and by whose it completed or was last known not to have.
    pub clocks: (Clock, Clock),
    /// For how long it executed.
    pub executed_ns: u64,
    /// How far off that is, where it was told by several clocks.
    pub execution_error_ns: u64,
    /// How far off the clocks are that tell of arrivals and completions, where that may have paired it with another's; else 0.
    pub unpaired_by_ns: u64,
    /// Whether nothing from its arrival to its end was lost.
    pub whole: bool,
}

impl Job {
    /// How long it had been under way, where it did not complete and is known not to have until then.
    pub fn open_for(&self) -> Option<Reading> {
        Some(self.until(self.open_ns?).since(self.arrived()?))
    }

    /// From arrival to completion, where both were seen and nothing between was lost.
    pub fn response(&self) -> Option<Reading> {
        let (arrived, completed) = (self.arrived()?, self.completed()?);
        self.whole.then(|| completed.since(arrived))
    }

    /// For how long it executed.
    pub fn executed(&self) -> Reading {
        Reading::off_by(self.executed_ns, self.execution_error_ns)
    }

    /// When it arrived.
    pub fn arrived(&self) -> Option<Moment> {
        Some(Moment { at_ns: self.arrived_ns?, clock: self.clocks.0 })
    }

    /// When it completed.
    pub fn completed(&self) -> Option<Moment> {
        Some(self.until(self.completed_ns?))
    }

    /// When its output comes: under logical execution time so long after its arrival, and never before it completed.
    pub fn output(&self, logical_ns: Option<u64>) -> Option<Moment> {
        let completed = self.completed()?;
        let logical = logical_ns.zip(self.arrived());
        let logical = logical.map(|(after, at)| Moment { at_ns: at.at_ns.saturating_add(after), ..at });
        Some(logical.filter(|logical| logical.at_ns > completed.at_ns).unwrap_or(completed))
    }

    fn until(&self, at_ns: u64) -> Moment {
        Moment { at_ns, clock: self.clocks.1 }
    }
}

/// Who is told what is put together, each as soon as it is known. All have an empty default, so that one takes what it needs.
pub trait Observer {
    /// Every single thing seen, in the order of time.
    fn seen(&mut self, seen: &Seen) {
        let _ = seen;
    }

    /// A window has ended.
    fn window(&mut self, window: &Window) {
        let _ = window;
    }

    /// A slice has ended.
    fn slice(&mut self, slice: &Slice) {
        let _ = slice;
    }

    /// A job has ended.
    fn job(&mut self, job: &Job) {
        let _ = job;
    }
}

/// Tells two, one after the other.
pub struct Both<'a>(pub &'a mut dyn Observer, pub &'a mut dyn Observer);

impl Observer for Both<'_> {
    fn seen(&mut self, seen: &Seen) {
        self.0.seen(seen);
        self.1.seen(seen);
    }

    fn window(&mut self, window: &Window) {
        self.0.window(window);
        self.1.window(window);
    }

    fn slice(&mut self, slice: &Slice) {
        self.0.slice(slice);
        self.1.slice(slice);
    }

    fn job(&mut self, job: &Job) {
        self.0.job(job);
        self.1.job(job);
    }
}
