//! Chance: every draw is a pure function of the seed, the run, and what it is drawn for.
//!
//! So any run can be made alone, in any order, on any number of threads, and gives the same bytes.
//!
//! **Source.** The finaliser is that of SplitMix64 (Steele, Lea, Flood, "Fast splittable pseudorandom number generators",
//! OOPSLA 2014), the constants from memory; a test holds golden values.

const BY_SEED: u64 = 0x9E37_79B9_7F4A_7C15;
const BY_RUN: u64 = 0xD1B5_4A32_D192_ED03;
const BY_SUBJECT: u64 = 0x8CB9_2BA7_2F3D_8DD7;
const BY_NUMBER: u64 = 0xABC9_8388_FB8F_AC03;
const BY_PURPOSE: u64 = 0xA076_1D64_78BD_642F;

/// What a number is drawn for: draws for different purposes do not depend on each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Purpose {
    /// The execution time of a job (subject: task, number: job).
    Execution,
    /// The first arrival of a free-running task (subject: task).
    Phase,
    /// The release jitter of a job (subject: task, number: job).
    Jitter,
    /// The time between two arrivals of a sporadic task beyond the least (subject: task, number: job).
    Gap,
    /// How long a less urgent job that has begun goes on (subject: task, number: job).
    Blocking,
    /// The phase of a core set that is not synchronised, or of a server (subject: set or lane).
    Frame,
    /// A call that cannot be cut at a window's end (subject: core, number: when the window was to begin).
    Slip,
    /// The kind of a fault (number: the fault within the run).
    FaultKind,
    /// The target of a fault (number: the fault within the run).
    FaultTarget,
    /// The instant of a fault (number: the fault within the run).
    FaultInstant,
    /// A parameter of a fault (subject: the parameter, number: the fault within the run).
    FaultParameter,
    /// What a message of a source that is no task brings (subject: channel, number: message).
    Message,
}

/// The chance of one run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Draw {
    base: u64,
}

impl Draw {
    /// The chance of run number `run` under `seed`.
    pub const fn of(seed: u64, run: u64) -> Self {
        Self { base: seed.wrapping_mul(BY_SEED).wrapping_add(run.wrapping_mul(BY_RUN)) }
    }

    /// 64 bits for a purpose, a subject and a number.
    #[inline]
    pub const fn bits(self, purpose: Purpose, subject: u64, number: u64) -> u64 {
        let place =
            self.base.wrapping_add(subject.wrapping_mul(BY_SUBJECT)).wrapping_add(number.wrapping_mul(BY_NUMBER));
        finalise(place.wrapping_add((purpose as u64).wrapping_mul(BY_PURPOSE)))
    }

    /// A whole number from `least` to `most`, both included; `least` where `most` is below it.
    ///
    /// Of ranges above 2^32 only 2^32 values, evenly spread, are reached, and `least` is always one.
    #[inline]
    pub const fn between(self, purpose: Purpose, subject: u64, number: u64, least: u64, most: u64) -> u64 {
        let span = most.saturating_sub(least).saturating_add(1);
        least + scaled(self.bits(purpose, subject, number), span)
    }
}

/// The upper half of `bits` as a share of 2^32, times `span`, rounded down.
#[inline]
const fn scaled(bits: u64, span: u64) -> u64 {
    (((bits >> 32) as u128 * span as u128) >> 32) as u64 // Below `span`.
}

#[inline]
const fn finalise(mut x: u64) -> u64 {
    x ^= x >> 30;
    x = x.wrapping_mul(0xBF58_476D_1CE4_E5B9);
    x ^= x >> 27;
    x = x.wrapping_mul(0x94D0_49BB_1331_11EB);
    x ^ (x >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn draws_keep_to_their_range_and_reach_both_ends() {
        let draws: Vec<u64> = (0..1000).map(|job| Draw::of(7, 3).between(Purpose::Execution, 5, job, 10, 14)).collect();
        assert!(draws.iter().all(|drawn| (10..=14).contains(drawn)));
        assert!((10..=14).all(|value| draws.contains(&value)));
        assert_eq!(Draw::of(1, 1).between(Purpose::Phase, 0, 0, 9, 3), 9);
    }

    #[test]
    fn purposes_runs_and_seeds_draw_apart() {
        let one = Draw::of(1, 0).bits(Purpose::Execution, 0, 1);
        assert_ne!(one, Draw::of(1, 0).bits(Purpose::Jitter, 0, 1));
        assert_ne!(one, Draw::of(1, 1).bits(Purpose::Execution, 0, 1));
        assert_ne!(one, Draw::of(2, 0).bits(Purpose::Execution, 0, 1));
    }
}
