//! The worst begin of a busy window, found by halving intervals of begins.

use super::busy::{Busy, From, Latest};
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
