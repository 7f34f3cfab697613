//! A finished campaign, read again for a report.

use super::ask::{Asked, RUNS_IN_A_CHUNK, Variant};
use super::folder::Inputs;
use crate::files;
use anyhow::{Context, Result, bail};
use baseline::Baseline;
use campaign::{Matrix, Summary, carried};
use evidence::run::CampaignFound;
use serde_json::Value;
use simulator::Machine;
use std::path::Path;

/// More than the records of any campaign take.
const MOST: u64 = 1 << 32;

/// The campaign in a folder, which must be one of this system and plan.
pub fn told(folder: &Path, baseline: &Baseline) -> Result<CampaignFound> {
    let asked = asked(folder).with_context(|| format!("{} holds no finished campaign", folder.display()))?;
    if Inputs::of(baseline)?.digests() != asked.inputs {
        bail!("{} holds a campaign of another system or plan, or of this one before a change", folder.display());
    }
    let (Some(system), Some(plan)) = (&baseline.system, &baseline.plan) else {
        bail!("a campaign is told of a system under a plan");
    };
    let machine = simulator::compile::machine(system, plan);
    let mut variants = asked.variants(&machine)?.into_iter();
    // The first variant has every protection on and is always there.
    let all_on = variants.next().context("the campaign has no runs")?;
    let summary = summary(folder, &all_on, &machine)?;
    let mut without: Vec<(simulator::Protection, Matrix)> = Vec::new();
    for variant in variants {
        if let Some(off) = variant.off {
            without.push((off, self::summary(folder, &variant, &machine)?.matrix));
        }
    }
    let carried = carried(&summary.matrix, &without);
    Ok(CampaignFound { machine, settings: all_on.settings, summary, carried })
}

/// What was asked for, as the summary has it.
fn asked(folder: &Path) -> Result<Asked> {
    let bytes = files::read_at_most(&folder.join("summary.json"), MOST).map_err(|why| anyhow::anyhow!("{why:?}"))?;
    let said: Value = serde_json::from_slice(&bytes)?;
    let number = |key: &str| said["campaign"][key].as_u64().with_context(|| format!("`{key}` is missing"));
    let input = |entry: &Value| Some((entry["name"].as_str()?.to_owned(), entry["digest"].as_str()?.to_owned()));
    let inputs = said["baseline"].as_array().context("`baseline` is missing")?.iter().filter_map(input).collect();
    let faults = said["campaign"]["faults"].as_array().context("`faults` is missing")?;
    Ok(Asked {
        schema_version: 1,
        tool_version: said["tool_version"].as_str().unwrap_or_default().to_owned(),
        inputs,
        seed: number("seed")?,
        runs: number("runs")?,
        frames: number("frames")?,
        faults: faults.iter().filter_map(Value::as_str).map(str::to_owned).collect(),
        protections: said["protections"].as_array().is_some_and(|list| !list.is_empty()),
        runs_in_a_chunk: RUNS_IN_A_CHUNK,
    })
}

/// What the records of a variant come to.
fn summary(folder: &Path, variant: &Variant, machine: &Machine) -> Result<Summary> {
    let path = super::join::records_file(folder, variant);
    let bytes = files::read_at_most(&path, MOST).map_err(|why| anyhow::anyhow!("{why:?}"));
    let stored = bytes.and_then(|bytes| Ok(records::read(bytes, machine, &variant.settings)?));
    let stored = stored.with_context(|| format!("cannot use {}", path.display()))?;
    let mut summary = Summary::nothing(machine);
    summary.runs = stored.records.len() as u64;
    stored.records.iter().for_each(|record| summary.matrix.add(record, machine));
    Ok(summary)
}
