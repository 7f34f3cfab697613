//! Spans of time and instants, in integer nanoseconds.

use crate::text::{QuantityError, Units, decimal};
use serde::Serialize;
use std::fmt;
use std::str::FromStr;

const UNITS: Units = Units {
    table: &[
        ("ns", 1),
        ("us", 1_000),
        ("µs", 1_000),
        ("μs", 1_000),
        ("ms", 1_000_000),
        ("s", 1_000_000_000),
        ("min", 60_000_000_000),
        ("h", 3_600_000_000_000),
    ],
    list: "ns, us, ms, s, min, h",
    smallest: "nanoseconds",
    example: "\"2.5 ms\"",
};

/// A span of time in nanoseconds, zero or more, at most [`crate::LIMIT`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize)]
pub struct Duration(u64);

/// A point in time, in nanoseconds from the start of the first frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize)]
pub struct Instant(u64);

impl Duration {
    /// No time at all.
    pub const ZERO: Self = Self(0);

    /// A span of `ns` nanoseconds.
    pub const fn from_ns(ns: u64) -> Self {
        Self(ns)
    }

    /// A span of `us` microseconds; saturates.
    pub const fn from_us(us: u64) -> Self {
        Self(us.saturating_mul(1_000))
    }

    /// A span of `ms` milliseconds; saturates.
    pub const fn from_ms(ms: u64) -> Self {
        Self(ms.saturating_mul(1_000_000))
    }

    /// The span in nanoseconds.
    pub const fn ns(self) -> u64 {
        self.0
    }

    /// Whether the span is empty.
    pub const fn is_zero(self) -> bool {
        self.0 == 0
    }
}

impl Instant {
    /// The start of the first frame.
    pub const ZERO: Self = Self(0);

    /// The instant `ns` nanoseconds after the start of the first frame.
    pub const fn from_ns(ns: u64) -> Self {
        Self(ns)
    }

    /// Nanoseconds since the start of the first frame.
    pub const fn ns(self) -> u64 {
        self.0
    }
}

impl FromStr for Duration {
    type Err = QuantityError;

    /// Reads a text such as `"2.5 ms"` exactly; the space is optional.
    fn from_str(text: &str) -> Result<Self, QuantityError> {
        UNITS.parse(text).map(Self)
    }
}

/// Writes a count of nanoseconds in the largest unit up to seconds in which it is at least one, exactly.
fn write_ns(ns: u64, f: &mut fmt::Formatter<'_>) -> fmt::Result {
    let (scale, unit) = match ns {
        0..1_000 => (1, "ns"),
        1_000..1_000_000 => (1_000, "us"),
        1_000_000..1_000_000_000 => (1_000_000, "ms"),
        _ => (1_000_000_000, "s"),
    };
    f.pad(&format!("{} {unit}", decimal(ns, scale)))
}

impl fmt::Display for Duration {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write_ns(self.0, f)
    }
}

impl fmt::Display for Instant {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write_ns(self.0, f)
    }
}
