//! Before, during and after a fault: by how much the others may have changed at most, as far as the recording can tell.
//!
//! "No difference found" is no evidence: what is told is the largest difference that the data still allow.

use model::System;
use statistics::two_samples::{Asked, Comparison, compare as compare_two};
use trace::spans::{Measure, Values};

/// One in so many statements is left to error, over all victims and measures together.
const ONE_IN: u64 = 20;
/// The quantiles that are compared, in parts per billion: half and nine tenths of the values.
const QUANTILES_PPB: [u64; 2] = [500_000_000, 900_000_000];

/// Who was how different.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Victims {
    /// When the fault began, in nanoseconds of the common clock.
    pub from_ns: u64,
    /// When it ended; `None`: it lasted to the recording's end.
    pub to_ns: Option<u64>,
    /// By how much a quantile may shift, in nanoseconds, where anything says so.
    pub tolerance_ns: Option<u64>,
    /// The confidence is all but one in so many, for everything together.
    pub one_in: u64,
    /// By measure.
    pub rows: Vec<Compared>,
}

/// One measure over the three spans.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Compared {
    /// What was measured of whom, such as `response of NAV.fuse`.
    pub name: String,
    /// How the values of each span lie: before, during, after; `None` where a span has none.
    pub spreads: [Option<Spread>; 3],
    /// Before against during, and before against after.
    pub pairs: [Pair; 2],
}

/// How values lie, in nanoseconds: each of its values was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Spread {
    /// How many there are.
    pub values: u64,
    /// The least.
    pub least: u64,
    /// The value that one in ten does not pass.
    pub tenth: u64,
    /// The value that half do not pass.
    pub median: u64,
    /// The value that nine in ten do not pass.
    pub nine_tenths: u64,
    /// The most.
    pub most: u64,
}

impl Spread {
    /// Of values in any order.
    pub fn of(values: &[u64]) -> Option<Self> {
        let mut sorted = values.to_vec();
        sorted.sort_unstable();
        // The lowest value that so many tenths of all do not pass.
        let at = |tenths: usize| sorted.get((sorted.len() * tenths).div_ceil(10).max(1) - 1).copied();
        Some(Self {
            values: sorted.len() as u64,
            least: *sorted.first()?,
            tenth: at(1)?,
            median: at(5)?,
            nine_tenths: at(9)?,
            most: *sorted.last()?,
        })
    }
}

/// Two spans compared.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pair {
    /// The comparison, its shifts in the order of the quantiles.
    pub comparison: Comparison,
}

/// Compares what was measured of everybody but the partitions in `faulty`, around a fault that began and perhaps ended at
/// the instants of `fault`.
pub fn compare(
    system: &System,
    fault: (u64, Option<u64>),
    values: &[(Measure, Values)],
    faulty: &[bool],
    tolerance_ns: Option<u64>,
) -> Victims {
    let (from_ns, to_ns) = fault;
    let of_victims = |(measure, values): &&(Measure, Values)| {
        is_of_victim(system, *measure, faulty) && !(values.during.is_empty() && values.after.is_empty())
    };
    let all: Vec<_> = values.iter().filter(of_victims).collect();
    let asked = Asked {
        one_in: ONE_IN,
        comparisons: 2 * all.len() as u64,
        quantiles_ppb: QUANTILES_PPB.to_vec(),
        resolution: 1,
        tolerance: tolerance_ns,
    };
    let rows = all.iter().map(|(measure, values)| row(system, *measure, values, &asked)).collect();
    Victims { from_ns, to_ns, tolerance_ns, one_in: ONE_IN, rows }
}

fn row(system: &System, measure: Measure, values: &Values, asked: &Asked) -> Compared {
    // Values that the clocks leave open by so much are as good as ones of a clock with such steps.
    let asked = Asked { resolution: values.error_ns.max(1), ..asked.clone() };
    let spans = [&values.before, &values.during, &values.after];
    let [before, during, after] = spans.map(|list| signed(list));
    let pairs = [during, after].map(|other| Pair { comparison: compare_two(&before, &other, &asked) });
    Compared { name: name(system, measure), spreads: spans.map(|list| Spread::of(list)), pairs }
}

pub(super) fn signed(values: &[u64]) -> Vec<i64> {
    values.iter().map(|value| i64::try_from(*value).unwrap_or(i64::MAX)).collect()
}

/// What is measured of whom, in words.
pub(super) fn name(system: &System, measure: Measure) -> String {
    match measure {
        Measure::Response(task) => format!("response of {}", system.task_label(task)),
        Measure::Execution(task) => format!("execution of {}", system.task_label(task)),
        Measure::Jitter(task) => format!("jitter of {}", system.task_label(task)),
        Measure::Age(channel) => format!("age in {}", system.channel(channel).name.value),
    }
}

/// Whether somebody else than the faulty is measured; a message is that of its sender.
fn is_of_victim(system: &System, measure: Measure, faulty: &[bool]) -> bool {
    let partition = match measure {
        Measure::Response(task) | Measure::Execution(task) | Measure::Jitter(task) => system.task(task).partition,
        Measure::Age(channel) => match system.partition_of(system.channel(channel).source.value) {
            Some(partition) => partition,
            None => return true,
        },
    };
    !faulty.get(partition.index()).copied().unwrap_or(false)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_spread_names_values_that_were_measured() {
        assert_eq!(Spread::of(&[]), None);
        let one = Spread { values: 1, least: 7, tenth: 7, median: 7, nine_tenths: 7, most: 7 };
        assert_eq!(Spread::of(&[7]), Some(one));
        let of_twenty = Spread { values: 20, least: 1, tenth: 2, median: 10, nine_tenths: 18, most: 20 };
        assert_eq!(Spread::of(&(1..=20).rev().collect::<Vec<_>>()), Some(of_twenty));
    }
}
