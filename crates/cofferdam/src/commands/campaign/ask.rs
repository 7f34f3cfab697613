//! What a call asks for, as it is kept beside the results.

use super::folder::Inputs;
use crate::args::CampaignArgs;
use anyhow::{Context, Result, anyhow, bail};
use campaign::{Choice, Settings, Wrong};
use diagnostic::{Look, Sources, render_text};
use serde::{Deserialize, Serialize};
use simulator::fault::declared::{Declared, KINDS};
use simulator::fault::read_fault;
use simulator::{Machine, Protection, Protections};
use std::ops::Range;
use std::str::FromStr;

/// So many runs are made and kept as a whole.
pub const RUNS_IN_A_CHUNK: u64 = 256;

/// More runs than this would be more files than a folder bears.
pub const MOST_RUNS: u64 = 1_000_000_000;

/// Everything that tells one campaign from another: equal for equal results.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Asked {
    pub schema_version: u32,
    pub tool_version: String,
    /// Name and digest of every input.
    pub inputs: Vec<(String, String)>,
    pub seed: u64,
    pub runs: u64,
    pub frames: u64,
    /// Kinds of fault, with their target where one is named; empty where all are drawn.
    pub faults: Vec<String>,
    pub protections: bool,
    pub runs_in_a_chunk: u64,
}

/// A campaign, or the same with one protection off.
pub struct Variant {
    pub off: Option<Protection>,
    pub settings: Settings,
}

/// Which of so many parts, from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Shard {
    pub part: u64,
    pub of: u64,
}

impl Shard {
    pub const WHOLE: Self = Self { part: 1, of: 1 };

    /// Whether a chunk belongs to the part.
    pub fn has(self, chunk: u64) -> bool {
        chunk % self.of == self.part - 1
    }
}

impl FromStr for Shard {
    type Err = anyhow::Error;

    fn from_str(text: &str) -> Result<Self> {
        let numbers = text.split_once('/').and_then(|(part, of)| Some((part.parse().ok()?, of.parse().ok()?)));
        match numbers {
            Some((part, of)) if part >= 1 && part <= of => Ok(Self { part, of }),
            Some((part, of)) => {
                bail!("there is no part {part} of {of}: parts run from 1 to their number, as in --shard 1/4")
            }
            None => bail!("`{text}` is no part; write --shard 1/4 for the first of four"),
        }
    }
}

impl Asked {
    pub fn of(args: &CampaignArgs, inputs: &Inputs) -> Self {
        Self {
            schema_version: 1,
            tool_version: env!("CARGO_PKG_VERSION").to_owned(),
            inputs: inputs.digests(),
            seed: args.seed,
            runs: args.runs,
            frames: args.frames,
            faults: args.fault.clone(),
            protections: args.protections,
            runs_in_a_chunk: RUNS_IN_A_CHUNK,
        }
    }

    /// All that is wrong with what is asked for.
    pub fn wrong(&self, machine: &Machine) -> Vec<String> {
        let mut wrong = Vec::new();
        if self.runs > MOST_RUNS {
            wrong.push(format!(
                "{} runs are more than the {MOST_RUNS} that a campaign may have; give fewer --runs",
                self.runs
            ));
        }
        if self.frames == 0 {
            wrong.push("a run of zero frames shows nothing; give --frames 1 or more".to_owned());
        }
        let span_ns = self.span_ns(machine).map_err(|why| wrong.push(why.to_string()));
        let mut choices = if self.faults.is_empty() { Choice::all(machine) } else { Vec::new() };
        for text in &self.faults {
            // Where the length of the run is wrong, any will do to read what comes at its begin.
            if let Err(why) = add(&mut choices, text, machine, span_ns.unwrap_or(1).max(1)) {
                wrong.push(format!("{why:#}"));
            }
        }
        let (seed, runs, protections) = (self.seed, self.runs, Protections::ALL);
        let settings = Settings { seed, runs, span_ns: 1, choices, protections };
        // Where a fault is wrong, that none is left says nothing more.
        match settings.check() {
            Err(why) if why == Wrong::NoRuns || wrong.is_empty() => wrong.push(why.to_string()),
            _ => {}
        }
        wrong
    }

    fn span_ns(&self, machine: &Machine) -> Result<u64> {
        let span_ns = machine.frame_ns.checked_mul(self.frames).filter(|ns| *ns < 1 << 53);
        span_ns.with_context(|| {
            format!("a run of {} frames is longer than can be simulated; give fewer --frames", self.frames)
        })
    }

    pub fn chunks(&self) -> u64 {
        self.runs.div_ceil(self.runs_in_a_chunk.max(1))
    }

    pub fn chunk(&self, chunk: u64) -> Range<u64> {
        let first = chunk * self.runs_in_a_chunk;
        first..first.saturating_add(self.runs_in_a_chunk).min(self.runs)
    }

    /// The campaign with all protections on, then with one off each where that is asked for.
    pub fn variants(&self, machine: &Machine) -> Result<Vec<Variant>> {
        let span_ns = self.span_ns(machine)?;
        let (seed, runs, choices) = (self.seed, self.runs, self.choices(machine, span_ns)?);
        let settings = |protections| Settings { seed, runs, span_ns, choices: choices.clone(), protections };
        let mut variants = vec![Variant { off: None, settings: settings(Protections::ALL) }];
        variants[0].settings.check()?;
        if self.protections {
            let without = |off| Variant { off: Some(off), settings: settings(Protections::without(off)) };
            variants.extend(Protection::ALL.map(without));
        }
        Ok(variants)
    }

    fn choices(&self, machine: &Machine, span_ns: u64) -> Result<Vec<Choice>> {
        if self.faults.is_empty() {
            return Ok(Choice::all(machine));
        }
        let mut choices = Vec::new();
        for text in &self.faults {
            add(&mut choices, text, machine, span_ns)?;
        }
        // In the order of declaration, so that the order of the call changes nothing.
        choices.sort_by_key(|choice: &Choice| KINDS.iter().position(|kind| kind.word == choice.kind.word));
        choices.retain(|choice| !choice.targets.is_empty());
        Ok(choices)
    }

    /// What tells this campaign from another one, in words.
    pub fn difference(&self, other: &Self, own_shard: Shard, other_shard: Shard) -> String {
        let pairs = [
            ("the version of the program", self.tool_version == other.tool_version),
            ("the system or its plan", self.inputs == other.inputs),
            ("the seed", self.seed == other.seed),
            ("the number of runs", self.runs == other.runs),
            ("the length of a run", self.frames == other.frames),
            ("the faults", self.faults == other.faults),
            ("the protections", self.protections == other.protections),
            ("the part", own_shard == other_shard),
        ];
        let differing: Vec<_> = pairs.iter().filter(|(_, equal)| !equal).map(|(what, _)| *what).collect();
        if differing.is_empty() { "its layout differs".to_owned() } else { format!("{} differs", differing.join(", ")) }
    }
}

/// Adds `KIND` or `KIND:TARGET`.
fn add(choices: &mut Vec<Choice>, text: &str, machine: &Machine, span_ns: u64) -> Result<()> {
    if let Some(kind) = Declared::named(text) {
        Choice::add(choices, kind, &Choice::of_kind(kind, machine).targets);
        return Ok(());
    }
    let mut sources = Sources::new();
    let fault = read_fault("--fault", text, machine, span_ns, &mut sources).map_err(|wrong| {
        let drawn: Vec<_> = wrong.iter().map(|one| render_text(one, &sources, Look::Plain)).collect();
        anyhow!("the fault `{text}` is wrong\n\n{}", drawn.join("\n\n"))
    })?;
    let (kind, values) = fault.kind.declared();
    if values != kind.defaults() || fault.at_ns != 0 {
        bail!("`{text}`: a campaign draws instants and parameters; name the kind and the target alone");
    }
    Choice::add(choices, kind, &[fault.target]);
    Ok(())
}
