//! Numbers that depend on nothing but a seed.

/// The generator `SplitMix64` (Steele, Lea & Flood 2014): small, and the same on every machine.
#[derive(Debug, Clone)]
pub(crate) struct Random(u64);

impl Random {
    /// The generator of a seed.
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// A number below `bound`, or 0 where that is 0. The slight preference for small ones does not matter to a search.
    pub(crate) fn below(&mut self, bound: usize) -> usize {
        (self.next() % (bound.max(1) as u64)) as usize
    }
}
