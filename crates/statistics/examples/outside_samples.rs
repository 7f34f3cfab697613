//! Prints random samples and what this crate says of them, for `tests/outside/scipy.sh`.

#![allow(
    clippy::disallowed_types,
    clippy::disallowed_macros,
    reason = "prints fits in floating point for another program"
)]

use serde_json::{Value, json};
use statistics::extreme::{gev, goodness, gpd, gumbel};
use statistics::{binomial, kolmogorov, series};

fn main() {
    let samples: Vec<Value> = (0..60).map(sample).collect();
    println!("{}", json!({ "samples": samples, "proportions": proportions(), "critical": critical() }));
}

/// A word of 64 bits for a number: SplitMix64.
fn word(number: u64) -> u64 {
    let mut x = number.wrapping_mul(0x9E37_79B9_7F4A_7C15);
    x = (x ^ (x >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    x = (x ^ (x >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    x ^ (x >> 31)
}

fn share(number: u64) -> f64 {
    ((word(number) >> 12) as f64 + 0.5) / (1_u64 << 52) as f64
}

/// Whole numbers of a tail whose shape, size and steps differ from sample to sample; every third one depends on the last value.
fn sample(number: u64) -> Value {
    let size = [60, 200, 1000][(number % 3) as usize];
    let shape = -0.3 + 0.7 * share(1_000_000 + number);
    let step = [1, 1, 100][(number / 3 % 3) as usize];
    let mut last = 0.0;
    let values: Vec<i64> = (0..size)
        .map(|place| {
            let drawn = 2000.0 * ((-share(number * 10_000 + place).ln()).powf(-shape) - 1.0) / shape;
            last = if number % 3 == 2 { drawn + 0.5 * last } else { drawn };
            200_000 + (last as i64) / step * step
        })
        .collect();
    let floats: Vec<f64> = values.iter().map(|&value| value as f64).collect();
    let mut sorted = values.clone();
    sorted.sort_unstable();
    let threshold = sorted[sorted.len() / 2] as f64;
    json!({
        "values": values,
        "threshold": threshold,
        "gev": gev::fit_maxima(&floats).ok().map(|fit| {
            let (kolmogorov, anderson) = goodness::distances(&fit.gev, &floats);
            json!({
                "parameters": [fit.gev.location, fit.gev.scale, fit.gev.shape],
                "log_likelihood": fit.log_likelihood, "kolmogorov": kolmogorov, "anderson": anderson,
            })
        }),
        "gumbel": gumbel::fit(&floats).ok().map(|fit| json!([fit.location, fit.scale, fit.log_likelihood])),
        "gpd": gpd::fit(&floats, threshold).ok().map(|fit| json!([fit.gpd.scale, fit.gpd.shape, fit.log_likelihood])),
        "ljung_box": series::ljung_box(&values, 10).map(|tested| [tested.statistic, tested.p]),
        "mann_kendall": series::mann_kendall(&values).map(|tested| [tested.statistic, tested.p]),
        "halves": series::halves(&values).map(|tested| [tested.statistic, tested.p]),
        "kpss": series::kpss(&values),
    })
}

/// Hits, trials, one in so many, and both ends in parts per billion.
fn proportions() -> Vec<[u64; 5]> {
    let drawn = (0..200).map(|number| {
        let trials = 1 + word(number) % 3000;
        let (hits, one_in) = (word(number + 5000) % (trials + 1), [20, 40, 1000][(number % 3) as usize]);
        let (low, high) = (binomial::lower_ppb(hits, trials, one_in), binomial::upper_ppb(hits, trials, one_in));
        [hits, trials, one_in, low, high]
    });
    drawn.collect()
}

/// Values, one in so many, and the critical value in parts per billion.
fn critical() -> Vec<[u64; 3]> {
    let sizes = [1, 2, 3, 5, 10, 20, 50, 100, 200, 300];
    sizes
        .into_iter()
        .flat_map(|n| [10, 20, 100, 1000].map(|one_in| [n, one_in, kolmogorov::critical_ppb(n, one_in)]))
        .collect()
}
