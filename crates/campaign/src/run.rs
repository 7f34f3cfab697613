//! Runs and their twins, on as many threads as there are.
//!
//! The fast engine makes what it can and the general engine the rest. Both see the same, so the results do not depend on which
//! made a run.

use crate::{Record, Settings};
use rayon::prelude::*;
use simulator::{Engine, Machine, Scenario, Seen, Table};
use std::ops::Range;

/// A stretch of runs that is made and kept as a whole.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chunk {
    /// The numbers of the runs.
    pub runs: Range<u64>,
    /// What each found, in order.
    pub records: Vec<Record>,
    /// What the twins without fault saw.
    pub twins: Seen,
}

/// Makes some runs of a campaign. The answer is the same on any number of threads.
pub fn run_chunk(machine: &Machine, settings: &Settings, runs: Range<u64>) -> Chunk {
    chunk(machine, settings, runs, || Maker::fast(machine))
}

/// The same by the general engine alone, to hold one engine against the other.
pub fn run_chunk_slowly(machine: &Machine, settings: &Settings, runs: Range<u64>) -> Chunk {
    chunk(machine, settings, runs, || Maker::general(machine))
}

fn chunk<'m>(
    machine: &'m Machine,
    settings: &Settings,
    runs: Range<u64>,
    maker: impl Fn() -> Maker<'m> + Sync + Send,
) -> Chunk {
    let begun = || Part { maker: maker(), records: Vec::new(), twins: Seen::nothing(machine) };
    let parts = runs.clone().into_par_iter().fold(begun, |mut part, run| {
        part.make(machine, settings, run);
        part
    });
    // Pieces of the stretch, in its order.
    let pieces: Vec<_> = parts.map(|part| (part.records, part.twins)).collect();
    let mut chunk = Chunk { runs, records: Vec::new(), twins: Seen::nothing(machine) };
    for (records, twins) in pieces {
        chunk.records.extend(records);
        chunk.twins.join(&twins);
    }
    chunk
}

/// What one thread has made of a stretch, and what it makes more with.
struct Part<'m> {
    maker: Maker<'m>,
    records: Vec<Record>,
    twins: Seen,
}

impl Part<'_> {
    /// A run with its fault beside the same run without.
    fn make(&mut self, machine: &Machine, settings: &Settings, run: u64) {
        let scenario = settings.scenario(run);
        let fault = scenario.faults[0]; // Every drawn scenario has one.
        self.maker.pair(scenario);
        self.records.push(Record::of(run, fault, machine, &self.maker.with, &self.maker.without));
        self.twins.join(&self.maker.without);
    }
}

/// The engines, and rooms for what a run and its twin see.
struct Maker<'m> {
    machine: &'m Machine,
    /// None where the machine needs the general engine.
    table: Option<Table<'m>>,
    /// Made when it is first needed.
    engine: Option<Engine<'m>>,
    with: Seen,
    without: Seen,
}

impl<'m> Maker<'m> {
    fn general(machine: &'m Machine) -> Self {
        let nothing = Seen::nothing(machine);
        Self { machine, table: None, engine: None, with: nothing.clone(), without: nothing }
    }

    fn fast(machine: &'m Machine) -> Self {
        Self { table: Table::new(machine, 0).ok(), ..Self::general(machine) }
    }

    /// Leaves what the scenario's run alone saw in `with`, and what the same run without its fault saw in `without`.
    fn pair(&mut self, mut scenario: Scenario) {
        let fast = self.table.as_mut().map(|table| table.pair(&scenario, &mut self.with, &mut self.without));
        if let Some(Ok(())) = fast {
            return;
        }
        let engine = self.engine.get_or_insert_with(|| Engine::new(self.machine));
        self.with.clear();
        engine.run_unrecorded(&scenario, &mut self.with);
        scenario.faults.clear();
        self.without.clear();
        engine.run_unrecorded(&scenario, &mut self.without);
    }
}
