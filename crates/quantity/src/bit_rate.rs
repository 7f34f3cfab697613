//! How fast a covert channel may carry, in thousandths of a bit per second.

use crate::text::{QuantityError, Units};
use serde::Serialize;
use std::fmt;
use std::str::FromStr;

const UNITS: Units = Units {
    table: &[("bit/s", 1_000), ("kbit/s", 1_000_000), ("Mbit/s", 1_000_000_000)],
    list: "bit/s, kbit/s, Mbit/s",
    smallest: "thousandths of a bit per second",
    example: "\"1 bit/s\"",
};

/// A capacity in thousandths of a bit per second, at most [`crate::LIMIT`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize)]
pub struct BitRate(u64);

impl BitRate {
    /// A capacity of `millibits` thousandths of a bit per second, no more than [`crate::LIMIT`].
    pub const fn from_millibits_per_s(millibits: u64) -> Self {
        Self(if millibits > crate::LIMIT { crate::LIMIT } else { millibits })
    }

    /// The capacity in thousandths of a bit per second.
    pub const fn millibits_per_s(self) -> u64 {
        self.0
    }

    /// Both together.
    #[must_use]
    pub const fn plus(self, other: Self) -> Self {
        Self::from_millibits_per_s(self.0.saturating_add(other.0))
    }
}

impl FromStr for BitRate {
    type Err = QuantityError;

    /// Reads a text such as `"1 bit/s"` exactly; the space is optional.
    fn from_str(text: &str) -> Result<Self, QuantityError> {
        UNITS.parse(text).map(Self)
    }
}

impl fmt::Display for BitRate {
    /// In bits per second, to the thousandth where it is no whole number.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (whole, rest) = (self.0 / 1_000, self.0 % 1_000);
        if rest == 0 {
            return f.pad(&format!("{whole} bit/s"));
        }
        let digits = format!("{rest:03}");
        f.pad(&format!("{whole}.{} bit/s", digits.trim_end_matches('0')))
    }
}
