//! Arrival curves: the least and the greatest span of so many consecutive events.

use super::marks::Marks;
use std::collections::VecDeque;

/// Spans are measured of up to so many consecutive events.
pub const MOST_EVENTS: usize = 17;

/// The spans of consecutive instants, or of a sum that grows.
#[derive(Debug, Clone, Default)]
pub struct Curve {
    /// The latest ones, the last in front.
    recent: VecDeque<u64>,
    /// By how many steps a span has, less one.
    spans: Vec<Marks>,
    /// How many events there are in all.
    pub events: u64,
}

impl Curve {
    /// The next one: not less than the last.
    pub(super) fn push(&mut self, at: u64) {
        self.events += 1;
        self.spans.resize(self.spans.len().max(self.recent.len()), Marks::default());
        for (marks, before) in self.spans.iter_mut().zip(&self.recent) {
            marks.note(at.saturating_sub(*before));
        }
        self.recent.truncate(MOST_EVENTS - 2);
        self.recent.push_front(at);
    }

    /// What comes next does not follow on the last: something between may not have been seen.
    pub(super) fn cut(&mut self) {
        self.recent.clear();
    }

    /// The last one, unless it has been cut off.
    pub(super) fn last(&self) -> Option<u64> {
        self.recent.front().copied()
    }

    /// The steps between the latest ones.
    pub(super) fn recent_steps(&self) -> impl Iterator<Item = u64> {
        self.recent.iter().zip(self.recent.iter().skip(1)).map(|(later, before)| later.saturating_sub(*before))
    }

    /// The spans of so many steps: of so many consecutive events and one more.
    pub fn steps(&self, count: usize) -> Marks {
        count.checked_sub(1).and_then(|index| self.spans.get(index)).copied().unwrap_or_default()
    }

    /// The spans of two, three and more consecutive events, as far as any was seen.
    pub fn spans(&self) -> impl Iterator<Item = (usize, Marks)> {
        (2..).zip(self.spans.iter().copied()).filter(|(_, marks)| marks.samples > 0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spans_are_those_of_consecutive_events_and_never_across_a_cut() {
        let mut curve = Curve::default();
        [0, 10, 25, 30].into_iter().for_each(|at| curve.push(at));
        curve.cut();
        [100, 112].into_iter().for_each(|at| curve.push(at));
        let seen: Vec<_> = curve.spans().map(|(n, marks)| (n, marks.range(), marks.samples)).collect();
        assert_eq!(seen, [(2, Some((5, 15)), 4), (3, Some((20, 25)), 2), (4, Some((30, 30)), 1)]);
        assert_eq!(curve.steps(1).range(), Some((5, 15)));
        assert_eq!(curve.steps(0).range(), None);
    }

    #[test]
    fn a_long_row_of_events_takes_no_more_room() {
        let mut curve = Curve::default();
        (0..10_000).for_each(|at| curve.push(at * 3));
        assert_eq!(curve.spans().map(|(n, _)| n).max(), Some(MOST_EVENTS));
        assert_eq!(curve.steps(MOST_EVENTS - 1).range(), Some((48, 48)));
    }
}
