//! How far two samples let their populations differ: before a fault and during it, before and after.
//!
//! **Computes** for each quantile asked for the least and the largest shift that the data still allow, the same for the largest
//! difference of the distribution functions, all at once with a stated confidence; and how many values would be needed.
//! **Source.** Order-statistic intervals of quantiles: H. A. David, H. N. Nagaraja, "Order Statistics", 3rd edition (2003),
//! section 7.1; distribution functions: [`crate::kolmogorov`]; C. E. Bonferroni's inequality.
//! **Assumptions.** The values of each sample are independent draws of one distribution, whatever it is. Serial dependence
//! makes the statements too strong; [`crate::series`] tests for it.
//! **Symbols with units.** `p` a quantile (parts per billion); values and shifts in the unit of the samples (ns); one in
//! `one_in` is left to error over all `comparisons` together.
//! **Invariants and why it ends.** `P(X_(l) > x_p) <= P(Bin(n, p) <= l - 1)` and `P(X_(u) < x_p) <= P(Bin(n, p) >= u)` hold for
//! distributions with steps as well, with equality for those without, so ties only widen an interval. A shift lies between the
//! differences of the ends unless one of four ends fails; `sup |F - G|` within the distance seen plus and minus both critical
//! values unless one of two bands fails. Each recorded value lies within `resolution` of the true one, and so does each order
//! statistic, which widens a shift by twice that.
//! **Differs from the source** in the correction: Bonferroni's, not Holm's. Holm orders tests and rejects more of them, but what
//! it leaves unrejected gets no interval; here every statement is an interval, and all must hold together.
//! **Checked by** counting over drawn samples how often the truth is covered, and by hand.

use crate::binomial::{WHOLE_PPB, most_hits};
use crate::kolmogorov::{critical_ppb, distance_ppb};
use crate::tolerance::{MOST_VALUES, Sides, values_needed};
use statrs::distribution::{ContinuousCDF, Normal};

/// What is asked of two samples.
#[derive(Debug, Clone)]
pub struct Asked {
    /// One in so many is left to error over everything that is said: 20 for 95 %.
    pub one_in: u64,
    /// How many comparisons are made together, as victims times measures times pairs of spans.
    pub comparisons: u64,
    /// The quantiles whose shift is wanted, in parts per billion: 500,000,000 is the median.
    pub quantiles_ppb: Vec<u64>,
    /// The step of the clock, in the unit of the samples.
    pub resolution: u64,
    /// How far a quantile may shift, if anything says so.
    pub tolerance: Option<u64>,
}

/// Whether a shift stays within its tolerance.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Within {
    /// Every shift that the data allow does.
    Shown,
    /// Some that the data allow do, or all might: more values would tell.
    NotShown,
    /// None that the data allow does.
    Violated,
    /// No tolerance was given.
    NotAsked,
}

/// How a quantile differs, the second sample less the first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shift {
    /// Which quantile, in parts per billion.
    pub quantile_ppb: u64,
    /// The difference of the quantiles of the samples, if both have values.
    pub observed: Option<i64>,
    /// The least shift that the data allow; `None` where they allow any.
    pub least: Option<i64>,
    /// The largest shift that the data allow; `None` where they allow any.
    pub most: Option<i64>,
    /// Set against the tolerance, in both directions.
    pub within: Within,
    /// How many values each sample needs before it bounds this quantile at all; `None` beyond [`MOST_VALUES`].
    pub needed_for_a_bound: Option<u64>,
    /// How many values each sample would need to show the tolerance, if further ones came as these did: an estimate.
    /// `None` where none was given, where the samples themselves differ by more, or beyond [`MOST_VALUES`].
    pub needed_for_tolerance: Option<u64>,
}

/// The largest difference of the distribution functions of what was recorded, in parts per billion.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gap {
    /// In the samples.
    pub observed_ppb: u64,
    /// The least that the data allow.
    pub least_ppb: u64,
    /// The largest that the data allow.
    pub most_ppb: u64,
}

/// Everything that two samples allow to be said, all of it at once with all but one in `one_in` of confidence.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Comparison {
    /// Values in the first and in the second sample.
    pub values: [u64; 2],
    /// One shift for each quantile asked for.
    pub shifts: Vec<Shift>,
    /// Of the distribution functions.
    pub gap: Gap,
    /// The difference of the largest values seen. No sample bounds a maximum, so this is no shift and has no confidence.
    pub high_water: Option<i64>,
    /// What was left to error for each single end of an interval: one in so many.
    pub one_in_each: u64,
}

/// Compares two samples in any order.
pub fn compare(first: &[i64], second: &[i64], asked: &Asked) -> Comparison {
    let [first, second] = [sorted(first), sorted(second)];
    let statements = asked.quantiles_ppb.len() as u64 + 1;
    let each = asked.one_in.saturating_mul(asked.comparisons.max(1)).saturating_mul(statements);
    // A shift can fail at four ends, a gap at two bands.
    let (one_in_end, one_in_band) = (each.saturating_mul(4), each.saturating_mul(2));
    let shift = |&quantile_ppb: &u64| shift(&first, &second, quantile_ppb.min(WHOLE_PPB), one_in_end, asked);
    Comparison {
        values: [first.len() as u64, second.len() as u64],
        shifts: asked.quantiles_ppb.iter().map(shift).collect(),
        gap: gap(&first, &second, one_in_band),
        high_water: first.last().zip(second.last()).map(|(a, b)| b.saturating_sub(*a)),
        one_in_each: one_in_end,
    }
}

fn sorted(values: &[i64]) -> Vec<i64> {
    let mut values = values.to_vec();
    values.sort_unstable();
    values
}

fn gap(first: &[i64], second: &[i64], one_in: u64) -> Gap {
    let observed_ppb = distance_ppb(first, second);
    let slack_ppb = critical_ppb(first.len() as u64, one_in) + critical_ppb(second.len() as u64, one_in);
    let (least_ppb, most_ppb) = (observed_ppb.saturating_sub(slack_ppb + 1), (observed_ppb + slack_ppb).min(WHOLE_PPB));
    // Without values nothing was observed, and everything is allowed.
    let none = first.is_empty() || second.is_empty();
    Gap { observed_ppb, least_ppb: if none { 0 } else { least_ppb }, most_ppb }
}

fn shift(first: &[i64], second: &[i64], quantile_ppb: u64, one_in: u64, asked: &Asked) -> Shift {
    let [a, b] = [first, second].map(|sample| Interval::of_quantile(sample, quantile_ppb, one_in));
    let slack = i64::try_from(asked.resolution.saturating_mul(2)).ok();
    let apart = |end: Option<i64>, start: Option<i64>| end?.checked_sub(start?);
    let least = slack.and_then(|slack| apart(b.lower, a.upper)?.checked_sub(slack));
    let most = slack.and_then(|slack| apart(b.upper, a.lower)?.checked_add(slack));
    let extreme_ppb = quantile_ppb.max(WHOLE_PPB - quantile_ppb);
    Shift {
        quantile_ppb,
        observed: at_share(first, quantile_ppb).zip(at_share(second, quantile_ppb)).map(|(a, b)| b.saturating_sub(a)),
        least,
        most,
        within: within(least, most, asked.tolerance),
        needed_for_a_bound: values_needed(Sides::Upper, extreme_ppb, one_in, 1),
        needed_for_tolerance: needed_for_tolerance(first, second, quantile_ppb, one_in, asked),
    }
}

fn within(least: Option<i64>, most: Option<i64>, tolerance: Option<u64>) -> Within {
    let Some(tolerance) = tolerance else { return Within::NotAsked };
    let inside = |end: i64| end.unsigned_abs() <= tolerance;
    let beyond_above = least.is_some_and(|least| least > 0 && !inside(least));
    let beyond_below = most.is_some_and(|most| most < 0 && !inside(most));
    match (least, most) {
        _ if beyond_above || beyond_below => Within::Violated,
        (Some(least), Some(most)) if inside(least) && inside(most) => Within::Shown,
        _ => Within::NotShown,
    }
}

/// What a sample says of a quantile; an end that the sample is too small for is `None`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Interval {
    /// The quantile is not below this.
    pub lower: Option<i64>,
    /// The quantile is not above this.
    pub upper: Option<i64>,
}

impl Interval {
    /// Of the quantile `quantile_ppb` of what `sorted` (ascending) was drawn from; each end fails once in `one_in`.
    pub fn of_quantile(sorted: &[i64], quantile_ppb: u64, one_in: u64) -> Self {
        let values = sorted.len() as u64;
        // At most `hits` values lie at or below the quantile, so the one after them is rarely above it; and from above alike.
        let lower = most_hits(values, quantile_ppb, one_in).map(|hits| sorted[hits as usize]);
        let above = most_hits(values, WHOLE_PPB.saturating_sub(quantile_ppb), one_in);
        Self { lower, upper: above.map(|hits| sorted[(values - 1 - hits) as usize]) }
    }
}

/// The quantile of a sample: the least value that at least the share `ppb` of them does not pass.
fn at_share(sorted: &[i64], ppb: u64) -> Option<i64> {
    let rank = (sorted.len() as u128 * u128::from(ppb)).div_ceil(u128::from(WHOLE_PPB)).max(1);
    sorted.get(usize::try_from(rank).ok()? - 1).copied()
}

/// The least number of values at which the intervals of quantiles, read off the samples that are there, lie within the
/// tolerance. Ranks come from the normal distribution, as this plans a measurement and judges none.
fn needed_for_tolerance(first: &[i64], second: &[i64], quantile_ppb: u64, one_in: u64, asked: &Asked) -> Option<u64> {
    let tolerance = i64::try_from(asked.tolerance?).ok()?;
    let slack = i64::try_from(asked.resolution.checked_mul(2)?).ok()?;
    let deviations = Normal::standard().inverse_cdf(1.0 - 1.0 / one_in as f64);
    let p = quantile_ppb as f64 / WHOLE_PPB as f64;
    let enough = |values: u64| {
        let reach = deviations * (p * (1.0 - p) / values as f64).sqrt() + 1.0 / values as f64;
        // Shares outside of the range end at it, where the cast does.
        let share = |at: f64| ((at * WHOLE_PPB as f64) as u64).min(WHOLE_PPB);
        let ends = |sample| Some((at_share(sample, share(p - reach))?, at_share(sample, share(p + reach))?));
        let (a, b) = (ends(first)?, ends(second)?);
        let most = b.1.checked_sub(a.0)?.checked_add(slack)?;
        let least = b.0.checked_sub(a.1)?.checked_sub(slack)?;
        Some(most <= tolerance && least >= -tolerance)
    };
    let extreme_ppb = quantile_ppb.max(WHOLE_PPB - quantile_ppb);
    let mut below = values_needed(Sides::Upper, extreme_ppb, one_in, 1)?;
    if enough(below)? {
        return Some(below);
    }
    if !enough(MOST_VALUES)? {
        return None;
    }
    let mut least = MOST_VALUES;
    while least - below > 1 {
        let middle = below + (least - below) / 2;
        if enough(middle)? { least = middle } else { below = middle }
    }
    Some(least)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draw::{below, mix};

    const MEDIAN: u64 = 500_000_000;

    fn asked(quantiles_ppb: &[u64]) -> Asked {
        Asked { one_in: 20, comparisons: 1, quantiles_ppb: quantiles_ppb.to_vec(), resolution: 0, tolerance: None }
    }

    /// David and Nagaraja: for ten values the second smallest and the second largest hold the median with
    /// 1 - 2 (1 + 10) / 2^10, which is 97.9 %. Worked out by hand.
    #[test]
    fn the_interval_of_a_median_is_counted_by_hand() {
        let sorted: Vec<i64> = (1..=10).collect();
        let interval = Interval::of_quantile(&sorted, MEDIAN, 40);
        assert_eq!((interval.lower, interval.upper), (Some(2), Some(9)));
        // One in 1024 is left where the smallest and the largest are taken; with one in 1025 nothing is.
        let interval = Interval::of_quantile(&sorted, MEDIAN, 1024);
        assert_eq!((interval.lower, interval.upper), (Some(1), Some(10)));
        assert_eq!(Interval::of_quantile(&sorted, MEDIAN, 1025).lower, None);
    }

    #[test]
    fn a_sample_too_small_bounds_nothing_and_says_what_it_needs() {
        let sample: Vec<i64> = (0..100).collect();
        let question = Asked { tolerance: Some(1000), ..asked(&[990_000_000]) };
        let found = compare(&sample, &sample, &question).shifts[0];
        // One in 20 * 2 statements * 4 ends is 160, and 0.99^505 is the first power below 1/160.
        assert_eq!((found.most, found.within, found.needed_for_a_bound), (None, Within::NotShown, Some(505)));
        assert_eq!(found.observed, Some(0));
        let none = compare(&[], &sample, &question);
        assert_eq!((none.shifts[0].observed, none.high_water), (None, None));
        assert_eq!((none.gap.least_ppb, none.gap.most_ppb), (0, WHOLE_PPB));
    }

    #[test]
    fn a_shift_beyond_the_tolerance_is_violated_and_one_within_shown() {
        let first: Vec<i64> = (0..10_000).map(|k| k % 100).collect();
        let second: Vec<i64> = first.iter().map(|x| x + 50).collect();
        let judged = |tolerance| {
            let question = Asked { tolerance: Some(tolerance), resolution: 1, ..asked(&[MEDIAN]) };
            compare(&first, &second, &question).shifts[0]
        };
        assert_eq!(judged(20).within, Within::Violated);
        assert_eq!(judged(51).within, Within::NotShown);
        assert_eq!(judged(70).within, Within::Shown);
        assert_eq!(judged(20).needed_for_tolerance, None);
        let needed = judged(55).needed_for_tolerance.expect("more values show it");
        assert!(needed > 10_000 || judged(55).within == Within::Shown, "{needed}");
        let opposite = Asked { tolerance: Some(20), ..asked(&[MEDIAN]) };
        assert_eq!(compare(&second, &first, &opposite).shifts[0].within, Within::Violated);
    }

    #[test]
    fn the_step_of_the_clock_widens_a_shift_at_both_ends() {
        let sample: Vec<i64> = (0..1000).collect();
        let fine = compare(&sample, &sample, &asked(&[MEDIAN])).shifts[0];
        let coarse = compare(&sample, &sample, &Asked { resolution: 7, ..asked(&[MEDIAN]) }).shifts[0];
        assert_eq!(coarse.most, fine.most.map(|most| most + 14));
        assert_eq!(coarse.least, fine.least.map(|least| least - 14));
    }

    /// Over 400 pairs drawn from distributions with many ties, the true shifts and gap are missed less often than is left
    /// to error, 5 %, and the statements are not so wide as to say nothing.
    #[test]
    fn the_truth_is_covered_as_often_as_stated() {
        let (pairs, values) = (400, 200);
        let draw = |seed: u64, steps: u64| -> Vec<i64> {
            // Truth: uniform on 0..steps.
            (0..values).map(|k| below(mix(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) + k), steps) as i64).collect()
        };
        let mut missed = 0;
        for pair in 0..pairs {
            let found = compare(&draw(2 * pair, 20), &draw(2 * pair + 1, 30), &asked(&[MEDIAN, 900_000_000]));
            // Medians 9 and 14, 90 % quantiles 17 and 26; the distribution functions differ most at 19: 1 and 20/30.
            let truths = [5, 9];
            let holds = |(shift, truth): (&Shift, i64)| {
                shift.least.is_some_and(|least| least <= truth) && shift.most.is_some_and(|most| truth <= most)
            };
            let gap = found.gap.least_ppb <= 333_333_334 && 333_333_333 <= found.gap.most_ppb;
            missed += u64::from(!(gap && found.shifts.iter().zip(truths).all(holds)));
            assert!(found.shifts[0].most.is_some_and(|most| most < 15), "{found:?}");
        }
        assert!(missed * 20 <= pairs, "{missed} of {pairs}");
    }
}
