//! How much an estimate varies, by drawing the sample again with replacement.
//!
//! **Computes** replicates of an estimate and its percentile interval.
//! **Source.** B. Efron, R. J. Tibshirani, "An Introduction to the Bootstrap" (1993), chapter 13.
//! **Assumptions.** The values are independent. Extreme quantiles lie near the model's edge, where percentile intervals cover
//! less often than stated in small samples; the profile likelihood stands beside them.
//! **Symbols with units.** Seed and number of replicates (counts); values in their own unit.
//! **Invariants and why it ends.** Replicate `b` is a function of seed and `b` alone and keeps its place in the result, so any
//! number of threads gives the same bytes.
//! **Differs from the source** in nothing; quantiles of the replicates are interpolated between neighbours.
//! **Checked by** scipy on the same draws, and itself on one thread and on several.

use super::{Interval, Limit, Quantiles};
use crate::draw::Replicate;
use rayon::prelude::*;

/// An estimate with its percentile interval.
#[derive(Debug, Clone, PartialEq)]
pub struct Resampled {
    /// The interval, around the estimate from all values.
    pub interval: Interval,
    /// Replicates with a fit.
    pub replicates: usize,
    /// Replicates without one; they are left out of the interval.
    pub lost: usize,
}

impl Resampled {
    /// What this adds to the limits of its fit.
    pub fn limit(&self) -> Option<Limit> {
        (self.lost > 0).then_some(Limit::ReplicatesLost)
    }
}

/// Fits `count` samples drawn from `values` and takes `estimate` of each. It runs in the pool of threads that the caller has
/// installed, or rayon's own. One in `one_in` is left outside, half of it on each side.
pub fn resampled<Q: Quantiles>(
    fitted: &Q,
    values: &[f64],
    seed: u64,
    count: u64,
    one_in: u64,
    estimate: impl Fn(&Q) -> f64 + Sync,
) -> Resampled {
    let one = |number: u64| {
        let draws = Replicate::new(seed, number);
        let sample: Vec<f64> = (0..values.len()).map(|place| values[draws.index(place, values.len())]).collect();
        fitted.refit(&sample).map(|fit| estimate(&fit)).filter(|estimate| estimate.is_finite())
    };
    let found: Vec<Option<f64>> = (0..count).into_par_iter().map(one).collect();
    let mut estimates: Vec<f64> = found.iter().flatten().copied().collect();
    estimates.sort_by(f64::total_cmp);
    let outside = 0.5 / one_in.max(2) as f64;
    let interval = Interval {
        value: estimate(fitted),
        low: interpolated(&estimates, outside),
        high: interpolated(&estimates, 1.0 - outside),
    };
    Resampled { interval, replicates: estimates.len(), lost: found.len() - estimates.len() }
}

/// The value at that share of the way from the first to the last, straight between neighbours.
pub(super) fn interpolated(sorted: &[f64], share: f64) -> Option<f64> {
    let place = share * sorted.len().checked_sub(1)? as f64;
    let (under, rest) = (place.floor() as usize, place.fract());
    let next = sorted.get(under + 1).unwrap_or(&sorted[under]);
    Some(sorted[under] + rest * (next - sorted[under]))
}
