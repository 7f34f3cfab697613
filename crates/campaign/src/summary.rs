//! What all runs of a campaign come to.

use crate::{Cell, Chunk, Faulty, Matrix};
use simulator::{Machine, Protection, Seen};

/// What runs come to, joined in any order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Summary {
    /// How many runs.
    pub runs: u64,
    /// Whose faults reached whom.
    pub matrix: Matrix,
    /// What the twins without fault saw, to be held against the bounds.
    pub twins: Seen,
}

impl Summary {
    /// No run yet.
    pub fn nothing(machine: &Machine) -> Self {
        Self { runs: 0, matrix: Matrix::default(), twins: Seen::nothing(machine) }
    }

    /// Adds a chunk of runs.
    pub fn add(&mut self, chunk: &Chunk, machine: &Machine) {
        self.runs += chunk.records.len() as u64;
        chunk.records.iter().for_each(|record| self.matrix.add(record, machine));
        self.twins.join(&chunk.twins);
    }

    /// Adds what other runs come to.
    pub fn join(&mut self, other: &Self) {
        self.runs += other.runs;
        self.matrix.join(&other.matrix);
        self.twins.join(&other.twins);
    }
}

/// What the isolation owes to a protection.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Carried {
    /// The protection.
    pub protection: Protection,
    /// Whom faults reach once it is off, and did not with all on. None says only that no run showed it.
    pub reached: Vec<Reached>,
}

/// Somebody whom the faults of another harm.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reached {
    /// Where the faults come from.
    pub faulty: Faulty,
    /// The partition that is harmed.
    pub partition: usize,
    /// How.
    pub cell: Cell,
}

/// What each protection carries: a campaign with all on beside the same ones with one off each.
pub fn carried(all_on: &Matrix, without: &[(Protection, Matrix)]) -> Vec<Carried> {
    let carries = |(protection, matrix): &(Protection, Matrix)| {
        let pairs = matrix.harmed_pairs().filter(|(faulty, partition)| all_on.cell(*faulty, *partition).harmed == 0);
        let reached =
            pairs.map(|(faulty, partition)| Reached { faulty, partition, cell: matrix.cell(faulty, partition) });
        Carried { protection: *protection, reached: reached.collect() }
    };
    without.iter().map(carries).collect()
}
