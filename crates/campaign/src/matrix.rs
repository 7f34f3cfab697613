//! The isolation matrix: whose faults reach whom.

use crate::record::{Affected, Harm, Measure, Record};
use simulator::Machine;
use simulator::fault::Target;
use std::collections::BTreeMap;

/// Where faults come from: a row of the matrix.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Faulty {
    /// A partition, with its tasks, its ports, and the devices that it owns.
    Partition(usize),
    /// A device that nobody owns.
    Device(usize),
    /// A core, which is no partition's.
    Core(usize),
}

impl Faulty {
    /// The row of a fault at `target`.
    pub fn of(target: Target, machine: &Machine) -> Self {
        match (target.partition(machine), target) {
            (Some(partition), _) => Self::Partition(partition),
            (None, Target::Core(core)) => Self::Core(core),
            (None, Target::Device(index) | Target::Partition(index) | Target::Task(index) | Target::Channel(index)) => {
                Self::Device(index)
            }
        }
    }

    /// The name: a partition's as it is, any other with its kind before it.
    pub fn name(self, machine: &Machine) -> String {
        match self {
            Self::Partition(partition) => machine.partitions[partition].name.clone(),
            Self::Device(device) => format!("device {}", machine.devices[device].name),
            Self::Core(core) => format!("core {}", machine.cores[core].name),
        }
    }
}

/// Whose faults reached whom. Joining is free of order.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Matrix {
    /// The runs in which each one was faulty; who never was has no row.
    pub runs: BTreeMap<Faulty, u64>,
    /// What was found; a pair that is not here was never touched.
    pub cells: BTreeMap<(Faulty, usize), Cell>,
}

/// What the faults of one did to one partition.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Cell {
    /// The runs in which anything got worse.
    pub harmed: u64,
    /// The runs in which anything was other than in the twin, worse or not.
    pub touched: u64,
    /// The worst of each measure, in the order of [`Measure::ALL`].
    pub worst: [Worst; 5],
}

/// The worst of one measure, and the run that shows it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Worst {
    /// The value.
    pub value: u64,
    /// Of the runs with that value the least; says nothing where the value is 0.
    pub run: u64,
}

impl Worst {
    fn join(&mut self, other: Self) {
        if other.value > self.value || other.value == self.value && other.run < self.run {
            *self = other;
        }
    }
}

impl Cell {
    fn of(run: u64, harm: Harm) -> Self {
        let worst = Measure::ALL.map(|measure| match harm.get(measure) {
            0 => Worst::default(),
            value => Worst { value, run },
        });
        Self { harmed: harm.is_some().into(), touched: 1, worst }
    }

    fn join(&mut self, other: &Self) {
        self.harmed += other.harmed;
        self.touched += other.touched;
        self.worst.iter_mut().zip(other.worst).for_each(|(mine, other)| mine.join(other));
    }

    /// The worst of a measure.
    pub fn worst(&self, measure: Measure) -> Worst {
        self.worst[measure as usize]
    }

    /// The run that shows the effect best: of the worst ones that of missed deadlines, stale reads, lost messages, jobs
    /// undone, and longer responses, whichever is there first; `None` where nothing got worse.
    pub fn counter_example(&self) -> Option<u64> {
        use Measure::{Extra, Lost, Missed, Stale, Undone};
        let measures = [Missed, Stale, Lost, Undone, Extra].into_iter().map(|measure| self.worst(measure));
        measures.into_iter().find(|worst| worst.value > 0).map(|worst| worst.run)
    }
}

impl Matrix {
    /// Adds what a run found.
    pub fn add(&mut self, record: &Record, machine: &Machine) {
        let faulty = Faulty::of(record.fault.target, machine);
        *self.runs.entry(faulty).or_default() += 1;
        for Affected { partition, harm } in &record.affected {
            self.cells.entry((faulty, *partition)).or_default().join(&Cell::of(record.run, *harm));
        }
    }

    /// Adds what other runs found.
    pub fn join(&mut self, other: &Self) {
        other.runs.iter().for_each(|(faulty, runs)| *self.runs.entry(*faulty).or_default() += runs);
        other.cells.iter().for_each(|(pair, cell)| self.cells.entry(*pair).or_default().join(cell));
    }

    /// What the faults of one did to a partition: nothing, where no run says otherwise.
    pub fn cell(&self, faulty: Faulty, partition: usize) -> Cell {
        self.cells.get(&(faulty, partition)).copied().unwrap_or_default()
    }

    /// The runs in which `faulty` was.
    pub fn runs_of(&self, faulty: Faulty) -> u64 {
        self.runs.get(&faulty).copied().unwrap_or_default()
    }

    /// The pairs in which anything got worse, whoever harms only itself left out.
    pub fn harmed_pairs(&self) -> impl Iterator<Item = (Faulty, usize)> {
        let harmed = self.cells.iter().filter(|(_, cell)| cell.harmed > 0).map(|(pair, _)| *pair);
        harmed.filter(|(faulty, partition)| *faulty != Faulty::Partition(*partition))
    }
}
