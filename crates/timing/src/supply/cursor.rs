//! The inverse supply from one start for work that only grows: a pointer that moves forward over
//! the windows, with a division only where it has to skip whole frames.

use super::{BusyStart, WindowSupply};

/// A finish that no limit admits: the partition has no supply, or the instant passes 2^61 ns.
pub(crate) const NEVER: i64 = i64::MAX;
/// The farthest finish that is told.
pub(crate) const FARTHEST_NS: i64 = 1 << 61;

pub(crate) struct Cursor<'a> {
    /// One frame of window ends and sums, read from the start on.
    ends_ns: &'a [i64],
    supplied_ns: &'a [i64],
    window: usize,
    /// What to add to work, and to an end, to pass between the start's own count and the table's.
    work_shift_ns: i64,
    end_shift_ns: i64,
    supplied_at_start_ns: i64,
    frame_ns: i64,
    per_frame_ns: i64,
}

impl<'a> Cursor<'a> {
    pub(crate) fn new(supply: &'a WindowSupply, start: BusyStart) -> Self {
        let one_frame = start.next..start.next + supply.windows.len();
        Self {
            ends_ns: &supply.ends_ns[one_frame.clone()],
            supplied_ns: &supply.supplied_ns[one_frame],
            window: 0,
            work_shift_ns: start.supplied_ns,
            end_shift_ns: -start.at_ns,
            supplied_at_start_ns: start.supplied_ns,
            frame_ns: supply.frame_ns,
            per_frame_ns: supply.per_frame_ns,
        }
    }

    /// From the frame's begin.
    pub(crate) fn from_zero(supply: &'a WindowSupply) -> Self {
        Self::new(supply, BusyStart { at_ns: 0, supplied_ns: 0, next: 0 })
    }

    /// The supply within `span_ns` after the start, never less than asked before.
    #[inline]
    pub(crate) fn served(&mut self, span_ns: i64) -> i64 {
        loop {
            while let Some(&end_ns) = self.ends_ns.get(self.window) {
                let left_ns = end_ns + self.end_shift_ns - span_ns;
                if left_ns >= 0 {
                    let whole_ns =
                        if self.window == 0 { self.supplied_at_start_ns } else { self.supplied_ns[self.window - 1] };
                    return whole_ns.max(self.supplied_ns[self.window] - left_ns) - self.work_shift_ns;
                }
                self.window += 1;
            }
            let Some(&last_ns) = self.ends_ns.last() else {
                return 0;
            };
            let missing_ns = span_ns - last_ns - self.end_shift_ns;
            self.skip((missing_ns - 1) / self.frame_ns + 1);
        }
    }

    /// The least span after the start whose supply reaches `work_ns`, never less than asked before;
    /// [`NEVER`] where there is none. No work takes no time.
    #[inline]
    pub(crate) fn finish(&mut self, work_ns: i64) -> i64 {
        if work_ns <= 0 {
            return 0;
        }
        loop {
            let target_ns = work_ns + self.work_shift_ns;
            while let Some(&supplied_ns) = self.supplied_ns.get(self.window) {
                if supplied_ns >= target_ns {
                    return self.ends_ns[self.window] - (supplied_ns - target_ns) + self.end_shift_ns;
                }
                self.window += 1;
            }
            if !self.next_frame(target_ns) {
                return NEVER;
            }
        }
    }

    /// Moves on to the frame in which `target_ns` is reached; false where there is none.
    #[cold]
    fn next_frame(&mut self, target_ns: i64) -> bool {
        let Some(&last_ns) = self.supplied_ns.last() else {
            return false;
        };
        let missing_ns = target_ns - last_ns;
        let frames = if missing_ns <= self.per_frame_ns { 1 } else { (missing_ns - 1) / self.per_frame_ns + 1 };
        let ahead_ns = frames.saturating_mul(self.frame_ns);
        if ahead_ns > FARTHEST_NS - self.end_shift_ns {
            return false;
        }
        self.skip(frames);
        true
    }

    fn skip(&mut self, frames: i64) {
        self.end_shift_ns += frames * self.frame_ns;
        self.work_shift_ns -= frames * self.per_frame_ns;
        self.window = 0;
    }
}
