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
    /// Whether frames leave in this instant.
    pub(super) leaves: bool,
    forwarder: usize,
    /// The execution time of one job for frames, and what it is charged beside.
    budget: u64,
    beside: u64,
    /// Whether the scenario gives every job.
    given: bool,
}

impl Forwarding {
    /// The network of a machine whose forwarder runs.
    pub(super) fn new(machine: &Machine) -> Option<Self> {
        let declared = machine.network.filter(|network| machine.runs(network.forwarder))?;
        let charged = declared.task.map_or(NEVER, |task| machine.tasks[task].charged_ns);
        let budget = declared.budget_ns.unwrap_or(NEVER).min(charged);
        Some(Self {
            // Devices that nobody owns share one queue.
            network: Network::new(machine.partitions.len() + 1, declared.depth),
            task: declared.task,
            leaves: false,
            forwarder: declared.forwarder,
            budget,
            beside: charged - budget,
            given: false,
        })
    }

    pub(super) fn begin(&mut self, scenario: &Scenario) {
        self.network.reset();
        self.leaves = false;
        self.given = matches!(scenario.times, Times::Given(_));
    }

    /// A job begins and takes what waits and fits. How long it executes, unless the scenario says it.
    pub(super) fn load(&mut self, planned: u64) -> Option<u64> {
        self.network.give_back();
        if self.given {
            self.network.take(self.budget.min(planned.saturating_sub(self.beside)));
            return None;
        }
        Some(self.network.take(self.budget).saturating_add(self.beside))
    }

    /// Frames that wait release the task, or are worked on at once where there is none.
    pub(super) fn rouse(&mut self, now: u64, world: &mut World) {
        match self.task {
            Some(task) if self.network.is_waiting() && !self.given => world.wake(task, now),
            None if !self.network.is_moving() => {
                if let Some(cost) = self.network.take_one(u64::MAX) {
                    world.add_duty(self.forwarder, cost, Duty::Frame);
                }
            }
            _ => {}
        }
    }
}
