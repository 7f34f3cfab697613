//! How many bits so many levels in so much time are, in whole numbers rounded up.

use super::Capacity;
use quantity::BitRate;

/// Bits are counted in parts of 2^-24, which is more than the thousandths that are told.
const FRACTION_BITS: u32 = 24;
const NS_PER_S: u128 = 1_000_000_000;

/// `log2(levels)` in parts of `2^-24` of a bit, never below it, and above by no more than one part.
fn log2_up(levels: u64) -> u128 {
    let whole = levels.max(1).ilog2();
    // The mantissa in [1, 2), with 63 bits behind the point.
    let mut mantissa = u128::from(levels.max(1)) << (63 - whole);
    let mut bits = u128::from(whole);
    for _ in 0..FRACTION_BITS {
        // Rounded up, so that the mantissa is never below its own value.
        mantissa = (mantissa * mantissa).div_ceil(1 << 63);
        bits <<= 1;
        if mantissa >= 1 << 64 {
            mantissa = mantissa.div_ceil(2);
            bits |= 1;
        }
    }
    // What is left of the mantissa above one is a part begun.
    bits + u128::from(mantissa > 1 << 63)
}

/// What a reader of `levels` can be told at most, `uses` times in every `period_ns`.
pub(super) fn of_levels(levels: u64, uses: u64, period_ns: u64) -> Capacity {
    let parts = log2_up(levels) * u128::from(uses) * 1000;
    let millibits = parts.saturating_mul(NS_PER_S).div_ceil(u128::from(period_ns.max(1)) << FRACTION_BITS);
    Capacity::AtMost(BitRate::from_millibits_per_s(u64::try_from(millibits).unwrap_or(u64::MAX)))
}

/// The levels that a shift of up to `span_ns` has to a reader with a clock of `clock_hz`, or of one ns where it is unknown.
pub(super) fn levels(span_ns: u64, clock_hz: Option<u64>) -> u64 {
    let per_second = u128::from(clock_hz.unwrap_or(1_000_000_000));
    let ticks = (u128::from(span_ns) * per_second).div_ceil(NS_PER_S);
    u64::try_from(ticks).unwrap_or(u64::MAX).saturating_add(1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn millibits(capacity: Capacity) -> u64 {
        match capacity {
            Capacity::AtMost(rate) => rate.millibits_per_s(),
            Capacity::NotComputed => panic!("a number is expected"),
        }
    }

    /// log2(3) = 1.584962500721156, log2(10) = 3.321928094887362 (tables of logarithms).
    #[test]
    fn logarithms_are_those_of_the_tables() {
        for (levels, log) in [(3u64, 1_584_962_500_721_156u128), (10, 3_321_928_094_887_362)] {
            let exact = log << FRACTION_BITS;
            let found = log2_up(levels) * 1_000_000_000_000_000;
            assert!(found >= exact && found - exact <= 2_000_000_000_000_000, "{levels}: {found} {exact}");
        }
        for whole in [0u32, 1, 10, 40, 63] {
            assert_eq!(log2_up(1 << whole), u128::from(whole) << FRACTION_BITS, "powers of two are exact");
        }
        assert_eq!(log2_up(0), 0);
    }

    #[test]
    fn a_bit_in_every_tenth_of_a_second_is_ten_bits_a_second() {
        assert_eq!(millibits(of_levels(2, 1, 100_000_000)), 10_000);
        assert_eq!(millibits(of_levels(4, 5, 100_000_000)), 100_000);
        assert_eq!(millibits(of_levels(1, 1, 100_000_000)), 0, "one level tells nothing");
        assert_eq!(millibits(of_levels(3, 1, 1_000_000_000)), 1_585, "rounded up");
        assert_eq!(millibits(of_levels(u64::MAX, u64::MAX, 1)), quantity::LIMIT);
    }

    #[test]
    fn a_shift_has_a_level_for_every_tick_and_one_for_none() {
        assert_eq!(levels(0, None), 1);
        assert_eq!(levels(3, None), 4);
        assert_eq!(levels(1000, Some(1_500_000_000)), 1501);
        assert_eq!(levels(1, Some(1_500_000_000)), 3, "a tick begun is a tick");
    }
}
