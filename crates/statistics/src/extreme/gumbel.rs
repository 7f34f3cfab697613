//! Block maxima with a shape of zero: Gumbel's distribution by maximum likelihood.
//!
//! **Computes** location and scale, their standard errors, the log-likelihood, and how much likelihood the third parameter
//! would add.
//! **Source.** S. Coles, "An Introduction to Statistical Modeling of Extreme Values" (2001), sections 3.3 and 3.4.
//! **Assumptions.** As for the generalised distribution, and that the tail is exponential: an assumption that the data may
//! not bear, see [`GumbelFit::shape_is_zero`].
//! **Symbols with units.** Values, location and scale in the unit of the values.
//! **Invariants and why it ends.** Newton on the two parameters, steps limited.
//! **Differs from the source** in nothing.
//! **Checked by** the fit of the source.

use super::gev::GevFit;
use super::kernel::standard;
use super::limits::{self, Limit};
use super::newton::{self, Local};
use super::{Problem, check_values, mean_and_deviation};
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// A fit with what is known of its precision.
#[derive(Debug, Clone, PartialEq)]
pub struct GumbelFit {
    /// Location, in the unit of the values.
    pub location: f64,
    /// Scale, in the unit of the values.
    pub scale: f64,
    /// The logarithm of the likelihood there.
    pub log_likelihood: f64,
    /// Of location and scale.
    pub standard_errors: [f64; 2],
    /// What it does not say.
    pub limits: Vec<Limit>,
}

/// Fits block maxima.
///
/// # Errors
/// Where there are too few values, they are not finite or all equal, or the likelihood has no maximum.
pub fn fit(maxima: &[f64]) -> Result<GumbelFit, Problem> {
    check_values(maxima, 3)?;
    let (mean, deviation) = mean_and_deviation(maxima);
    let start = [mean - 0.45 * deviation, (0.78 * deviation).ln()];
    let (at, local) = newton::minimum(start, |at| likelihood(maxima, at)).ok_or(Problem::NoMaximum)?;
    let (covariance, scale) = (newton::inverse(&local.hessian).ok_or(Problem::NoMaximum)?, at[1].exp());
    let standard_errors = [covariance[0][0].sqrt(), scale * covariance[1][1].sqrt()];
    let limits = limits::of_fit(maxima, 0.0);
    Ok(GumbelFit { location: at[0], scale, log_likelihood: -local.value, standard_errors, limits })
}

fn likelihood(maxima: &[f64], [location, log_scale]: [f64; 2]) -> Option<Local<2>> {
    let scale = log_scale.exp();
    let mut sum = Local::ZERO;
    for &value in maxima {
        let here = standard((value - location) / scale, scale, 0.0)?;
        let weight = (-here.s).exp();
        sum.value += here.s + log_scale + weight;
        sum.gradient[1] += 1.0;
        for i in 0..2 {
            sum.gradient[i] += (1.0 - weight) * here.first[i];
            for j in 0..2 {
                sum.hessian[i][j] += (1.0 - weight) * here.second[i][j] + weight * here.first[i] * here.first[j];
            }
        }
    }
    Some(sum)
}

impl GumbelFit {
    /// How probable a gain in likelihood like this one is where the shape is zero in truth (likelihood-ratio test).
    pub fn shape_is_zero(&self, general: &GevFit) -> f64 {
        let deviance = (2.0 * (general.log_likelihood - self.log_likelihood)).max(0.0);
        ChiSquared::new(1.0).map_or(1.0, |distribution| distribution.sf(deviance))
    }
}
