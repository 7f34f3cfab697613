//! Whether the values of a series are independent and of one distribution, as everything else here assumes.
//!
//! **Computes** statistics and p values: Ljung and Box's of the autocorrelations, runs up and down, the extremal index by runs
//! and by intervals; Mann and Kendall's trend, Kolmogorov and Smirnov's distance of the two halves, KPSS for a level.
//! **Source.** G. M. Ljung, G. E. P. Box, Biometrika 65 (1978); runs: J. V. Bradley, "Distribution-Free Statistical Tests"
//! (1968), chapter 12, moments from memory; C. A. T. Ferro, J. Segers, "Inference for clusters of extreme values", JRSS B 65
//! (2003); H. B. Mann, Econometrica 13 (1945), M. G. Kendall, "Rank Correlation Methods" (1975); M. A. Stephens, JRSS B 32
//! (1970) for the p value of two samples; D. Kwiatkowski, P. C. B. Phillips, P. Schmidt, Y. Shin, Journal of Econometrics 54
//! (1992), Table 1, critical values from memory.
//! **Assumptions.** Series are long enough for the limits that the p values rest on (30 values and more).
//! **Symbols with units.** p values and the index, no unit; lags, ranks and runs (counts).
//! **Invariants and why it ends.** A test that cannot be made, as of too few values or of equal ones, is `None`.
//! **Differs from the source** in the p values of ties: equal neighbours are one in runs; halves with ties get a p value that
//! is too large.
//! **Checked by** scipy and statsmodels in `tests/outside`, by hand, and by series that do depend or drift.
//!
//! A large p value is no evidence for independence: it says that this test, on so many values, saw nothing.

use crate::kolmogorov::{distance_ppb, limit_above};
use statrs::distribution::{ChiSquared, ContinuousCDF, Normal};

/// A statistic, and how often one at least as extreme comes of a series without what is tested for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tested {
    /// What the test computes.
    pub statistic: f64,
    /// The probability of one at least as extreme.
    pub p: f64,
}

/// The autocorrelation at each of the lags from one to `lags`; `None` for equal values or fewer than `lags + 2`.
pub fn autocorrelations(series: &[i64], lags: usize) -> Option<Vec<f64>> {
    if series.len() < lags + 2 {
        return None;
    }
    let apart = deviations(series);
    let squares: f64 = apart.iter().map(|x| x * x).sum();
    let at = |lag: usize| apart.iter().zip(&apart[lag..]).map(|(x, y)| x * y).sum::<f64>() / squares;
    (squares > 0.0).then(|| (1..=lags).map(at).collect())
}

/// The values less their mean; the first value is taken off first, so that large ones lose no digits.
fn deviations(series: &[i64]) -> Vec<f64> {
    let first = series.first().copied().unwrap_or_default();
    let mut apart: Vec<f64> = series.iter().map(|&x| (i128::from(x) - i128::from(first)) as f64).collect();
    let mean = apart.iter().sum::<f64>() / apart.len() as f64;
    apart.iter_mut().for_each(|x| *x -= mean);
    apart
}

/// Ljung and Box: whether the autocorrelations up to `lags` are all zero.
pub fn ljung_box(series: &[i64], lags: usize) -> Option<Tested> {
    let n = series.len() as f64;
    let terms = autocorrelations(series, lags)?.into_iter().zip(1..).map(|(r, lag)| r * r / (n - f64::from(lag)));
    let statistic = n * (n + 2.0) * terms.sum::<f64>();
    let distribution = ChiSquared::new(lags as f64).ok()?;
    Some(Tested { statistic, p: distribution.sf(statistic) })
}

/// Runs up and down: whether rises and falls alternate as often as in a series of independent values. Of equal neighbours
/// one is kept. The statistic is the number of runs.
pub fn runs_up_and_down(series: &[i64]) -> Option<Tested> {
    let mut kept = series.to_vec();
    kept.dedup();
    if kept.len() < 3 {
        return None;
    }
    let turns = kept.windows(3).filter(|three| (three[0] < three[1]) != (three[1] < three[2])).count();
    let (runs, n) = ((turns + 1) as f64, kept.len() as f64);
    let (mean, variance) = ((2.0 * n - 1.0) / 3.0, (16.0 * n - 29.0) / 90.0);
    Some(Tested { statistic: runs, p: two_sided((runs - mean) / variance.sqrt()) })
}

fn two_sided(z: f64) -> f64 {
    2.0 * Normal::standard().sf(z.abs())
}

/// The extremal index by runs: one over the mean size of clusters, which end where `run` values in a row do not pass
/// `threshold`. One where extremes come alone.
pub fn extremal_index_by_runs(series: &[i64], threshold: i64, run: usize) -> Option<f64> {
    let gaps = gaps_between_extremes(series, threshold)?;
    let clusters = 1 + gaps.iter().filter(|&&gap| gap > run).count();
    Some(clusters as f64 / (gaps.len() + 1) as f64)
}

/// The extremal index by the times between extremes (Ferro and Segers), which needs no run; `None` with fewer than two.
pub fn extremal_index_by_intervals(series: &[i64], threshold: i64) -> Option<f64> {
    let gaps = gaps_between_extremes(series, threshold)?;
    let number = gaps.len() as f64;
    let sum = |of: &dyn Fn(f64) -> f64| gaps.iter().map(|&gap| of(gap as f64)).sum::<f64>();
    let (above, below) = if gaps.iter().all(|&gap| gap <= 2) {
        (sum(&|gap| gap).powi(2), number * sum(&|gap| gap * gap))
    } else {
        (sum(&|gap| gap - 1.0).powi(2), number * sum(&|gap| (gap - 1.0) * (gap - 2.0)))
    };
    (number > 0.0).then(|| (2.0 * above / below).min(1.0))
}

/// Places between one value above the threshold and the next; `None` where none is above.
fn gaps_between_extremes(series: &[i64], threshold: i64) -> Option<Vec<usize>> {
    let places: Vec<usize> =
        series.iter().enumerate().filter(|(_, x)| **x > threshold).map(|(place, _)| place).collect();
    (!places.is_empty()).then(|| places.windows(2).map(|two| two[1] - two[0]).collect())
}

/// Mann and Kendall: whether later values tend to be larger, or smaller. The statistic is rises less falls over all pairs.
pub fn mann_kendall(series: &[i64]) -> Option<Tested> {
    let mut work = series.to_vec();
    let falls = falls(&mut work) as f64;
    let n = series.len() as f64;
    let mut tied_pairs = 0.0;
    let mut correction = 0.0;
    for group in work.chunk_by(|a, b| a == b) {
        let size = group.len() as f64;
        tied_pairs += size * (size - 1.0) / 2.0;
        correction += size * (size - 1.0) * (2.0 * size + 5.0);
    }
    let statistic = n * (n - 1.0) / 2.0 - tied_pairs - 2.0 * falls;
    let variance = (n * (n - 1.0) * (2.0 * n + 5.0) - correction) / 18.0;
    // One off, since the statistic comes in steps.
    let nearer = (statistic.abs() - 1.0).max(0.0);
    (series.len() > 2 && variance > 0.0).then(|| Tested { statistic, p: two_sided(nearer / variance.sqrt()) })
}

/// Sorts, and counts the pairs of which the later value was smaller.
fn falls(series: &mut [i64]) -> u64 {
    if series.len() < 2 {
        return 0;
    }
    let (mut early, mut late) = {
        let (early, late) = series.split_at(series.len() / 2);
        (early.to_vec(), late.to_vec())
    };
    let mut count = falls(&mut early) + falls(&mut late);
    let (mut i, mut j) = (0, 0);
    for place in series {
        if j == late.len() || i < early.len() && early[i] <= late[j] {
            *place = early[i];
            i += 1;
        } else {
            *place = late[j];
            j += 1;
            count += (early.len() - i) as u64;
        }
    }
    count
}

/// Whether the first and the second half are of one distribution, by Kolmogorov and Smirnov's distance.
pub fn halves(series: &[i64]) -> Option<Tested> {
    let (first, second) = series.split_at(series.len() / 2);
    let (mut first, mut second) = (first.to_vec(), second.to_vec());
    first.sort_unstable();
    second.sort_unstable();
    if first.len() < 2 {
        return None;
    }
    let statistic = distance_ppb(&first, &second) as f64 / 1e9;
    let (n, m) = (first.len() as f64, second.len() as f64);
    let root = (n * m / (n + m)).sqrt();
    Some(Tested { statistic, p: limit_above((root + 0.12 + 0.11 / root) * statistic) })
}

/// Critical values of [`kpss`], for one in so many: 10, 20, 40 and 100.
pub const KPSS_CRITICAL: [(u64, f64); 4] = [(10, 0.347), (20, 0.463), (40, 0.574), (100, 0.739)];

/// KPSS: whether the series keeps to one level. It is rejected where the statistic passes [`KPSS_CRITICAL`].
pub fn kpss(series: &[i64]) -> Option<f64> {
    let n = series.len();
    // The number of lags of the source's examples with four: it grows with the fourth root.
    let lags = (4.0 * (n as f64 / 100.0).powf(0.25)) as usize;
    if n < lags + 2 {
        return None;
    }
    let apart = deviations(series);
    let at = |lag: usize| apart.iter().zip(&apart[lag..]).map(|(x, y)| x * y).sum::<f64>() / n as f64;
    let weighted = |lag: usize| 2.0 * (1.0 - lag as f64 / (lags + 1) as f64) * at(lag);
    let long_run = at(0) + (1..=lags).map(weighted).sum::<f64>();
    let mut sum = 0.0;
    let squares: f64 = apart
        .iter()
        .map(|x| {
            sum += x;
            sum * sum
        })
        .sum();
    (long_run > 0.0).then(|| squares / (n as f64 * n as f64 * long_run))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draw::{below, mix};

    fn drawn(number: u64) -> Vec<i64> {
        (0..number).map(|k| below(mix(k.wrapping_mul(0x9E37_79B9_7F4A_7C15)), 1_000_000) as i64).collect()
    }

    #[test]
    fn independent_draws_pass_every_test_at_one_in_a_hundred() {
        let series = drawn(2000);
        let tests = [ljung_box(&series, 20), runs_up_and_down(&series), mann_kendall(&series), halves(&series)];
        for (number, tested) in tests.into_iter().enumerate() {
            assert!(tested.expect("long enough").p > 0.01, "test {number}: {tested:?}");
        }
        assert!(kpss(&series).expect("long enough") < KPSS_CRITICAL[3].1);
    }

    #[test]
    fn a_drift_is_seen_by_the_tests_for_stationarity() {
        let series: Vec<i64> = drawn(1000).iter().zip(0..).map(|(x, k)| x + 500 * k).collect();
        assert!(mann_kendall(&series).expect("long enough").p < 1e-6);
        assert!(halves(&series).expect("long enough").p < 1e-6);
        assert!(kpss(&series).expect("long enough") > KPSS_CRITICAL[3].1);
    }

    #[test]
    fn neighbours_that_depend_are_seen_by_the_tests_for_independence() {
        let draws = drawn(1000);
        let series: Vec<i64> = draws.windows(4).map(|four| four.iter().sum()).collect();
        assert!(ljung_box(&series, 10).expect("long enough").p < 1e-6);
        assert!(runs_up_and_down(&series).expect("long enough").p < 1e-6);
    }

    /// Each draw stands twice in a row, so extremes come in pairs and the index is one half.
    #[test]
    fn extremes_in_pairs_have_an_index_of_one_half() {
        let series: Vec<i64> = drawn(20_000).into_iter().flat_map(|x| [x, x]).collect();
        let runs = extremal_index_by_runs(&series, 990_000, 2).expect("some are above");
        let intervals = extremal_index_by_intervals(&series, 990_000).expect("some are above");
        assert!((runs - 0.5).abs() < 0.02 && (intervals - 0.5).abs() < 0.06, "{runs} {intervals}");
        assert_eq!(extremal_index_by_runs(&series, 1_000_000, 2), None);
        assert_eq!(extremal_index_by_intervals(&[1, 9, 1], 5), None);
        assert_eq!(
            extremal_index_by_intervals(&[9, 9, 1, 9], 5),
            Some(1.0),
            "2 (1 + 2)^2 / (2 (1 + 4)) is 1.8, and an index is at most one"
        );
    }

    #[test]
    fn small_series_are_counted_by_hand() {
        // Pairs of 3 1 2 2: falls 3-1, 3-2, 3-2; rises 1-2, 1-2; one tie.
        assert_eq!(mann_kendall(&[3, 1, 2, 2]).expect("four values").statistic, -1.0);
        // 1 5 2 2 6 4: without the equal neighbour up, down, up, down.
        assert_eq!(runs_up_and_down(&[1, 5, 2, 2, 6, 4]).expect("five values").statistic, 4.0);
        // 1 2 3 4 5 at lag one: (2 + 0 + 0 + 2) / 10.
        assert_eq!(autocorrelations(&[1, 2, 3, 4, 5], 1), Some(vec![0.4]));
    }

    #[test]
    fn what_cannot_be_tested_is_none() {
        let equal = [7; 50];
        assert_eq!(
            (ljung_box(&equal, 5), runs_up_and_down(&equal), mann_kendall(&equal), kpss(&equal)),
            (None, None, None, None)
        );
        assert_eq!((ljung_box(&[1, 2], 5), halves(&[1, 2]), mann_kendall(&[1]), kpss(&[])), (None, None, None, None));
        let wide = [i64::MIN, i64::MAX, 0, i64::MIN, i64::MAX];
        assert!(ljung_box(&wide, 1).is_some_and(|tested| tested.p.is_finite()));
    }
}
