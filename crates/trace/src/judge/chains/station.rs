//! One task of one chain: what its jobs find, carry and write.

use super::Carried;
use super::queue::Queue;
use crate::moment::{Moment, Order};
use crate::rebuilt::Job;
use model::System;
use model::system::{ChainStep, ChannelKind, Exchange, PortEnd};
use quantity::{ChannelId, PartitionId, TaskId};
use std::collections::VecDeque;

/// So many jobs or outputs of a task are kept that are still to complete or to come; of more, the oldest is forgotten.
const LIMIT: usize = 4096;

/// How the chain comes to a task.
#[derive(Debug)]
pub(super) enum Link {
    /// It begins there.
    Begins,
    /// By a last-value buffer.
    Buffer,
    /// By a channel.
    Channel(Inlet),
}

/// The end of a channel by which the chain comes.
#[derive(Debug)]
pub(super) struct Inlet {
    pub(super) channel: ChannelId,
    /// Which of the channel's receivers it is.
    pub(super) receiver: u16,
    /// The one task that writes it; `None`: a task of a partition.
    pub(super) writer: Option<TaskId>,
    /// Whether the task alone reads it, and no other of its partition.
    pub(super) is_own: bool,
    /// `None`: sampled.
    queue: Option<Queue>,
    /// In which order it is written and read.
    pub(super) order: Order,
    /// How often it was seen to be written and read.
    pub(super) writes: u64,
    pub(super) reads: u64,
}

/// A job on its way.
#[derive(Debug, Clone, Copy)]
struct OnItsWay {
    /// When it first executed; under logical execution time, when it arrived.
    from: Moment,
    /// What it has read; `None`: it has not read yet.
    found: Option<Carried>,
}

/// One task of one chain.
#[derive(Debug)]
pub(super) struct Station {
    pub(super) task: TaskId,
    pub(super) home: PartitionId,
    pub(super) link: Link,
    /// From arrival to output, under logical execution time.
    logical_ns: Option<u64>,
    /// What a read of the buffer, or of the sampled message, finds.
    present: Carried,
    /// The job that has begun; under logical execution time, all that have arrived.
    jobs: VecDeque<OnItsWay>,
    /// Whether the job that begins next is known to begin: the one before it was seen to complete.
    is_sure: bool,
    /// Outputs of logical execution time that are still to come, and when.
    due: VecDeque<(Moment, Carried)>,
    /// What the job brought that wrote last, and when.
    written: (Moment, Carried),
    /// In which order the task is told of, and what it reads and writes.
    pub(super) order: Order,
    /// How many jobs of it were seen to complete.
    pub(super) completed: u64,
}

impl Station {
    pub(super) fn new(system: &System, steps: &[ChainStep], position: usize) -> Self {
        let step = &steps[position];
        let task = system.task(step.task.value);
        let link = match step.via {
            _ if position == 0 => Link::Begins,
            None => Link::Buffer,
            Some(channel) => Link::Channel(Inlet::new(system, channel, step.task.value)),
        };
        Self {
            task: step.task.value,
            home: task.partition,
            link,
            logical_ns: (task.exchange == Exchange::Logical).then(|| task.deadline.value.ns()),
            present: Carried::Unknown,
            jobs: VecDeque::new(),
            is_sure: false,
            due: VecDeque::new(),
            written: (Moment::default(), Carried::Unknown),
            order: Order::default(),
            completed: 0,
        }
    }

    /// The task executes: where none of its jobs has begun, one does.
    pub(super) fn executes(&mut self, at: Moment) {
        if self.logical_ns.is_none() && self.jobs.is_empty() {
            self.begin(at);
        }
    }

    /// A job of the task arrives: under logical execution time it reads then.
    pub(super) fn arrives(&mut self, at: Moment) {
        if self.logical_ns.is_some() {
            if self.jobs.len() >= LIMIT {
                self.jobs.pop_front();
            }
            self.begin(at);
        }
    }

    fn begin(&mut self, at: Moment) {
        let found = match self.link {
            Link::Begins => Some(Carried::Since(at)),
            Link::Buffer => Some(self.present),
            Link::Channel(_) => None,
        };
        self.jobs.push_back(OnItsWay { from: at, found });
    }

    /// Whether a job of it arrives at this instant that reads then.
    pub(super) fn reads_at_arrival(&self, at: Moment) -> bool {
        self.logical_ns.is_some() && self.jobs.back().is_some_and(|job| job.from.at_ns == at.at_ns)
    }

    /// The channel by which the chain comes is read by the job on its way.
    pub(super) fn reads(&mut self, at: Moment) {
        let Link::Channel(inlet) = &mut self.link else { return };
        inlet.reads += 1;
        let found = inlet.queue.as_mut().map_or(self.present, Queue::take);
        self.executes(at);
        if let Some(job) = self.jobs.back_mut() {
            job.found = Some(job.found.map_or(found, |before| before.then(found)));
        }
    }

    /// Somebody else reads the channel by which the chain comes: what is taken out of a queue is lost to the chain.
    pub(super) fn misses(&mut self) {
        if let Link::Channel(Inlet { queue: Some(queue), .. }) = &mut self.link {
            queue.take();
        }
    }

    /// A job ends.
    pub(super) fn ends(&mut self, job: &Job) {
        let Some(output) = job.output(self.logical_ns) else { return self.drops(job) };
        self.completed += 1;
        let carried = match self.logical_ns {
            None => self.brought(job),
            Some(_) => job.arrived_ns.filter(|_| job.whole).map_or(Carried::Unknown, |at| self.brought_from(at)),
        };
        self.is_sure = true;
        if self.due.len() >= LIMIT {
            self.due.pop_front();
        }
        self.due.push_back((output, carried));
    }

    /// A job is given up: the one that has begun, or under logical execution time the one that arrived then.
    fn drops(&mut self, job: &Job) {
        match self.logical_ns {
            None => self.jobs.clear(),
            Some(_) => self.jobs.retain(|one| Some(one.from.at_ns) != job.arrived_ns),
        }
    }

    /// What the job that began last brings. One that was not seen to begin after its arrival may have read before.
    fn brought(&mut self, ended: &Job) -> Carried {
        let job = self.jobs.pop_front();
        self.jobs.clear();
        let begins = |job: &OnItsWay| ended.arrived_ns.is_none_or(|arrived| arrived <= job.from.at_ns);
        job.filter(|job| begins(job) && (self.is_sure || ended.whole))
            .and_then(|job| job.found)
            .unwrap_or(Carried::Unknown)
    }

    /// What the job brings that arrived at that instant; those before it never wrote.
    fn brought_from(&mut self, arrived: u64) -> Carried {
        while self.jobs.front().is_some_and(|job| job.from.at_ns < arrived) {
            self.jobs.pop_front();
        }
        let job = self.jobs.pop_front_if(|job| job.from.at_ns == arrived);
        job.and_then(|job| job.found).unwrap_or(Carried::Unknown)
    }

    /// When its next output comes, where one is to come.
    pub(super) fn next_due(&self) -> Option<u64> {
        self.due.front().map(|(at, _)| at.at_ns)
    }

    /// The next output comes: when, and what it carries.
    pub(super) fn output(&mut self) -> Option<(Moment, Carried)> {
        let output = self.due.pop_front()?;
        self.written = output;
        Some(output)
    }

    /// What a message carries that is written now: of the job on its way, or of the one that completes at this instant; under
    /// logical execution time, of the one whose output came last.
    pub(super) fn speaks(&self, at: Moment) -> Carried {
        match self.jobs.front() {
            _ if self.logical_ns.is_some() => self.written.1,
            Some(job) if self.is_sure => job.found.unwrap_or(Carried::Unknown),
            None if self.wrote_at(at) => self.written.1,
            Some(_) | None => Carried::Unknown,
        }
    }

    /// Whether a job of it wrote at this instant.
    pub(super) fn wrote_at(&self, at: Moment) -> bool {
        self.written.0.at_ns == at.at_ns
    }

    /// What the task before wrote comes.
    pub(super) fn receive(&mut self, carried: Carried) {
        match &mut self.link {
            Link::Channel(Inlet { queue: Some(queue), .. }) => queue.push(carried),
            _ => self.present = self.present.then(carried),
        }
    }

    /// A message that came found no room.
    pub(super) fn refuse(&mut self) {
        if let Link::Channel(Inlet { queue: Some(queue), .. }) = &mut self.link {
            queue.refuse();
        }
    }

    /// Its partition starts anew, all else being forgotten: no job is under way, and its queue is empty.
    pub(super) fn start_anew(&mut self) {
        self.is_sure = true;
        if let Link::Channel(Inlet { queue: Some(queue), .. }) = &mut self.link {
            queue.empty();
        }
    }

    /// Events were lost.
    pub(super) fn forget(&mut self) {
        self.jobs.clear();
        self.due.clear();
        self.is_sure = false;
        self.present = Carried::Unknown;
        self.written = (Moment::default(), Carried::Unknown);
        if let Link::Channel(Inlet { queue: Some(queue), .. }) = &mut self.link {
            queue.forget();
        }
    }
}

impl Inlet {
    fn new(system: &System, channel: ChannelId, task: TaskId) -> Self {
        let declared = system.channel(channel);
        let ends_here = |end: PortEnd| match end {
            PortEnd::Task(reader) => reader == task,
            PortEnd::Partition(partition) => partition == system.task(task).partition,
            PortEnd::Device(_) => false,
        };
        let receiver = declared.destinations.iter().position(|end| ends_here(end.value));
        let writer = match declared.source.value {
            PortEnd::Task(task) => Some(task),
            PortEnd::Partition(_) | PortEnd::Device(_) => None,
        };
        let queue = match &declared.kind {
            ChannelKind::Sampling { .. } => None,
            ChannelKind::Queuing { depth, read, .. } => Some(Queue::new(*read, depth.value)),
        };
        let is_own = declared.destinations.iter().any(|end| end.value == PortEnd::Task(task));
        let receiver = receiver.and_then(|receiver| u16::try_from(receiver).ok()).unwrap_or(u16::MAX);
        Self { channel, receiver, writer, is_own, queue, order: Order::default(), writes: 0, reads: 0 }
    }
}
