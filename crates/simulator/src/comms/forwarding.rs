//! Who moves the frames of the internal network: the jobs of a task, or a partition in all its usable time.

use super::network::Network;
use crate::engine::{Duty, NEVER, World};
use crate::scenario::Times;
use crate::{Machine, Scenario};

/// The internal network and its forwarder.
#[derive(Debug)]
pub(super) struct Forwarding {
    pub(super) network: Network,
    pub(super) task: Option<usize>,
    pub(super) forwarder: usize,
    /// The execution time of one job for frames as it is declared.
    declared: u64,
    /// The same in the run under way, and what a job is charged beside.
    budget: u64,
    beside: u64,
    /// What is left of that for the job under way.
    left: u64,
    /// Whether the scenario gives every job.
    given: bool,
}

impl Forwarding {
    /// The network of a machine whose forwarder runs.
    pub(super) fn new(machine: &Machine) -> Option<Self> {
        let declared = machine.network.filter(|network| machine.runs(network.forwarder))?;
        Some(Self {
            // Devices that nobody owns share one queue.
            network: Network::new(machine.partitions.len() + 1, declared.depth),
            task: declared.task,
            forwarder: declared.forwarder,
            declared: declared.budget_ns.unwrap_or(NEVER),
            budget: 0,
            beside: 0,
            left: 0,
            given: false,
        })
    }

    pub(super) fn begin(&mut self, machine: &Machine, scenario: &Scenario) {
        self.network.reset();
        let charged = self.task.map_or(NEVER, |task| machine.tasks[task].most_ns(scenario.contention));
        self.budget = self.declared.min(charged);
        self.beside = charged - self.budget;
        self.given = matches!(scenario.times, Times::Given(_));
    }

    /// A job begins, with the first frame that fits. How long it executes until that is through, unless the scenario says
    /// how long it does: then it takes all that fit.
    pub(super) fn load(&mut self, planned: u64) -> Option<u64> {
        self.network.give_back();
        if !self.given {
            self.left = self.budget;
            let execution = self.next().unwrap_or(0).saturating_add(self.beside);
            // A job executes 1 ns at least.
            self.left = if execution == 0 { self.left.saturating_sub(1) } else { self.left };
            return Some(execution.max(1));
        }
        self.left = self.budget.min(planned.saturating_sub(self.beside));
        while self.next().is_some() {}
        None
    }

    /// The next frame that fits is under way. What it costs.
    fn next(&mut self) -> Option<u64> {
        let cost = self.network.take(self.left)?;
        self.left -= cost;
        Some(cost)
    }

    /// The job has executed what it was to. How much longer it does for the next frame; it completes where there is none.
    pub(super) fn more(&mut self) -> Option<u64> {
        self.network.finish();
        if self.given { None } else { self.next() }
    }

    /// Whether a job arrives that was to.
    pub(super) fn releases(&self) -> bool {
        self.given || self.network.is_waiting()
    }

    /// Frames that wait release the task, or are worked on at once where there is none, while the forwarder is up.
    pub(super) fn rouse(&mut self, now: u64, world: &mut World) {
        match self.task {
            Some(task) if self.network.is_waiting() && !self.given => world.wake(task, now),
            None if world.partitions[self.forwarder].up && !self.network.is_moving() => {
                if let Some(cost) = self.network.take(u64::MAX) {
                    world.add_duty(self.forwarder, cost, Duty::Frame);
                }
            }
            _ => {}
        }
    }
}
