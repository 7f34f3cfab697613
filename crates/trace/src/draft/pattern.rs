//! The pattern in which windows come again: so many in each period.

use super::measure::OfWindows;
use super::rhythm::roundest;

/// Windows that come again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Pattern {
    /// After how long.
    pub period_ns: u64,
    /// How many within.
    pub windows: usize,
    /// How long they are together.
    pub budget_ns: u64,
    /// How often it was seen to come again.
    pub samples: u64,
}

/// So often at least it must be seen to come again.
const FEWEST: u64 = 2;
/// Of what a period may vary, as a part of it.
const PART: u64 = 20;
/// Patterns of up to so many windows are looked for.
pub(super) const MOST_WINDOWS: usize = 16;
/// No frame is longer, in nanoseconds.
pub(super) const LONGEST_FRAME_NS: u64 = 10_000_000_000;

/// The shortest pattern that the windows of a partition on a core follow.
pub(super) fn pattern(measured: &OfWindows) -> Option<Pattern> {
    (1..=MOST_WINDOWS).find_map(|windows| {
        let begins = measured.begins.steps(windows);
        let (least, most) = begins.range().filter(|_| begins.samples >= FEWEST)?;
        let (shortest, longest) = measured.lengths.steps(windows).range()?;
        let period_ns = roundest(least, most);
        let budget_ns = roundest(shortest, longest);
        let repeats = most - least <= least / PART && budget_ns > 0 && budget_ns <= period_ns;
        repeats.then_some(Pattern { period_ns, windows, budget_ns, samples: begins.samples })
    })
}

/// The least frame that holds whole periods of all; `None` where it would be longer than [`LONGEST_FRAME_NS`].
pub(super) fn frame(periods: impl Iterator<Item = u64>) -> Option<u64> {
    let mut frame: Option<u64> = None;
    for period in periods {
        frame = Some(common_multiple(frame.unwrap_or(period), period).filter(|frame| *frame <= LONGEST_FRAME_NS)?);
    }
    frame
}

fn common_multiple(a: u64, b: u64) -> Option<u64> {
    let (mut x, mut y) = (a, b);
    while y > 0 {
        (x, y) = (y, x % y);
    }
    (a / x.max(1)).checked_mul(b)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_frame_holds_whole_periods_of_all() {
        let ms = |ms: u64| ms * 1_000_000;
        assert_eq!(frame([ms(10), ms(20), ms(50)].into_iter()), Some(ms(100)));
        assert_eq!(frame([].into_iter()), None);
        assert_eq!(frame([ms(9_999), ms(10)].into_iter()), None);
        assert_eq!(frame([0, 0].into_iter()), Some(0));
    }
}
