//! Extreme-value fits and their bootstraps on a file of samples, timed.

use serde::Serialize;
use statistics::extreme::bootstrap::{Resampled, resampled};
use statistics::extreme::gev::Gev;
use statistics::extreme::gpd::Gpd;
use statistics::extreme::{Problem, Quantiles, blocks, gev, gpd};
use std::error::Error;
use std::path::Path;
use std::time::Instant;

/// What is left to error by the intervals: 5 %, so that they end where the peers' do.
const ONE_IN: u64 = 20;

/// The seed under which replicates draw what the peers' draw.
const SEED: u64 = 0;

/// The level asked for is passed with this probability.
const RARE: f64 = 1e-9;

const BLOCK: usize = 1000;
const TAIL: f64 = 0.01;

/// What may be set.
pub struct Options {
    boot: u64,
    threads: usize,
}

impl Options {
    /// Reads `--boot N` and `--threads N`.
    pub fn read(words: &[&str]) -> Result<Self, Box<dyn Error>> {
        let mut options = Self { boot: 1000, threads: 0 };
        for pair in words.chunks(2) {
            match pair {
                ["--boot", count] => options.boot = count.parse()?,
                ["--threads", count] => options.threads = count.parse()?,
                _ => return Err(format!("evt knows --boot N and --threads N, not {pair:?}").into()),
            }
        }
        if options.boot == 0 { Err("--boot must be at least 1".into()) } else { Ok(options) }
    }
}

/// What the peers print too, under the same names.
#[derive(Serialize)]
pub struct Figures {
    peer: &'static str,
    n: usize,
    threads: usize,
    threshold_s: f64,
    exceedances: usize,
    pot_fit_s: f64,
    pot_shape: f64,
    pot_scale: f64,
    pot_q: f64,
    pot_nll: f64,
    pot_boot_s_each: f64,
    pot_q_ci: [Option<f64>; 2],
    block_maxima_s: f64,
    blocks: usize,
    bm_fit_s: f64,
    bm_shape: f64,
    bm_loc: f64,
    bm_scale: f64,
    bm_q: f64,
    bm_nll: f64,
    bm_boot_s_each: f64,
    bm_q_ci: [Option<f64>; 2],
    replicates_lost: usize,
}

/// Fits the samples of the file at `path`: little-endian numbers of 64 bits.
pub fn run(path: &Path, options: &Options) -> Result<Figures, Box<dyn Error>> {
    let bytes = std::fs::read(path)?;
    let values: Vec<f64> = bytes.as_chunks().0.iter().map(|chunk| f64::from_le_bytes(*chunk)).collect();
    if values.len() < 10 * BLOCK || values.iter().any(|value| !value.is_finite()) {
        return Err(format!("{}: fewer than {} finite values", path.display(), 10 * BLOCK).into());
    }
    let pool = rayon::ThreadPoolBuilder::new().num_threads(options.threads).build()?;
    Ok(pool.install(|| measured(&values, options))?)
}

fn measured(values: &[f64], options: &Options) -> Result<Figures, Problem> {
    let ((threshold, excesses), threshold_s) = timed(|| excesses(values));
    let (pot, pot_fit_s) = timed(|| gpd::fit_excesses(excesses, threshold, values.len()));
    let pot = pot?;
    let level = |gpd: &Gpd| threshold + gpd.passed_with(RARE / pot.exceeding());
    let (pot_boot, pot_boot_s) = replicated(&pot.gpd, &pot.excesses, options.boot, level);
    let (maxima, block_maxima_s) = timed(|| blocks::maxima(values, BLOCK));
    let (bm, bm_fit_s) = timed(|| gev::fit_maxima(&maxima));
    let bm = bm?;
    let level = |gev: &Gev| gev.passed_with(RARE * BLOCK as f64);
    let (bm_boot, bm_boot_s) = replicated(&bm.gev, &maxima, options.boot, level);
    let ends = |found: &Resampled| [found.interval.low, found.interval.high];
    Ok(Figures {
        peer: "cofferdam",
        n: values.len(),
        threads: rayon::current_num_threads(),
        threshold_s,
        exceedances: pot.excesses.len(),
        pot_fit_s,
        pot_shape: pot.gpd.shape,
        pot_scale: pot.gpd.scale,
        pot_q: pot_boot.interval.value,
        pot_nll: -pot.log_likelihood,
        pot_boot_s_each: pot_boot_s / options.boot as f64,
        pot_q_ci: ends(&pot_boot),
        block_maxima_s,
        blocks: maxima.len(),
        bm_fit_s,
        bm_shape: bm.gev.shape,
        bm_loc: bm.gev.location,
        bm_scale: bm.gev.scale,
        bm_q: bm_boot.interval.value,
        bm_nll: -bm.log_likelihood,
        bm_boot_s_each: bm_boot_s / options.boot as f64,
        bm_q_ci: ends(&bm_boot),
        replicates_lost: pot_boot.lost + bm_boot.lost,
    })
}

/// The threshold that one value in a hundred exceeds, and by how much these do, ascending as the peers draw from them.
fn excesses(values: &[f64]) -> (f64, Vec<f64>) {
    let mut work = values.to_vec();
    let above = (values.len() as f64 * TAIL) as usize;
    let (_, threshold, above) = work.select_nth_unstable_by(values.len() - above - 1, f64::total_cmp);
    let threshold = *threshold;
    let mut excesses: Vec<f64> = above.iter().map(|value| value - threshold).filter(|&excess| excess > 0.0).collect();
    excesses.sort_unstable_by(f64::total_cmp);
    (threshold, excesses)
}

fn replicated<Q: Quantiles>(fit: &Q, values: &[f64], boot: u64, level: impl Fn(&Q) -> f64 + Sync) -> (Resampled, f64) {
    timed(|| resampled(fit, values, SEED, boot, ONE_IN, level))
}

fn timed<T>(work: impl FnOnce() -> T) -> (T, f64) {
    let begin = Instant::now();
    let result = work();
    (result, begin.elapsed().as_secs_f64())
}
