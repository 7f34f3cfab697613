//! A small campaign that is kept nowhere: what the demo has time for.

use super::folder::Inputs;
use super::twins;
use anyhow::Result;
use baseline::Baseline;
use campaign::{Choice, Settings, Summary, run_chunk};
use evidence::run::CampaignFound;
use simulator::Protections;
use std::iter;
use std::path::Path;

/// Makes some runs of a baseline without errors, with every kind of fault and every protection on. Its twins are held
/// against the bounds as those of any campaign: what is above one goes to `out`.
pub fn sample(baseline: &Baseline, seed: u64, runs: u64, frames: u64, out: &Path) -> Result<CampaignFound> {
    let loaded = Inputs::of(baseline)?.load()?;
    let machine = &loaded.machine;
    let span_ns = machine.frame_ns.saturating_mul(frames);
    let settings = Settings { seed, runs, span_ns, choices: Choice::all(machine), protections: Protections::ALL };
    settings.check()?;
    let chunk = run_chunk(machine, &settings, 0..runs);
    twins::require_within_bounds(&loaded, &settings, &chunk.twins, iter::once_with(|| Ok(chunk.clone())), out)?;
    let mut summary = Summary::nothing(machine);
    summary.add(&chunk, machine);
    Ok(CampaignFound { machine: loaded.machine, settings, summary, carried: Vec::new() })
}
