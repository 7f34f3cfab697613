//! How rare something may be that was seen so often in so many trials.
//!
//! **Computes** the exact one-sided upper bound of a binomial proportion: the least `p`, in parts per billion and never
//! too small, under which at most `k` hits in `n` trials have no more than the probability that is left to error; and the
//! sums of the binomial distribution from which ranks of sorted samples come.
//! **Source.** C. J. Clopper, E. S. Pearson, "The use of confidence or fiducial limits illustrated in the case of the
//! binomial", Biometrika 26 (1934).
//! **Assumptions.** The trials are independent and alike, as the draws of a campaign are.
//! **Symbols with units.** `n` trials, `k` hits (counts); `p` the proportion (parts per billion); one in `one_in` is left
//! to error (a count, 20 for 95 %).
//! **Invariants and why it ends.** `P(X <= k)` falls in `p`, so halving the range of `p` finds the least; 30 halvings do.
//! Every number is rounded up ([`Up`]), so the probability is never taken too small and the bound never too small.
//! **Differs from the source** in the rounding alone: at most one part per billion above.
//! **Checked by** values of the source, the rule of three, and `statrs` over many `n` and `k`.

use crate::up::Up;

/// One in so many is left to error: 95 % confidence, one-sided.
pub const ONE_IN: u64 = 20;

/// The whole, in parts per billion.
pub const WHOLE_PPB: u64 = 1_000_000_000;

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

/// The least that the proportion may be: [`upper_ppb`] of those that did not hit, seen from the other side.
pub fn lower_ppb(hits: u64, trials: u64, one_in: u64) -> u64 {
    WHOLE_PPB - upper_ppb(trials.saturating_sub(hits), trials, one_in)
}

/// The most hits of which this many or fewer have a probability of at most one in `one_in` where each of the trials hits
/// with `ppb`; `None` where not even none is that rare.
pub fn most_hits(trials: u64, ppb: u64, one_in: u64) -> Option<u64> {
    // All trials hitting is the whole, so it is never among the rare ones, even if one in one is asked for.
    let rare = sums(trials, ppb).take_while(|&sum| is_rare(sum, one_in)).take(usize::try_from(trials).ok()?);
    (rare.count() as u64).checked_sub(1)
}

/// The probability of at most `hits` hits in parts per billion, rounded up.
pub fn at_most_ppb(hits: u64, trials: u64, ppb: u64) -> u64 {
    let sum = usize::try_from(hits).ok().filter(|_| hits < trials).and_then(|hits| sums(trials, ppb).nth(hits));
    sum.map_or(WHOLE_PPB, |sum| sum.ppb().min(WHOLE_PPB))
}

/// Whether at most `hits` hits in `trials` have a probability of at most one in `one_in` where each has `ppb`.
pub(crate) fn rare_enough(hits: u64, trials: u64, ppb: u64, one_in: u64) -> bool {
    (0..=hits).zip(sums(trials, ppb)).all(|(_, sum)| is_rare(sum, one_in))
}

fn is_rare(probability: Up, one_in: u64) -> bool {
    probability.times(Up::ratio(one_in, 1)).is_at_most_one()
}

/// The probabilities of at most 0, 1, 2 and so on hits, each rounded up.
fn sums(trials: u64, ppb: u64) -> impl Iterator<Item = Up> {
    let ppb = ppb.min(WHOLE_PPB);
    let (hit, no_hit) = (Up::ratio(ppb, WHOLE_PPB), Up::ratio(WHOLE_PPB - ppb, WHOLE_PPB));
    // Where every trial hits, fewer hits than trials have no probability, and nothing is divided.
    let odds = if no_hit == Up::ZERO { Up::ZERO } else { hit.over(Up::ratio_down(WHOLE_PPB - ppb, WHOLE_PPB)) };
    let first = no_hit.power(trials);
    let later = (1..=trials).scan((first, first), move |(term, sum), number| {
        *term = term.times(odds).times(Up::ratio(trials - number + 1, number));
        *sum = sum.plus(*term);
        Some(*sum)
    });
    std::iter::once(first).chain(later)
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
            assert_eq!((lower_ppb(10 - hits, 10, 40) + 50_000) / 100_000, 10_000 - upper, "{hits} of 10");
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
}
