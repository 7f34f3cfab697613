//! Which inputs a task reads and which channels it writes: its own, and those of its partition as a whole by which a chain
//! passes through it.

use crate::Machine;
use crate::machine::Step;

/// The ends of channels of every task.
#[derive(Debug)]
pub(super) struct Ends {
    /// The inputs, by task.
    pub(super) reads: Vec<Vec<usize>>,
    /// The channels, by task.
    pub(super) writes: Vec<Vec<usize>>,
}

impl Ends {
    pub(super) fn new(machine: &Machine) -> Self {
        let mut ends = Self {
            reads: machine.tasks.iter().map(|task| task.reads.clone()).collect(),
            writes: machine.tasks.iter().map(|task| task.writes.clone()).collect(),
        };
        for chain in &machine.chains {
            for pair in chain.steps.windows(2) {
                ends.join(machine, pair[0].task, pair[1]);
            }
        }
        ends
    }

    fn join(&mut self, machine: &Machine, from: usize, step: Step) {
        let Some(input) = step.via else { return };
        add(&mut self.reads[step.task], input);
        let channel = machine.inputs[input].channel;
        if machine.channels[channel].source_task.is_none() {
            add(&mut self.writes[from], channel);
        }
    }

    /// Whether some task writes the channel.
    pub(super) fn is_written(&self, channel: usize) -> bool {
        self.writes.iter().any(|channels| channels.contains(&channel))
    }
}

fn add(list: &mut Vec<usize>, one: usize) {
    if !list.contains(&one) {
        list.push(one);
    }
}
