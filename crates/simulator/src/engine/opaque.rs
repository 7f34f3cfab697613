//! What an opaque guest is given: the longest span from any instant until its budget was.
//!
//! **Computes** the greatest, over all instants s, of the least t with a supply of `budget` in `[s, s + t)`.
//! **Why it is enough** to begin spans where a stretch of supply ends and where the run begins: from an instant inside a stretch a
//! span is no longer than from that stretch's end, and from one in a gap no longer than from the gap's begin.

use std::collections::VecDeque;

/// The supply of one partition so far.
#[derive(Debug, Clone, Default)]
pub(crate) struct Supply {
    /// What was given in all.
    given: u64,
    /// Begins of spans, each with what had been given by then.
    open: VecDeque<(u64, u64)>,
}

impl Supply {
    /// A run begins at instant 0.
    pub(super) fn begin(&mut self) {
        self.given = 0;
        self.open.clear();
        self.open.push_back((0, 0));
    }

    /// When the first span began that still waits for its budget.
    pub(super) fn waits_since(&self) -> Option<u64> {
        self.open.front().map(|(begin, _)| *begin)
    }

    /// A stretch of supply `[from, to)` is over; the longest span that it closes.
    pub(super) fn given(&mut self, from: u64, to: u64, budget: u64) -> Option<u64> {
        let before = self.given;
        self.given = self.given.saturating_add(to - from);
        let mut longest = None;
        while let Some(&(begin, had)) = self.open.front()
            && had.saturating_add(budget) <= self.given
        {
            self.open.pop_front();
            let at = from + had.saturating_add(budget).saturating_sub(before);
            longest = longest.max(Some(at.saturating_sub(begin)));
        }
        self.open.push_back((to, self.given));
        longest
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_longest_span_begins_where_a_window_ends() {
        // Windows [0, 2) and [6, 8) of a frame of 10: 3 ns from the end of the first at 2 come by 11, in 9 ns; from the end of the
        // second at 8 by 16 + 1 = 17 in 9 ns. Counted by hand.
        let mut supply = Supply::default();
        supply.begin();
        let spans: Vec<_> =
            [(0, 2), (6, 8), (10, 12), (16, 18)].into_iter().map(|(from, to)| supply.given(from, to, 3)).collect();
        assert_eq!(spans, [None, Some(7), Some(9), Some(9)]);
    }
}
