//! Making the chunks that are not there yet.

use super::ask::{Asked, Shard};
use super::folder::Folder;
use crate::{interrupt, terminal};
use anyhow::{Context, Result};
use campaign::run_chunk;
use simulator::Machine;

/// Makes what is missing of a part; gives whether the user stopped it. What is finished is kept either way.
pub fn work(machine: &Machine, asked: &Asked, shard: Shard, folder: &Folder, threads: Option<usize>) -> Result<bool> {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads.unwrap_or(0)).build();
    let pool = pool.context("no threads can be had for the runs")?;
    let variants = asked.variants(machine)?;
    let mine = || (0..asked.chunks()).filter(|chunk| shard.has(*chunk));
    let all = variants.iter().flat_map(|variant| mine().map(move |chunk| (variant, chunk)));
    let runs_of = |chunk| asked.chunk(chunk).end - asked.chunk(chunk).start;
    let missing = || all.clone().filter(|(variant, chunk)| !folder.has(variant, *chunk));
    let bar = terminal::progress("running", missing().map(|(_, chunk)| runs_of(chunk)).sum(), "runs");
    let stopped = interrupt::watched(|| -> Result<bool> {
        for (variant, number) in missing() {
            if interrupt::requested() {
                return Ok(true);
            }
            let chunk = pool.install(|| run_chunk(machine, &variant.settings, asked.chunk(number)));
            folder.keep(variant, number, &chunk, asked, machine)?;
            bar.inc(runs_of(number));
        }
        Ok(interrupt::requested())
    });
    bar.finish_and_clear();
    stopped
}
