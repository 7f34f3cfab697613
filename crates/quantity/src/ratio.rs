//! Shares and growth factors in parts per million.

use crate::text::{QuantityError, Units, decimal};
use serde::Serialize;
use std::fmt;
use std::str::FromStr;

const UNITS: Units =
    Units { table: &[("%", 10_000), ("ppm", 1)], list: "%, ppm", smallest: "parts per million", example: "\"30 %\"" };

/// A share or factor in parts per million: 1,000,000 is one whole.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize)]
pub struct Ppm(u64);

impl Ppm {
    /// One whole.
    pub const ONE: Self = Self(1_000_000);

    /// A share of `ppm` parts per million.
    pub const fn new(ppm: u64) -> Self {
        Self(ppm)
    }

    /// The bare count of parts per million.
    pub const fn get(self) -> u64 {
        self.0
    }
}

impl FromStr for Ppm {
    type Err = QuantityError;

    /// Reads a text such as `"30 %"` or `"20 ppm"` exactly; the space is optional.
    fn from_str(text: &str) -> Result<Self, QuantityError> {
        UNITS.parse(text).map(Self)
    }
}

impl fmt::Display for Ppm {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&format!("{} %", decimal(self.0, 10_000)))
    }
}

/// `part / whole` in parts per million, rounded down; `None` where the whole is zero or the result passes u64.
pub fn exact_ratio_ppm(part: u64, whole: u64) -> Option<Ppm> {
    if whole == 0 {
        return None;
    }
    u64::try_from(u128::from(part) * 1_000_000 / u128::from(whole)).ok().map(Ppm)
}
