//! Runs of a peer instance by the simulator, timed: a run is one hyperperiod from empty.

use crate::instance::Instance;
use crate::machine::machine;
use serde::Serialize;
use simulator::fault::{Fault, Kind, Target};
use simulator::machine::Port;
use simulator::scenario::{Begin, Drawn, Spread, Times};
use simulator::{Engine, Machine, Protections, Scenario, Seen, Table};
use std::error::Error;
use std::path::Path;
use std::time::Instant;

/// What is measured, and how.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Options {
    /// How many runs.
    pub runs: u64,
    /// On how many threads.
    pub threads: u64,
    /// By which engine.
    pub engine: EngineName,
    /// Whether each run is made twice, with a fault and without.
    pub faults: bool,
}

/// The two engines.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EngineName {
    Table,
    General,
}

/// What the peers print too, under the same names.
#[derive(Serialize)]
pub struct Figures {
    peer: &'static str,
    faults: bool,
    threads: u64,
    runs: u64,
    seconds: f64,
    jobs: u64,
    jobs_per_s: f64,
    events: u64,
    events_per_s: f64,
    runs_per_s: f64,
    cpu_s: Option<f64>,
    jobs_per_cpu_s: Option<f64>,
    misses: u64,
    checksum: u64,
}

/// The seed that the peers have where none is given.
const SEED: u64 = 7;

impl Options {
    /// # Errors
    /// A sentence where a word is not known or lacks its value.
    pub fn read(words: &[&str]) -> Result<Self, Box<dyn Error>> {
        let mut options = Self { runs: 2_000, threads: 1, engine: EngineName::Table, faults: false };
        let mut rest = words;
        loop {
            rest = match rest {
                [] => return Ok(options),
                ["--faults", rest @ ..] => {
                    options.faults = true;
                    rest
                }
                ["--runs", count, rest @ ..] => {
                    options.runs = count.parse()?;
                    rest
                }
                ["--threads", count, rest @ ..] => {
                    options.threads = count.parse::<u64>()?.max(1);
                    rest
                }
                ["--engine", "table", rest @ ..] => {
                    options.engine = EngineName::Table;
                    rest
                }
                ["--engine", "general", rest @ ..] => {
                    options.engine = EngineName::General;
                    rest
                }
                [other, ..] => return Err(format!("{other:?} is no option of des, or lacks its value").into()),
            }
        }
    }
}

/// Runs the instance at `path`.
pub fn run(path: &Path, options: &Options) -> Result<Figures, Box<dyn Error>> {
    let instance = Instance::read(path)?;
    let machine = machine(&instance)?;
    let begin = Instant::now();
    let (seen, cpu_s) = all_runs(&machine, instance.hyperperiod, options)?;
    let seconds = begin.elapsed().as_secs_f64();
    let counts = &seen.counts;
    let events = counts.releases + counts.completions + counts.windows + counts.writes + counts.reads;
    Ok(Figures {
        peer: match options.engine {
            EngineName::Table => "cofferdam-table",
            EngineName::General => "cofferdam-general",
        },
        faults: options.faults,
        threads: options.threads,
        runs: options.runs,
        seconds,
        jobs: counts.completions,
        jobs_per_s: counts.completions as f64 / seconds,
        events,
        events_per_s: events as f64 / seconds,
        runs_per_s: options.runs as f64 / seconds,
        cpu_s,
        jobs_per_cpu_s: cpu_s.map(|cpu_s| counts.completions as f64 / cpu_s),
        misses: seen.tasks.iter().map(|task| task.missed).sum(),
        checksum: checksum(&machine, &seen),
    })
}

/// What all runs saw, and the processor time of all threads.
fn all_runs(machine: &Machine, span_ns: u64, options: &Options) -> Result<(Seen, Option<f64>), Box<dyn Error>> {
    let share = |thread: u64| options.runs * thread / options.threads;
    let some = |thread: u64| some_runs(machine, span_ns, options, share(thread)..share(thread + 1));
    let parts: Vec<_> = std::thread::scope(|scope| {
        let timed = |thread: u64| (some(thread), crate::timed::cpu_seconds());
        let threads: Vec<_> = (0..options.threads).map(|thread| scope.spawn(move || timed(thread))).collect();
        threads.into_iter().map(std::thread::ScopedJoinHandle::join).collect()
    });
    let (mut all, mut all_s) = (Seen::nothing(machine), Some(0.0));
    for part in parts {
        let (seen, cpu_s) = part.map_err(|_| "a thread failed")?;
        all.join(&seen?);
        all_s = all_s.zip(cpu_s).map(|(all_s, cpu_s)| all_s + cpu_s);
    }
    Ok((all, all_s))
}

/// Some runs on one thread. With faults, what the runs without them saw is what counts; the others are made all the same.
fn some_runs(machine: &Machine, span_ns: u64, options: &Options, runs: std::ops::Range<u64>) -> Result<Seen, String> {
    let mut seen = Seen::nothing(machine);
    let (mut with, mut without) = (Seen::nothing(machine), Seen::nothing(machine));
    let mut table = Table::new(machine, 0).map_err(|unfit| unfit.to_string());
    let mut engine = Engine::new(machine);
    let mut scenario = scenario(span_ns);
    for run in runs {
        scenario.run = run;
        match (options.engine, options.faults) {
            (EngineName::Table, false) => {
                let table = table.as_mut().map_err(|unfit| unfit.clone())?;
                table.run(&scenario, &mut seen).map_err(|unfit| unfit.to_string())?;
            }
            (EngineName::Table, true) => {
                let table = table.as_mut().map_err(|unfit| unfit.clone())?;
                scenario.faults = vec![fault(machine, span_ns, run)];
                table.pair(&scenario, &mut with, &mut without).map_err(|unfit| unfit.to_string())?;
                std::hint::black_box(&with);
                seen.join(&without);
            }
            (EngineName::General, false) => engine.run_unrecorded(&scenario, &mut seen),
            (EngineName::General, true) => {
                scenario.faults = vec![fault(machine, span_ns, run)];
                with.clear();
                engine.run_unrecorded(&scenario, &mut with);
                std::hint::black_box(&with);
                scenario.faults.clear();
                engine.run_unrecorded(&scenario, &mut seen);
            }
        }
    }
    Ok(seen)
}

/// The fault of a run: kinds, partitions and instants in turn.
fn fault(machine: &Machine, span_ns: u64, run: u64) -> Fault {
    const MS: u64 = 1_000_000;
    let kinds = [
        Kind::Overrun { extra_ns: MS, jobs: 3 },
        Kind::EndlessLoop,
        Kind::Silence { for_ns: 50 * MS },
        Kind::Babble { every_ns: MS, for_ns: 20 * MS },
        Kind::QueueFlood { messages: 100 },
        Kind::LostTick { for_ns: 20 * MS },
    ];
    let of = |number: u64, count: usize| (number % count as u64) as usize;
    Fault {
        kind: kinds[of(run, kinds.len())],
        target: Target::Partition(of(run / kinds.len() as u64, machine.partitions.len())),
        at_ns: run.wrapping_mul(7_919_000_003) % (span_ns / 2).max(1),
    }
}

fn scenario(span_ns: u64) -> Scenario {
    let drawn =
        Drawn { executions: Spread::Even, phases: Spread::Least, jitters: Spread::Least, blocking: Spread::Least };
    Scenario {
        seed: SEED,
        run: 0,
        begin: Begin::Running,
        schedule: 0,
        span_ns,
        times: Times::Drawn(drawn),
        faults: Vec::new(),
        protections: Protections::ALL,
        changes: Vec::new(),
        contention: Default::default(),
    }
}

/// What the peers print: of each task jobs, sum and most of the responses, then of each channel messages, sum and most of
/// their ages, and what was missing or lost.
fn checksum(machine: &Machine, seen: &Seen) -> u64 {
    let tasks = seen.tasks.iter().flat_map(|task| [task.jobs, task.sum_ns, task.most_ns]);
    let inputs = machine.channels.iter().flat_map(|channel| {
        let input = &seen.inputs[channel.inputs.start];
        let missing = match channel.port {
            Port::Sampling { .. } => input.empty,
            Port::Queuing { .. } => input.lost,
        };
        [input.messages, input.sum_age_ns, input.most_age_ns, missing]
    });
    crate::timed::checksum(tasks.chain(inputs).map(Some))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Checksums of `des_simpy.py` of this folder's peers, with SimPy 4.1.2, an outside simulator on a general-purpose library:
    /// `des_simpy.py instances/tiny.json --runs N`.
    const SIMPY: [(u64, u64, u64); 2] = [(1, 70, 2_513_178_500_626_959_433), (50, 3_500, 3_310_158_752_143_420_562)];

    #[test]
    fn both_engines_see_what_the_peer_sees() {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("instances/tiny.json");
        for engine in [EngineName::Table, EngineName::General] {
            for (runs, jobs, checksum) in SIMPY {
                for (threads, faults) in [(1, false), (3, false), (2, true)] {
                    let options = Options { runs, threads, engine, faults };
                    let figures = run(&path, &options).expect("it runs");
                    assert_eq!((figures.jobs, figures.checksum), (jobs, checksum), "{options:?}");
                }
            }
        }
    }

    #[test]
    fn options_are_read_and_unknown_ones_refused() {
        let read = Options::read(&["--threads", "2", "--engine", "general", "--runs", "5", "--faults"]);
        let expected = Options { runs: 5, threads: 2, engine: EngineName::General, faults: true };
        assert_eq!(read.expect("known options"), expected);
        assert!(Options::read(&["--engine", "heap"]).is_err());
        assert!(Options::read(&["--runs"]).is_err());
    }
}
