//! Excesses over a threshold: the generalised Pareto distribution by maximum likelihood.
//!
//! **Computes** scale and shape of what passes a threshold, their covariance, the log-likelihood, and the level that a value
//! passes with a given probability, with its intervals by the delta method and by profile likelihood.
//! **Source.** S. Coles, "An Introduction to Statistical Modeling of Extreme Values" (2001), chapter 4; S. D. Grimshaw,
//! "Computing maximum likelihood estimates for the generalized Pareto distribution", Technometrics 35 (1993).
//! **Assumptions.** The threshold is high, excesses are independent and alike.
//! **Symbols with units.** Values, threshold `u`, excesses `x` and scale `sigma` in the unit of the values; shape `xi`, no
//! unit; `theta = xi / sigma`.
//! **Invariants and why it ends.** For a given `theta` the best shape is `mean ln(1 + theta x)`, so one variable is left:
//! with `b = xi / theta` the mean negative log-likelihood is `1 + ln b + theta b`. A grid over `theta` finds the deepest valley
//! with `xi > -1` and Newton its bottom; beyond, the likelihood has no maximum.
//! **Differs from the source** in the search: Newton with both derivatives, and a series near `theta = 0` instead of a hole.
//! **Checked by** published fits, derivatives against differences, scipy in `tests/outside`.

use super::gev::add_density;
use super::kernel::{levels_above, log_ratio, standard};
use super::limits::{self, Limit};
use super::newton::{self, Local};
use super::{Interval, Problem, Quantiles, check_values, deviance_limit, profile_ends};

/// Scale and shape of excesses.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gpd {
    /// Scale, in the unit of the values, above zero.
    pub scale: f64,
    /// Shape: below zero the tail ends, above zero it has no end.
    pub shape: f64,
}

impl Gpd {
    /// The probability that an excess does not pass `x`.
    pub fn below(&self, x: f64) -> f64 {
        if x <= 0.0 {
            return 0.0;
        }
        standard(x / self.scale, self.scale, self.shape).map_or(1.0, |standard| -(-standard.s).exp_m1())
    }

    /// The excess that is passed with probability `p`, above zero and at most one.
    pub fn passed_with(&self, p: f64) -> f64 {
        self.scale * levels_above(-p.ln(), self.shape).value
    }
}

impl Quantiles for Gpd {
    fn below(&self, x: f64) -> f64 {
        self.below(x)
    }

    fn at(&self, share: f64) -> f64 {
        self.passed_with(1.0 - share)
    }

    fn refit(&self, values: &[f64]) -> Option<Self> {
        let profile = Profile::of(values);
        // The best theta of all values need not be inside for these.
        let start = (self.shape / self.scale).max(-0.98 / profile.largest);
        profile.lowest_near(start).or_else(|| profile.lowest())
    }
}

/// A fit with what is known of its precision.
#[derive(Debug, Clone, PartialEq)]
pub struct GpdFit {
    /// The most likely parameters.
    pub gpd: Gpd,
    /// What excesses exceed.
    pub threshold: f64,
    /// The logarithm of the likelihood.
    pub log_likelihood: f64,
    /// Covariances of scale and shape, from the observed information.
    pub covariance: [[f64; 2]; 2],
    /// The values above the threshold, less it.
    pub excesses: Vec<f64>,
    /// All values, those below the threshold too.
    pub total: usize,
    /// What it does not say.
    pub limits: Vec<Limit>,
}

/// Fits what exceeds `threshold` among all `values`.
///
/// # Errors
/// As [`fit_excesses`].
pub fn fit(values: &[f64], threshold: f64) -> Result<GpdFit, Problem> {
    let excesses = values.iter().map(|value| value - threshold).filter(|&excess| excess > 0.0).collect();
    fit_excesses(excesses, threshold, values.len())
}

/// Fits excesses over `threshold` of `total` values.
///
/// # Errors
/// Where there are too few, they are not finite or all equal, not above zero, or the likelihood has no maximum.
pub fn fit_excesses(excesses: Vec<f64>, threshold: f64, total: usize) -> Result<GpdFit, Problem> {
    check_values(&excesses, 3)?;
    if excesses.iter().any(|&excess| excess <= 0.0) || total < excesses.len() {
        return Err(Problem::NoExcesses);
    }
    let gpd = Profile::of(&excesses).lowest().ok_or(Problem::NoMaximum)?;
    let local = likelihood(&excesses, gpd.scale, gpd.shape).ok_or(Problem::NoMaximum)?;
    let covariance = newton::inverse(&local.hessian).ok_or(Problem::NoMaximum)?;
    let covariance = super::in_scale(&covariance, 0, gpd.scale);
    let limits = limits::of_fit(&excesses, gpd.shape);
    Ok(GpdFit { gpd, threshold, log_likelihood: -local.value, covariance, excesses, total, limits })
}

/// The negative log-likelihood in logarithm of scale and shape.
fn likelihood(excesses: &[f64], scale: f64, shape: f64) -> Option<Local<2>> {
    let mut sum = Local::ZERO;
    for &excess in excesses {
        add_density(&mut sum, &standard(excess / scale, scale, shape)?, shape);
    }
    let number = excesses.len() as f64;
    let [_, by_scale, by_shape] = sum.gradient;
    Some(Local {
        value: sum.value + number * scale.ln(),
        gradient: [by_scale + number, by_shape],
        hessian: [[sum.hessian[1][1], sum.hessian[1][2]], [sum.hessian[2][1], sum.hessian[2][2]]],
    })
}

/// What the likelihood of excesses needs: they themselves, their mean and their largest.
struct Profile<'a> {
    excesses: &'a [f64],
    mean: f64,
    largest: f64,
}

/// Means over the excesses at one theta: of `ln(1 + theta x)`, of `r = 1 / (1 + theta x)` and of `r^2`.
struct Means {
    log: f64,
    inverse: f64,
    square: f64,
}

/// Where `theta` times the mean is smaller, differences of the means lose digits, and series are summed.
const NEAR_ZERO: f64 = 1e-3;

/// Sums run beside each other, so that the processor need not wait for the last one.
const LANES: usize = 8;

/// So many factors are multiplied before a logarithm is taken of them; none is below 10^-16 or beyond 10^16.
const FACTORS: usize = 4;

impl<'a> Profile<'a> {
    fn of(excesses: &'a [f64]) -> Self {
        let mean = excesses.iter().sum::<f64>() / excesses.len() as f64;
        Self { excesses, mean, largest: excesses.iter().copied().fold(0.0, f64::max) }
    }

    /// The deepest valley of a grid, followed to its bottom.
    fn lowest(&self) -> Option<Gpd> {
        let below = (0..12).map(|k| -(1.0 - (f64::from(k) + 0.5) / 12.0) / self.largest);
        let above = (0..12).map(|k| 2.0f64.powi(k - 8) / self.mean);
        let inside = |theta: f64| self.at(theta).filter(|_| self.shape(theta) > -1.0).map(|local| (theta, local.value));
        let start = below.chain(above).filter_map(inside).min_by(|a, b| a.1.total_cmp(&b.1))?;
        self.lowest_near(start.0)
    }

    fn lowest_near(&self, theta: f64) -> Option<Gpd> {
        // In units of one over the mean, so that Newton's scale does not depend on the unit of the values.
        let function = |[unit]: [f64; 1]| {
            let theta = unit / self.mean;
            let local = self.at(theta)?;
            let number = self.excesses.len() as f64;
            let slope = number * local.slope / self.mean;
            Some(Local {
                value: number * local.value,
                gradient: [slope],
                hessian: [[number * local.bend / (self.mean * self.mean)]],
            })
        };
        let ([unit], _) = newton::minimum([theta * self.mean], function)?;
        let theta = unit / self.mean;
        let shape = self.shape(theta);
        let scale = if theta * self.mean == 0.0 { self.mean } else { shape / theta };
        (shape > -1.0 && scale > 0.0).then_some(Gpd { scale, shape })
    }

    fn shape(&self, theta: f64) -> f64 {
        self.means(theta).log
    }

    /// The mean negative log-likelihood less one, with its derivatives in theta; `None` where an excess lies outside.
    fn at(&self, theta: f64) -> Option<super::kernel::Curve> {
        let inside = 1.0 + theta * self.largest;
        if inside.is_nan() || inside <= 0.0 {
            return None;
        }
        // b = xi / theta, and xi as functions of theta.
        let (b, shape_slope, shape_bend) = if theta.abs() * self.mean < NEAR_ZERO {
            self.near_zero(theta)
        } else {
            let means = self.means(theta);
            let b = means.log / theta;
            let slope = (1.0 - means.inverse) / theta;
            let bend = -(1.0 - 2.0 * means.inverse + means.square) / (theta * theta);
            let b_slope = (slope - b) / theta;
            (super::kernel::Curve { value: b, slope: b_slope, bend: (bend - 2.0 * b_slope) / theta }, slope, bend)
        };
        let ratio = b.slope / b.value;
        Some(super::kernel::Curve {
            value: b.value.ln() + theta * b.value,
            slope: ratio + shape_slope,
            bend: b.bend / b.value - ratio * ratio + shape_bend,
        })
    }

    /// The same by series, one excess at a time.
    fn near_zero(&self, theta: f64) -> (super::kernel::Curve, f64, f64) {
        let mut b = super::kernel::Curve { value: 0.0, slope: 0.0, bend: 0.0 };
        let (mut slope, mut bend) = (0.0, 0.0);
        let weight = 1.0 / self.excesses.len() as f64;
        for &x in self.excesses {
            let ratio = log_ratio(theta * x);
            b.value += weight * x * ratio.value;
            b.slope += weight * x * x * ratio.slope;
            b.bend += weight * x * x * x * ratio.bend;
            let inverse = x / (1.0 + theta * x);
            slope += weight * inverse;
            bend -= weight * inverse * inverse;
        }
        (b, slope, bend)
    }

    fn means(&self, theta: f64) -> Means {
        let (mut log, mut inverse, mut square) = (0.0, [0.0; LANES], [0.0; LANES]);
        let chunks = self.excesses.chunks_exact(LANES * FACTORS);
        let rest = chunks.remainder();
        for chunk in chunks {
            let mut product = [1.0; LANES];
            for lanes in chunk.chunks_exact(LANES) {
                for lane in 0..LANES {
                    let y = 1.0 + theta * lanes[lane];
                    let r = 1.0 / y;
                    product[lane] *= y;
                    inverse[lane] += r;
                    square[lane] += r * r;
                }
            }
            for half in 0..LANES / 2 {
                log += (product[half] * product[half + LANES / 2]).ln();
            }
        }
        for &x in rest {
            let y = 1.0 + theta * x;
            log += y.ln();
            inverse[0] += 1.0 / y;
            square[0] += 1.0 / (y * y);
        }
        let number = self.excesses.len() as f64;
        let mean = |sums: [f64; LANES]| sums.iter().sum::<f64>() / number;
        Means { log: log / number, inverse: mean(inverse), square: mean(square) }
    }
}

impl GpdFit {
    /// The standard errors of scale and shape.
    pub fn standard_errors(&self) -> [f64; 2] {
        std::array::from_fn(|i| self.covariance[i][i].sqrt())
    }

    /// The share of all values that exceeds the threshold.
    pub fn exceeding(&self) -> f64 {
        self.excesses.len() as f64 / self.total as f64
    }

    /// The level that a value passes with probability `p`; `None` unless `p` is above zero and below the share of excesses.
    pub fn passed_with(&self, p: f64) -> Option<f64> {
        let among = p / self.exceeding();
        (among > 0.0 && among < 1.0).then(|| self.threshold + self.gpd.passed_with(among))
    }

    /// The same with its symmetric interval by the delta method, the share of excesses estimated too.
    pub fn level(&self, p: f64, one_in: u64) -> Option<Interval> {
        let (level, share) = (self.passed_with(p)?, self.exceeding());
        let t = (share / p).ln();
        let k = levels_above(t, self.gpd.shape);
        let slope = [k.value, self.gpd.scale * k.slope];
        let by_share = self.gpd.scale * (self.gpd.shape * t).exp() / share;
        let of_share = by_share * by_share * share * (1.0 - share) / self.total as f64;
        let [[scale, both], [_, shape]] = self.covariance;
        let variance =
            slope[0] * slope[0] * scale + 2.0 * slope[0] * slope[1] * both + slope[1] * slope[1] * shape + of_share;
        Some(Interval::around(level, variance.sqrt(), one_in))
    }

    /// The same with the interval that the profile likelihood gives, the share of excesses taken as known; an end that the
    /// likelihood does not bound is `None`.
    pub fn level_by_profile(&self, p: f64, one_in: u64) -> Option<Interval> {
        let level = self.passed_with(p)?;
        let t = (self.exceeding() / p).ln();
        let step = (self.level(p, one_in)?.high? - level).max(1e-9 * self.gpd.scale);
        let limit = -self.log_likelihood + deviance_limit(one_in);
        Some(profile_ends(level, step, limit, [self.gpd.shape], |level, start| {
            newton::minimum(start, |at| self.at_level(level, t, at)).map(|(at, local)| (at, local.value))
        }))
    }

    /// The likelihood in the shape alone, where the scale follows from the level: `ln sigma = ln(z - u) - ln k`.
    fn at_level(&self, level: f64, t: f64, [shape]: [f64; 1]) -> Option<Local<1>> {
        let k = levels_above(t, shape);
        let scale = (level - self.threshold) / k.value;
        if scale.is_nan() || scale <= 0.0 {
            return None;
        }
        let full = likelihood(&self.excesses, scale, shape)?;
        let ratio = k.slope / k.value;
        let (first, second) = (-ratio, ratio * ratio - k.bend / k.value);
        let bend = full.hessian[0][0] * first * first + 2.0 * full.hessian[0][1] * first + full.hessian[1][1];
        Some(Local {
            value: full.value,
            gradient: [full.gradient[1] + full.gradient[0] * first],
            hessian: [[bend + full.gradient[0] * second]],
        })
    }
}
