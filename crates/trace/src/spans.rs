//! What was measured before, during and after a fault.
//!
//! A job belongs to the time before where it completed before the fault began, to the time after where it arrived once the
//! fault had ended, and else to the time during. Only whole jobs are measured.

use crate::moment::{Clock, Moment, Reading};
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
    /// How far off each may be, by the clocks that it was read from; `u64::MAX` where that is not known.
    pub error_ns: u64,
}

/// Collects the values.
#[derive(Debug)]
pub struct Spans {
    from: Option<Moment>,
    to: Option<Moment>,
    given: Given,
    tasks: Vec<OfTask>,
    channels: Vec<OfChannel>,
}

#[derive(Debug, Default)]
struct OfTask {
    period_ns: u64,
    last_completion: Option<Moment>,
    responses: Values,
    executions: Values,
    jitters: Values,
}

#[derive(Debug, Default)]
struct OfChannel {
    /// Whether the age of its messages is seen.
    is_measured: bool,
    last_write: Option<Moment>,
    ages: Values,
}

impl Spans {
    /// Ready for a recording of `system`.
    pub fn new(system: &System, given: Given) -> Self {
        let task = |task| OfTask { period_ns: system.task(task).period.value.ns(), ..OfTask::default() };
        // What the forwarder carries is read later than it was written, by a time that is not seen.
        let is_measured =
            |channel: &Channel| matches!(channel.kind, ChannelKind::Sampling { .. }) && !channel.forwarded;
        let by_first = |at_ns| Moment { at_ns, clock: Clock::exact(0) };
        Self {
            from: given.from_ns.map(by_first),
            to: given.to_ns.map(by_first),
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
        Some((self.from?.at_ns, self.to.map(|to| to.at_ns)))
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

    fn fault_begins(&mut self, at: Moment) {
        if self.given.from_ns.is_none() {
            self.from = self.from.or(Some(at));
        }
        // Another one after the end of the first: it goes on, and what came between lies within.
        if self.given.to_ns.is_none() && self.to.take().is_some() {
            self.values().for_each(Values::goes_on);
        }
    }

    fn values(&mut self) -> impl Iterator<Item = &mut Values> {
        let tasks = self.tasks.iter_mut();
        let of_tasks = tasks.flat_map(|task| [&mut task.responses, &mut task.executions, &mut task.jitters]);
        of_tasks.chain(self.channels.iter_mut().map(|channel| &mut channel.ages))
    }

    fn fault_ends(&mut self, at: Moment) {
        if self.given.to_ns.is_none() && self.from.is_some_and(|from| from.at_ns <= at.at_ns) {
            self.to = Some(at);
        }
    }
}

/// When something measured happened, from its beginning to its end.
#[derive(Clone, Copy)]
struct When {
    from: Moment,
    to: Moment,
}

impl Values {
    /// Whether nothing was measured.
    pub fn is_empty(&self) -> bool {
        self.before.is_empty() && self.during.is_empty() && self.after.is_empty()
    }

    fn goes_on(&mut self) {
        self.during.append(&mut self.after);
    }

    /// What may have been in the time during, as far as the clocks are known, was.
    fn add(&mut self, reading: Reading, when: When, fault: (Option<Moment>, Option<Moment>)) {
        let (from, to) = fault;
        let is_sure = |one: Moment, other: Moment| one.may_swap_with(other).is_none();
        let is_before = from.is_none_or(|from| when.to.at_ns < from.at_ns && is_sure(when.to, from));
        let is_after = to.is_some_and(|to| when.from.at_ns >= to.at_ns && is_sure(when.from, to));
        let list = match (is_before, is_after) {
            (true, _) => &mut self.before,
            (_, true) => &mut self.after,
            _ => &mut self.during,
        };
        list.push(reading.value);
        self.error_ns = self.error_ns.max(reading.error_ns);
    }
}

impl Observer for Spans {
    fn seen(&mut self, seen: &Seen) {
        let (at, fault) = (seen.moment(), (self.from, self.to));
        match seen.what {
            Happening::FaultBegins { .. } => self.fault_begins(at),
            Happening::FaultEnds { .. } => self.fault_ends(at),
            Happening::Writes { channel, .. } => self.channels[channel.index()].last_write = Some(at),
            Happening::Reads { channel, .. } => {
                let channel = &mut self.channels[channel.index()];
                // Where the last write may have come after the read, it is not known which message was read.
                let is_sure = |written: &Moment| channel.is_measured && at.may_swap_with(*written).is_none();
                if let Some(written) = channel.last_write.filter(is_sure) {
                    channel.ages.add(at.since(written), When { from: at, to: at }, fault);
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
        let fault = (self.from, self.to);
        let task = &mut self.tasks[job.task.index()];
        let (Some(completed), true) = (job.completed(), job.whole) else {
            task.last_completion = None;
            return;
        };
        if let (Some(response), Some(arrived)) = (job.response(), job.arrived()) {
            task.responses.add(response, When { from: arrived, to: completed }, fault);
        }
        if let Some(began_ns) = job.began_ns {
            let began = Moment { at_ns: began_ns, ..completed };
            task.executions.add(job.executed(), When { from: began, to: completed }, fault);
        }
        if let Some(last) = task.last_completion.replace(completed) {
            let apart = completed.since(last);
            let jitter = Reading::off_by(apart.value.abs_diff(task.period_ns), apart.error_ns);
            task.jitters.add(jitter, When { from: last, to: completed }, fault);
        }
    }
}
