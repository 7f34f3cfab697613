//! How rare something may be that was seen so often in so many trials.
//!
//! **Computes** the exact one-sided upper bound of a binomial proportion: the least `p`, in parts per billion and never
//! too small, under which at most `k` hits in `n` trials have no more than the probability that is left to error.
//! **Source.** C. J. Clopper, E. S. Pearson, "The use of confidence or fiducial limits illustrated in the case of the
//! binomial", Biometrika 26 (1934).
//! **Assumptions.** The trials are independent and alike, as the draws of a campaign are.
//! **Symbols with units.** `n` trials, `k` hits (counts); `p` the proportion (parts per billion); one in `one_in` is left
//! to error (a count, 20 for 95 %).
//! **Invariants and why it ends.** `P(X <= k)` falls in `p`, so halving the range of `p` finds the least; 30 halvings do.
//! Every number is rounded up ([`Up`]), so the probability is never taken too small and the bound never too small.
//! **Differs from the source** in the rounding alone: at most one part per billion above.
//! **Checked by** values of the source, the rule of three, and `statrs` over many `n` and `k`.

/// One in so many is left to error: 95 % confidence, one-sided.
pub const ONE_IN: u64 = 20;

const WHOLE_PPB: u64 = 1_000_000_000;

/// The upper bound in parts per billion at a confidence of all but one in `one_in`; 10^9 where nothing smaller is known,
/// as after no trials.
pub fn upper_ppb(hits: u64, trials: u64, one_in: u64) -> u64 {
    if hits >= trials {
        return WHOLE_PPB;
    }
    let (mut below, mut least) = (0, WHOLE_PPB);
    while least - below > 1 {
        let middle = below + (least - below) / 2;
        if rare_enough(hits, trials, middle, one_in) { least = middle } else { below = middle }
    }
    least
}

/// The least trials without a hit after which [`upper_ppb`] is at most `wanted_ppb`; `None` where no number does.
pub fn trials_needed(wanted_ppb: u64, one_in: u64) -> Option<u64> {
    let enough = |trials| upper_ppb(0, trials, one_in) <= wanted_ppb;
    if wanted_ppb == 0 {
        return None;
    }
    let mut most = 1_u64;
    while !enough(most) {
        most = most.checked_mul(2)?;
    }
    let mut below = most / 2;
    while most - below > 1 {
        let middle = below + (most - below) / 2;
        if enough(middle) { most = middle } else { below = middle }
    }
    Some(most)
}

/// Whether at most `hits` hits in `trials` have a probability of at most one in `one_in` where each has `ppb`.
fn rare_enough(hits: u64, trials: u64, ppb: u64, one_in: u64) -> bool {
    let (hit, no_hit) = (Up::ratio(ppb, WHOLE_PPB), Up::ratio(WHOLE_PPB - ppb, WHOLE_PPB));
    if no_hit == Up::ZERO {
        return true; // Every trial hits, and `hits` is below `trials`.
    }
    let odds = hit.over(Up::ratio_down(WHOLE_PPB - ppb, WHOLE_PPB));
    let mut term = no_hit.power(trials);
    let mut sum = term;
    for number in 1..=hits {
        term = term.times(odds).times(Up::ratio(trials - number + 1, number));
        sum = sum.plus(term);
    }
    sum.times(Up::ratio(one_in, 1)).is_at_most_one()
}

/// `mantissa * 2^exponent`, never below the number that it stands for; the mantissa's highest bit is set, or it is zero.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Up {
    mantissa: u64,
    exponent: i64,
}

impl Up {
    const ZERO: Self = Self { mantissa: 0, exponent: 0 };
    const ONE: Self = Self { mantissa: 1 << 63, exponent: -63 };

    /// `value * 2^exponent`, rounded up.
    fn of(value: u128, exponent: i64) -> Self {
        if value == 0 {
            return Self::ZERO;
        }
        let length = 128 - i64::from(value.leading_zeros());
        if length <= 64 {
            // The length is between 1 and 64, so the shift is below 64.
            return Self { mantissa: (value as u64) << (64 - length), exponent: exponent - (64 - length) };
        }
        let cut = length - 64;
        let kept = value >> cut;
        let rounded = kept + u128::from(kept << cut != value);
        if rounded >> 64 == 0 {
            Self { mantissa: rounded as u64, exponent: exponent + cut }
        } else {
            Self { mantissa: 1 << 63, exponent: exponent + cut + 1 }
        }
    }

    /// `part / whole`, rounded up; `whole` is above zero.
    fn ratio(part: u64, whole: u64) -> Self {
        Self::of((u128::from(part) << 64).div_ceil(u128::from(whole)), -64)
    }

    /// `part / whole`, rounded down, to divide by.
    fn ratio_down(part: u64, whole: u64) -> Self {
        let quotient = (u128::from(part) << 63) / u128::from(whole);
        // A share of a whole: below 2^64.
        Self::of(quotient, -63)
    }

    fn times(self, other: Self) -> Self {
        Self::of(u128::from(self.mantissa) * u128::from(other.mantissa), self.exponent + other.exponent)
    }

    /// `self / other`, rounded up; `other` is above zero.
    fn over(self, other: Self) -> Self {
        let quotient = (u128::from(self.mantissa) << 64).div_ceil(u128::from(other.mantissa));
        Self::of(quotient, self.exponent - other.exponent - 64)
    }

    fn plus(self, other: Self) -> Self {
        let (large, small) = if self.top() >= other.top() { (self, other) } else { (other, self) };
        if small.mantissa == 0 {
            return large;
        }
        let apart = large.exponent - small.exponent;
        let large_part = u128::from(large.mantissa) << 63;
        let small_part = u128::from(small.mantissa) << 63;
        let shifted = match apart {
            0..=126 => (small_part >> apart) + u128::from(small_part >> apart << apart != small_part),
            _ => 1,
        };
        Self::of(large_part + shifted, large.exponent - 63)
    }

    /// The place above the highest bit; of zero less than any other.
    fn top(self) -> i64 {
        if self.mantissa == 0 { i64::MIN } else { self.exponent }
    }

    fn power(self, mut times: u64) -> Self {
        let (mut product, mut square) = (Self::ONE, self);
        while times > 0 {
            if times & 1 == 1 {
                product = product.times(square);
            }
            square = square.times(square);
            times >>= 1;
        }
        product
    }

    fn is_at_most_one(self) -> bool {
        self.mantissa == 0 || self.exponent < -63 || self == Self::ONE
    }
}

#[cfg(test)]
#[allow(clippy::disallowed_types, clippy::float_arithmetic, reason = "the outside reference counts in floating point")]
mod tests {
    use super::*;
    use statrs::function::beta::beta_reg;

    /// Clopper and Pearson 1934, 95 % two-sided, so one in 40 on each side: upper limits for n = 10. From memory.
    #[test]
    fn values_of_the_source_for_ten_trials() {
        let published = [(0, 3085), (1, 4450), (2, 5561), (5, 8129), (9, 9975)];
        for (hits, upper) in published {
            assert_eq!((upper_ppb(hits, 10, 40) + 50_000) / 100_000, upper, "{hits} of 10");
        }
    }

    /// Hanley and Lippman-Hand, "If nothing goes wrong, is everything all right?", JAMA 249 (1983): about 3 / n.
    #[test]
    fn the_rule_of_three() {
        for trials in [100, 1000, 10_000, 1_000_000] {
            let three = 3 * WHOLE_PPB / trials;
            let upper = upper_ppb(0, trials, ONE_IN);
            assert!(upper < three && upper > three - three / 50, "{trials}: {upper}");
        }
    }

    /// The bound is where the regularised incomplete beta function passes the confidence (the relation of both
    /// distributions is in every textbook), computed by a library.
    #[test]
    fn statrs_agrees() {
        for trials in [1, 2, 3, 7, 20, 59, 1000, 40_000] {
            for hits in [0, 1, 2, 5, 17, 500].into_iter().filter(|hits| *hits < trials) {
                let upper = upper_ppb(hits, trials, ONE_IN);
                let left =
                    |ppb: u64| 1.0 - beta_reg(hits as f64 + 1.0, (trials - hits) as f64, ppb as f64 / WHOLE_PPB as f64);
                assert!(left(upper) <= 0.05 + 1e-9, "{hits} of {trials}: {upper} leaves {}", left(upper));
                let below = upper.saturating_sub(2);
                assert!(left(below) >= 0.05 - 1e-9, "{hits} of {trials}: {below} leaves {}", left(below));
            }
        }
    }

    /// 59 trials without a failure show 95 % reliability at 95 % confidence: common practice, no source.
    #[test]
    fn trials_needed_are_the_least_that_do() {
        assert_eq!(trials_needed(50_000_000, ONE_IN), Some(59));
        assert_eq!(trials_needed(10_000_000, ONE_IN), Some(299));
        assert_eq!(trials_needed(0, ONE_IN), None);
        assert_eq!(upper_ppb(0, 0, ONE_IN), WHOLE_PPB);
        assert_eq!(upper_ppb(3, 3, ONE_IN), WHOLE_PPB);
    }

    #[test]
    fn sums_and_products_never_lie_below() {
        let third = Up::ratio(1, 3);
        assert!(!third.plus(third).plus(third).is_at_most_one() || third.plus(third).plus(third) == Up::ONE);
        assert_eq!(Up::ratio(1, 2).plus(Up::ratio(1, 2)), Up::ONE);
        assert_eq!(Up::ratio(1, 2).power(3), Up::ratio(1, 8));
        assert_eq!(Up::ratio(3, 4).over(Up::ratio_down(3, 4)), Up::ONE);
    }
}
