//! Sizes in bytes.

use crate::text::{QuantityError, Units};
use serde::Serialize;
use std::fmt;
use std::str::FromStr;

const UNITS: Units = Units {
    table: &[
        ("B", 1),
        ("kB", 1_000),
        ("MB", 1_000_000),
        ("GB", 1_000_000_000),
        ("KiB", 1 << 10),
        ("MiB", 1 << 20),
        ("GiB", 1 << 30),
        ("TiB", 1 << 40),
    ],
    list: "B, KiB, MiB, GiB, TiB, kB, MB, GB",
    smallest: "bytes",
    example: "\"64 MiB\"",
};

/// A size in bytes, at most [`crate::LIMIT`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize)]
pub struct Bytes(u64);

impl Bytes {
    /// A size of `bytes` bytes.
    pub const fn new(bytes: u64) -> Self {
        Self(bytes)
    }

    /// A size of `mib` times 2^20 bytes; saturates.
    pub const fn from_mib(mib: u64) -> Self {
        Self(mib.saturating_mul(1 << 20))
    }

    /// The size as a bare count of bytes.
    pub const fn get(self) -> u64 {
        self.0
    }
}

impl FromStr for Bytes {
    type Err = QuantityError;

    /// Reads a text such as `"64 MiB"` exactly; the space is optional.
    fn from_str(text: &str) -> Result<Self, QuantityError> {
        UNITS.parse(text).map(Self)
    }
}

impl fmt::Display for Bytes {
    /// The largest binary unit in which the size is whole.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let binary = [(1u64 << 40, "TiB"), (1 << 30, "GiB"), (1 << 20, "MiB"), (1 << 10, "KiB")];
        let fits = binary.iter().find(|(scale, _)| self.0 != 0 && self.0.is_multiple_of(*scale));
        match fits {
            Some((scale, unit)) => f.pad(&format!("{} {unit}", self.0 / scale)),
            None => f.pad(&format!("{} B", self.0)),
        }
    }
}
