//! Tails: what a model says of values beyond those seen.
//!
//! [`blocks`] cuts a series into maxima, [`gev`] and [`gumbel`] fit these, [`gpd`] fits what passes a threshold, [`threshold`]
//! helps to choose one, [`bootstrap`] draws again for intervals, [`goodness`] asks whether the model fits at all. Every fit
//! carries its [`Limit`]s; none is a worst-case execution time, whatever its return period.

pub mod blocks;
pub mod bootstrap;
pub mod gev;
pub mod goodness;
pub mod gpd;
pub mod gumbel;
mod kernel;
mod limits;
mod newton;
pub mod threshold;

pub use limits::Limit;

use statrs::distribution::{ChiSquared, ContinuousCDF, Normal};
use std::fmt;

/// Why there is no fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Problem {
    /// There are not enough values for the parameters.
    TooFew {
        /// How many there are.
        values: usize,
        /// How many are needed.
        needed: usize,
    },
    /// A value is not a finite number.
    NotFinite,
    /// All values are equal.
    AllEqual,
    /// The values of a block are not in descending order, or there are none.
    NotDescending,
    /// An excess is not above zero, or there are more of them than values.
    NoExcesses,
    /// The likelihood has no maximum with a shape above -1, as for values that crowd at their largest.
    NoMaximum,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooFew { values, needed } => write!(f, "{values} values are too few for this fit; it needs {needed}"),
            Self::NotFinite => f.write_str("a value is not a finite number"),
            Self::AllEqual => f.write_str("all values are equal, so they have no tail to fit"),
            Self::NotDescending => {
                f.write_str("the values of a block must be in descending order, at least one of them")
            }
            Self::NoExcesses => f.write_str("excesses must be above zero and no more than the values"),
            Self::NoMaximum => f.write_str("the likelihood has no maximum: no such distribution fits these values"),
        }
    }
}

impl std::error::Error for Problem {}

/// An estimate with the ends that it may have; an end that is not bounded is `None`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// The estimate.
    pub value: f64,
    /// The lower end.
    pub low: Option<f64>,
    /// The upper end.
    pub high: Option<f64>,
}

impl Interval {
    /// Symmetric by the normal distribution, half of one in `one_in` left on each side.
    fn around(value: f64, standard_error: f64, one_in: u64) -> Self {
        let reach = Normal::standard().inverse_cdf(1.0 - 0.5 / one_in.max(2) as f64) * standard_error;
        let finite = |end: f64| end.is_finite().then_some(end);
        Self { value, low: finite(value - reach), high: finite(value + reach) }
    }
}

/// A family of distributions that a bootstrap can draw from and fit again.
pub trait Quantiles: Copy + Send + Sync {
    /// The probability of not passing `x`.
    fn below(&self, x: f64) -> f64;
    /// Where that probability is `share`, strictly between zero and one.
    fn at(&self, share: f64) -> f64;
    /// The member that fits `values` best, searched from this one; `None` where there is none.
    fn refit(&self, values: &[f64]) -> Option<Self>;
}

fn check_values(values: &[f64], needed: usize) -> Result<(), Problem> {
    if !values.iter().all(|value| value.is_finite()) {
        return Err(Problem::NotFinite);
    }
    if values.len() < needed {
        return Err(Problem::TooFew { values: values.len(), needed });
    }
    if values.iter().all(|&value| value == values[0]) { Err(Problem::AllEqual) } else { Ok(()) }
}

fn mean_and_deviation(values: &[f64]) -> (f64, f64) {
    let number = values.len() as f64;
    let mean = values.iter().sum::<f64>() / number;
    let squares: f64 = values.iter().map(|value| (value - mean) * (value - mean)).sum();
    (mean, (squares / number).sqrt())
}

/// Covariances with the logarithm of the scale at `place` as those with the scale.
fn in_scale<const N: usize>(covariance: &[[f64; N]; N], place: usize, scale: f64) -> [[f64; N]; N] {
    let factor = |i: usize| if i == place { scale } else { 1.0 };
    std::array::from_fn(|i| std::array::from_fn(|j| covariance[i][j] * factor(i) * factor(j)))
}

/// The probability that one in `period` has, above one.
fn probability_of(period: f64) -> Option<f64> {
    (period.is_finite() && period > 1.0).then(|| 1.0 / period)
}

/// By how much the negative log-likelihood may exceed its minimum: half the quantile of chi-squared with one degree.
fn deviance_limit(one_in: u64) -> f64 {
    ChiSquared::new(1.0)
        .map_or(f64::NAN, |distribution| distribution.inverse_cdf(1.0 - 1.0 / one_in.max(2) as f64) / 2.0)
}

/// How often the search for an end doubles its step before it gives up.
const DOUBLINGS: u32 = 40;

/// The levels at which the profile passes `limit` below and above `level`; `least(level, start)` is the profile and where it
/// is attained, searched from `start`.
fn profile_ends<const N: usize>(
    level: f64,
    step: f64,
    limit: f64,
    start: [f64; N],
    least: impl Fn(f64, [f64; N]) -> Option<([f64; N], f64)>,
) -> Interval {
    let end = |direction: f64| {
        let (mut inside, mut at, mut reach) = (level, start, step / 8.0);
        for _ in 0..DOUBLINGS {
            let next = inside + direction * reach;
            match least(next, at) {
                Some((there, value)) if value <= limit => {
                    (inside, at, reach) = (next, there, reach * 2.0);
                }
                // Outside of the interval, or where the model has no such level: between the two lies the end.
                _ => return Some(halve(inside, next, limit, at, &least)),
            }
        }
        None
    };
    Interval { value: level, low: end(-1.0), high: end(1.0) }
}

fn halve<const N: usize>(
    mut inside: f64,
    mut outside: f64,
    limit: f64,
    mut at: [f64; N],
    least: &impl Fn(f64, [f64; N]) -> Option<([f64; N], f64)>,
) -> f64 {
    for _ in 0..40 {
        let middle = f64::midpoint(inside, outside);
        match least(middle, at) {
            Some((there, value)) if value <= limit => (inside, at) = (middle, there),
            _ => outside = middle,
        }
    }
    f64::midpoint(inside, outside)
}
