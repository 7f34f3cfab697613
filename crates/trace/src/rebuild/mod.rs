//! Puts windows, slices and jobs together from what was seen, as it comes, in memory that does not grow with the recording.
//!
//! What the words mean stands in `docs/semantics.md`; what a gap does to each piece in `docs/traces.md`.

mod jobs;
mod line;

use crate::moment::Moment;
use crate::rebuilt::Observer;
use crate::seen::{Happening, Seen, Who};
use jobs::Jobs;
use line::Line;
use model::System;
use quantity::{CoreId, PartitionId, TaskId};

/// Takes what was seen in the order of time and tells what it puts together.
#[derive(Debug)]
pub struct Rebuild {
    /// By core.
    lines: Vec<Line>,
    /// By task.
    jobs: Vec<Jobs>,
    /// The partition of each task.
    home: Vec<PartitionId>,
    /// By partition and core: whether the one was seen on the other, or may be seen on any.
    seen_on: Vec<Vec<bool>>,
    last: Moment,
}

impl Rebuild {
    /// Ready for the first event of a recording of `system`.
    pub fn new(system: &System) -> Self {
        let cores = system.board.cores.len();
        Self {
            lines: (0..cores).map(|core| Line::new(CoreId::new(core))).collect(),
            jobs: system.task_ids().map(Jobs::new).collect(),
            home: system.tasks.iter().map(|task| task.partition).collect(),
            seen_on: system.partitions.iter().map(|it| vec![it.virtual_cores.value > 1; cores]).collect(),
            last: Moment::default(),
        }
    }

    /// Takes the next thing seen. They come in the order of time.
    pub fn take(&mut self, seen: &Seen, observer: &mut dyn Observer) {
        debug_assert!(seen.at_ns >= self.last.at_ns, "what was seen comes in the order of time");
        let (at, before) = (seen.moment(), self.last);
        self.last = at;
        observer.seen(seen);
        match seen.what {
            Happening::WindowBegins { core, partition } => {
                let who = self.lines[core.index()].who();
                let runs = who.and_then(|who| self.partition_of(who)) == Some(partition);
                let ended = self.lines[core.index()].begin_window(at, partition, runs);
                ended.iter().for_each(|window| observer.window(window));
            }
            Happening::WindowEnds { core, partition } => {
                let ended = self.lines[core.index()].end_window(at, partition);
                ended.iter().for_each(|window| observer.window(window));
            }
            Happening::Runs { core, who, .. } => self.runs(at, core, who, observer),
            Happening::InterruptBegins { core, .. } => {
                let stopped = self.end_slice(at, core, observer);
                self.lines[core.index()].interrupt(stopped);
            }
            Happening::InterruptEnds { core, .. } => {
                if let Some(who) = self.lines[core.index()].interrupt_ends() {
                    self.begin_slice(at, core, who, observer);
                }
            }
            Happening::Arrives { task, number } => self.jobs[task.index()].arrives(at, number, observer),
            Happening::Completes { task, number } => {
                self.split_slice(at, task, observer);
                self.jobs[task.index()].completes(at, number, observer);
            }
            Happening::Dropped { task } => {
                self.split_slice(at, task, observer);
                self.jobs[task.index()].drop_oldest(at, observer);
            }
            Happening::Restarts { partition, .. } | Happening::Stopped { partition } => {
                self.start_anew(at, partition, observer)
            }
            Happening::Gap { core, .. } => self.gap(core, before, observer),
            Happening::Writes { .. }
            | Happening::Reads { .. }
            | Happening::Overflows { .. }
            | Happening::FaultBegins { .. }
            | Happening::FaultEnds { .. }
            | Happening::Noticed { .. }
            | Happening::Operational { .. }
            | Happening::Schedule { .. }
            | Happening::Frame => {}
        }
    }

    /// Takes the end of the recording: what is under way is told as not whole.
    pub fn finish(&mut self, observer: &mut dyn Observer) {
        let last = self.last;
        (0..self.lines.len()).map(CoreId::new).for_each(|core| _ = self.end_slice(last, core, observer));
        self.gap(None, last, observer);
    }

    fn runs(&mut self, at: Moment, core: CoreId, who: Option<Who>, observer: &mut dyn Observer) {
        self.end_slice(at, core, observer);
        self.lines[core.index()].no_interrupts();
        if let Some(who) = who {
            self.begin_slice(at, core, who, observer);
        }
    }

    fn begin_slice(&mut self, at: Moment, core: CoreId, who: Who, observer: &mut dyn Observer) {
        let partition = self.partition_of(who);
        if let Some(partition) = partition {
            self.seen_on[partition.index()][core.index()] = true;
        }
        if let Who::Task(task) = who {
            self.jobs[task.index()].executes(at);
        }
        let ended = self.lines[core.index()].begin_slice(at, who, partition);
        ended.iter().for_each(|window| observer.window(window));
    }

    fn end_slice(&mut self, at: Moment, core: CoreId, observer: &mut dyn Observer) -> Option<Who> {
        let slice = self.lines[core.index()].end_slice(at)?;
        if let Who::Task(task) = slice.who {
            self.jobs[task.index()].executed(slice.to_ns - slice.from_ns, at.clock.error_to_ns(slice.clock));
        }
        if slice.to_ns > slice.from_ns {
            observer.slice(&slice);
        }
        Some(slice.who)
    }

    /// A job ends while its task is said to run on: what ran until now was its, what runs from now is the next one's.
    fn split_slice(&mut self, at: Moment, task: TaskId, observer: &mut dyn Observer) {
        let runs = |line: &Line| line.who() == Some(Who::Task(task));
        let Some(core) = self.lines.iter().position(runs).map(CoreId::new) else { return };
        self.end_slice(at, core, observer);
        let partition = self.home[task.index()];
        self.lines[core.index()].begin_slice(at, Who::Task(task), Some(partition));
    }

    /// A partition starts anew or stops: its jobs under way are given up.
    fn start_anew(&mut self, at: Moment, partition: PartitionId, observer: &mut dyn Observer) {
        let Self { jobs, home, .. } = self;
        let mine = jobs.iter_mut().zip(home).filter(|(_, home)| **home == partition);
        mine.for_each(|(jobs, _)| jobs.drop_all(at, observer));
    }

    /// Events were lost after `last`, or of a core since the last one seen of it.
    fn gap(&mut self, core: Option<CoreId>, last: Moment, observer: &mut dyn Observer) {
        let of_core = core.map(|core| self.lines[core.index()].last());
        let last = of_core.filter(|of_core| of_core.at_ns < last.at_ns).unwrap_or(last);
        let lost = |line: &Line| core.is_none_or(|core| line.core() == core);
        for index in 0..self.lines.len() {
            if !lost(&self.lines[index]) {
                continue;
            }
            let last = self.lines[index].last();
            self.end_slice(last, CoreId::new(index), observer);
            let ended = self.lines[index].lose();
            ended.iter().for_each(|window| observer.window(window));
        }
        for (jobs, home) in self.jobs.iter_mut().zip(&self.home) {
            let seen_on = &self.seen_on[home.index()];
            // Whoever wakes a thread is on any core.
            let is_touched = |core: CoreId| seen_on[core.index()] || !seen_on.contains(&true) || jobs.counts_in_order();
            if core.is_none_or(is_touched) {
                jobs.lose(last, observer);
            }
        }
    }

    fn partition_of(&self, who: Who) -> Option<PartitionId> {
        match who {
            Who::Task(task) => Some(self.home[task.index()]),
            Who::Partition(partition) => Some(partition),
            Who::Platform | Who::Foreign(_) => None,
        }
    }
}
