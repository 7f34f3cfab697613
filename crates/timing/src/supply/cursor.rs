//! Supply and its inverse from one start, asked for instants or work that only grow: a pointer that moves
//! forward over the windows, with a division only where it has to skip whole laps of the table.

use super::{BusyStart, Edge, Supply};

/// A finish that no limit admits: the partition has no supply, or the instant passes [`FARTHEST_NS`].
pub(crate) const NEVER: i64 = i64::MAX;
/// The farthest finish that is told.
pub(crate) const FARTHEST_NS: i64 = 1 << 61;

#[derive(Clone, Copy)]
pub(crate) struct Cursor<'a> {
    /// The windows not passed yet in this lap.
    rest: &'a [Edge],
    /// What to add to work, and to an end, to pass between the start's own count and the lap's.
    work_shift_ns: i64,
    end_shift_ns: i64,
    /// One lap of windows from the start on, its length and its supply.
    lap: &'a [Edge],
    lap_ns: i64,
    per_lap_ns: i64,
}

impl<'a> Cursor<'a> {
    pub(crate) fn new(supply: &'a Supply, start: BusyStart) -> Self {
        let lap = &supply.edges[start.next..supply.edges.len() - supply.windows.len() + start.next];
        Self {
            rest: lap,
            work_shift_ns: start.supplied_ns,
            end_shift_ns: supply.lead_ns - start.at_ns,
            lap,
            lap_ns: supply.lap_ns,
            per_lap_ns: supply.per_lap_ns,
        }
    }

    /// From the frame's begin.
    pub(crate) fn from_zero(supply: &'a Supply) -> Self {
        Self::new(supply, BusyStart::FRAME_BEGIN)
    }

    /// The supply within `span_ns` after the start, never less than asked before.
    #[inline]
    pub(crate) fn served(&mut self, span_ns: i64) -> i64 {
        let Some(last) = self.lap.last() else { return 0 };
        loop {
            let instant_ns = span_ns - self.end_shift_ns;
            while let Some((edge, passed)) = self.rest.split_first() {
                if edge.end_ns >= instant_ns {
                    let missing_ns = edge.end_ns - instant_ns.max(edge.start_ns);
                    return edge.supplied_ns - missing_ns - self.work_shift_ns;
                }
                self.rest = passed;
            }
            let missing_ns = instant_ns - last.end_ns;
            self.skip((missing_ns - 1) / self.lap_ns + 1);
        }
    }

    /// The least span after the start whose supply reaches `work_ns`, never less than asked before;
    /// [`NEVER`] where there is none. No work takes no time.
    #[inline(always)]
    pub(crate) fn finish(&mut self, work_ns: i64) -> i64 {
        if work_ns <= 0 {
            return 0;
        }
        loop {
            let target_ns = work_ns + self.work_shift_ns;
            while let Some((edge, passed)) = self.rest.split_first() {
                if edge.supplied_ns >= target_ns {
                    return edge.end_ns - (edge.supplied_ns - target_ns) + self.end_shift_ns;
                }
                self.rest = passed;
            }
            match self.next_lap(target_ns) {
                Some(next) => *self = next,
                None => return NEVER,
            }
        }
    }

    /// Moved on to the lap in which `target_ns` is reached; none where there is none.
    #[cold]
    fn next_lap(mut self, target_ns: i64) -> Option<Self> {
        let missing_ns = target_ns - self.lap.last()?.supplied_ns;
        let laps = if missing_ns <= self.per_lap_ns { 1 } else { (missing_ns - 1) / self.per_lap_ns + 1 };
        let ahead_ns = laps.saturating_mul(self.lap_ns);
        if ahead_ns > FARTHEST_NS - self.end_shift_ns {
            return None;
        }
        self.skip(laps);
        Some(self)
    }

    fn skip(&mut self, laps: i64) {
        self.end_shift_ns += laps * self.lap_ns;
        self.work_shift_ns -= laps * self.per_lap_ns;
        self.rest = self.lap;
    }
}
