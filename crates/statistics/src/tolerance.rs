//! Between which values of a sample a share of all values lies, without knowing their distribution.
//!
//! **Computes** the least number of values of which the `r`-th largest (one side), or the `r`-th smallest and the `r`-th
//! largest together (two sides), bound at least a share `beta` of the population with the confidence asked for; the largest
//! such `r` for a sample that is there; the confidence that a sample gives.
//! **Source.** S. S. Wilks, "Determination of sample sizes for setting tolerance limits", Annals of Mathematical Statistics
//! 12 (1941).
//! **Assumptions.** Values are drawn independently from one distribution; it may be anything, with steps too. A recording
//! of one load in one environment speaks for that load and environment.
//! **Symbols with units.** `n` values, `r` the order (counts); `beta` the share covered (parts per billion); one in `one_in`
//! is left to error.
//! **Invariants and why it ends.** The limit fails where at most `r - 1` of `n` values lie in the part left uncovered, which
//! has the probability `P(Bin(n, 1 - beta) <= r - 1)`, and with two sides `P(Bin(n, 1 - beta) <= 2 r - 1)`. It falls in `n`,
//! so halving the range finds the least; sizes end at [`MOST_VALUES`].
//! **Differs from the source** in the rounding alone: probabilities are rounded up, by less than one part in 10^11 at the
//! largest size, so a size is never too small.
//! **Checked by** published sizes, and exact fractions over many small sizes.

use crate::binomial::{WHOLE_PPB, at_most_ppb, most_hits, rare_enough};

/// The most values for which a size is looked for.
pub const MOST_VALUES: u64 = 10_000_000;

/// On which sides of the covered share a limit stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sides {
    /// Nothing but a largest value.
    Upper,
    /// From a smallest to a largest value.
    Both,
}

impl Sides {
    /// How many values lie at or beyond the limits of that order.
    fn beyond(self, order: u64) -> u64 {
        match self {
            Self::Upper => order,
            Self::Both => order.saturating_mul(2),
        }
    }
}

/// The least number of values whose limits of that `order` (1: the extreme ones) cover `coverage_ppb` with all but one in
/// `one_in` of confidence; `None` where [`MOST_VALUES`] are too few.
pub fn values_needed(sides: Sides, coverage_ppb: u64, one_in: u64, order: u64) -> Option<u64> {
    let hits = sides.beyond(order).checked_sub(1)?;
    let left_ppb = WHOLE_PPB.checked_sub(coverage_ppb)?;
    let enough = |values| values > hits && rare_enough(hits, values, left_ppb, one_in);
    if !enough(MOST_VALUES) {
        return None;
    }
    let (mut below, mut least) = (hits, MOST_VALUES);
    while least - below > 1 {
        let middle = below + (least - below) / 2;
        if enough(middle) { least = middle } else { below = middle }
    }
    Some(least)
}

/// The largest order whose limit still covers; `None` where `values` are too few for the extreme ones.
pub fn order(sides: Sides, values: u64, coverage_ppb: u64, one_in: u64) -> Option<u64> {
    let beyond = most_hits(values, WHOLE_PPB.checked_sub(coverage_ppb)?, one_in)? + 1;
    let order = beyond / sides.beyond(1);
    (order > 0).then_some(order)
}

/// The confidence in parts per billion, rounded down, with which the limits of that order cover.
pub fn confidence_ppb(sides: Sides, values: u64, coverage_ppb: u64, order: u64) -> u64 {
    let (Some(hits), Some(left_ppb)) = (sides.beyond(order).checked_sub(1), WHOLE_PPB.checked_sub(coverage_ppb)) else {
        return 0;
    };
    WHOLE_PPB - at_most_ppb(hits, values, left_ppb)
}

/// A limit of a sample.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limit {
    /// The value of the sample, in its unit.
    pub value: i64,
    /// It is the so-many-th largest.
    pub order: u64,
    /// The confidence that it covers, in parts per billion, rounded down.
    pub confidence_ppb: u64,
}

/// The upper limit that `sorted` (ascending) gives; `None` where it has too few values.
pub fn upper_limit(sorted: &[i64], coverage_ppb: u64, one_in: u64) -> Option<Limit> {
    let values = sorted.len() as u64;
    let order = order(Sides::Upper, values, coverage_ppb, one_in)?;
    // An order is at least one and at most the number of values.
    let value = sorted[(values - order) as usize];
    Some(Limit { value, order, confidence_ppb: confidence_ppb(Sides::Upper, values, coverage_ppb, order) })
}

/// The smallest and the largest value between which the share lies.
pub fn both_limits(sorted: &[i64], coverage_ppb: u64, one_in: u64) -> Option<(i64, i64)> {
    let values = sorted.len() as u64;
    let order = order(Sides::Both, values, coverage_ppb, one_in)?;
    Some((sorted[(order - 1) as usize], sorted[(values - order) as usize]))
}

#[cfg(test)]
mod tests {
    use super::*;
    use num_bigint::BigInt;
    use num_rational::Ratio;

    const PERCENT: u64 = 10_000_000;

    /// Wilks 1941 and the tables of nuclear safety; from memory. The order on one side that two sides need is twice theirs.
    #[test]
    fn two_sides_need_what_twice_the_order_needs() {
        for (coverage, one_in, order) in [(95, 20, 1), (99, 20, 1), (90, 100, 3)] {
            let two = values_needed(Sides::Both, coverage * PERCENT, one_in, order);
            assert_eq!(two, values_needed(Sides::Upper, coverage * PERCENT, one_in, 2 * order));
        }
        assert_eq!(values_needed(Sides::Both, 95 * PERCENT, 20, 1), Some(93));
    }

    /// `P(Bin(n, p) <= hits)` in fractions, nothing rounded.
    fn exactly(hits: u64, trials: u64, percent: u64) -> Ratio<BigInt> {
        let (hit, whole) = (Ratio::new(BigInt::from(percent), 100.into()), Ratio::from(BigInt::from(1)));
        let mut ways = Ratio::from(BigInt::from(1));
        let mut sum = Ratio::from(BigInt::from(0));
        for number in 0..=hits {
            if number > 0 {
                ways *= Ratio::new(BigInt::from(trials - number + 1), BigInt::from(number));
            }
            sum += &ways * hit.pow(number as i32) * (&whole - &hit).pow((trials - number) as i32);
        }
        sum
    }

    #[test]
    fn sizes_and_orders_are_those_of_exact_fractions() {
        for coverage in [50, 80, 90, 95] {
            for one_in in [10, 20, 100] {
                for wanted in 1..=4 {
                    let rare = |values: u64| {
                        values >= wanted
                            && exactly(wanted - 1, values, 100 - coverage) <= Ratio::new(1.into(), one_in.into())
                    };
                    let least = (1..).find(|&values| rare(values));
                    assert_eq!(values_needed(Sides::Upper, coverage * PERCENT, one_in, wanted), least);
                    let least = least.expect("found above");
                    assert_eq!(order(Sides::Upper, least, coverage * PERCENT, one_in), Some(wanted));
                }
            }
        }
    }

    #[test]
    fn a_sample_too_small_gives_no_limit() {
        let sorted: Vec<i64> = (1..=58).collect();
        assert_eq!(upper_limit(&sorted, 95 * PERCENT, 20), None);
        let sorted: Vec<i64> = (1..=59).collect();
        let limit = upper_limit(&sorted, 95 * PERCENT, 20).expect("59 suffice");
        assert_eq!((limit.value, limit.order), (59, 1));
        assert_eq!(limit.confidence_ppb, 951_505_474, "1 - 0.95^59 in exact fractions is 0.95150547475");
        let sorted: Vec<i64> = (1..=93).collect();
        assert_eq!(upper_limit(&sorted, 95 * PERCENT, 20).map(|limit| limit.value), Some(92));
        assert_eq!(both_limits(&sorted, 95 * PERCENT, 20), Some((1, 93)));
        assert_eq!(both_limits(&sorted[1..], 95 * PERCENT, 20), None);
    }

    #[test]
    fn what_cannot_be_covered_is_none() {
        assert_eq!(values_needed(Sides::Upper, WHOLE_PPB, 20, 1), None);
        assert_eq!(values_needed(Sides::Upper, 2 * WHOLE_PPB, 20, 1), None);
        assert_eq!(values_needed(Sides::Upper, 95 * PERCENT, 20, 0), None);
        assert_eq!(values_needed(Sides::Upper, 95 * PERCENT, 20, u64::MAX), None);
        assert_eq!(order(Sides::Both, 0, 95 * PERCENT, 20), None);
        assert_eq!(confidence_ppb(Sides::Upper, 0, 95 * PERCENT, 1), 0);
    }

    /// Nine nines of coverage: the natural logarithm of 20 over that of 1 / (1 - 10^-6) is 2995730.8.
    #[test]
    fn millions_of_values_are_counted_too() {
        assert_eq!(values_needed(Sides::Upper, WHOLE_PPB - 1000, 20, 1), Some(2_995_731));
    }
}
