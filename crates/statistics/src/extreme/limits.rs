//! What keeps a result from being more than it is.

use std::fmt;

/// A sentence that goes with a result wherever it is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Limit {
    /// With every fit.
    NotAWorstCase,
    /// With every fit.
    Extrapolates,
    /// With every fit.
    AssumesIndependence,
    /// Too few values for what theory says of many.
    FewValues,
    /// The shape is at or below -1/2, where standard errors are not those of the theory.
    Irregular,
    /// The shape lies above zero, so the tail has no end.
    Unbounded,
    /// The shape lies above one, so the tail has no mean.
    NoMean,
    /// Many values are equal, as behind a coarse clock.
    Ties,
    /// Some replicates of the bootstrap had no fit and are left out.
    ReplicatesLost,
}

impl fmt::Display for Limit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NotAWorstCase => {
                "This is no worst-case execution time and bounds nothing: it describes what was sampled."
            }
            Self::Extrapolates => {
                "Beyond the largest value seen it extrapolates by a model that no value there has tested."
            }
            Self::AssumesIndependence => {
                "It assumes that values are independent and of one distribution; see the tests beside it."
            }
            Self::FewValues => {
                "It rests on fewer than 50 values, so the intervals are rougher than their confidence says."
            }
            Self::Irregular => "The shape is at or below -1/2, where standard errors do not hold.",
            Self::Unbounded => "The shape is above zero: the model's tail has no end.",
            Self::NoMean => "The shape is above one: the model's tail does not even have a mean.",
            Self::Ties => "More than a tenth of the values are equal to another one: the clock is coarse for this fit.",
            Self::ReplicatesLost => "Some replicates of the bootstrap had no fit and are left out of the interval.",
        })
    }
}

/// The limits of a fit with that shape to these values.
pub(crate) fn of_fit(values: &[f64], shape: f64) -> Vec<Limit> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let equal = sorted.windows(2).filter(|pair| pair[0] == pair[1]).count();
    let mut limits = vec![Limit::NotAWorstCase, Limit::Extrapolates, Limit::AssumesIndependence];
    let more = [
        (values.len() < 50, Limit::FewValues),
        (shape <= -0.5, Limit::Irregular),
        (shape > 0.0, Limit::Unbounded),
        (shape > 1.0, Limit::NoMean),
        (equal * 10 > values.len(), Limit::Ties),
    ];
    limits.extend(more.into_iter().filter(|(holds, _)| *holds).map(|(_, limit)| limit));
    limits
}
