//! Which threshold is high enough: the mean residual life and the stability of the fit over thresholds.
//!
//! **Computes** for each threshold the mean excess with its standard error, and the shape and the modified scale
//! `sigma - xi u` with theirs. Above a threshold that is high enough the first is straight in the threshold and the other two
//! are constant.
//! **Source.** S. Coles, "An Introduction to Statistical Modeling of Extreme Values" (2001), sections 4.3.1 and 4.3.4.
//! **Assumptions.** As for the fit; neighbouring thresholds share their excesses, so the points of a plot are not independent.
//! **Symbols with units.** Thresholds, excesses and scale in the unit of the values.
//! **Invariants and why it ends.** One pass and one fit a threshold.
//! **Differs from the source** in nothing; the choice is the reader's, and no rule here makes it.
//! **Checked by** a Pareto sample whose mean excess is known, and by hand.

use super::gpd;
use super::mean_and_deviation;

/// What lies above one threshold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Above {
    /// The threshold.
    pub threshold: f64,
    /// How many values exceed it.
    pub excesses: usize,
    /// By how much on average, and the standard error of that; `None` with fewer than two.
    pub mean_excess: Option<(f64, f64)>,
    /// The shape with its standard error; `None` without a fit.
    pub shape: Option<(f64, f64)>,
    /// The modified scale with its standard error; `None` without a fit.
    pub modified_scale: Option<(f64, f64)>,
}

/// What lies above each of the thresholds.
pub fn above(values: &[f64], thresholds: &[f64]) -> Vec<Above> {
    thresholds.iter().map(|&threshold| above_one(values, threshold)).collect()
}

fn above_one(values: &[f64], threshold: f64) -> Above {
    let excesses: Vec<f64> = values.iter().map(|value| value - threshold).filter(|&excess| excess > 0.0).collect();
    let number = excesses.len();
    let mean_excess = (number > 1).then(|| {
        let (mean, deviation) = mean_and_deviation(&excesses);
        (mean, deviation / ((number - 1) as f64).sqrt())
    });
    let fit = gpd::fit_excesses(excesses, threshold, values.len()).ok();
    let shape = fit.as_ref().map(|fit| (fit.gpd.shape, fit.standard_errors()[1]));
    let modified_scale = fit.as_ref().map(|fit| {
        let [[scale, both], [_, shape]] = fit.covariance;
        let variance = scale - 2.0 * threshold * both + threshold * threshold * shape;
        (fit.gpd.scale - fit.gpd.shape * threshold, variance.sqrt())
    });
    Above { threshold, excesses: number, mean_excess, shape, modified_scale }
}
