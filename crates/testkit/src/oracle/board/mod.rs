//! Several partitions side by side over one synchronised frame, and what their jobs read and write.
//!
//! # The rules held to
//!
//! All rules of [`super`] on ticks, windows, jitter, execution and the policies hold, in each partition for
//! itself; there is no blocking. Each partition has a core of its own as far as the walk is concerned: two on one
//! core are two whose windows do not overlap.
//!
//! **Instants.** Within one instant `t` come the completions of all partitions and what they write, then all
//! arrivals and what logical execution time reads, then all dispatches and what a begin reads. So what is
//! written at `t` is seen by what is read at `t`, in whatever partition.
//!
//! **Arrivals.** Frame 0 begins at 0. A free-running task sleeps until its first arrival at any instant from then on;
//! an aligned one arrives at `offset + k * period`. Both kinds may stand side by side.
//!
//! **Reads and writes.** [`Exchange::StartToFinish`]: a job reads at the instant at which it first executes and
//! writes at its completion. [`Exchange::Logical`]: it reads at its arrival and writes at `arrival + deadline`,
//! where the deadline is at most the period. A job that is not complete by then leaves the walk without an
//! answer ([`Unanswered::Late`]).
//!
//! **Every run.** The walk takes every choice of first arrivals, releases and execution times, so it visits every
//! reachable state, as in [`super`]. What is observed (a chain's datum, a queue's messages) is a part of the state.

mod state;
mod step;

pub(super) use step::{Asleep, Observer};

use super::supply::Supply;
use super::{MAX_TASKS, Policy, SmallTask, overload};

/// One partition of a board. All times are ticks.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub struct SmallPartition {
    /// The usable parts `[start, end)` of the windows, within the frame; they may touch.
    pub windows: Vec<(u32, u32)>,
    /// The order in which it serves its jobs.
    pub policy: Policy,
}

/// When the jobs of a task arrive.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Start {
    /// The first at any instant, then one each period.
    #[default]
    FreeRunning,
    /// At `offset + k * period`, counted from the begin of the first frame.
    Aligned,
}

/// When a job reads its inputs and writes its outputs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Exchange {
    /// At the instant at which it first executes, and at completion.
    #[default]
    StartToFinish,
    /// Logical execution time: at arrival, and at `arrival + deadline`.
    Logical,
}

/// A task and where it stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct BoardTask {
    /// The place of its partition in [`SmallBoard::partitions`].
    pub partition: usize,
    /// Its times.
    pub task: SmallTask,
    /// When its jobs arrive.
    pub start: Start,
    /// When they read and write.
    pub exchange: Exchange,
}

/// Some partitions over one frame, and their tasks.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub struct SmallBoard {
    /// Length of the major time frame, at least 1.
    pub frame: u32,
    /// The partitions.
    pub partitions: Vec<SmallPartition>,
    /// The tasks in file order, at most [`MAX_TASKS`].
    pub tasks: Vec<BoardTask>,
}

/// Why the walk gives no answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Unanswered {
    /// The task has no worst response, or shares a partition not under fixed priority with one that has none.
    Overloaded(usize),
    /// A job of the task with logical execution time may complete after its deadline.
    Late(usize),
    /// A reader that takes at most a number of messages leaves more and more of them.
    QueueGrows,
}

impl SmallBoard {
    /// Walks through every run, as long as `watched` tasks have a worst response.
    pub(super) fn walk(&self, watched: &[usize], observer: &mut impl Observer) -> Result<(), Unanswered> {
        self.check();
        let kept = self.kept();
        match watched.iter().find(|&&task| !kept[task]) {
            Some(&task) => Err(Unanswered::Overloaded(task)),
            None => step::Walk::new(self, kept, observer).run(),
        }
    }

    /// Which tasks the walk needs to keep: those within supply. Under fixed priority one above supply is less urgent
    /// than all of them, and delays none.
    fn kept(&self) -> Vec<bool> {
        let mut kept = vec![true; self.tasks.len()];
        for (place, partition) in self.partitions.iter().enumerate() {
            let members: Vec<usize> = self.members(place);
            let tasks: Vec<_> = members.iter().map(|&task| self.tasks[task].task).collect();
            let supply = Supply::table(self.frame, &partition.windows);
            let overloaded = overload::overloaded_tasks(&tasks, &supply, partition.policy);
            let all = partition.policy != Policy::FixedPriority && overloaded.contains(&true);
            for (&task, overloaded) in members.iter().zip(overloaded) {
                kept[task] = !overloaded && !all;
            }
        }
        kept
    }

    fn members(&self, partition: usize) -> Vec<usize> {
        (0..self.tasks.len()).filter(|&task| self.tasks[task].partition == partition).collect()
    }

    fn check(&self) {
        for partition in &self.partitions {
            super::check_table(self.frame, &partition.windows);
            super::check_tasks(&self.tasks.iter().map(|task| task.task).collect::<Vec<_>>(), partition.policy);
        }
        for task in &self.tasks {
            assert!(task.partition < self.partitions.len(), "a task is in no partition");
            assert!(task.task.blocking == 0, "there is no blocking on a board");
            let logical = task.exchange == Exchange::Logical;
            let deadline = 1..=task.task.period;
            assert!(!logical || deadline.contains(&task.task.deadline), "a logical deadline is within the period");
        }
    }
}
