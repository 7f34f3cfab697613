//! Which of the shown claims are nearest to their limits.

use claim::{Relation, Status, Verdict};
use std::cmp::Ordering;

/// The `n` shown claims with the smallest slack relative to their limits, tightest first; equals in canonical order.
///
/// A limit of zero has no relative slack: such claims hold or do not, and are left out.
pub(crate) fn tightest(verdicts: &[Verdict], n: usize) -> Vec<&Verdict> {
    let mut ranked: Vec<_> = verdicts.iter().filter_map(|v| Some((slack(v)?, v))).collect();
    ranked.sort_by(|a, b| compare(a.0, b.0));
    ranked.into_iter().take(n).map(|(_, verdict)| verdict).collect()
}

/// Slack and limit of a shown claim.
fn slack(verdict: &Verdict) -> Option<(u64, u64)> {
    if verdict.status != Status::Shown {
        return None;
    }
    let (bound, limit) = (verdict.bound?, verdict.limit.filter(|limit| *limit > 0)?);
    let slack = match verdict.relation {
        Relation::AtMost => limit.checked_sub(bound)?,
        Relation::AtLeast => bound.checked_sub(limit)?,
    };
    Some((slack, limit))
}

/// Compares two fractions exactly: both products fit 128 bits.
fn compare(a: (u64, u64), b: (u64, u64)) -> Ordering {
    (u128::from(a.0) * u128::from(b.1)).cmp(&(u128::from(b.0) * u128::from(a.1)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 1/3 against its nearest neighbours with 53-bit terms: closer than binary64 can tell apart.
    #[test]
    fn fractions_compare_exactly() {
        let third = (1, 3);
        assert_eq!(compare((3_000_000_000_000_000, 9_000_000_000_000_000), third), Ordering::Equal);
        assert_eq!(compare((3_000_000_000_000_000, 9_000_000_000_000_001), third), Ordering::Less);
        assert_eq!(compare((3_000_000_000_000_001, 9_000_000_000_000_000), third), Ordering::Greater);
    }
}
