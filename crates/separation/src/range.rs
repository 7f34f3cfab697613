//! Ranges of addresses, compared without wrapping.

use model::system::AddressRange;
use plan::Placement;
use quantity::{Address, Bytes};

/// `[start, end)` in bytes, with ends in 128 bits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Range {
    pub start: u128,
    pub end: u128,
}

impl Range {
    pub fn new(base: Address, size: Bytes) -> Self {
        let start = u128::from(base.get());
        Self { start, end: start + u128::from(size.get()) }
    }

    /// What both hold, where they meet.
    pub fn shared(self, other: Self) -> Option<Self> {
        let shared = Self { start: self.start.max(other.start), end: self.end.min(other.end) };
        (shared.start < shared.end).then_some(shared)
    }

    /// The bytes that both hold.
    pub fn shared_bytes(self, other: Self) -> u64 {
        self.shared(other).map_or(0, |shared| shared.size().get())
    }

    /// The size, which is no more than that of all addresses.
    pub fn size(self) -> Bytes {
        Bytes::new(u64::try_from(self.end - self.start).unwrap_or(u64::MAX))
    }

    /// The first address; a range that is not empty begins at one.
    pub fn base(self) -> Address {
        Address::new(u64::try_from(self.start).unwrap_or(u64::MAX))
    }

    /// What is left of it without another one: nothing, one piece, or one on each side.
    fn without(self, other: Self) -> impl Iterator<Item = Self> {
        let low = Self { start: self.start, end: self.end.min(other.start) };
        let high = Self { start: self.start.max(other.end), end: self.end };
        let is_apart = self.end <= other.start || other.end <= self.start;
        let pieces = if is_apart { [Some(self), None] } else { [Some(low), Some(high)] };
        pieces.into_iter().flatten().filter(|piece| piece.start < piece.end)
    }
}

/// What of some ranges is in none of others.
pub(crate) fn without(ranges: &[Range], others: &[Range]) -> Vec<Range> {
    let mut left = ranges.to_vec();
    for other in others {
        left = left.into_iter().flat_map(|range| range.without(*other)).collect();
    }
    left
}

impl From<&AddressRange> for Range {
    fn from(range: &AddressRange) -> Self {
        Self::new(range.base, range.size)
    }
}

impl From<&Placement> for Range {
    fn from(placement: &Placement) -> Self {
        Self::new(placement.base, placement.size)
    }
}

/// Ranges in words, such as `4 MiB from 0x8000_0000 and 8 MiB from 0x9000_0000`.
pub(crate) fn words(ranges: &[Range]) -> String {
    let words: Vec<_> = ranges.iter().map(|range| format!("{} from {}", range.size(), range.base())).collect();
    words.join(" and ")
}
