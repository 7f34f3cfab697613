//! Transfer rates in bytes per second.

use crate::text::{QuantityError, Units};
use crate::{Bytes, Duration};
use serde::Serialize;
use std::fmt;
use std::str::FromStr;

const UNITS: Units = Units {
    table: &[
        ("B/s", 1),
        ("kB/s", 1_000),
        ("MB/s", 1_000_000),
        ("GB/s", 1_000_000_000),
        ("KiB/s", 1 << 10),
        ("MiB/s", 1 << 20),
        ("GiB/s", 1 << 30),
    ],
    list: "B/s, kB/s, MB/s, GB/s, KiB/s, MiB/s, GiB/s",
    smallest: "bytes per second",
    example: "\"80 MiB/s\"",
};

const NS_PER_S: u128 = 1_000_000_000;

/// A transfer rate in bytes per second, at most [`crate::LIMIT`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize)]
pub struct Rate(u64);

impl Rate {
    /// A rate of `rate` bytes per second.
    pub const fn from_bytes_per_s(rate: u64) -> Self {
        Self(rate)
    }

    /// The most that a bus of so many bits carries at so many million transfers a second; `None` beyond [`crate::LIMIT`].
    pub fn of_transfers(million_per_s: u64, bus_bits: u64) -> Option<Self> {
        let bytes_per_s = u128::from(million_per_s) * u128::from(bus_bits) * 1_000_000 / 8;
        u64::try_from(bytes_per_s).ok().filter(|rate| *rate <= crate::LIMIT).map(Self)
    }

    /// The rate in bytes per second.
    pub const fn bytes_per_s(self) -> u64 {
        self.0
    }

    /// The time to move `size` at this rate, rounded up once to a whole nanosecond; `None` at rate zero or
    /// beyond [`crate::LIMIT`].
    pub fn time_for(self, size: Bytes) -> Option<Duration> {
        if self.0 == 0 {
            return None;
        }
        let ns = (u128::from(size.get()) * NS_PER_S).div_ceil(u128::from(self.0));
        u64::try_from(ns).ok().filter(|ns| *ns <= crate::LIMIT).map(Duration::from_ns)
    }
}

impl FromStr for Rate {
    type Err = QuantityError;

    /// Reads a text such as `"1280 MB/s"` exactly; the space is optional.
    fn from_str(text: &str) -> Result<Self, QuantityError> {
        UNITS.parse(text).map(Self)
    }
}

impl fmt::Display for Rate {
    /// The largest decimal unit in which the rate is whole, or else the largest binary one.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let units = [
            (1_000_000_000, "GB/s"),
            (1_000_000, "MB/s"),
            (1_000, "kB/s"),
            (1 << 30, "GiB/s"),
            (1 << 20, "MiB/s"),
            (1 << 10, "KiB/s"),
        ];
        let fits = units.iter().find(|(scale, _)| self.0 != 0 && self.0.is_multiple_of(*scale));
        match fits {
            Some((scale, unit)) => f.pad(&format!("{} {unit}", self.0 / scale)),
            None => f.pad(&format!("{} B/s", self.0)),
        }
    }
}
