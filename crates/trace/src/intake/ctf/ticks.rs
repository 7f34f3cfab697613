//! The clock of a stream: numbers of few bits carried on, and ticks as nanoseconds.

use super::metadata::Clock;

const NS_PER_S: i128 = 1_000_000_000;

/// A stream's clock while the stream is read.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Ticks {
    /// The ticks now.
    pub now: u64,
}

impl Ticks {
    /// Takes the lowest bits of the time: if they are less than those of the time before, the clock has begun anew once.
    #[inline(always)]
    pub fn set(&mut self, value: u64, bits: u32) {
        if bits >= 64 {
            self.now = value;
            return;
        }
        let low = (1_u64 << bits) - 1;
        let carry = if value < self.now & low { low.wrapping_add(1) } else { 0 };
        self.now = (self.now & !low).wrapping_add(carry) | value;
    }
}

/// Turns ticks into nanoseconds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Scale {
    freq: u64,
    offset: i64,
    offset_s: i64,
    /// What to add where a tick is a nanosecond.
    plain: Option<u64>,
}

impl Scale {
    /// That of a clock.
    pub fn of(clock: &Clock) -> Self {
        let sum = i128::from(clock.offset_s) * NS_PER_S + i128::from(clock.offset);
        let plain = if clock.freq == 1_000_000_000 { u64::try_from(sum).ok() } else { None };
        Self { freq: clock.freq, offset: clock.offset, offset_s: clock.offset_s, plain }
    }

    /// The nanoseconds of a time, rounded down; `None`: before 0 or beyond 64 bits.
    #[inline(always)]
    pub fn ns(&self, ticks: u64) -> Option<u64> {
        if let Some(plain) = self.plain {
            return plain.checked_add(ticks);
        }
        self.scaled(ticks)
    }

    fn scaled(&self, ticks: u64) -> Option<u64> {
        let all = i128::from(self.offset) + i128::from(ticks);
        u64::try_from(i128::from(self.offset_s) * NS_PER_S + (all * NS_PER_S).div_euclid(i128::from(self.freq))).ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn few_bits_are_carried_on() {
        let mut ticks = Ticks { now: 0x7FF_FFF0 };
        ticks.set(5, 27);
        assert_eq!(ticks.now, 0x800_0005);
        ticks.set(5, 27);
        assert_eq!(ticks.now, 0x800_0005, "the same bits are the same time");
        ticks.set(4, 27);
        assert_eq!(ticks.now, 0x1000_0004);
        ticks.set(3, 64);
        assert_eq!(ticks.now, 3);
    }

    #[test]
    fn ticks_are_exact_nanoseconds() {
        let clock = |freq, offset_s, offset| Scale::of(&Clock { name: String::new(), freq, offset_s, offset });
        assert_eq!(clock(1_000_000_000, 2, 5).ns(7), Some(2_000_000_012));
        assert_eq!(clock(3, 1, 1).ns(1), Some(1_666_666_666));
        assert_eq!(clock(1_000, -1, 0).ns(999), None);
        assert_eq!(clock(1_000_000_000, -1, 0).ns(1_000_000_001), Some(1));
        assert_eq!(clock(1, 0, 0).ns(u64::MAX), None);
    }
}
