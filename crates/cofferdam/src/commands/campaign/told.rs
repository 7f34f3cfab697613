//! A finished campaign, read again for a report.

use super::ask::{Asked, MOST_RUNS, RUNS_IN_A_CHUNK, Variant};
use super::folder::Inputs;
use super::join::{records_file, records_name};
use crate::files;
use anyhow::{Context, Result, anyhow, bail};
use baseline::Baseline;
use campaign::{Matrix, Summary, carried};
use evidence::run::CampaignFound;
use serde_json::Value;
use simulator::Machine;
use std::fs::File;
use std::path::Path;

/// More than the summary of any campaign takes.
const MOST: u64 = 1 << 28;

/// The campaign in a folder, which must be one of this system and plan.
pub fn told(folder: &Path, baseline: &Baseline) -> Result<CampaignFound> {
    let none = || format!("{} holds no finished campaign", folder.display());
    let said = said(folder).with_context(none)?;
    let asked = asked(&said).with_context(none)?;
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
    let summary = summary(folder, &all_on, &machine, &said)?;
    let mut without: Vec<(simulator::Protection, Matrix)> = Vec::new();
    for variant in variants {
        if let Some(off) = variant.off {
            without.push((off, self::summary(folder, &variant, &machine, &said)?.matrix));
        }
    }
    let carried = carried(&summary.matrix, &without);
    Ok(CampaignFound { machine, settings: all_on.settings, summary, carried })
}

/// What the summary says.
fn said(folder: &Path) -> Result<Value> {
    let bytes = files::read_at_most(&folder.join("summary.json"), MOST);
    let bytes = bytes.map_err(|why| anyhow!("summary.json: {}", files::why_unread(&why)))?;
    serde_json::from_slice(&bytes).context("summary.json cannot be read")
}

/// What was asked for, as the summary has it.
fn asked(said: &Value) -> Result<Asked> {
    let number = |key: &str| said["campaign"][key].as_u64().with_context(|| format!("`{key}` is missing"));
    let input = |entry: &Value| Some((entry["name"].as_str()?.to_owned(), entry["digest"].as_str()?.to_owned()));
    let inputs = said["baseline"].as_array().context("`baseline` is missing")?.iter().filter_map(input).collect();
    let faults = said["campaign"]["faults"].as_array().context("`faults` is missing")?;
    Ok(Asked {
        schema_version: 1,
        tool_version: said["tool_version"].as_str().unwrap_or_default().to_owned(),
        inputs,
        seed: number("seed")?,
        runs: number("runs").ok().filter(|runs| *runs <= MOST_RUNS).context("`runs` is missing or impossible")?,
        frames: number("frames")?,
        faults: faults.iter().filter_map(Value::as_str).map(str::to_owned).collect(),
        protections: said["protections"].as_array().is_some_and(|list| !list.is_empty()),
        runs_in_a_chunk: RUNS_IN_A_CHUNK,
    })
}

/// What the records of a variant come to, read a group after the other.
fn summary(folder: &Path, variant: &Variant, machine: &Machine, said: &Value) -> Result<Summary> {
    let path = records_file(folder, variant);
    let read = || -> Result<Summary> {
        let written = said["records"].as_array().into_iter().flatten();
        let mut written = written.filter(|one| one["file"] == records_name(variant));
        let digest = files::digest(&path)?;
        if written.next().is_none_or(|one| one["digest"] != digest.to_string()) {
            bail!("it is not what the campaign wrote: cut off, changed, or of another one");
        }
        let mut stored = records::Reader::new(File::open(&path)?, machine, &variant.settings)?;
        let mut summary = Summary::nothing(machine);
        while let Some(group) = stored.next_group()? {
            for record in group {
                if record.run != summary.runs {
                    bail!("run {} is missing", summary.runs);
                }
                summary.runs += 1;
                summary.matrix.add(&record, machine);
            }
        }
        if summary.runs != variant.settings.runs {
            bail!("run {} is missing", summary.runs);
        }
        Ok(summary)
    };
    let again = "the call that made the campaign writes it again with --resume";
    read().with_context(|| format!("cannot use {}; {again}", path.display()))
}
