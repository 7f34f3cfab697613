//! What breaks first: how far each execution time, partition and overhead may still grow.

use crate::show::count;
use claim::{Kind, Verdict};

/// How much one thing may grow alone before a deadline is missed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Headroom<'v> {
    /// The verdict that says so: the response time of a task, or the margin of a partition or an overhead.
    pub verdict: &'v Verdict,
    /// What grows.
    pub grows: Grows,
    /// The growth left, in parts per million of the present value, rounded down; below zero where it must shrink.
    pub ppm: i64,
}

/// What may grow.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Grows {
    /// The execution time of one task.
    Task,
    /// All execution times of one partition together.
    Partition,
    /// A number of the platform sheet or of the board.
    Overhead,
}

impl Grows {
    const ALL: [Self; 3] = [Self::Task, Self::Partition, Self::Overhead];

    /// The word for people: `task`, `partition`, `overhead`.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Task => "task",
            Self::Partition => "partition",
            Self::Overhead => "overhead",
        }
    }

    /// What grows in a verdict about growth; none where it is about something else.
    fn of(verdict: &Verdict) -> Option<Self> {
        match verdict.kind {
            Kind::Response => Some(Self::Task),
            Kind::Margin if verdict.id.starts_with("margin/partition/") => Some(Self::Partition),
            Kind::Margin if verdict.id.starts_with("margin/overhead/") => Some(Self::Overhead),
            _ => None,
        }
    }

    /// The largest value that still holds and the present one.
    fn values(self, verdict: &Verdict) -> Option<(u64, u64)> {
        match self {
            Self::Task => verdict.growth.map(|growth| (growth.largest_charged_ns, growth.charged_ns)),
            Self::Partition => Some((verdict.bound?, UNCHANGED_PPM)),
            Self::Overhead => Some((verdict.bound?, verdict.limit?)),
        }
    }
}

/// The factor of a partition whose times are as they are.
const UNCHANGED_PPM: u64 = 1_000_000;

/// Everything whose growth is known, the least headroom first; equals in canonical order.
pub(crate) fn what_breaks_first(verdicts: &[Verdict]) -> Vec<Headroom<'_>> {
    let mut ranked: Vec<_> = verdicts.iter().filter_map(headroom).collect();
    ranked.sort_by_key(|headroom| headroom.ppm);
    ranked
}

/// What cannot be ranked, since nothing is known of its growth, in a sentence; none where all is ranked.
pub(crate) fn not_ranked(verdicts: &[Verdict]) -> Option<String> {
    let unknown = |grows: Grows| {
        let open = verdicts.iter().filter(|verdict| Grows::of(verdict) == Some(grows) && headroom(verdict).is_none());
        Some(open.count()).filter(|open| *open > 0).map(|open| count(open, grows.word()))
    };
    let unknown: Vec<_> = Grows::ALL.into_iter().filter_map(unknown).collect();
    let list = unknown.join(", ");
    (!list.is_empty()).then(|| format!("Not ranked, since it is not known how far they may grow: {list}."))
}

fn headroom(verdict: &Verdict) -> Option<Headroom<'_>> {
    let grows = Grows::of(verdict)?;
    let (largest, present) = grows.values(verdict)?;
    Some(Headroom { verdict, grows, ppm: growth_ppm(largest, present)? })
}

/// `largest` above `present` in parts per million of `present`, rounded down; none where nothing is there to grow.
fn growth_ppm(largest: u64, present: u64) -> Option<i64> {
    let more = (i128::from(largest) - i128::from(present)) * 1_000_000;
    let present = Some(i128::from(present)).filter(|present| *present > 0)?;
    Some(i64::try_from(more.div_euclid(present)).unwrap_or(i64::MAX))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headroom_is_rounded_down_on_both_sides_of_zero() {
        assert_eq!(growth_ppm(300_000, 268_000), Some(119_402));
        assert_eq!(growth_ppm(268_000, 268_000), Some(0));
        assert_eq!(growth_ppm(2, 3), Some(-333_334));
        assert_eq!(growth_ppm(0, 7), Some(-1_000_000));
        assert_eq!(growth_ppm(7, 0), None);
        assert_eq!(growth_ppm(u64::MAX, 1), Some(i64::MAX));
    }
}
