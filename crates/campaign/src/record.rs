//! What a fault changed: a run beside its twin without the fault.

use simulator::machine::{Machine, Port};
use simulator::seen::{InputSeen, PartitionSeen, TaskSeen};
use simulator::{Fault, Seen};

/// What one run found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Record {
    /// The number of the run.
    pub run: u64,
    /// The fault.
    pub fault: Fault,
    /// The partitions for which anything was other than in the twin, in order.
    pub affected: Vec<Affected>,
}

/// What a fault changed for one partition.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Affected {
    /// The partition.
    pub partition: usize,
    /// What got worse. All zero where things only went otherwise, such as a message read at another age.
    pub harm: Harm,
}

/// What got worse, by measure.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Harm {
    /// How much longer the longest response of a task was, of all its tasks the most, in nanoseconds; of an opaque guest how
    /// much longer it waited for its budget.
    pub extra_ns: u64,
    /// Deadlines missed beyond those of the twin.
    pub missed: u64,
    /// Reads of sampled messages that found none within its refresh period, beyond those of the twin.
    pub stale: u64,
    /// Messages lost beyond those of the twin: at its inputs, and of its own in the internal network.
    pub lost: u64,
    /// Jobs that completed in the twin and did not here.
    pub undone: u64,
}

/// The measures of harm.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Measure {
    /// [`Harm::extra_ns`].
    Extra,
    /// [`Harm::missed`].
    Missed,
    /// [`Harm::stale`].
    Stale,
    /// [`Harm::lost`].
    Lost,
    /// [`Harm::undone`].
    Undone,
}

impl Measure {
    /// Every measure in listing order.
    pub const ALL: [Self; 5] = [Self::Extra, Self::Missed, Self::Stale, Self::Lost, Self::Undone];

    /// The word for programs, with its unit where it has one.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Extra => "extra_response_ns",
            Self::Missed => "missed_deadlines",
            Self::Stale => "stale_reads",
            Self::Lost => "lost_messages",
            Self::Undone => "jobs_undone",
        }
    }
}

impl Harm {
    /// The measure's value.
    pub const fn get(self, measure: Measure) -> u64 {
        match measure {
            Measure::Extra => self.extra_ns,
            Measure::Missed => self.missed,
            Measure::Stale => self.stale,
            Measure::Lost => self.lost,
            Measure::Undone => self.undone,
        }
    }

    /// Whether anything got worse.
    pub fn is_some(self) -> bool {
        self != Self::default()
    }
}

impl Record {
    /// Sets a run beside its twin: what each saw alone, of the same machine.
    pub fn of(run: u64, fault: Fault, machine: &Machine, with: &Seen, without: &Seen) -> Self {
        let partitions = 0..machine.partitions.len();
        let affected = partitions.filter_map(|partition| affected(partition, machine, with, without)).collect();
        Self { run, fault, affected }
    }
}

fn affected(partition: usize, machine: &Machine, with: &Seen, without: &Seen) -> Option<Affected> {
    let mut harm = Harm::default();
    let mut differs = with.partitions[partition] != without.partitions[partition];
    for task in machine.partitions[partition].tasks.clone() {
        differs |= with.tasks[task] != without.tasks[task];
        harm.add_task(&with.tasks[task], &without.tasks[task]);
    }
    for (input, _) in machine.inputs.iter().enumerate().filter(|(_, input)| input.partition == partition) {
        differs |= with.inputs[input] != without.inputs[input];
        harm.add_input(machine, input, with, without);
    }
    harm.add_supply(&with.partitions[partition], &without.partitions[partition]);
    harm.lost += with.partitions[partition].frames_lost.saturating_sub(without.partitions[partition].frames_lost);
    differs.then_some(Affected { partition, harm })
}

impl Harm {
    fn add_task(&mut self, with: &TaskSeen, without: &TaskSeen) {
        self.extra_ns = self.extra_ns.max(with.most_ns.saturating_sub(without.most_ns));
        self.missed += with.missed.saturating_sub(without.missed);
        self.undone += without.jobs.saturating_sub(with.jobs);
    }

    fn add_input(&mut self, machine: &Machine, input: usize, with: &Seen, without: &Seen) {
        let sampled = matches!(machine.channels[machine.inputs[input].channel].port, Port::Sampling { .. });
        let (with, without) = (&with.inputs[input], &without.inputs[input]);
        // Before the first write a sampled message is as invalid as an old one; that a queue is empty says nothing.
        let invalid = |seen: &InputSeen| if sampled { seen.stale + seen.empty } else { 0 };
        self.stale += invalid(with).saturating_sub(invalid(without));
        self.lost += with.lost.saturating_sub(without.lost);
    }

    fn add_supply(&mut self, with: &PartitionSeen, without: &PartitionSeen) {
        let longest = |seen: &PartitionSeen| seen.longest_for_budget_ns.unwrap_or(0);
        self.extra_ns = self.extra_ns.max(longest(with).saturating_sub(longest(without)));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use simulator::fault::{Kind, Target};
    use simulator::machine::{Channel, Guest, Input, Partition, Recovery};

    /// One opaque partition that receives by a port.
    fn receiver(port: Port) -> Machine {
        let partition = Partition {
            name: "P".to_owned(),
            guest: Guest::Opaque { budget_ns: Some(5), span_ns: Some(20) },
            lanes: 0..0,
            tasks: 0..0,
            recovery: Recovery::default(),
            at_change: None,
            built_by: None,
            untrusted: false,
        };
        let channel = Channel {
            name: "C".to_owned(),
            port,
            source_task: None,
            source: 1,
            source_period_ns: None,
            batch: 1,
            inputs: 0..1,
            frame_cost_ns: None,
        };
        let inputs = vec![Input { channel: 0, partition: 0, task: None }];
        Machine { partitions: vec![partition], channels: vec![channel], inputs, ..Machine::default() }
    }

    fn harm(machine: &Machine, with: &Seen, without: &Seen) -> Harm {
        let fault = Fault { kind: Kind::Crash { start: None }, target: Target::Partition(0), at_ns: 0 };
        let record = Record::of(0, fault, machine, with, without);
        record.affected.first().map_or(Harm::default(), |affected| affected.harm)
    }

    #[test]
    fn a_sampled_message_that_never_came_is_as_invalid_as_an_old_one() {
        let reads = |port, empty, stale| {
            let machine = receiver(port);
            let mut seen = Seen::nothing(&machine);
            (seen.inputs[0].empty, seen.inputs[0].stale) = (empty, stale);
            harm(&machine, &seen, &Seen::nothing(&machine)).stale
        };
        assert_eq!(reads(Port::Sampling { refresh_ns: Some(1) }, 3, 2), 5);
        assert_eq!(reads(Port::Queuing { depth: 1, takes: None }, 3, 0), 0);
    }

    #[test]
    fn an_opaque_guest_is_harmed_where_it_waits_longer_for_its_budget() {
        let machine = receiver(Port::Sampling { refresh_ns: None });
        let waits = |longest_for_budget_ns| {
            let mut seen = Seen::nothing(&machine);
            seen.partitions[0].longest_for_budget_ns = longest_for_budget_ns;
            seen
        };
        assert_eq!(harm(&machine, &waits(Some(31)), &waits(Some(20))).extra_ns, 11);
        assert_eq!(harm(&machine, &waits(Some(20)), &waits(Some(20))), Harm::default());
    }
}
