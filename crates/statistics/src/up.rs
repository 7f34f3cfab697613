//! Numbers of any size that are rounded up, so that no probability made of them is taken too small.

/// `mantissa * 2^exponent`, never below the number that it stands for; the mantissa's highest bit is set, or it is zero.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Up {
    mantissa: u64,
    exponent: i64,
}

impl Up {
    pub(crate) const ZERO: Self = Self { mantissa: 0, exponent: 0 };
    pub(crate) const ONE: Self = Self { mantissa: 1 << 63, exponent: -63 };

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
    pub(crate) fn ratio(part: u64, whole: u64) -> Self {
        Self::of((u128::from(part) << 64).div_ceil(u128::from(whole)), -64)
    }

    /// `part / whole`, rounded down, to divide by.
    pub(crate) fn ratio_down(part: u64, whole: u64) -> Self {
        let quotient = (u128::from(part) << 63) / u128::from(whole);
        // A share of a whole: below 2^64.
        Self::of(quotient, -63)
    }

    pub(crate) fn times(self, other: Self) -> Self {
        Self::of(u128::from(self.mantissa) * u128::from(other.mantissa), self.exponent + other.exponent)
    }

    /// `self / other`, rounded up; `other` is above zero.
    pub(crate) fn over(self, other: Self) -> Self {
        let quotient = (u128::from(self.mantissa) << 64).div_ceil(u128::from(other.mantissa));
        Self::of(quotient, self.exponent - other.exponent - 64)
    }

    pub(crate) fn plus(self, other: Self) -> Self {
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

    pub(crate) fn power(self, mut times: u64) -> Self {
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

    /// In parts per billion, rounded up; for numbers up to one.
    pub(crate) fn ppb(self) -> u64 {
        let scaled = self.times(Self::ratio(1_000_000_000, 1));
        match scaled.exponent {
            _ if scaled.mantissa == 0 => 0,
            0.. => u64::MAX,
            -63..=-1 => {
                (scaled.mantissa >> -scaled.exponent)
                    + u64::from(scaled.mantissa.trailing_zeros() < -scaled.exponent as u32)
            }
            _ => 1,
        }
    }

    pub(crate) fn is_at_most_one(self) -> bool {
        self.mantissa == 0 || self.exponent < -63 || self == Self::ONE
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sums_and_products_never_lie_below() {
        let third = Up::ratio(1, 3);
        assert!(!third.plus(third).plus(third).is_at_most_one() || third.plus(third).plus(third) == Up::ONE);
        assert_eq!(Up::ratio(1, 2).plus(Up::ratio(1, 2)), Up::ONE);
        assert_eq!(Up::ratio(1, 2).power(3), Up::ratio(1, 8));
        assert_eq!(Up::ratio(3, 4).over(Up::ratio_down(3, 4)), Up::ONE);
    }
}
