//! Loads that stand in for what jobs do: time that is executed, memory lines that are touched.

use crate::{clock, cpus};

/// The words of 8 bytes in a line of 64.
const WORDS_A_LINE: usize = 8;
/// What jobs touch: more than most caches of a core hold.
const JOB_WORDS: usize = (4 << 20) / 8;
/// What a runaway moves.
const HOG_WORDS: usize = (64 << 20) / 8;
/// So many lines are touched between two looks at the clock.
const LINES_A_STEP: u64 = 64;

/// Memory of which lines are touched one after the other.
#[derive(Debug)]
pub struct Memory {
    words: Vec<u64>,
    next: usize,
}

impl Memory {
    /// The memory of jobs. All of it is written, so that the kernel gives it now and not while they run.
    pub fn of_jobs() -> Self {
        Self { words: vec![1; JOB_WORDS], next: 0 }
    }

    /// Touches that many lines.
    pub fn touch(&mut self, lines: u64) {
        for _ in 0..lines {
            if let Some(word) = self.words.get_mut(self.next) {
                *word = std::hint::black_box(*word).wrapping_add(1);
            }
            self.next = (self.next + WORDS_A_LINE) % self.words.len().max(1);
        }
    }
}

/// How far a job has come.
#[derive(Debug, Clone, Copy)]
pub struct Work {
    /// How long it is to execute; `u64::MAX`: it never ends.
    pub whole_ns: u64,
    /// How long it has.
    pub done_ns: u64,
    /// The lines that it is to touch, spread evenly over that time.
    pub lines: u64,
    /// The lines that it has touched.
    pub touched: u64,
}

impl Work {
    /// Nothing done yet.
    pub const fn new(whole_ns: u64, lines: u64) -> Self {
        Self { whole_ns, done_ns: 0, lines, touched: 0 }
    }

    /// Whether all is done.
    pub const fn is_done(&self) -> bool {
        self.done_ns >= self.whole_ns
    }

    /// Touches some of the lines that are due by now.
    pub fn step(&mut self, memory: &mut Memory) {
        let due =
            u128::from(self.lines) * u128::from(self.done_ns.min(self.whole_ns)) / u128::from(self.whole_ns.max(1));
        let due = u64::try_from(due).unwrap_or(u64::MAX).saturating_sub(self.touched).min(LINES_A_STEP);
        memory.touch(due);
        self.touched += due;
        std::hint::spin_loop();
    }
}

/// Moves memory without restraint until an instant, whenever nobody else has the cpu. It ends early with its process only.
pub fn hog(until_ns: u64) {
    cpus::take_no_rank();
    let mut memory = Memory { words: vec![1; HOG_WORDS], next: 0 };
    while clock::now_ns() < until_ns {
        memory.touch(HOG_WORDS as u64 / 64);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_spread_over_the_time_and_none_is_touched_twice() {
        let (mut work, mut memory) = (Work::new(1_000, 100), Memory::of_jobs());
        work.step(&mut memory);
        assert_eq!(work.touched, 0);
        work.done_ns = 500;
        work.step(&mut memory);
        assert_eq!(work.touched, 50);
        work.done_ns = 1_500;
        work.step(&mut memory);
        work.step(&mut memory);
        assert!(work.is_done());
        assert_eq!((work.touched, memory.next), (100, 100 * WORDS_A_LINE));
    }
}
