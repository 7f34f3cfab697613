//! From reset to work: stages of the boot, and initialisation in a partition's own windows.
//!
//! Computes: when the last boot stage ends and which stages that end waits for; when work at top priority that begins
//! at an instant of the first frame is done; the longest and the shortest span of such work from any instant.
//! Source: longest path in a graph without circles: common practice, no source; inverse supply: `crate::supply`.
//! Assumptions: stages that do not wait for each other run side by side; nothing goes before initialisation.
//! Symbols: times in ns.
//! Invariants and why it ends: a stage is taken once, after the last one that it waits for; every inverse is one search.
//! Differs from the source: nothing.
//! Checked by: boundary tables below, tick-by-tick runs in `tests/recovery.rs`, the survey vessel.

use crate::supply::Supply;
use std::collections::BTreeSet;

/// A stage of the boot.
#[derive(Clone, Debug)]
pub struct Stage {
    /// How long it takes, in ns.
    pub length_ns: u64,
    /// The stages that must have ended before: indices into the list that holds it.
    pub after: Vec<usize>,
}

/// The stages that the end of the boot waits for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CriticalPath {
    /// Indices of stages in the order in which they run, each beginning when the one before ends.
    pub stages: Vec<usize>,
    /// When the last one ends, in ns from reset.
    pub end_ns: u64,
}

/// The critical path of `stages`; none where they wait for each other in a circle, for one that is not there, or
/// their times pass `u64`. Without any stage the boot ends at reset.
pub fn critical_path(stages: &[Stage]) -> Option<CriticalPath> {
    let order = in_order(stages)?;
    let mut ends_ns = vec![0u64; stages.len()];
    let mut waits_for = vec![None; stages.len()];
    for stage in order {
        let before = stages[stage].after.iter().copied();
        // Of equal ends the one named first.
        let last = before.reduce(|last, other| if ends_ns[other] > ends_ns[last] { other } else { last });
        let begin_ns = last.map_or(0, |last| ends_ns[last]);
        ends_ns[stage] = begin_ns.checked_add(stages[stage].length_ns)?;
        waits_for[stage] = last;
    }
    let waited_for: BTreeSet<_> = stages.iter().flat_map(|stage| &stage.after).collect();
    let ends = (0..stages.len()).filter(|stage| !waited_for.contains(stage));
    let last = ends.reduce(|last, other| if ends_ns[other] > ends_ns[last] { other } else { last });
    let end_ns = last.map_or(0, |last| ends_ns[last]);
    let mut path: Vec<_> = std::iter::successors(last, |&stage| waits_for[stage]).collect();
    path.reverse();
    assert_eq!(path.iter().map(|&stage| stages[stage].length_ns).sum::<u64>(), end_ns, "no gap on the critical path");
    Some(CriticalPath { stages: path, end_ns })
}

/// The stages such that each comes after all that it waits for; none where that cannot be.
fn in_order(stages: &[Stage]) -> Option<Vec<usize>> {
    let mut open: Vec<usize> = stages.iter().map(|stage| stage.after.len()).collect();
    let mut waiting = vec![Vec::new(); stages.len()];
    for (stage, before) in stages.iter().enumerate().flat_map(|(k, stage)| stage.after.iter().map(move |&b| (k, b))) {
        waiting.get_mut(before)?.push(stage);
    }
    let mut order: Vec<usize> = (0..stages.len()).filter(|&stage| open[stage] == 0).collect();
    let mut taken = 0;
    while let Some(&stage) = order.get(taken) {
        taken += 1;
        for &next in &waiting[stage] {
            open[next] -= 1;
            if open[next] == 0 {
                order.push(next);
            }
        }
    }
    (order.len() == stages.len()).then_some(order)
}

/// When `work_ns` at top priority is done that begins at `from_ns` of the very first frame, or of the first one after
/// a change of schedule: an instant in ns from that frame's begin. None where the supply never gives it.
pub fn done_from_frame_begin_ns(supply: &Supply, from_ns: u64, work_ns: u64) -> Option<u64> {
    if work_ns == 0 {
        return Some(from_ns);
    }
    let lost_ns = supply.boot_loss_ns() - supply.supplied_before_ns(from_ns.min(supply.boot_ns()));
    from_ns.checked_add(supply.span_for_ns(from_ns, work_ns.checked_add(lost_ns)?)?)
}

/// An instant from which work takes the longest, and how long, in ns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LongestSpan {
    /// The instant in the frame.
    pub from_ns: u64,
    /// From there until the work is done.
    pub span_ns: u64,
}

/// The longest span of `work_ns` at top priority from any instant at which the partition has run before, so that heads
/// of the first frame are paid; none where the supply never gives it.
pub fn longest_span(supply: &Supply, work_ns: u64) -> Option<LongestSpan> {
    let spans = supply.busy_starts().iter().map(|start| {
        let from_ns = start.at_ns();
        Some(LongestSpan { from_ns, span_ns: supply.span_for_ns(from_ns, work_ns)? })
    });
    // Of equal ones the first.
    let later = |a: LongestSpan, b: LongestSpan| if b.span_ns > a.span_ns { b } else { a };
    spans.collect::<Option<Vec<_>>>()?.into_iter().reduce(later)
}

/// The shortest span of `work_ns` at top priority from any instant: it begins with some window, where no supply is
/// waited for. None where the supply never gives it.
pub fn shortest_span_ns(supply: &Supply, work_ns: u64) -> Option<u64> {
    if work_ns == 0 {
        return Some(0);
    }
    supply.windows().iter().filter_map(|window| supply.span_for_ns(window.start_ns, work_ns)).min()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::supply::Interval;

    fn stage(length_ns: u64, after: &[usize]) -> Stage {
        Stage { length_ns, after: after.to_vec() }
    }

    fn path(stages: &[Stage]) -> Option<(Vec<usize>, u64)> {
        critical_path(stages).map(|path| (path.stages, path.end_ns))
    }

    /// Worked out by hand.
    #[test]
    fn the_last_end_waits_for_its_critical_path() {
        assert_eq!(path(&[]), Some((vec![], 0)));
        assert_eq!(path(&[stage(5, &[])]), Some((vec![0], 5)));
        assert_eq!(
            path(&[stage(5, &[]), stage(0, &[0]), stage(2, &[1])]),
            Some((vec![0, 1, 2], 7)),
            "one takes nothing"
        );
        assert_eq!(path(&[stage(5, &[]), stage(7, &[])]), Some((vec![1], 7)), "side by side");
        assert_eq!(path(&[stage(1, &[1, 2]), stage(3, &[]), stage(4, &[])]), Some((vec![2, 0], 5)), "both must end");
        assert_eq!(path(&[stage(3, &[]), stage(3, &[]), stage(1, &[1, 0])]), Some((vec![1, 2], 4)), "equal ends");
    }

    #[test]
    fn stages_that_cannot_be_ordered_have_no_path() {
        assert_eq!(path(&[stage(1, &[1]), stage(1, &[0])]), None);
        assert_eq!(path(&[stage(1, &[0])]), None);
        assert_eq!(path(&[stage(1, &[7])]), None);
        assert_eq!(path(&[stage(u64::MAX, &[]), stage(1, &[0])]), None);
    }

    fn supply(frame_ns: u64, windows: &[(u64, u64)]) -> Supply {
        let usable = windows.iter().map(|&(start_ns, end_ns)| Interval { start_ns, end_ns });
        Supply::new(frame_ns, &usable.collect::<Vec<_>>()).expect("windows apart")
    }

    /// Usable `[2, 5)` and `[7, 9)` of every 10.
    #[test]
    fn work_from_the_first_frame_ends_inside_a_window_or_with_it() {
        let supply = supply(10, &[(2, 5), (7, 9)]);
        for (from_ns, work_ns, done_ns) in
            [(0, 0, 0), (0, 1, 3), (0, 3, 5), (0, 4, 8), (0, 5, 9), (0, 6, 13), (5, 2, 9), (4, 1, 5), (6, 0, 6)]
        {
            let found = done_from_frame_begin_ns(&supply, from_ns, work_ns);
            assert_eq!(found, Some(done_ns), "{work_ns} from {from_ns}");
        }
    }

    /// Usable `[0, 3)` of every 10, but the first two of the first frame go to the head.
    #[test]
    fn the_head_of_the_first_frame_is_waited_for() {
        let supply = supply(10, &[(0, 3)]).with_boot_until(2);
        for (from_ns, work_ns, done_ns) in [(0, 1, 3), (1, 1, 3), (2, 1, 3), (0, 2, 11), (3, 1, 11), (12, 1, 13)] {
            assert_eq!(done_from_frame_begin_ns(&supply, from_ns, work_ns), Some(done_ns), "{work_ns} from {from_ns}");
        }
        let around = self::supply(10, &[(0, 3), (8, 10)]).with_boot_until(2);
        assert_eq!(done_from_frame_begin_ns(&around, 0, 2), Some(9));
        assert_eq!(longest_span(&around, 2), Some(LongestSpan { from_ns: 3, span_ns: 7 }), "once it has run");
    }

    #[test]
    fn spans_from_the_worst_and_the_best_instant() {
        let table = supply(10, &[(2, 5), (7, 9)]);
        assert_eq!(longest_span(&table, 1), Some(LongestSpan { from_ns: 9, span_ns: 4 }));
        assert_eq!(longest_span(&table, 3), Some(LongestSpan { from_ns: 5, span_ns: 8 }), "to the next window's first");
        assert_eq!(shortest_span_ns(&table, 3), Some(3));
        assert_eq!(shortest_span_ns(&table, 4), Some(6));
        assert_eq!((longest_span(&table, 0).map(|s| s.span_ns), shortest_span_ns(&table, 0)), (Some(0), Some(0)));
        let none = supply(10, &[]);
        assert_eq!((longest_span(&none, 1), shortest_span_ns(&none, 1)), (None, None));
    }
}
