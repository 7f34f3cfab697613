//! Finished chunks become the results of the whole campaign.

use super::answer::{self, Found};
use super::ask::{Asked, Shard, Variant};
use super::folder::{Folder, Loaded};
use super::twins;
use crate::args::CampaignArgs;
use crate::exit::Exit;
use crate::files;
use anyhow::{Context, Result, bail};
use campaign::Summary;
use std::collections::BTreeMap;
use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

/// So many chunks are one group of the file of all records: few groups keep what is held of each small.
const CHUNKS_IN_A_GROUP: u64 = 16;

/// Joins parts that other calls have made.
pub fn merge(args: &CampaignArgs) -> Result<Exit> {
    let (mut parts, mut wrong) = (Vec::new(), Vec::new());
    for path in &args.merge {
        match Folder::open(path) {
            Ok(part) => parts.push((path, part)),
            Err(why) => wrong.push(format!("{why:#}")),
        }
    }
    require_nothing(&wrong)?;
    let ((first, (asked, first_shard, folder)), rest) = parts.split_first().context("name the parts to join")?;
    for (path, (other, shard, _)) in rest {
        if other != asked || shard.of != first_shard.of {
            let difference = asked.difference(other, *first_shard, Shard { part: first_shard.part, ..*shard });
            wrong.push(format!("{} and {} are of different campaigns: {difference}", first.display(), path.display()));
        }
    }
    require_nothing(&wrong)?;
    require_nothing(&unfit(&parts.iter().map(|(path, (_, shard, _))| (*path, *shard)).collect::<Vec<_>>()))?;
    let inputs = folder.inputs()?;
    if inputs.digests() != asked.inputs {
        bail!("the inputs kept in {} were changed", first.display());
    }
    if !files::is_free(&args.out)? {
        bail!("{} is not empty; name another folder with --out", args.out.display());
    }
    let (loaded, asked) = (inputs.load()?, asked.clone());
    parts.sort_by_key(|(_, (_, shard, _))| *shard);
    let folders: Vec<_> = parts.into_iter().map(|(_, (_, _, folder))| folder).collect();
    files::make_folder(&args.out)?;
    let found = assemble(&loaded, &asked, &folders, &args.out)?;
    answer::tell(args, &found)
}

/// Says all that is wrong, each as an error of its own.
fn require_nothing(wrong: &[String]) -> Result<()> {
    if wrong.is_empty() { Ok(()) } else { bail!(wrong.join("\nerror: ")) }
}

/// So many missing parts are named, and the others counted.
const NAMED: usize = 8;

/// The parts that are there twice or not at all.
fn unfit(parts: &[(&PathBuf, Shard)]) -> Vec<String> {
    let of = parts.first().map_or(0, |(_, shard)| shard.of);
    let mut having: BTreeMap<u64, &PathBuf> = BTreeMap::new();
    let mut wrong = Vec::new();
    for (path, Shard { part, .. }) in parts {
        if let Some(first) = having.insert(*part, path) {
            let (first, path) = (first.display(), path.display());
            wrong.push(format!("{first} and {path} both hold part {part} of {of}; name one of them"));
        }
    }
    let missing = || (1..=of).filter(|part| !having.contains_key(part));
    let left = of.saturating_sub(having.len() as u64);
    let named: Vec<_> = missing().take(NAMED).map(|part| part.to_string()).collect();
    let more = left.saturating_sub(named.len() as u64);
    let more = if more > 0 { format!(" and {more} more") } else { String::new() };
    match left {
        0 => {}
        1 => wrong
            .push(format!("part {} of {of} is missing; make it with --shard and name its folder too", named.join(""))),
        _ => wrong.push(format!(
            "parts {}{more} of {of} are missing; make them with --shard and name their folders too",
            named.join(", ")
        )),
    }
    wrong
}

/// Writes the results of a campaign of which `folders` hold the parts in order.
pub fn assemble<'a>(loaded: &'a Loaded, asked: &Asked, folders: &[Folder], out: &Path) -> Result<Found<'a>> {
    let variants = asked.variants(&loaded.machine)?;
    let (mut summaries, mut written) = (Vec::new(), Vec::new());
    for variant in &variants {
        summaries.push(records(loaded, asked, folders, variant, out)?);
        let file = records_file(out, variant);
        let digest = files::digest(&file).with_context(|| format!("cannot read {}", file.display()))?;
        written.push((records_name(variant), digest));
    }
    // The first variant has every protection on and is always there.
    let chunk = |number| folder_of(folders, number).chunk(&variants[0], number, asked, &loaded.machine);
    twins::require_within_bounds(
        loaded,
        &variants[0].settings,
        &summaries[0].twins,
        (0..asked.chunks()).map(chunk),
        out,
    )?;
    let found = Found::of(loaded, asked.clone(), variants, summaries, written);
    answer::write(&found, out)?;
    Ok(found)
}

/// The part that has a chunk; there is one part at least.
fn folder_of(folders: &[Folder], chunk: u64) -> &Folder {
    &folders[usize::try_from(chunk % folders.len() as u64).unwrap_or(0)]
}

/// The name of the file of all records of a variant.
pub fn records_name(variant: &Variant) -> String {
    variant.off.map_or("records.parquet".to_owned(), |off| format!("records-without-{}.parquet", off.key()))
}

/// Where all records of a variant are in a folder of results.
pub fn records_file(out: &Path, variant: &Variant) -> PathBuf {
    out.join(records_name(variant))
}

/// All records of a variant as one file; what they come to.
fn records(loaded: &Loaded, asked: &Asked, folders: &[Folder], variant: &Variant, out: &Path) -> Result<Summary> {
    let machine = &loaded.machine;
    let path = records_file(out, variant);
    let part = path.with_extension("parquet.part");
    let write = || -> Result<Summary> {
        let metadata = [("campaign", serde_json::to_string(asked)?)];
        let mut writer = records::Writer::new(BufWriter::new(File::create(&part)?), &metadata)?;
        let (mut summary, mut group) = (Summary::nothing(machine), Vec::new());
        for number in 0..asked.chunks() {
            let mut chunk = folder_of(folders, number).chunk(variant, number, asked, machine)?;
            summary.add(&chunk, machine);
            group.append(&mut chunk.records);
            if (number + 1).is_multiple_of(CHUNKS_IN_A_GROUP) || number + 1 == asked.chunks() {
                writer.add(&group, machine)?;
                group.clear();
            }
        }
        writer.finish()?.flush()?;
        std::fs::rename(&part, &path)?;
        Ok(summary)
    };
    let written = write();
    if written.is_err() {
        let _ = std::fs::remove_file(&part);
    }
    written.with_context(|| format!("cannot write {}", path.display()))
}
