//! What breaks first: how far each execution time, partition and overhead may still grow.

use claim::{Kind, Verdict};

/// How much one thing may grow alone before a deadline is missed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Headroom<'v> {
    /// The verdict that says so: the response time of a task, or the margin of a partition or an overhead.
    pub verdict: &'v Verdict,
    /// The growth left, in parts per million of the present value, rounded down; below zero where it must shrink.
    pub ppm: i64,
}

impl Headroom<'_> {
    /// What grows: a task, a partition, or an overhead.
    pub fn what(&self) -> &'static str {
        match self.verdict.kind {
            Kind::Response => "task",
            _ if self.verdict.id.starts_with(OVERHEAD) => "overhead",
            _ => "partition",
        }
    }
}

const PARTITION: &str = "margin/partition/";
const OVERHEAD: &str = "margin/overhead/";
/// The factor of a partition whose times are as they are.
const UNCHANGED_PPM: u64 = 1_000_000;

/// Everything whose growth is known, the least headroom first; equals in canonical order.
pub(crate) fn what_breaks_first(verdicts: &[Verdict]) -> Vec<Headroom<'_>> {
    let mut ranked: Vec<_> = verdicts.iter().filter_map(headroom).collect();
    ranked.sort_by_key(|headroom| headroom.ppm);
    ranked
}

fn headroom(verdict: &Verdict) -> Option<Headroom<'_>> {
    let (largest, present) = growth(verdict)?;
    Some(Headroom { verdict, ppm: growth_ppm(largest, present)? })
}

/// The largest value that still holds and the present one.
fn growth(verdict: &Verdict) -> Option<(u64, u64)> {
    if let Some(growth) = verdict.growth {
        return Some((growth.largest_charged_ns, growth.charged_ns));
    }
    if verdict.id.starts_with(PARTITION) {
        return Some((verdict.bound?, UNCHANGED_PPM));
    }
    verdict.id.starts_with(OVERHEAD).then_some((verdict.bound?, verdict.limit?))
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
