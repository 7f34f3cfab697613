//! What was measured before, during and after a fault.
//!
//! A job belongs to the time before where it completed before the fault began, to the time after where it arrived once the
//! fault had ended, and else to the time during. Only whole jobs are measured.

use crate::rebuilt::{Job, Observer};
use crate::seen::{Happening, Seen};
use model::System;
use model::system::{Channel, ChannelKind};
use quantity::{ChannelId, TaskId};

/// When a fault is said to begin and end.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Given {
    /// Its beginning, in nanoseconds of the common clock; `None`: the recording says it.
    pub from_ns: Option<u64>,
    /// Its end; `None`: the recording says it, or it lasts.
    pub to_ns: Option<u64>,
}

/// What is measured of a victim.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Measure {
    /// From a job's arrival to its completion.
    Response(TaskId),
    /// For how long a job executed.
    Execution(TaskId),
    /// By how much the time from one completion to the next differs from the period.
    Jitter(TaskId),
    /// How old a sampled message was when it was read.
    Age(ChannelId),
}

/// The values of one measure, in nanoseconds, in the order of time.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Values {
    /// Before the fault.
    pub before: Vec<u64>,
    /// While it lasted.
    pub during: Vec<u64>,
    /// After it.
    pub after: Vec<u64>,
}

/// Collects the values.
#[derive(Debug)]
pub struct Spans {
    from_ns: Option<u64>,
    to_ns: Option<u64>,
    given: Given,
    tasks: Vec<OfTask>,
    channels: Vec<OfChannel>,
}

#[derive(Debug, Default)]
struct OfTask {
    period_ns: u64,
    last_completion: Option<u64>,
    responses: Values,
    executions: Values,
    jitters: Values,
}

#[derive(Debug, Default)]
struct OfChannel {
    /// Whether the age of its messages is seen.
    is_measured: bool,
    last_write: Option<u64>,
    ages: Values,
}

impl Spans {
    /// Ready for a recording of `system`.
    pub fn new(system: &System, given: Given) -> Self {
        let task = |task| OfTask { period_ns: system.task(task).period.value.ns(), ..OfTask::default() };
        // What the forwarder carries is read later than it was written, by a time that is not seen.
        let is_measured =
            |channel: &Channel| matches!(channel.kind, ChannelKind::Sampling { .. }) && !channel.forwarded;
        Self {
            from_ns: given.from_ns,
            to_ns: given.to_ns,
            given,
            tasks: system.task_ids().map(task).collect(),
            channels: system
                .channels
                .iter()
                .map(|channel| OfChannel { is_measured: is_measured(channel), ..OfChannel::default() })
                .collect(),
        }
    }

    /// When the fault began and ended, as given or recorded. Of several faults: the first beginning, the last end.
    pub fn fault_ns(&self) -> Option<(u64, Option<u64>)> {
        Some((self.from_ns?, self.to_ns))
    }

    /// Everything measured at least once, by measure.
    pub fn finish(self) -> Vec<(Measure, Values)> {
        let tasks = self.tasks.into_iter().enumerate().flat_map(|(index, task)| {
            let id = TaskId::new(index);
            [
                (Measure::Response(id), task.responses),
                (Measure::Execution(id), task.executions),
                (Measure::Jitter(id), task.jitters),
            ]
        });
        let channels = self.channels.into_iter().enumerate();
        let channels = channels.map(|(index, channel)| (Measure::Age(ChannelId::new(index)), channel.ages));
        let mut all: Vec<_> = tasks.chain(channels).filter(|(_, values)| !values.is_empty()).collect();
        all.sort_unstable_by_key(|(measure, _)| *measure);
        all
    }

    fn fault_begins(&mut self, at_ns: u64) {
        if self.given.from_ns.is_none() {
            self.from_ns = self.from_ns.or(Some(at_ns));
        }
        // Another one after the end of the first: it goes on, and what came between lies within.
        if self.given.to_ns.is_none() && self.to_ns.take().is_some() {
            self.values().for_each(Values::goes_on);
        }
    }

    fn values(&mut self) -> impl Iterator<Item = &mut Values> {
        let tasks = self.tasks.iter_mut();
        let of_tasks = tasks.flat_map(|task| [&mut task.responses, &mut task.executions, &mut task.jitters]);
        of_tasks.chain(self.channels.iter_mut().map(|channel| &mut channel.ages))
    }

    fn fault_ends(&mut self, at_ns: u64) {
        if self.given.to_ns.is_none() && self.from_ns.is_some_and(|from| from <= at_ns) {
            self.to_ns = Some(at_ns);
        }
    }
}

/// When something measured happened, from its beginning to its end.
#[derive(Clone, Copy)]
struct When {
    from_ns: u64,
    to_ns: u64,
}

impl Values {
    /// Whether nothing was measured.
    pub fn is_empty(&self) -> bool {
        self.before.is_empty() && self.during.is_empty() && self.after.is_empty()
    }

    fn goes_on(&mut self) {
        self.during.append(&mut self.after);
    }

    fn add(&mut self, value: u64, when: When, fault: (Option<u64>, Option<u64>)) {
        let (from, to) = fault;
        let is_before = from.is_none_or(|from| when.to_ns < from);
        let is_after = to.is_some_and(|to| when.from_ns >= to);
        let list = match (is_before, is_after) {
            (true, _) => &mut self.before,
            (_, true) => &mut self.after,
            _ => &mut self.during,
        };
        list.push(value);
    }
}

impl Observer for Spans {
    fn seen(&mut self, seen: &Seen) {
        let (at, fault) = (seen.at_ns, (self.from_ns, self.to_ns));
        match seen.what {
            Happening::FaultBegins { .. } => self.fault_begins(at),
            Happening::FaultEnds { .. } => self.fault_ends(at),
            Happening::Writes { channel, .. } => self.channels[channel.index()].last_write = Some(at),
            Happening::Reads { channel, .. } => {
                let channel = &mut self.channels[channel.index()];
                if let Some(written) = channel.last_write.filter(|_| channel.is_measured) {
                    channel.ages.add(at.saturating_sub(written), When { from_ns: at, to_ns: at }, fault);
                }
            }
            Happening::Gap { .. } => {
                self.channels.iter_mut().for_each(|channel| channel.last_write = None);
                self.tasks.iter_mut().for_each(|task| task.last_completion = None);
            }
            _ => {}
        }
    }

    fn job(&mut self, job: &Job) {
        let fault = (self.from_ns, self.to_ns);
        let task = &mut self.tasks[job.task.index()];
        let (Some(completed), true) = (job.completed_ns, job.whole) else {
            task.last_completion = None;
            return;
        };
        if let (Some(response), Some(arrived)) = (job.response(), job.arrived_ns) {
            task.responses.add(response.value, When { from_ns: arrived, to_ns: completed }, fault);
        }
        if let Some(began) = job.began_ns {
            task.executions.add(job.executed_ns, When { from_ns: began, to_ns: completed }, fault);
        }
        if let Some(last) = task.last_completion.replace(completed) {
            let jitter = completed.saturating_sub(last).abs_diff(task.period_ns);
            task.jitters.add(jitter, When { from_ns: last, to_ns: completed }, fault);
        }
    }
}
