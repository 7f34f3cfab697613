//! Whether a fitted distribution fits: Kolmogorov-Smirnov and Anderson-Darling with p values by parametric bootstrap.
//!
//! **Computes** both distances of the values from the fitted distribution, and the share of samples drawn from that distribution,
//! and fitted again, that lie at least as far.
//! **Source.** T. W. Anderson, D. A. Darling, "A test of goodness of fit", JASA 49 (1954); the bootstrap for fitted parameters:
//! W. Stute, W. Gonzales Manteiga, M. Presedo Quindimil, "Bootstrap based goodness-of-fit-tests", Metrika 40 (1993).
//! **Assumptions.** Independent values. A large p value is no evidence for the model, least of all beyond the largest value.
//! **Symbols with units.** Distances and p values, no unit.
//! **Invariants and why it ends.** Replicate `b` is a function of seed and `b` alone. The p value counts the sample itself, so
//! it is never zero.
//! **Differs from the source** in nothing.
//! **Checked by** scipy for the distances, and by samples that fit and that do not.

use super::Quantiles;
use crate::draw::Replicate;
use rayon::prelude::*;

/// How far values lie from a fitted distribution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Goodness {
    /// Kolmogorov and Smirnov's largest distance.
    pub kolmogorov: f64,
    /// The share of replicates that lie at least as far.
    pub kolmogorov_p: f64,
    /// Anderson and Darling's weighted squared distance, which looks at the tails.
    pub anderson: f64,
    /// The share of replicates that lie at least as far.
    pub anderson_p: f64,
    /// Replicates with a fit.
    pub replicates: usize,
}

/// Tests `fitted`, the best member of its family for `values`, with `count` replicates.
pub fn test<Q: Quantiles>(fitted: &Q, values: &[f64], seed: u64, count: u64) -> Goodness {
    let (kolmogorov, anderson) = distances(fitted, values);
    let one = |number: u64| {
        let draws = Replicate::new(seed, number);
        let sample: Vec<f64> = (0..values.len()).map(|place| fitted.at(draws.share(place))).collect();
        fitted.refit(&sample).map(|fit| distances(&fit, &sample))
    };
    let found: Vec<(f64, f64)> = (0..count).into_par_iter().filter_map(one).collect();
    let share = |far: usize| (far + 1) as f64 / (found.len() + 1) as f64;
    Goodness {
        kolmogorov,
        kolmogorov_p: share(found.iter().filter(|other| other.0 >= kolmogorov).count()),
        anderson,
        anderson_p: share(found.iter().filter(|other| other.1 >= anderson).count()),
        replicates: found.len(),
    }
}

/// Both distances.
pub fn distances<Q: Quantiles>(fitted: &Q, values: &[f64]) -> (f64, f64) {
    let mut below: Vec<f64> = values.iter().map(|&value| fitted.below(value)).collect();
    below.sort_by(f64::total_cmp);
    let number = below.len() as f64;
    let far = |(i, &share): (usize, &f64)| ((i + 1) as f64 / number - share).max(share - i as f64 / number);
    let kolmogorov = below.iter().enumerate().map(far).fold(0.0, f64::max);
    // A value that the model holds impossible is infinitely far; the smallest numbers stand for it.
    let log = |share: f64| share.max(f64::MIN_POSITIVE).ln();
    let term = |(i, (&low, &high)): (usize, (&f64, &f64))| (2 * i + 1) as f64 * (log(low) + log(1.0 - high));
    let sum: f64 = below.iter().zip(below.iter().rev()).enumerate().map(term).sum();
    (kolmogorov, -number - sum / number)
}
