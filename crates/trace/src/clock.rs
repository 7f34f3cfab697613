//! Brings the clock of one source to that of another, by marks that both recorded at the same instants.
//!
//! The line through the pairs is the one of least squares, moved so that its largest error is as small on one side as on the
//! other. The error is told: instants of two sources that are nearer than it have no known order. Before the first pair and behind
//! the last one it grows, as much as a line can turn that leaves no pair farther off. A line through fewer than three pairs is off
//! none of them, whatever the clocks do: its error is not known.

use crate::moment::Clock;
use num_bigint::BigInt;
use num_integer::Integer as _;

/// How one clock is read as another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Fit {
    /// The first instant of the own clock that was paired, and the last.
    from_ns: u64,
    to_ns: u64,
    /// What is added at that instant.
    pub offset_ns: i64,
    /// What is added for each microsecond since, in 2^-20 ns.
    drift: i64,
    /// The largest distance of a pair from the line.
    farthest_ns: u64,
    /// How many pairs there were. With one, the drift is not known, and taken as none.
    pub pairs: usize,
}

const FRACTION: i128 = 1 << 20;
/// So many pairs are needed to see how far off the line is.
const FEWEST_PAIRS: usize = 3;
/// So many pairs are used at most, the first ones: then no sum below can overflow.
const MOST_PAIRS: usize = 4096;
/// No clock worth the name runs by a tenth faster or slower than another.
const STEEPEST: i128 = 100 * FRACTION;

impl Fit {
    /// Of a source whose clock is the common one.
    pub const SAME: Self = Self { from_ns: 0, to_ns: 0, offset_ns: 0, drift: 0, farthest_ns: 0, pairs: 0 };

    /// The common clock's instant; `None` where it lies before its zero or beyond 64 bits of nanoseconds.
    pub fn common(&self, own_ns: u64) -> Option<u64> {
        let since = i128::from(own_ns) - i128::from(self.from_ns);
        let common = i128::from(own_ns) + i128::from(self.offset_ns) + drifted(since, i128::from(self.drift));
        u64::try_from(common).ok()
    }

    /// How far off the line is at the pairs; `None`: it is not known.
    pub fn error_ns(&self) -> Option<u64> {
        (self.pairs == 0 || self.pairs >= FEWEST_PAIRS).then_some(self.farthest_ns)
    }

    /// How far off the common clock's instant is, in nanoseconds; [`Clock::UNKNOWN`] where that is not known.
    pub fn error_at_ns(&self, own_ns: u64) -> u32 {
        if self.pairs == 0 {
            return 0;
        }
        let Some(error_ns) = self.error_ns().map(u128::from) else { return Clock::UNKNOWN };
        let outside_ns = self.from_ns.saturating_sub(own_ns).max(own_ns.saturating_sub(self.to_ns));
        let span_ns = u128::from(self.to_ns - self.from_ns);
        let turned_ns = match (outside_ns, span_ns) {
            (0, _) => 0,
            (_, 0) => return Clock::UNKNOWN,
            _ => (2 * error_ns * u128::from(outside_ns)).div_ceil(span_ns),
        };
        u32::try_from(error_ns + turned_ns).unwrap_or(Clock::UNKNOWN)
    }

    /// By how many parts in 10^9 the common clock is the faster one.
    pub fn drift_ppb(&self) -> i64 {
        let ppb = (i128::from(self.drift) * 1_000_000).div_euclid(FRACTION);
        i64::try_from(ppb).unwrap_or(i64::MAX)
    }
}

/// The line through pairs of the own clock's and the common clock's instants; `None` where there is no pair, or where
/// no line with a bearable slope fits: then the pairs are not of the same instants.
pub fn fit(pairs: &[(u64, u64)]) -> Option<Fit> {
    let pairs = &pairs[..pairs.len().min(MOST_PAIRS)];
    let (from_ns, first_common) = *pairs.iter().min()?;
    let to_ns = pairs.iter().map(|(own, _)| *own).max()?;
    let base = i128::from(first_common) - i128::from(from_ns);
    let points: Vec<(i128, i128)> = pairs
        .iter()
        .map(|(own, common)| {
            let since_ns = i128::from(*own) - i128::from(from_ns);
            (since_ns, i128::from(*common) - i128::from(*own) - base)
        })
        .collect();
    let drift = slope(&points);
    if !(-STEEPEST..=STEEPEST).contains(&drift) {
        return None;
    }
    let rest = points.iter().map(|(since_ns, ahead)| ahead - drifted(*since_ns, drift));
    let (least, most) = rest.fold((i128::MAX, i128::MIN), |(least, most), rest| (least.min(rest), most.max(rest)));
    let middle = least + (most - least) / 2;
    Some(Fit {
        from_ns,
        to_ns,
        offset_ns: i64::try_from(base + middle).ok()?,
        drift: i64::try_from(drift).ok()?,
        farthest_ns: u64::try_from((most - middle).max(middle - least)).ok()?,
        pairs: pairs.len(),
    })
}

/// What a drift adds up to in so many nanoseconds.
fn drifted(since_ns: i128, drift: i128) -> i128 {
    (since_ns * drift).div_euclid(1000 * FRACTION)
}

/// The slope of least squares, in 2^-20 ns a microsecond; 0 where all points lie within one.
fn slope(points: &[(i128, i128)]) -> i128 {
    // In whole microseconds, so that no sum of squares overflows; the products can be larger.
    let points: Vec<(i128, i128)> = points.iter().map(|(since_ns, ahead)| (since_ns / 1000, *ahead)).collect();
    let count = points.len() as i128;
    let mean = |sum: i128| sum.div_euclid(count);
    let mean_x = mean(points.iter().map(|(x, _)| x).sum());
    let mean_y = mean(points.iter().map(|(_, y)| y).sum());
    let products: BigInt = points.iter().map(|(x, y)| BigInt::from(x - mean_x) * (y - mean_y)).sum();
    let squares: i128 = points.iter().map(|(x, _)| (x - mean_x) * (x - mean_x)).sum();
    if squares == 0 {
        return 0;
    }
    // One that does not fit is steeper than any that is borne.
    i128::try_from((products * FRACTION).div_floor(&BigInt::from(squares))).unwrap_or(i128::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn one_pair_gives_an_offset_and_no_drift() {
        let fit = fit(&[(1_000, 5_000)]).expect("a line");
        assert_eq!((fit.offset_ns, fit.drift_ppb(), fit.error_ns(), fit.pairs), (4_000, 0, None, 1));
        assert_eq!(fit.common(2_000), Some(6_000));
        assert_eq!(super::fit(&[]), None);
    }

    #[test]
    fn what_is_before_the_common_zero_has_no_instant() {
        let fit = fit(&[(5_000, 1_000)]).expect("a line");
        assert_eq!((fit.common(3_999), fit.common(4_000)), (None, Some(0)));
    }

    /// By hand: 0, 8 and 0 ns ahead lie 4 ns off the line 4 ns ahead at most. A line that turns by 2 * 4 ns in 2 ms about the middle
    /// is 1 ms behind the last pair another 4 ns off.
    #[test]
    fn the_error_grows_outside_the_pairs_and_takes_three_of_them_to_see() {
        let found = fit(&[(1_000_000, 1_000_000), (2_000_000, 2_000_008), (3_000_000, 3_000_000)]).expect("a line");
        assert_eq!((found.drift_ppb(), found.error_ns()), (0, Some(4)));
        let at = [1_000_000, 2_500_000, 3_000_000, 4_000_000, 0].map(|own| found.error_at_ns(own));
        assert_eq!(at, [4, 4, 4, 8, 8]);
        assert_eq!(found.error_at_ns(u64::MAX), Clock::UNKNOWN);
        let two = fit(&[(1_000_000, 1_000_000), (2_000_000, 2_000_008)]).expect("a line");
        assert_eq!((two.error_ns(), two.error_at_ns(1_000_000)), (None, Clock::UNKNOWN));
        let at_once = fit(&[(7, 9), (7, 9), (7, 9)]).expect("a line");
        assert_eq!([7, 8].map(|own| at_once.error_at_ns(own)), [0, Clock::UNKNOWN]);
        assert_eq!(Fit::SAME.error_at_ns(u64::MAX), 0);
    }

    #[test]
    fn marks_of_different_instants_give_no_line() {
        assert_eq!(fit(&[(0, 0), (1_000_000, 3_000_000)]), None);
    }

    /// Worked out by hand: a clock that loses a twentieth, over all of 64 bits. A step of the drift is 2^-20 ns a microsecond, which
    /// adds up to 2^44 us, of 1,000 ns each, in 2^64 ns.
    #[test]
    fn clocks_over_all_of_64_bits_are_fitted_exactly() {
        let pairs: Vec<(u64, u64)> =
            (0..=8).map(|part| part * (u64::MAX / 8)).map(|own| (own, own - own / 20)).collect();
        let found = fit(&pairs).expect("a line");
        assert_eq!(found.drift_ppb(), -50_000_000 - 1, "rounded down");
        assert!(found.error_ns().is_some_and(|error| error <= 1 << 44), "{found:?}");
        assert_eq!(fit(&[(0, 0), (1, u64::MAX), (u64::MAX, 0)]), None, "no slope is borne");
    }

    proptest! {
        /// Each pair lies within the error told, whatever the clocks: the drift made is found again to a part in 10^8.
        #[test]
        fn pairs_lie_within_the_error(
            offset in -1_000_000_000i64..1_000_000_000, ppm in -200i64..200, noise in proptest::collection::vec(-500i64..500, 2..60),
        ) {
            let pairs: Vec<(u64, u64)> = (0u64..).zip(&noise).map(|(index, noise)| {
                let own = 2_000_000_000 + index * 100_000_000;
                let common = i64::try_from(own).expect("small") + offset + (own as i64 - 2_000_000_000) * ppm / 1_000_000 + noise;
                (own, u64::try_from(common).expect("after zero"))
            }).collect();
            let found = fit(&pairs).expect("a line");
            for (own, common) in &pairs {
                let read = found.common(*own).expect("an instant");
                prop_assert!(read.abs_diff(*common) <= found.farthest_ns, "{read} {common} {found:?}");
            }
            if pairs.len() > 30 {
                prop_assert!((found.drift_ppb() - ppm * 1000).abs() <= 1_000, "{found:?}");
            }
        }
    }
}
