//! Runs and their twins, on as many threads as there are.

use crate::{Record, Settings};
use rayon::prelude::*;
use simulator::{Engine, Machine, Nobody, Scenario, Seen};
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
    let pairs = runs
        .clone()
        .into_par_iter()
        .map_init(|| Engine::new(machine), |engine, run| pair(engine, machine, settings, run));
    let (records, twins): (Vec<_>, Vec<_>) = pairs.unzip();
    let mut joined = Seen::nothing(machine);
    twins.iter().for_each(|twin| joined.join(twin));
    Chunk { runs, records, twins: joined }
}

/// A run with its fault beside the same run without.
fn pair(engine: &mut Engine<'_>, machine: &Machine, settings: &Settings, run: u64) -> (Record, Seen) {
    let mut scenario = settings.scenario(run);
    let with = alone(engine, machine, &scenario);
    let faults = std::mem::take(&mut scenario.faults);
    let without = alone(engine, machine, &scenario);
    (Record::of(run, faults[0], machine, &with, &without), without)
}

fn alone(engine: &mut Engine<'_>, machine: &Machine, scenario: &Scenario) -> Seen {
    let mut seen = Seen::nothing(machine);
    engine.run(scenario, &mut seen, &mut Nobody);
    seen
}
