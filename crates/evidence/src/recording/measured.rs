//! What the measured times of a task say as a sample, with its place and its limits. Nothing here is a worst-case time.

#![allow(
    clippy::disallowed_types,
    clippy::float_arithmetic,
    reason = "a fit is an estimate, and no verdict rests on it"
)]

use super::shape::{CURVE, Shape};
use super::victims::{name, signed};
use model::System;
use statistics::extreme::gpd;
use statistics::series::{ljung_box, mann_kendall};
use statistics::tolerance::Sides;
use statistics::tolerance::{Limit, upper_limit, values_needed};
use std::collections::BTreeMap;
use trace::judge::{Finding, Rule};
use trace::spans::{Measure, Values};

/// The share of all jobs that a tolerance limit covers: 99 %.
const COVERAGE_PPB: u64 = 990_000_000;
/// One in so many such limits does not.
const ONE_IN: u64 = 20;
/// A test that would come out so only this rarely by chance speaks against what it tests.
const UNLIKELY: f64 = 0.01;
/// Fewer values than this are not fitted.
const FEWEST_TO_FIT: usize = 500;
/// The share of values above the threshold of a fit.
const TAIL: usize = 20;
/// The level told of a fit is passed by one job in so many.
const RARE: f64 = 1e-6;

/// What a sample says.
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    /// What was measured of whom.
    pub name: String,
    /// How many values there are, while no fault lasted.
    pub values: u64,
    /// The high-water mark, in nanoseconds.
    pub high_water_ns: u64,
    /// The longest that a job may be seen to execute by what is claimed of it, or its deadline, in nanoseconds.
    pub claimed_ns: Option<u64>,
    /// Not passed by 99 % of jobs, with 95 % confidence; `None` where there are too few values.
    pub tolerance: Option<Limit>,
    /// How many values such a limit needs.
    pub needed: Option<u64>,
    /// Whether the values look independent of each other; `None` where it could not be tested.
    pub is_independent: Option<bool>,
    /// Whether they look drawn from one distribution all along.
    pub is_stationary: Option<bool>,
    /// A level that one job in a million passes, by a fit to the largest values: the estimate and its ends.
    pub rare_ns: Option<Level>,
    /// Why there is no such level, in words.
    pub no_fit: Option<String>,
    /// What is drawn of it.
    pub shape: Shape,
}

impl Measured {
    /// The limit that 99 % of jobs stay below, or how many values it needs.
    pub(crate) fn tolerance_words(&self) -> String {
        match (&self.tolerance, self.needed) {
            (Some(limit), _) => quantity::Duration::from_ns(limit.value.unsigned_abs()).to_string(),
            (None, Some(needed)) => format!("needs {needed} values"),
            (None, None) => "–".to_owned(),
        }
    }
}

/// What the execution times and responses of every task say, from the time before a fault; `findings` hold their limits.
pub fn measured(system: &System, all: &[(Measure, Values)], findings: &[Finding]) -> Vec<Measured> {
    let wanted = |measure: Measure| matches!(measure, Measure::Response(_) | Measure::Execution(_));
    let samples = all.iter().filter(|(measure, values)| wanted(*measure) && !values.before.is_empty());
    let limits: BTreeMap<String, Option<u64>> = findings.iter().map(|found| (found.id(), found.limit)).collect();
    let limit = |measure: Measure| limits.get(&rule_of(system, measure)?).copied().flatten();
    samples.map(|(measure, values)| of(system, *measure, &values.before, limit(*measure))).collect()
}

/// The id of the finding that holds the limit of a measure.
fn rule_of(system: &System, measure: Measure) -> Option<String> {
    let (rule, task) = match measure {
        Measure::Execution(task) => (Rule::Execution, task),
        Measure::Response(task) => (Rule::Deadline, task),
        Measure::Jitter(_) | Measure::Age(_) => return None,
    };
    Some(format!("{}/{}", rule.word(), system.task_label(task)))
}

fn of(system: &System, measure: Measure, values: &[u64], claimed_ns: Option<u64>) -> Measured {
    let mut ascending = values.to_vec();
    ascending.sort_unstable();
    let (series, sorted) = (signed(values), signed(&ascending));
    let is_independent = ljung_box(&series, lags(series.len())).map(|tested| tested.p > UNLIKELY);
    let is_stationary = mann_kendall(&series).map(|tested| tested.p > UNLIKELY);
    let fitted = rare(&series, &sorted, is_independent, is_stationary);
    Measured {
        name: name(system, measure),
        values: values.len() as u64,
        high_water_ns: ascending.last().copied().unwrap_or(0),
        claimed_ns,
        tolerance: upper_limit(&sorted, COVERAGE_PPB, ONE_IN),
        needed: values_needed(Sides::Upper, COVERAGE_PPB, ONE_IN, 1),
        is_independent,
        is_stationary,
        rare_ns: fitted.as_ref().ok().map(|fitted| fitted.rare),
        shape: Shape::of(&ascending, fitted.as_ref().map_or_else(|_| Vec::new(), |fitted| fitted.curve.clone())),
        no_fit: fitted.err(),
    }
}

/// Enough lags to see a pattern of some periods, few enough to be estimated.
fn lags(values: usize) -> usize {
    (values / 5).clamp(1, 10)
}

/// An estimate with its ends in whole nanoseconds, since it is no finer; an end that is not bounded is `None`.
pub type Level = (u64, Option<u64>, Option<u64>);

/// What a fit says.
struct Fitted {
    rare: Level,
    /// The level that one value in so many passes.
    curve: Vec<(u64, u64)>,
}

/// A rare level by peaks over a threshold, where the tests of what a fit assumes do not speak against it.
fn rare(series: &[i64], sorted: &[i64], independent: Option<bool>, stationary: Option<bool>) -> Result<Fitted, String> {
    if series.len() < FEWEST_TO_FIT {
        return Err(format!("fewer than {FEWEST_TO_FIT} values: not fitted"));
    }
    if independent != Some(true) {
        return Err("the values are not independent of each other: a fit would say nothing".to_owned());
    }
    if stationary != Some(true) {
        return Err("the values change with time: a fit would say nothing".to_owned());
    }
    let threshold = sorted[sorted.len() - 1 - sorted.len() / TAIL];
    let values: Vec<f64> = series.iter().map(|value| *value as f64).collect();
    let fit = gpd::fit(&values, threshold as f64).map_err(|problem| problem.to_string())?;
    let level = fit.level_by_profile(RARE, ONE_IN).ok_or("the fit gives no level that rare")?;
    let whole = |ns: f64| ns.round().max(0.0) as u64; // Saturates where it is beyond 64 bits.
    let curve = CURVE.iter().filter_map(|one_in| Some((*one_in, whole(fit.passed_with(1.0 / *one_in as f64)?))));
    let rare = (whole(level.value), level.low.map(whole), level.high.map(whole));
    Ok(Fitted { rare, curve: curve.collect() })
}
