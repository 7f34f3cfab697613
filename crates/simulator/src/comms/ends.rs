//! Which inputs a task reads and which channels it writes: its own, and those of its partition as a whole by which a chain
//! passes through it.

use crate::Machine;
use crate::machine::Step;

/// The ends of channels of every task.
#[derive(Debug)]
pub(super) struct Ends {
    /// The inputs, by task.
    pub(super) reads: Lists,
    /// The channels, by task.
    pub(super) writes: Lists,
}

/// A list for every task, one behind the other: a job finds its own with one look, and all of them lie close together.
#[derive(Debug)]
pub(super) struct Lists {
    /// Where the list of each task begins, and where the last one ends.
    begins: Vec<u32>,
    all: Vec<u32>,
}

impl Ends {
    pub(super) fn new(machine: &Machine) -> Self {
        let mut reads: Vec<_> = machine.tasks.iter().map(|task| task.reads.clone()).collect();
        let mut writes: Vec<_> = machine.tasks.iter().map(|task| task.writes.clone()).collect();
        for chain in &machine.chains {
            for pair in chain.steps.windows(2) {
                join(machine, pair[0].task, pair[1], &mut reads, &mut writes);
            }
        }
        Self { reads: Lists::new(&reads), writes: Lists::new(&writes) }
    }

    /// Whether some task writes the channel.
    pub(super) fn is_written(&self, channel: usize) -> bool {
        self.writes.all.contains(&(channel as u32))
    }
}

impl Lists {
    fn new(lists: &[Vec<usize>]) -> Self {
        let mut end = 0;
        let ends = lists.iter().map(|list| {
            end += list.len() as u32;
            end
        });
        let begins = std::iter::once(0).chain(ends).collect();
        Self { begins, all: lists.iter().flatten().map(|&one| one as u32).collect() }
    }

    /// Where the list of a task lies.
    #[inline]
    pub(super) fn of(&self, task: usize) -> std::ops::Range<usize> {
        self.begins[task] as usize..self.begins[task + 1] as usize
    }

    /// The one at that place.
    #[inline]
    pub(super) fn at(&self, place: usize) -> usize {
        self.all[place] as usize
    }
}

/// Where a chain passes through a partition as a whole, its tasks read and write what the chain does.
fn join(machine: &Machine, from: usize, step: Step, reads: &mut [Vec<usize>], writes: &mut [Vec<usize>]) {
    let Some(input) = step.via else { return };
    add(&mut reads[step.task], input);
    let channel = machine.inputs[input].channel;
    if machine.channels[channel].source_task.is_none() {
        add(&mut writes[from], channel);
    }
}

fn add(list: &mut Vec<usize>, one: usize) {
    if !list.contains(&one) {
        list.push(one);
    }
}
