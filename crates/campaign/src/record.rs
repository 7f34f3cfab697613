//! What a fault changed: a run beside its twin without the fault.

use simulator::machine::Machine;
use simulator::seen::{InputSeen, TaskSeen};
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
    /// How much longer the longest response of a task was, of all its tasks the most, in nanoseconds.
    pub extra_ns: u64,
    /// Deadlines missed beyond those of the twin.
    pub missed: u64,
    /// Messages read past their refresh period beyond those of the twin.
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
        harm.add_input(&with.inputs[input], &without.inputs[input]);
    }
    harm.lost += with.partitions[partition].frames_lost.saturating_sub(without.partitions[partition].frames_lost);
    differs.then_some(Affected { partition, harm })
}

impl Harm {
    fn add_task(&mut self, with: &TaskSeen, without: &TaskSeen) {
        self.extra_ns = self.extra_ns.max(with.most_ns.saturating_sub(without.most_ns));
        self.missed += with.missed.saturating_sub(without.missed);
        self.undone += without.jobs.saturating_sub(with.jobs);
    }

    fn add_input(&mut self, with: &InputSeen, without: &InputSeen) {
        self.stale += with.stale.saturating_sub(without.stale);
        self.lost += with.lost.saturating_sub(without.lost);
    }
}
