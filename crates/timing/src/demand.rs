//! The demand of a level of tasks against the supply of a frame, exactly.
//!
//! Computes: whether the sum of `C' / T` is below, equal to or above `Q / M`, and by how much a
//! frame's demand passes its supply.
//! Source: the necessary condition of every busy window's end; Liu & Layland 1973 for the sum.
//! Assumptions: none beyond the supply's and the tasks' own.
//! Symbols: `C'`, `T` of a task, `M` frame, `Q` usable supply of a frame, all in ns.
//! Invariants and why it ends: one pass over the tasks; the fast sum encloses the exact one between
//! two fixed-point sums, and only where these cannot tell is the exact fraction formed.
//! Differs from the source: exact rationals instead of a rounded utilisation.
//! Checked by: tests below against fractions worked by hand; the vessel's seeded findings.

use crate::supply::Supply;
use crate::task_set::TaskSet;
use num_bigint::BigUint;
use num_integer::Integer;
use quantity::Duration;
use std::ops::Range;

/// By how much a level's demand passes the supply of one frame: an exact fraction of ns, in lowest terms.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shortfall {
    numerator_ns: BigUint,
    denominator: BigUint,
}

impl Shortfall {
    /// The whole ns that would have to be added to a frame's supply, saturating at `u64::MAX`.
    pub fn ceil_ns(&self) -> u64 {
        u64::try_from(self.numerator_ns.div_ceil(&self.denominator)).unwrap_or(u64::MAX)
    }
}

impl std::fmt::Display for Shortfall {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match u64::try_from(&self.numerator_ns) {
            Ok(whole) if self.denominator == BigUint::from(1u8) => Duration::from_ns(whole).fmt(f),
            _ if self.denominator == BigUint::from(1u8) => write!(f, "{} ns", self.numerator_ns),
            _ => write!(f, "{}/{} ns", self.numerator_ns, self.denominator),
        }
    }
}

/// By how much the demand of the tasks of `level` passes the supply; none where it does not.
pub(crate) fn shortfall(supply: &Supply, tasks: &TaskSet, level: Range<usize>) -> Option<Shortfall> {
    shortfall_of(&PerFrame { supplied_ns: supply.per_frame_ns(), frame_ns: supply.frame_ns() }, tasks, level)
}

/// What is supplied in every frame, on one core or several.
pub(crate) struct PerFrame {
    pub(crate) supplied_ns: u64,
    pub(crate) frame_ns: u64,
}

/// The same against a supply of which only that is known.
pub(crate) fn shortfall_of(supply: &PerFrame, tasks: &TaskSet, level: Range<usize>) -> Option<Shortfall> {
    if surely_borne(supply, tasks, level.clone()) {
        return None;
    }
    let (demand, denominator) = demand_per_frame(supply, tasks, level);
    let supplied = &denominator * supply.supplied_ns;
    if demand <= supplied {
        return None;
    }
    let excess = demand - supplied;
    let common = excess.gcd(&denominator);
    Some(Shortfall { numerator_ns: excess / &common, denominator: denominator / common })
}

/// Whether already the demand rounded up stays within the supply rounded down.
fn surely_borne(supply: &PerFrame, tasks: &TaskSet, level: Range<usize>) -> bool {
    let rounded_up = |k: usize| enclose(tasks.charged_ns[k] as u128, tasks.period_ns[k] as u128).1;
    let greatest = level.map(rounded_up).fold(0, u128::saturating_add);
    greatest <= enclose(u128::from(supply.supplied_ns), u128::from(supply.frame_ns)).0
}

/// Bounds of `numerator / denominator * 2^64` from below and above; both fit below 2^53.
pub(crate) fn enclose(numerator: u128, denominator: u128) -> (u128, u128) {
    let scaled = numerator << 64;
    (scaled / denominator, scaled.div_ceil(denominator))
}

/// The sum of `C' M / T` as numerator and denominator, in ns per frame.
fn demand_per_frame(supply: &PerFrame, tasks: &TaskSet, level: Range<usize>) -> (BigUint, BigUint) {
    let mut demand = BigUint::from(0u8);
    let mut denominator = BigUint::from(1u8);
    for k in level {
        let period = BigUint::from(tasks.period_ns[k] as u64);
        let common = denominator.lcm(&period);
        demand = demand * (&common / &denominator) + (&common / period) * (tasks.charged_ns[k] as u64);
        denominator = common;
    }
    (demand * supply.frame_ns, denominator)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::supply::Interval;
    use crate::task_set::{Release, Task};

    fn excess_of(tasks: &[(u64, u64)], usable_ns: u64, frame_ns: u64) -> Option<String> {
        let task = |&(charged_ns, period_ns)| Task {
            priority: 0,
            period_ns,
            deadline_ns: period_ns,
            charged_ns,
            jitter_ns: 0,
            blocking_ns: 0,
            release: Release::FreeRunning,
        };
        let set = TaskSet::new(&tasks.iter().map(task).collect::<Vec<_>>()).expect("well-formed tasks");
        let supply = Supply::new(frame_ns, &[Interval { start_ns: 0, end_ns: usable_ns }]).expect("a table");
        shortfall(&supply, &set, 0..set.len()).map(|excess| excess.to_string())
    }

    #[test]
    fn exactly_full_is_borne_and_one_tick_over_is_not() {
        assert_eq!(excess_of(&[(1, 3), (1, 3), (1, 3)], 9, 9), None, "thirds add up to the whole");
        assert_eq!(excess_of(&[(1, 3), (1, 6)], 5, 10), None);
        assert_eq!(excess_of(&[(1, 3), (1, 6)], 4, 10).as_deref(), Some("1 ns"));
        assert_eq!(excess_of(&[(1, 3)], 3, 10).as_deref(), Some("1/3 ns"));
    }

    #[test]
    fn differences_below_the_fixed_point_are_seen() {
        // 1/p + 1/(p + 2) against 2/(p + 1) = 2 (p + 1) / (p + 1)^2: the sum is greater by 2 / (p (p + 1) (p + 2)).
        let p = 94_906_263;
        let excess = excess_of(&[(1, p), (1, p + 2)], 2, p + 1);
        assert_eq!(excess, Some(format!("2/{} ns", u128::from(p) * u128::from(p + 2))));
    }

    #[test]
    fn whole_ns_are_rounded_up() {
        let excess = Shortfall { numerator_ns: BigUint::from(7u8), denominator: BigUint::from(2u8) };
        assert_eq!(excess.ceil_ns(), 4);
        let huge = Shortfall { numerator_ns: BigUint::from(1u8) << 80, denominator: BigUint::from(1u8) };
        assert_eq!(huge.ceil_ns(), u64::MAX);
    }
}
