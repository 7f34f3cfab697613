//! Maxima of blocks and the `r` largest values of blocks: the generalised extreme value distribution by maximum likelihood.
//!
//! **Computes** location, scale and shape of the distribution of block maxima from the `r` largest values of each block
//! (`r = 1`: the maxima), their covariance, the log-likelihood, the level that a block passes with a given probability, and
//! that level's interval by the delta method and by profile likelihood.
//! **Source.** S. Coles, "An Introduction to Statistical Modeling of Extreme Values" (2001), chapter 3.
//! **Assumptions.** Blocks are long, independent and alike.
//! **Symbols with units.** Values, location `mu` and scale `sigma` in the unit of the values; shape `xi`, no unit;
//! `s = ln(1 + xi (x - mu) / sigma) / xi`.
//! **Invariants and why it ends.** A block `x_1 >= ... >= x_r` has the negative log-likelihood
//! `sum_j ((1 + xi) s_j + ln sigma) + e^(-s_r)`. Newton's steps never raise it, and their number is limited. Maxima with
//! `xi <= -1` are refused, since the likelihood has no maximum there.
//! **Differs from the source** in nothing.
//! **Checked by** the fits of the source, derivatives against differences, scipy in `tests/outside`.

use super::kernel::{levels_above, standard};
use super::limits::{self, Limit};
use super::newton::{self, Local};
use super::{Interval, Problem, Quantiles, deviance_limit, profile_ends};

/// Location, scale and shape.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gev {
    /// Location, in the unit of the values.
    pub location: f64,
    /// Scale, in the unit of the values, above zero.
    pub scale: f64,
    /// Shape: below zero the tail ends, above zero it has no end.
    pub shape: f64,
}

impl Gev {
    /// The probability that a block maximum does not pass `x`.
    pub fn below(&self, x: f64) -> f64 {
        let z = (x - self.location) / self.scale;
        match standard(z, self.scale, self.shape) {
            Some(standard) => (-(-standard.s).exp()).exp(),
            // Outside of the distribution: above its end, or below its begin.
            None => f64::from(u8::from(self.shape < 0.0)),
        }
    }

    /// The level that a block maximum passes with probability `p`, between zero and one.
    pub fn passed_with(&self, p: f64) -> f64 {
        self.location + self.scale * levels_above(reduced(p), self.shape).value
    }

    fn parameters(&self) -> [f64; 3] {
        [self.location, self.scale.ln(), self.shape]
    }

    fn of([location, log_scale, shape]: [f64; 3]) -> Self {
        Self { location, scale: log_scale.exp(), shape }
    }
}

impl Quantiles for Gev {
    fn below(&self, x: f64) -> f64 {
        self.below(x)
    }

    fn at(&self, share: f64) -> f64 {
        self.passed_with(1.0 - share)
    }

    fn refit(&self, values: &[f64]) -> Option<Self> {
        maximum_from(self, |at| likelihood(values.chunks(1), at)).map(|(gev, _)| gev)
    }
}

/// `-ln(-ln(1 - p))`, the reduced variate.
fn reduced(p: f64) -> f64 {
    -(-(-p).ln_1p()).ln()
}

/// A fit with what is known of its precision.
#[derive(Debug, Clone, PartialEq)]
pub struct GevFit {
    /// The most likely parameters.
    pub gev: Gev,
    /// The logarithm of the likelihood there.
    pub log_likelihood: f64,
    /// Covariances of location, scale and shape, from the observed information.
    pub covariance: [[f64; 3]; 3],
    /// The blocks that it was fitted to.
    pub blocks: usize,
    /// What it does not say.
    pub limits: Vec<Limit>,
    rows: Vec<Vec<f64>>,
}

/// Fits block maxima.
///
/// # Errors
/// Where there are too few values, they are not finite or all equal, or the likelihood has no maximum.
pub fn fit_maxima(maxima: &[f64]) -> Result<GevFit, Problem> {
    fit_largest(&maxima.iter().map(|&value| vec![value]).collect::<Vec<_>>())
}

/// Fits the largest values of each block, in descending order; blocks may have different numbers of them.
///
/// # Errors
/// As [`fit_maxima`]; and where a block is empty or not in descending order.
pub fn fit_largest(rows: &[Vec<f64>]) -> Result<GevFit, Problem> {
    let ordered = |row: &Vec<f64>| !row.is_empty() && row.is_sorted_by(|a, b| a >= b);
    if !rows.iter().all(ordered) {
        return Err(Problem::NotDescending);
    }
    let values = rows.concat();
    super::check_values(&values, 4)?;
    let maxima: Vec<f64> = rows.iter().map(|row| row[0]).collect();
    super::check_values(&maxima, 4)?;
    let (gev, local) = maximum(rows, &maxima).ok_or(Problem::NoMaximum)?;
    let covariance = newton::inverse(&local.hessian).ok_or(Problem::NoMaximum)?;
    let covariance = super::in_scale(&covariance, 1, gev.scale);
    let limits = limits::of_fit(&maxima, gev.shape);
    Ok(GevFit { gev, log_likelihood: -local.value, covariance, blocks: rows.len(), limits, rows: rows.to_vec() })
}

/// The best of what Newton reaches from the moments' estimate at several shapes: a shape of zero fits any values, so the
/// first start is always inside.
fn maximum(rows: &[Vec<f64>], maxima: &[f64]) -> Option<(Gev, Local<3>)> {
    let (mean, deviation) = super::mean_and_deviation(maxima);
    let start = |shape| Gev { location: mean - 0.45 * deviation, scale: 0.78 * deviation, shape };
    let likelihood = |at| likelihood(rows.iter().map(Vec::as_slice), at);
    let found = [0.0, -0.2, 0.3].into_iter().filter_map(|shape| maximum_from(&start(shape), likelihood));
    found.min_by(|(_, a), (_, b)| a.value.total_cmp(&b.value))
}

fn maximum_from(start: &Gev, likelihood: impl Fn([f64; 3]) -> Option<Local<3>>) -> Option<(Gev, Local<3>)> {
    let (at, local) = newton::minimum(start.parameters(), likelihood)?;
    (at[2] > -1.0).then(|| (Gev::of(at), local))
}

/// The negative log-likelihood in location, logarithm of scale, and shape; `None` where a value lies outside.
fn likelihood<'a>(rows: impl Iterator<Item = &'a [f64]>, [location, log_scale, shape]: [f64; 3]) -> Option<Local<3>> {
    let scale = log_scale.exp();
    let by_scale = 1.0 / scale;
    let mut sum = Local::ZERO;
    let mut values = 0;
    for row in rows {
        values += row.len();
        let mut last = None;
        for &value in row {
            let standard = standard((value - location) * by_scale, scale, shape)?;
            add_density(&mut sum, &standard, shape);
            last = Some(standard);
        }
        let last = last?;
        let weight = (-last.s).exp();
        sum.value += weight;
        for i in 0..3 {
            sum.gradient[i] -= weight * last.first[i];
            for j in 0..3 {
                sum.hessian[i][j] += weight * (last.first[i] * last.first[j] - last.second[i][j]);
            }
        }
    }
    sum.value += values as f64 * log_scale;
    sum.gradient[1] += values as f64;
    Some(sum)
}

/// Adds `(1 + xi) s`.
pub(super) fn add_density(sum: &mut Local<3>, standard: &super::kernel::Standard, shape: f64) {
    sum.value += (1.0 + shape) * standard.s;
    sum.gradient[2] += standard.s;
    for i in 0..3 {
        sum.gradient[i] += (1.0 + shape) * standard.first[i];
        sum.hessian[i][2] += standard.first[i];
        sum.hessian[2][i] += standard.first[i];
        for j in 0..3 {
            sum.hessian[i][j] += (1.0 + shape) * standard.second[i][j];
        }
    }
}

impl GevFit {
    /// The standard errors of location, scale and shape.
    pub fn standard_errors(&self) -> [f64; 3] {
        std::array::from_fn(|i| self.covariance[i][i].sqrt())
    }

    /// The level that one block in `period` passes, with its symmetric interval by the delta method; `None` where the period
    /// is not above one.
    pub fn return_level(&self, period: f64, one_in: u64) -> Option<Interval> {
        let p = super::probability_of(period)?;
        let k = levels_above(reduced(p), self.gev.shape);
        let slope = [1.0, k.value, self.gev.scale * k.slope];
        let variance: f64 = (0..3)
            .flat_map(|i| (0..3).map(move |j| (i, j)))
            .map(|(i, j)| slope[i] * slope[j] * self.covariance[i][j])
            .sum();
        Some(Interval::around(self.gev.passed_with(p), variance.sqrt(), one_in))
    }

    /// The same with the interval that the profile likelihood gives, which is longer upwards; an end that the likelihood
    /// does not bound is `None`.
    pub fn return_level_by_profile(&self, period: f64, one_in: u64) -> Option<Interval> {
        let p = super::probability_of(period)?;
        let t = reduced(p);
        let level = self.gev.passed_with(p);
        let step = (self.return_level(period, one_in)?.high? - level).max(1e-9 * self.gev.scale);
        let limit = -self.log_likelihood + deviance_limit(one_in);
        // Each search goes on from where the last one ended.
        let start = [self.gev.scale.ln(), self.gev.shape];
        Some(profile_ends(level, step, limit, start, |level, start| {
            newton::minimum(start, |at| self.at_level(level, t, at)).map(|(at, local)| (at, local.value))
        }))
    }

    /// The likelihood in logarithm of scale and shape where the location follows from the level: `mu = z - sigma k`.
    fn at_level(&self, level: f64, t: f64, [log_scale, shape]: [f64; 2]) -> Option<Local<2>> {
        let (scale, k) = (log_scale.exp(), levels_above(t, shape));
        let full = likelihood(self.rows.iter().map(Vec::as_slice), [level - scale * k.value, log_scale, shape])?;
        let first = [-scale * k.value, -scale * k.slope];
        let second = [[first[0], first[1]], [first[1], -scale * k.bend]];
        let mut local = Local { value: full.value, gradient: [0.0; 2], hessian: [[0.0; 2]; 2] };
        for i in 0..2 {
            local.gradient[i] = full.gradient[i + 1] + full.gradient[0] * first[i];
            for j in 0..2 {
                local.hessian[i][j] = full.hessian[i + 1][j + 1]
                    + full.hessian[0][j + 1] * first[i]
                    + full.hessian[i + 1][0] * first[j]
                    + full.hessian[0][0] * first[i] * first[j]
                    + full.gradient[0] * second[i][j];
            }
        }
        Some(local)
    }
}
