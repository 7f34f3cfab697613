//! The worst begin of a busy window, found by halving intervals of begins.

use super::busy::{Busy, From, Latest};
use super::{Bus, Presence};
use crate::supply::Supply;
use std::collections::BinaryHeap;

/// An interval of begins and the latest response from any of them.
#[derive(Clone, Copy, PartialEq, Eq)]
struct Open {
    latest: Latest,
    from: From,
}

/// Later responses first; among equal ones the earlier begin, so that the same input gives the same answer.
impl Ord for Open {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        let key = |open: &Self| (open.latest.response_ns, std::cmp::Reverse(open.from.latest_ns), open.from.width_ns());
        key(self).cmp(&key(other))
    }
}

impl PartialOrd for Open {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

/// The latest response from any begin in any of `begins`: halves the interval that promises the latest one until that is the
/// response from its last instant, the interval is 1 ns, or `halvings` are used up. None where some busy window passes the limits
/// of `busy`.
pub(super) fn latest_of(busy: &mut Busy<'_>, begins: &[From], mut halvings: u32) -> Option<Latest> {
    let mut open = BinaryHeap::new();
    for &from in begins {
        open.push(Open { latest: busy.latest(from)?, from });
    }
    loop {
        let first = *open.peek()?;
        if first.from.width_ns() <= 1 || halvings == 0 {
            return Some(first.latest);
        }
        let attained = busy.latest(From::only(first.from.latest_ns))?;
        if attained.response_ns == first.latest.response_ns {
            return Some(attained);
        }
        halvings -= 1;
        open.pop();
        let middle_ns = first.from.earliest_ns + first.from.width_ns() / 2;
        for from in [From { latest_ns: middle_ns, ..first.from }, From { earliest_ns: middle_ns, ..first.from }] {
            open.push(Open { latest: busy.latest(from)?, from });
        }
    }
}

/// Every interval of begins that can be worst, in a frame or in the first of its equal parts.
///
/// From an instant without usable time the begin can be moved back to where that time ended: more is asked for, and no
/// more supplied. The same holds, towards the next edge of any curve, where nothing of another master counts. So only the ends of
/// usable windows, and intervals over which some curve rises, are left.
pub(super) fn begins(supply: &Supply, bus: &Bus) -> Vec<From> {
    let curves: Vec<_> = bus.curves().collect();
    let part_ns = supply.frame_ns() / equal_parts(supply, bus);
    let mut edges_ns: Vec<u64> = curves
        .iter()
        .flat_map(|curve| curve.intervals())
        .flat_map(|interval| [interval.start_ns, interval.end_ns])
        .chain(supply.windows().iter().flat_map(|window| [window.start_ns, window.end_ns]))
        .filter(|&edge_ns| edge_ns <= part_ns)
        .collect();
    edges_ns.sort_unstable();
    edges_ns.dedup();
    let rises = |from: From| curves.iter().any(|curve| curve.between_ns(from.earliest_ns, from.latest_ns) > 0);
    let between = edges_ns.windows(2).map(|pair| From { earliest_ns: pair[0], latest_ns: pair[1] });
    let rising = between.filter(|&from| rises(from));
    let ends = supply.windows().iter().map(|window| From::only(window.end_ns));
    let mut begins: Vec<_> = rising.chain(ends.filter(|end| end.latest_ns <= part_ns)).collect();
    if begins.is_empty() {
        begins.push(From::only(0));
    }
    begins
}

/// Into how many equal parts the frame falls, for the own partition and everyone else.
fn equal_parts(supply: &Supply, bus: &Bus) -> u64 {
    let mut parts = supply.windows().len() as u64;
    let curves: Vec<_> = bus.curves().collect();
    let own = super::Curve::new(supply.frame_ns(), supply.windows().iter().copied());
    let fits = |parts: u64| {
        own.as_ref().is_some_and(|own| own.repeats(parts)) && curves.iter().all(|curve| curve.repeats(parts))
    };
    while parts > 1 && !fits(parts) {
        parts -= 1;
    }
    parts.max(1)
}

impl Bus {
    fn curves(&self) -> impl Iterator<Item = &super::Curve> {
        let residents = self.masters.iter().flat_map(|master| match &master.presence {
            Presence::Always => &[][..],
            Presence::Windows(residents) => residents,
        });
        residents.map(|resident| &resident.overlap)
    }
}
