//! Which instants can begin a worst busy window.

use super::Supply;

/// Comparisons of supply curves after which no further start is dropped: keeping one costs time only.
const COMPARISON_BUDGET: usize = 1 << 22;

/// A window end from which a busy window may be worst.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BusyStart {
    pub(crate) at_ns: i64,
    /// Supply in `[0, at)`.
    pub(super) supplied_ns: i64,
    /// The first window that ends after the start, counted on over frames.
    pub(super) next: usize,
}

impl BusyStart {
    /// The begin of the frame.
    pub(crate) const FRAME_BEGIN: Self = Self { at_ns: 0, supplied_ns: 0, next: 0 };

    /// The instant, in ns from the frame's begin.
    pub fn at_ns(&self) -> u64 {
        self.at_ns as u64
    }
}

/// All window ends without the dominated ones: an end is dominated where another end's supply is
/// never greater, so that every amount of work finishes no later from it.
pub(super) fn worst_starts(supply: &Supply) -> Vec<BusyStart> {
    let all = window_ends(supply);
    let mut kept: Vec<bool> = vec![true; all.len()];
    let mut budget = COMPARISON_BUDGET;
    for a in 0..all.len() {
        let undercut = (0..all.len()).filter(|&b| b != a && kept[b]).any(|b| {
            budget = budget.saturating_sub(supply.windows.len());
            // Of two equal curves the earlier one stays.
            budget > 0 && never_above(supply, all[b], all[a]) && (b < a || !never_above(supply, all[a], all[b]))
        });
        kept[a] = !undercut;
    }
    all.into_iter().zip(kept).filter_map(|(start, keep)| keep.then_some(start)).collect()
}

fn window_ends(supply: &Supply) -> Vec<BusyStart> {
    let first_frame = supply.edges[..windows_before_repeat(supply)].iter().enumerate();
    let mut ends: Vec<BusyStart> = first_frame
        .map(|(k, edge)| BusyStart { at_ns: edge.end_ns, supplied_ns: edge.supplied_ns, next: k + 1 })
        .collect();
    if continues_across_frame_end(supply) {
        ends.pop();
    }
    if ends.is_empty() {
        ends.push(BusyStart::FRAME_BEGIN);
    }
    ends
}

/// The number of windows after which the table repeats itself within the frame. From a later window's end everything is as
/// from its twin's among these, and a long frame of short periods would otherwise have thousands of equal starts.
fn windows_before_repeat(supply: &Supply) -> usize {
    let windows = &supply.windows;
    let repeats = |&count: &usize| {
        let rounds = (windows.len() / count) as u64;
        let shift_ns = supply.frame_ns() / rounds;
        let twins = || windows.iter().zip(&windows[count..]);
        windows.len().is_multiple_of(count)
            && supply.frame_ns().is_multiple_of(rounds)
            && twins().all(|(a, b)| b.start_ns - a.start_ns == shift_ns && b.end_ns - a.end_ns == shift_ns)
    };
    (1..=windows.len() / 2).find(repeats).unwrap_or(windows.len())
}

fn continues_across_frame_end(supply: &Supply) -> bool {
    match (supply.windows.first(), supply.windows.last()) {
        (Some(first), Some(last)) => first.start_ns == 0 && last.end_ns == supply.frame_ns(),
        _ => false,
    }
}

/// Whether the supply from `low` is nowhere above the supply from `high`. The difference of two
/// curves of slope 0 or 1 is least where `low` stops supplying or `high` starts to.
fn never_above(supply: &Supply, low: BusyStart, high: BusyStart) -> bool {
    let count = supply.windows.len();
    let holds = |instant_ns: i64, from: BusyStart| {
        let span_ns = (instant_ns - from.at_ns) as u64;
        supply.supply_ns(low.at_ns(), span_ns) <= supply.supply_ns(high.at_ns(), span_ns)
    };
    let one_frame = |from: BusyStart| &supply.edges[from.next..from.next + count];
    one_frame(low).iter().all(|edge| holds(edge.end_ns, low))
        && one_frame(high).iter().all(|edge| holds(edge.start_ns.max(high.at_ns), high))
}
