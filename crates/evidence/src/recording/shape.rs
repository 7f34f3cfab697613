//! How the values of a sample lie, for drawing: counts in classes of equal width, and how many values reach each level.

use crate::show::round_step;

/// A histogram has at most so many classes.
const MOST_CLASSES: u64 = 60;
/// An exceedance plot has about so many points in each decade.
const POINTS_A_DECADE: usize = 12;
/// One value in so many passes the points of a fitted curve; it begins where a fit does.
pub(super) const CURVE: [u64; 16] =
    [21, 30, 50, 100, 200, 500, 1_000, 2_000, 5_000, 10_000, 20_000, 50_000, 100_000, 200_000, 500_000, 1_000_000];

/// How values lie.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Shape {
    /// Counted in classes.
    pub histogram: Histogram,
    /// Levels in nanoseconds, falling, with the number of values that reach each: one to all of them.
    pub reached: Vec<(u64, u64)>,
    /// The level that one value in so many passes by a fit, in nanoseconds; empty where none was made.
    pub fitted: Vec<(u64, u64)>,
}

/// Values counted in classes of equal width.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Histogram {
    /// Where the first class begins, in nanoseconds.
    pub from_ns: u64,
    /// How wide each is: one, two or five times a power of ten nanoseconds.
    pub width_ns: u64,
    /// How many values each holds; the first and the last hold some.
    pub counts: Vec<u64>,
}

impl Shape {
    /// Of values that ascend.
    pub(super) fn of(sorted: &[u64], fitted: Vec<(u64, u64)>) -> Self {
        Self { histogram: Histogram::of(sorted), reached: reached(sorted), fitted }
    }
}

impl Histogram {
    fn of(sorted: &[u64]) -> Self {
        let (Some(least), Some(most)) = (sorted.first(), sorted.last()) else { return Self::default() };
        let width_ns = round_step(most - least, MOST_CLASSES);
        let class = |value: u64| value / width_ns;
        let classes = usize::try_from(class(*most) - class(*least)).unwrap_or(usize::MAX) + 1;
        let mut counts = vec![0; classes];
        for value in sorted {
            counts[(class(*value) - class(*least)) as usize] += 1;
        }
        Self { from_ns: class(*least) * width_ns, width_ns, counts }
    }
}

/// The largest values one by one, further ones ever more sparsely; of levels that are equal, the last, which most values reach.
fn reached(sorted: &[u64]) -> Vec<(u64, u64)> {
    let mut points: Vec<(u64, u64)> = Vec::new();
    let mut rank = 1;
    while rank <= sorted.len() {
        let level = sorted[sorted.len() - rank];
        let reach = (sorted.len() - sorted.partition_point(|value| *value < level)) as u64;
        if points.last().is_none_or(|(last, _)| *last != level) {
            points.push((level, reach));
        }
        rank += rank / POINTS_A_DECADE + 1;
    }
    points
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn classes_hold_every_value_and_have_round_widths() {
        let values: Vec<u64> = (0..1000).map(|n| 1_000_000 + n * 137).collect();
        let histogram = Histogram::of(&values);
        assert_eq!(histogram.counts.iter().sum::<u64>(), 1000);
        assert_eq!((histogram.from_ns, histogram.width_ns), (1_000_000, 5_000));
        assert!(histogram.counts.len() as u64 <= MOST_CLASSES + 1);
        assert!(histogram.counts[0] > 0 && histogram.counts[histogram.counts.len() - 1] > 0);
        assert_eq!(Histogram::of(&[9]), Histogram { from_ns: 9, width_ns: 1, counts: vec![1] });
        assert_eq!(Histogram::of(&[]), Histogram::default());
    }

    #[test]
    fn values_at_the_ends_of_the_range_are_counted_too() {
        let histogram = Histogram::of(&[0, u64::MAX]);
        assert_eq!(histogram.counts.iter().sum::<u64>(), 2);
    }

    #[test]
    fn a_level_is_reached_by_as_many_values_as_are_no_less() {
        let values = [1, 2, 2, 3, 9, 9];
        assert_eq!(reached(&values), [(9, 2), (3, 3), (2, 5), (1, 6)]);
        let many: Vec<u64> = (1..=100_000).collect();
        let points = reached(&many);
        assert!(points.len() < 150, "{}", points.len());
        assert!(points.iter().all(|(level, reach)| *reach == 100_001 - level));
    }
}
