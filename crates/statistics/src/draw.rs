//! Chance as a function of a number: the same draw on any thread, in any order.

/// Spreads a number over all 64 bits (the finaliser of D. Stafford's thirteenth variant, as `SplitMix64` has it).
pub(crate) fn mix(mut number: u64) -> u64 {
    number ^= number >> 30;
    number = number.wrapping_mul(0xBF58_476D_1CE4_E5B9);
    number ^= number >> 27;
    number = number.wrapping_mul(0x94D0_49BB_1331_11EB);
    number ^ (number >> 31)
}

/// A whole number below `count`, from the high half of `number`; `count` is below 2^32.
pub(crate) fn below(number: u64, count: u64) -> u64 {
    ((number >> 32) * count) >> 32
}

/// The draws of one replicate of a bootstrap.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Replicate {
    base: u64,
}

impl Replicate {
    /// Replicate `number` under `seed`.
    pub(crate) fn new(seed: u64, number: u64) -> Self {
        let base = number.wrapping_add(1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        Self { base: base.wrapping_add(seed.wrapping_mul(0xD1B5_4A32_D192_ED03)) }
    }

    /// The index drawn at `place` among `count` (below 2^32).
    pub(crate) fn index(self, place: usize, count: usize) -> usize {
        below(self.word(place), count as u64) as usize
    }

    /// A number strictly between zero and one.
    pub(crate) fn share(self, place: usize) -> f64 {
        ((self.word(place) >> 12) as f64 + 0.5) / (1_u64 << 52) as f64
    }

    fn word(self, place: usize) -> u64 {
        mix(self.base.wrapping_add((place as u64).wrapping_mul(0xABC9_8388_FB8F_AC03)))
    }
}
