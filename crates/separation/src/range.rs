//! Ranges of addresses, compared without wrapping.

use quantity::{Address, Bytes};

/// `[start, end)` in bytes, with ends in 128 bits.
#[derive(Clone, Copy)]
pub(crate) struct Range {
    pub start: u128,
    pub end: u128,
}

impl Range {
    pub fn new(base: Address, size: Bytes) -> Self {
        let start = u128::from(base.get());
        Self { start, end: start + u128::from(size.get()) }
    }

    /// The bytes that both hold.
    pub fn shared_bytes(self, other: Self) -> u64 {
        let shared = self.end.min(other.end).saturating_sub(self.start.max(other.start));
        u64::try_from(shared).unwrap_or(u64::MAX)
    }
}
