//! The folder of a campaign: what was asked for, the inputs, and every chunk that is finished.
//!
//! A chunk is a file that takes its name only when it is whole, so whatever is there is finished. Its digest stands before it,
//! so that one that was damaged on its way to another machine is not taken for whole.

use super::ask::{Asked, MOST_RUNS, RUNS_IN_A_CHUNK, Shard, Variant};
use crate::files;
use anyhow::{Context, Result, anyhow, bail};
use baseline::{Baseline, PlanChoice};
use campaign::Chunk;
use model::{Digest, FileError, FileSource, System};
use plan::Plan;
use serde::{Deserialize, Serialize};
use simulator::Machine;
use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// More than any file of a campaign takes.
const MOST: u64 = 1 << 30;

/// The texts of a system and its plan, so that parts can be joined where the system is not.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Inputs {
    system: String,
    plan: String,
    texts: BTreeMap<String, String>,
}

/// A system that is ready to run.
pub struct Loaded {
    pub system: Arc<System>,
    pub plan: Arc<Plan>,
    pub machine: Machine,
}

impl FileSource for Inputs {
    fn read(&mut self, path: &str) -> Result<Vec<u8>, FileError> {
        self.texts.get(path).map(|text| text.clone().into_bytes()).ok_or(FileError::NotFound)
    }
}

impl Inputs {
    pub fn of(baseline: &Baseline) -> Result<Self> {
        let read: Vec<_> = baseline.sources.iter().filter(|file| file.was_read).collect();
        // The system file is read first and its plan last.
        let [system, .., plan] = read[..] else { bail!("a campaign needs a system and its plan") };
        let (system, plan) = (system.name.clone(), plan.name.clone());
        let texts = read.iter().map(|file| (file.name.clone(), file.text.to_string())).collect();
        Ok(Self { system, plan, texts })
    }

    pub fn digests(&self) -> Vec<(String, String)> {
        let digest = |text: &String| Digest::of_bytes(text.as_bytes()).to_string();
        self.texts.iter().map(|(name, text)| (name.clone(), digest(text))).collect()
    }

    pub fn load(&self) -> Result<Loaded> {
        let bytes = self.texts.get(&self.plan).map(|text| text.clone().into_bytes()).ok_or(FileError::NotFound);
        let choice = PlanChoice::Given { name: self.plan.clone(), bytes };
        let baseline = baseline::load(&self.system, choice, &mut self.clone());
        let (false, Some(system), Some(plan)) = (baseline.has_errors(), baseline.system.clone(), baseline.plan.clone())
        else {
            bail!("the system and its plan cannot be read again from the results");
        };
        let machine = simulator::compile::machine(&system, &plan);
        Ok(Loaded { system, plan, machine })
    }
}

/// A folder that holds a campaign or a part of one.
pub struct Folder {
    path: PathBuf,
}

#[derive(Serialize, Deserialize)]
struct State {
    asked: Asked,
    shard: Shard,
}

impl Folder {
    pub fn is_there(path: &Path) -> bool {
        path.join("campaign.json").is_file()
    }

    /// Whether nothing is there but the begin of a campaign that ended before it was whole: no run of it had been made.
    pub fn is_hardly_begun(path: &Path) -> bool {
        let Ok(mut entries) = std::fs::read_dir(path) else { return false };
        let is_begin = |name: &OsStr, path: &Path| match name.to_str() {
            Some("chunks") => std::fs::read_dir(path).is_ok_and(|mut chunks| chunks.next().is_none()),
            Some("inputs.json" | "inputs.json.part" | "campaign.json.part") => path.is_file(),
            _ => false,
        };
        entries.all(|entry| entry.is_ok_and(|entry| is_begin(&entry.file_name(), &entry.path())))
    }

    /// A new folder; where it cannot be filled, it is empty again.
    pub fn begin(path: &Path, asked: &Asked, shard: Shard, inputs: &Inputs) -> Result<Self> {
        let fill = || {
            files::make_folder(&path.join("chunks"))?;
            write_json(&path.join("inputs.json"), inputs)?;
            write_json(&path.join("campaign.json"), &State { asked: asked.clone(), shard })
        };
        let filled = fill();
        if filled.is_err() {
            // What cannot be taken away stays, and the next call names it.
            let _ = std::fs::remove_file(path.join("inputs.json"));
            let _ = std::fs::remove_dir(path.join("chunks"));
        }
        filled.map(|()| Self { path: path.to_owned() })
    }

    pub fn open(path: &Path) -> Result<(Asked, Shard, Self)> {
        let State { asked, shard } = read_json(&path.join("campaign.json"))?;
        let is_part = (1..=shard.of).contains(&shard.part);
        if !is_part || asked.runs_in_a_chunk != RUNS_IN_A_CHUNK || asked.runs > MOST_RUNS {
            bail!("{} holds no campaign that this version could have written", path.display());
        }
        Ok((asked, shard, Self { path: path.to_owned() }))
    }

    pub fn inputs(&self) -> Result<Inputs> {
        read_json(&self.path.join("inputs.json"))
    }

    fn chunk_file(&self, variant: &Variant, chunk: u64) -> PathBuf {
        let name = variant.off.map_or("all-on", |off| off.key());
        self.path.join("chunks").join(format!("{name}-{chunk:08}.chunk"))
    }

    pub fn has(&self, variant: &Variant, chunk: u64) -> bool {
        self.chunk_file(variant, chunk).is_file()
    }

    /// Keeps a chunk: from then on it is finished.
    pub fn keep(&self, variant: &Variant, number: u64, chunk: &Chunk, asked: &Asked, machine: &Machine) -> Result<()> {
        let metadata = [("campaign", serde_json::to_string(asked)?), ("twins", serde_json::to_string(&chunk.twins)?)];
        let mut writer = records::Writer::new(Vec::new(), &metadata)?;
        writer.add(&chunk.records, machine)?;
        let file = writer.finish()?;
        let head = format!("{}\n", Digest::of_bytes(&file));
        files::write_bytes_whole(&self.chunk_file(variant, number), &[head.into_bytes(), file].concat())
    }

    /// A finished chunk, held against what it must be.
    pub fn chunk(&self, variant: &Variant, number: u64, asked: &Asked, machine: &Machine) -> Result<Chunk> {
        let path = self.chunk_file(variant, number);
        let read = || -> Result<Chunk> {
            let mut stored = records::Reader::new(records_of(&path)?, machine, &variant.settings)?;
            let mut records = Vec::new();
            while let Some(mut group) = stored.next_group()? {
                records.append(&mut group);
            }
            let runs = asked.chunk(number);
            let numbers = records.iter().map(|record| record.run);
            if stored.says("campaign") != Some(&serde_json::to_string(asked)?) || !numbers.eq(runs.clone()) {
                bail!("it is of another campaign, or not whole");
            }
            let twins: simulator::Seen = serde_json::from_str(stored.says("twins").unwrap_or_default())?;
            let nothing = simulator::Seen::nothing(machine);
            if twins.tasks.len() != nothing.tasks.len() || twins.inputs.len() != nothing.inputs.len() {
                bail!("it is of another system");
            }
            Ok(Chunk { runs, records, twins })
        };
        read().with_context(|| format!("cannot use {}; take it away and go on with --resume", path.display()))
    }
}

/// The records of a chunk's file, without the digest before them, which they must have.
fn records_of(path: &Path) -> Result<records::Bytes> {
    let bytes = files::read_at_most(path, MOST).map_err(|why| anyhow!(files::why_unread(&why)))?;
    let line = bytes.iter().position(|byte| *byte == b'\n').unwrap_or(0);
    let (head, file) = bytes.split_at(line);
    let file = file.get(1..).unwrap_or_default();
    if head != Digest::of_bytes(file).to_string().as_bytes() {
        bail!("it is not what was written: cut off, or changed");
    }
    Ok(records::Bytes::from(bytes).slice(line + 1..))
}

fn write_json(path: &Path, value: &impl Serialize) -> Result<()> {
    files::write_whole(path, &format!("{}\n", serde_json::to_string_pretty(value)?))
}

fn read_json<T: for<'a> Deserialize<'a>>(path: &Path) -> Result<T> {
    let said = || format!("{} holds no campaign", path.parent().unwrap_or(path).display());
    let bytes =
        files::read_at_most(path, MOST).map_err(|why| anyhow!("{}: {}", file_name(path), files::why_unread(&why)));
    let bytes = bytes.with_context(said)?;
    serde_json::from_slice(&bytes).with_context(|| format!("{} cannot be read", file_name(path))).with_context(said)
}

fn file_name(path: &Path) -> String {
    path.file_name().unwrap_or_default().to_string_lossy().into_owned()
}
