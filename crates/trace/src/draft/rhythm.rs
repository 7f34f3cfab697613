//! The rhythm of arrivals: a period with its jitter, or the least time between two.
//!
//! Arrival `i` of a period `T` with jitter `J` lies in `[p + i T, p + i T + J]` for some phase `p`. For a period the least
//! jitter is how far the points `(i, arrival)` spread across lines of slope `T`; only corners of their hull count for that, so
//! these are kept and nothing else. The least jitter is convex in `T`: its minimum is found by halving. All of it is exact.

use super::curve::Curve;

/// A hull of more corners is cut, as at a gap.
const MOST_CORNERS: usize = 4096;
/// So many of the longest rows without a gap count.
const MOST_ROWS: usize = 64;
/// So many steps at least tell a rhythm.
const FEWEST_STEPS: u64 = 3;
/// The coarsest step to which a period is rounded, in nanoseconds.
const COARSEST: u64 = 1_000_000_000;

/// What arrivals follow, as far as it was seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rhythm {
    /// A period.
    Periodic {
        /// The period.
        period_ns: u64,
        /// The step to which it is rounded.
        step_ns: u64,
        /// How far arrivals spread about it.
        jitter_ns: u64,
        /// How many steps between two arrivals were seen.
        steps: u64,
        /// How many of these were longer than one and a half of those before, and do not count.
        pauses: u64,
    },
    /// None; no two arrivals come closer than this.
    Sporadic {
        /// The least time between two.
        least_ns: u64,
        /// How many steps were seen.
        steps: u64,
    },
    /// Two arrivals came at the same instant.
    Bursts,
    /// Too few were seen to tell.
    TooFew {
        /// How many steps were seen.
        steps: u64,
    },
}

/// Arrivals of one task, or of anything else that comes again.
#[derive(Debug, Clone, Default)]
pub struct Arrivals {
    /// Their curve.
    pub curve: Curve,
    row: Row,
    rows: Vec<Row>,
    pauses: u64,
}

impl Arrivals {
    pub(super) fn push(&mut self, at: u64) {
        if self.is_pause(at) {
            self.pauses += 1;
            self.end_row();
        }
        if self.row.corners() > MOST_CORNERS {
            self.end_row();
        }
        self.curve.push(at);
        self.row.push(at);
    }

    pub(super) fn cut(&mut self) {
        self.curve.cut();
        self.end_row();
    }

    /// Whether the step to `at` is longer than one and a half of the middle one of those before it.
    fn is_pause(&self, at: u64) -> bool {
        let Some(last) = self.curve.last() else { return false };
        let mut steps: Vec<u64> = self.curve.recent_steps().collect();
        if (steps.len() as u64) < FEWEST_STEPS {
            return false;
        }
        steps.sort_unstable();
        let middle = steps[steps.len() / 2];
        at.saturating_sub(last) > middle.saturating_add(middle / 2)
    }

    fn end_row(&mut self) {
        let row = std::mem::take(&mut self.row);
        if row.count < 2 {
            return;
        }
        self.rows.push(row);
        if self.rows.len() > MOST_ROWS {
            self.rows.sort_by_key(|row| std::cmp::Reverse(row.count));
            self.rows.truncate(MOST_ROWS);
        }
    }

    /// What they follow.
    pub fn rhythm(&self) -> Rhythm {
        let marks = self.curve.steps(1);
        let steps = marks.samples;
        let Some((least, most)) = marks.range().filter(|_| steps >= FEWEST_STEPS) else {
            return Rhythm::TooFew { steps };
        };
        // Where more than one step in twenty is a pause, there is no rhythm that pauses, but none.
        let has_rhythm = self.pauses.saturating_mul(20) <= steps;
        if let Some((period_ns, step_ns)) = self.period(least, most).filter(|_| has_rhythm)
            && let Some(jitter_ns) = self.jitter(period_ns).filter(|jitter| *jitter <= period_ns / 2)
        {
            return Rhythm::Periodic { period_ns, step_ns, jitter_ns, steps, pauses: self.pauses };
        }
        if least == 0 { Rhythm::Bursts } else { Rhythm::Sporadic { least_ns: least, steps } }
    }

    /// The period, and the step to which it is rounded: the coarsest one under which the jitter is at most twice the least.
    fn period(&self, least: u64, most: u64) -> Option<(u64, u64)> {
        let (mut low, mut high) = (least, most);
        while low < high {
            let middle = low + (high - low) / 2;
            if self.jitter(middle)? <= self.jitter(middle + 1)? {
                high = middle;
            } else {
                low = middle + 1;
            }
        }
        let allowed = self.jitter(low)?.saturating_mul(2);
        let fits = |period: &u64| *period > 0 && self.jitter(*period).is_some_and(|jitter| jitter <= allowed);
        let steps = std::iter::successors(Some(COARSEST), |step| Some(step / 10).filter(|step| *step > 0));
        steps.filter_map(|step| Some((to_step(low, step)?, step))).find(|(period, _)| fits(period))
    }

    /// The least jitter with which every row follows a period; `None` where there is no row, or it passes 64 bits.
    fn jitter(&self, period: u64) -> Option<u64> {
        let rows = self.rows.iter().chain(std::iter::once(&self.row)).filter(|row| row.count >= 2);
        u64::try_from(rows.map(|row| row.width(period)).max()?).ok()
    }
}

/// The multiple of a step that is nearest.
fn to_step(value: u64, step: u64) -> Option<u64> {
    Some(value.checked_add(step / 2)? / step * step)
}

/// The roundest number between two: a multiple of the largest power of ten of which there is one.
pub(super) fn roundest(least: u64, most: u64) -> u64 {
    let steps = std::iter::successors(Some(COARSEST), |step| Some(step / 10).filter(|step| *step > 0));
    steps.map(|step| most / step * step).find(|value| *value >= least && *value > 0).unwrap_or(most)
}

/// Arrivals without a gap between them: the corners of their hull.
#[derive(Debug, Clone, Default)]
struct Row {
    count: u64,
    upper: Vec<(u64, u64)>,
    lower: Vec<(u64, u64)>,
}

impl Row {
    fn push(&mut self, at: u64) {
        let point = (self.count, at);
        self.count += 1;
        add(&mut self.upper, point, |turn| turn >= 0);
        add(&mut self.lower, point, |turn| turn <= 0);
    }

    fn corners(&self) -> usize {
        self.upper.len() + self.lower.len()
    }

    /// How far the points spread across lines of this slope.
    fn width(&self, slope: u64) -> i128 {
        let above = |(index, at): &(u64, u64)| i128::from(*at) - i128::from(*index) * i128::from(slope);
        let highest = self.upper.iter().map(above).max().unwrap_or_default();
        let lowest = self.lower.iter().map(above).min().unwrap_or_default();
        highest - lowest
    }
}

/// Adds a point to one side of a hull; corners at which it would not turn the side's way are none.
fn add(side: &mut Vec<(u64, u64)>, point: (u64, u64), is_none: impl Fn(i128) -> bool) {
    while let [.., before, last] = side.as_slice()
        && is_none(turn(*before, *last, point))
    {
        side.pop();
    }
    side.push(point);
}

/// Above zero where the way over `b` from `a` to `c` turns left.
fn turn(a: (u64, u64), b: (u64, u64), c: (u64, u64)) -> i128 {
    let step = |from: u64, to: u64| i128::from(to) - i128::from(from);
    step(a.0, b.0) * step(a.1, c.1) - step(a.1, b.1) * step(a.0, c.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn arrivals(instants: impl IntoIterator<Item = u64>) -> Arrivals {
        let mut arrivals = Arrivals::default();
        instants.into_iter().for_each(|at| arrivals.push(at));
        arrivals
    }

    #[test]
    fn an_even_row_has_its_period_exactly_and_no_jitter() {
        for (period, step) in [(10_000_000, 10_000_000), (12_345_678, 1), (2_500_000, 100_000)] {
            let seen = arrivals((0..50).map(|i| 777 + i * period)).rhythm();
            let expected = Rhythm::Periodic { period_ns: period, step_ns: step, jitter_ns: 0, steps: 49, pauses: 0 };
            assert_eq!(seen, expected);
        }
    }

    #[test]
    fn a_missing_arrival_is_a_pause_and_changes_no_period() {
        let seen = arrivals((0..60).filter(|i| *i != 31).map(|i| i * 5_000)).rhythm();
        let Rhythm::Periodic { period_ns, jitter_ns, steps, pauses, .. } = seen else { panic!("{seen:?}") };
        assert_eq!((period_ns, jitter_ns, steps, pauses), (5_000, 0, 58, 1));
    }

    #[test]
    fn what_has_no_period_has_a_least_distance_and_what_is_seen_rarely_has_none() {
        let uneven = [0, 10, 45, 57, 100, 190, 201, 260];
        assert_eq!(arrivals(uneven).rhythm(), Rhythm::Sporadic { least_ns: 10, steps: 7 });
        assert_eq!(arrivals([0, 10, 20]).rhythm(), Rhythm::TooFew { steps: 2 });
        assert_eq!(arrivals([]).rhythm(), Rhythm::TooFew { steps: 0 });
        assert_eq!(arrivals([0, 0, 90, 90, 91, 200]).rhythm(), Rhythm::Bursts);
    }

    #[test]
    fn the_roundest_number_lies_between_both() {
        assert_eq!(roundest(9_997_000, 10_004_000), 10_000_000);
        assert_eq!(roundest(123, 123), 123);
        assert_eq!(roundest(2_590, 2_610), 2_600);
    }

    proptest! {
        /// Against the definition: the least spread over all arrivals, for every period there can be, one by one.
        #[test]
        fn the_jitter_is_the_least_there_is(period in 100_u64..200, late in prop::collection::vec(0_u64..20, 4..30)) {
            let instants: Vec<u64> = (0..).zip(&late).map(|(i, late)| i * period + late).collect();
            let seen = arrivals(instants.iter().copied());
            let spread = |slope: u64| {
                let above = (0_i64..).zip(&instants).map(|(i, at)| *at as i64 - i * slope as i64);
                let (low, high) = above.fold((i64::MAX, i64::MIN), |(low, high), v| (low.min(v), high.max(v)));
                (high - low) as u64
            };
            let least = (1..400).map(spread).min().expect("there are some");
            let Rhythm::Periodic { period_ns, jitter_ns, .. } = seen.rhythm() else { panic!("{:?}", seen.rhythm()) };
            prop_assert_eq!(jitter_ns, spread(period_ns));
            prop_assert!(jitter_ns <= 2 * least);
            prop_assert!(jitter_ns >= least);
        }
    }
}
