//! What is measured of every task, partition, window and channel that was found.

use super::busy::Busy;
use super::curve::Curve;
use super::ends::End;
use super::marks::Marks;
use super::pattern::MOST_WINDOWS;
use super::rhythm::Arrivals;
use crate::rebuilt::{Job, Observer, Window};
use crate::seen::{Happening, Seen, Start, Who};
use crate::waiting::{Waiting, Work};
use model::System;
use quantity::{ChannelId, CoreId, PartitionId, TaskId};

/// What is measured of a task.
#[derive(Debug, Clone, Default)]
pub struct OfTask {
    /// Its arrivals.
    pub arrivals: Arrivals,
    /// For how long whole jobs executed.
    pub execution: Marks,
    /// From arrival to completion.
    pub response: Marks,
}

/// What is measured of the windows of a partition on a core, where the recording tells them.
#[derive(Debug, Clone, Default)]
pub struct OfWindows {
    /// When they began.
    pub begins: Curve,
    /// How long they were, summed up.
    pub lengths: Curve,
    sum_ns: u64,
    /// How long each was.
    pub length: Marks,
    /// The first ones, without a gap between: from when, and how long.
    pub first_row: Vec<(u64, u64)>,
    is_first_row_over: bool,
}

/// What is measured of a partition.
#[derive(Debug, Clone, Default)]
pub struct OfPartition {
    /// By core.
    pub windows: Vec<OfWindows>,
    /// By core: whether it executed or had a window there.
    pub seen_on: Vec<bool>,
    /// From a warm start's begin to the end of its initialisation.
    pub warm: Marks,
    /// The same of cold starts.
    pub cold: Marks,
    starting: Option<(Start, u64)>,
}

/// What is measured of a channel.
#[derive(Debug, Clone, Default)]
pub struct OfChannel {
    /// When messages were written: instants, each once.
    pub writes: Curve,
    /// How many were written at one instant.
    pub batch: Marks,
    at_once: u64,
    /// The bytes of its messages.
    pub bytes: Marks,
    /// How many found no room.
    pub overflows: u64,
    /// Who writes.
    pub writer: End,
    /// Who reads, by receiver.
    pub readers: Vec<End>,
}

/// Everything that is measured.
#[derive(Debug)]
pub struct Measures {
    /// By task.
    pub tasks: Vec<OfTask>,
    /// By partition.
    pub partitions: Vec<OfPartition>,
    /// By channel.
    pub channels: Vec<OfChannel>,
    /// From a window's begin to its partition's first execution, where work was waiting.
    pub switch: Marks,
    /// When frames began.
    pub frames: Curve,
    /// How often events were lost.
    pub gaps: u64,
    /// The first and the last instant.
    pub span_ns: Option<(u64, u64)>,
    busy: Busy,
    home: Vec<PartitionId>,
    waiting: Waiting,
    /// By core.
    running: Vec<Option<TaskId>>,
    began: Option<(TaskId, u64)>,
    completed: Option<(TaskId, u64)>,
}

impl Measures {
    /// Ready for the first event.
    pub(super) fn new(system: &System, even_span_ns: u64) -> Self {
        let cores = system.board.cores.len();
        let partition = OfPartition {
            windows: vec![OfWindows::default(); cores],
            seen_on: vec![false; cores],
            ..OfPartition::default()
        };
        let channel = |channel: &model::system::Channel| OfChannel {
            readers: vec![End::default(); channel.destinations.len()],
            ..OfChannel::default()
        };
        Self {
            tasks: vec![OfTask::default(); system.tasks.len()],
            partitions: vec![partition; system.partitions.len()],
            channels: system.channels.iter().map(channel).collect(),
            switch: Marks::default(),
            frames: Curve::default(),
            gaps: 0,
            span_ns: None,
            busy: Busy::new(even_span_ns, cores, system.partitions.len()),
            home: system.tasks.iter().map(|task| task.partition).collect(),
            waiting: Waiting::new(system),
            running: vec![None; cores],
            began: None,
            completed: None,
        }
    }

    /// How much a partition executed in each of the even spans.
    pub fn busy(&self, partition: PartitionId) -> Marks {
        self.busy.spans[partition.index()]
    }

    /// How long these spans are.
    pub fn even_span_ns(&self) -> u64 {
        self.busy.span_ns
    }

    /// The recording has ended.
    pub(super) fn finish(&mut self) {
        self.channels.iter_mut().for_each(OfChannel::end_batch);
    }

    fn saw(&mut self, partition: PartitionId, core: CoreId) {
        self.partitions[partition.index()].seen_on[core.index()] = true;
    }

    fn runs(&mut self, at: u64, core: CoreId, who: Option<Who>) {
        let task = match who {
            Some(Who::Task(task)) => Some(task),
            _ => None,
        };
        self.running[core.index()] = task;
        if let Some(task) = task {
            self.began = Some((task, at));
        }
        let partition = match who {
            Some(Who::Task(task)) => Some(self.home[task.index()]),
            Some(Who::Partition(partition)) => Some(partition),
            _ => None,
        };
        self.busy.runs(at, core, partition);
        partition.iter().for_each(|partition| self.saw(*partition, core));
    }

    fn writes(&mut self, at: u64, channel: ChannelId, bytes: Option<u32>) {
        let beside = beside(self.completed, at);
        // Who completes at this instant may have left the core already.
        let executing = self.running.iter().copied().flatten().chain(beside);
        let measured = &mut self.channels[channel.index()];
        measured.writer.used(beside, executing);
        measured.write(at);
        bytes.iter().for_each(|bytes| measured.bytes.note(u64::from(*bytes)));
    }

    fn reads(&mut self, at: u64, channel: ChannelId, receiver: u16) {
        let executing = self.running.iter().copied().flatten();
        if let Some(end) = self.channels[channel.index()].readers.get_mut(usize::from(receiver)) {
            end.used(beside(self.began, at), executing);
        }
    }

    fn starts(&mut self, at: u64, partition: PartitionId, start: Option<Start>) {
        self.partitions[partition.index()].starting = start.map(|start| (start, at));
        let mine = self.tasks.iter_mut().zip(&self.home).filter(|(_, home)| **home == partition);
        mine.for_each(|(task, _)| task.arrivals.cut());
    }

    fn operational(&mut self, at: u64, partition: PartitionId) {
        let partition = &mut self.partitions[partition.index()];
        if let Some((start, from)) = partition.starting.take() {
            let marks = if start == Start::Warm { &mut partition.warm } else { &mut partition.cold };
            marks.note(at.saturating_sub(from));
        }
    }

    /// Events were lost: whatever is a distance between two events begins anew, also where the core is another.
    fn lose(&mut self) {
        self.busy.cut();
        (self.began, self.completed) = (None, None);
        self.running.fill(None);
        self.frames.cut();
        self.tasks.iter_mut().for_each(|task| task.arrivals.cut());
        for partition in &mut self.partitions {
            partition.starting = None;
            partition.windows.iter_mut().for_each(OfWindows::cut);
        }
        for channel in &mut self.channels {
            channel.end_batch();
            channel.writes.cut();
        }
    }
}

/// The task of a begin or completion, where it was at this very instant.
fn beside(last: Option<(TaskId, u64)>, at: u64) -> Option<TaskId> {
    last.filter(|(_, when)| *when == at).map(|(task, _)| task)
}

impl OfChannel {
    fn write(&mut self, at: u64) {
        if self.writes.last() != Some(at) {
            self.end_batch();
            self.writes.push(at);
        }
        self.at_once += 1;
    }

    fn end_batch(&mut self) {
        match std::mem::take(&mut self.at_once) {
            0 => {}
            count => self.batch.note(count),
        }
    }
}

impl OfWindows {
    fn cut(&mut self) {
        self.is_first_row_over |= !self.first_row.is_empty();
        self.begins.cut();
        self.lengths.cut();
    }

    fn note(&mut self, window: &Window) {
        let length = window.to_ns.saturating_sub(window.from_ns);
        self.length.note(length);
        if !self.is_first_row_over && self.first_row.len() < MOST_WINDOWS {
            self.first_row.push((window.from_ns, length));
        }
        self.begins.push(window.from_ns);
        self.lengths.push(self.sum_ns);
        self.sum_ns = self.sum_ns.saturating_add(length);
    }
}

impl Observer for Measures {
    fn seen(&mut self, seen: &Seen) {
        let at = seen.at_ns;
        let (from, _) = self.span_ns.unwrap_or((at, at));
        self.span_ns = Some((from, at));
        self.waiting.seen(seen);
        self.busy.pass(at);
        match seen.what {
            Happening::Runs { core, who, .. } => self.runs(at, core, who),
            Happening::WindowBegins { core, partition } => self.saw(partition, core),
            Happening::Arrives { task, .. } => self.tasks[task.index()].arrivals.push(at),
            Happening::Completes { task, .. } => self.completed = Some((task, at)),
            Happening::Writes { channel, bytes } => self.writes(at, channel, bytes),
            Happening::Reads { channel, receiver } => self.reads(at, channel, receiver),
            Happening::Overflows { channel, .. } => self.channels[channel.index()].overflows += 1,
            Happening::Restarts { partition, start } => self.starts(at, partition, Some(start)),
            Happening::Stopped { partition } => self.starts(at, partition, None),
            Happening::Operational { partition } => self.operational(at, partition),
            Happening::Frame => self.frames.push(at),
            Happening::Gap { ends, .. } => {
                self.gaps += u64::from(ends);
                self.lose();
            }
            _ => {}
        }
    }

    fn window(&mut self, window: &Window) {
        let waited = self.waiting.take(window.core) == Some(Work::Ready);
        if !window.told {
            return;
        }
        let measured = &mut self.partitions[window.partition.index()].windows[window.core.index()];
        if !window.whole {
            measured.cut();
            return;
        }
        measured.note(window);
        if let Some(first) = window.first.filter(|_| waited) {
            self.switch.note(first.since(window.began()).value);
        }
    }

    fn job(&mut self, job: &Job) {
        if !job.whole || job.completed_ns.is_none() {
            return;
        }
        let measured = &mut self.tasks[job.task.index()];
        // A job of which no execution was seen has not executed in no time: where it ran is not in the recording.
        if job.executed_ns > 0 {
            measured.execution.note(job.executed_ns);
        }
        job.response().iter().for_each(|response| measured.response.note(response.value));
    }
}
