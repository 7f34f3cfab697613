//! Samples: tolerance limits, exact intervals and critical values by counting, fits to tails.

use super::{fields, table, value};
use crate::compare::{Answer, Answers, Share};
use ::statistics::extreme::gev::{self, GevFit};
use ::statistics::extreme::{Interval, gpd, gumbel};
use ::statistics::tolerance::{Sides, values_needed};
use ::statistics::{binomial, kolmogorov};
use serde::Deserialize;

const PPB_PER_PERCENT: u64 = 10_000_000;

/// One in so many is left outside of an interval of 95 %.
const ONE_IN: u64 = 20;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sizes {
    cases: Vec<Size>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Size {
    name: String,
    sides: u64,
    coverage_percent: u64,
    confidence_percent: u64,
    order: u64,
}

/// How many values a tolerance limit needs.
pub fn tolerance_sizes(input: &Sizes) -> Result<Answers, String> {
    let entry = |case: &Size| {
        let sides = if case.sides == 1 { Sides::Upper } else { Sides::Both };
        let coverage_ppb = case.coverage_percent * PPB_PER_PERCENT;
        (case.name.clone(), value(values_needed(sides, coverage_ppb, one_in(case.confidence_percent), case.order)))
    };
    Ok(fields([("values", table(input.cases.iter().map(entry)))]))
}

fn one_in(confidence_percent: u64) -> u64 {
    100 / (100 - confidence_percent)
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Critical {
    error_percent: u64,
    values: Vec<u64>,
}

/// How far an empirical distribution function lies from the true one.
pub fn kolmogorov_critical(input: &Critical) -> Result<Answers, String> {
    let one_in = 100 / input.error_percent;
    let entry = |&values: &u64| (values, ppb(kolmogorov::critical_ppb(values, one_in)));
    let limit = Answer::Estimate(kolmogorov::limit_critical(one_in));
    Ok(fields([("critical", table(input.values.iter().map(entry))), ("limit", limit)]))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Proportions {
    cases: Vec<Proportion>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Proportion {
    name: String,
    k: u64,
    n: u64,
    confidence_percent: u64,
}

/// Two-sided intervals of a proportion, half of the error on each side.
pub fn binomial_intervals(input: &Proportions) -> Result<Answers, String> {
    let entry = |case: &Proportion| {
        let one_in = 2 * one_in(case.confidence_percent);
        let low = ppb(binomial::lower_ppb(case.k, case.n, one_in));
        let high = ppb(binomial::upper_ppb(case.k, case.n, one_in));
        (case.name.clone(), table([("low", low), ("high", high)]))
    };
    Ok(fields([("interval", table(input.cases.iter().map(entry)))]))
}

fn ppb(part: u64) -> Answer {
    Answer::Share(Share { parts: vec![part.into()], whole: binomial::WHOLE_PPB.into() })
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Maxima {
    values: Vec<u32>,
    divide: u32,
    return_periods: Vec<u32>,
}

/// Maxima of blocks by the generalised distribution and by Gumbel's.
pub fn block_maxima(input: &Maxima) -> Result<Answers, String> {
    let maxima = scaled(&input.values, input.divide);
    let fit = gev::fit_maxima(&maxima).map_err(|why| why.to_string())?;
    let simple = gumbel::fit(&maxima).map_err(|why| why.to_string())?;
    let names = ["mu", "sigma", "xi"];
    let pairs = (0..3).flat_map(|i| (i..3).map(move |j| (i, j)));
    let covariance = pairs.map(|(i, j)| (format!("{} {}", names[i], names[j]), Answer::Estimate(fit.covariance[i][j])));
    let level = |&period: &u32| (period, ends(fit.return_level(f64::from(period), ONE_IN)));
    let profile = |&period: &u32| (period, ends(fit.return_level_by_profile(f64::from(period), ONE_IN)));
    let [mu_error, sigma_error] = simple.standard_errors;
    let mut answers = parameters(&fit);
    answers.extend(fields([
        ("standard_error", table(names.into_iter().zip(fit.standard_errors().map(Answer::Estimate)))),
        ("covariance", table(covariance)),
        ("return_level", table(input.return_periods.iter().map(level))),
        ("profile_interval", table(input.return_periods.iter().map(profile))),
        (
            "gumbel",
            table([
                ("mu", Answer::Estimate(simple.location)),
                ("sigma", Answer::Estimate(simple.scale)),
                ("log_likelihood", Answer::Estimate(simple.log_likelihood)),
                ("mu se", Answer::Estimate(mu_error)),
                ("sigma se", Answer::Estimate(sigma_error)),
            ]),
        ),
    ]));
    Ok(answers)
}

fn scaled(values: &[u32], divide: u32) -> Vec<f64> {
    values.iter().map(|&value| f64::from(value) / f64::from(divide)).collect()
}

fn parameters(fit: &GevFit) -> Answers {
    fields([
        ("mu", Answer::Estimate(fit.gev.location)),
        ("sigma", Answer::Estimate(fit.gev.scale)),
        ("xi", Answer::Estimate(fit.gev.shape)),
        ("log_likelihood", Answer::Estimate(fit.log_likelihood)),
    ])
}

/// An interval; an end that is not bounded is no number and agrees with none.
fn ends(interval: Option<Interval>) -> Answer {
    let end = |end: Option<f64>| Answer::Estimate(end.unwrap_or(f64::NAN));
    table([
        ("level", end(interval.map(|interval| interval.value))),
        ("low", end(interval.and_then(|interval| interval.low))),
        ("high", end(interval.and_then(|interval| interval.high))),
    ])
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Largest {
    rows: Vec<Vec<u32>>,
    r: Vec<usize>,
}

/// The largest values of blocks; of a block that has fewer than asked for, all.
pub fn largest_of_blocks(input: &Largest) -> Result<Answers, String> {
    let fit = |&count: &usize| {
        let rows: Vec<Vec<f64>> =
            input.rows.iter().map(|row| row.iter().take(count).map(|&x| f64::from(x)).collect()).collect();
        gev::fit_largest(&rows).map(|fit| (count, fit)).map_err(|why| why.to_string())
    };
    let fits: Vec<_> = input.r.iter().map(fit).collect::<Result<_, _>>()?;
    let of_ten = fits.iter().find(|(count, _)| *count == 10).ok_or("no fit to ten values of a block")?.1.log_likelihood;
    let entry = |(count, fit): &(usize, GevFit)| {
        let mut answers = parameters(fit);
        let errors = ["mu se", "sigma se", "xi se"].into_iter().zip(fit.standard_errors());
        answers.extend(errors.map(|(name, error)| (name.to_owned(), Answer::Estimate(error))));
        (*count, Answer::Table(answers))
    };
    Ok(fields([("fit", table(fits.iter().map(entry))), ("log_likelihood_of_10", Answer::Estimate(of_ten))]))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Excesses {
    values: Vec<u32>,
    divide: u32,
    total: usize,
    threshold: u32,
}

/// What passes a threshold.
pub fn excesses(input: &Excesses) -> Result<Answers, String> {
    let threshold = f64::from(input.threshold);
    let excesses = scaled(&input.values, input.divide).into_iter().map(|value| value - threshold).collect();
    let fit = gpd::fit_excesses(excesses, threshold, input.total).map_err(|why| why.to_string())?;
    Ok(fields([
        ("n_exceed", value(fit.excesses.len())),
        ("sigma", Answer::Estimate(fit.gpd.scale)),
        ("xi", Answer::Estimate(fit.gpd.shape)),
    ]))
}
