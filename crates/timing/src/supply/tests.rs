//! Boundary tables and closed forms of the supply.

use super::*;

fn supply(frame_ns: u64, intervals: &[(u64, u64)]) -> Supply {
    let intervals: Vec<_> = intervals.iter().map(|&(start_ns, end_ns)| Interval { start_ns, end_ns }).collect();
    Supply::new(frame_ns, &intervals).expect("a well-formed table")
}

fn starts(supply: &Supply) -> Vec<u64> {
    supply.busy_starts().iter().map(BusyStart::at_ns).collect()
}

#[test]
fn rejects_what_is_not_a_table() {
    let of = |frame_ns, start_ns, end_ns| Supply::new(frame_ns, &[Interval { start_ns, end_ns }]);
    assert_eq!(of(0, 0, 1), Err(SupplyError::FrameZero));
    assert_eq!(of(1 << 53, 0, 1), Err(SupplyError::FrameTooLong));
    assert_eq!(of(10, 3, 3), Err(SupplyError::Empty(0)));
    assert_eq!(of(10, 4, 3), Err(SupplyError::Empty(0)));
    assert_eq!(of(10, 9, 11), Err(SupplyError::PastFrame(0)));
    assert!(of(10, 9, 10).is_ok());
    let overlapping = [Interval { start_ns: 0, end_ns: 5 }, Interval { start_ns: 4, end_ns: 6 }];
    assert_eq!(Supply::new(10, &overlapping), Err(SupplyError::Unordered(1)));
}

#[test]
fn touching_windows_are_one() {
    let joined = supply(20, &[(2, 5), (5, 9), (12, 13)]);
    assert_eq!(joined.windows(), [Interval { start_ns: 2, end_ns: 9 }, Interval { start_ns: 12, end_ns: 13 }]);
    assert_eq!(joined.per_frame_ns(), 8);
    assert_eq!(joined.blackout_ns(), Some(9));
}

#[test]
fn a_window_across_the_frame_end_starts_no_busy_window_there() {
    let wrapping = supply(20, &[(0, 3), (8, 10), (17, 20)]);
    assert_eq!(starts(&wrapping), [3, 10], "20 is 0, in the middle of a window");
    assert_eq!(wrapping.blackout_ns(), Some(7));
}

#[test]
fn full_supply_starts_anywhere() {
    let full = supply(7, &[(0, 7)]);
    assert_eq!(starts(&full), [0]);
    assert_eq!(full.blackout_ns(), Some(0));
    assert_eq!(full.span_for_ns(3, 1000), Some(1000));
    assert_eq!(full.supply_ns(5, 23), 23);
}

#[test]
fn no_window_is_a_supply_of_nothing() {
    let nothing = supply(7, &[]);
    assert_eq!(nothing.per_frame_ns(), 0);
    assert_eq!(nothing.blackout_ns(), None);
    assert_eq!(nothing.span_for_ns(3, 1), None);
    assert_eq!(nothing.span_for_ns(3, 0), Some(0));
    assert_eq!(nothing.supply_ns(5, 23), 0);
}

#[test]
fn inverse_at_the_edges_of_a_window() {
    let one = supply(10, &[(2, 6)]);
    assert_eq!(one.span_for_ns(6, 1), Some(7), "the first tick of the next window");
    assert_eq!(one.span_for_ns(6, 4), Some(10), "exactly full");
    assert_eq!(one.span_for_ns(6, 5), Some(17), "one tick over");
    assert_eq!(one.span_for_ns(5, 1), Some(1), "the last tick of this window");
    assert_eq!(one.span_for_ns(0, 4), Some(6));
    assert_eq!(one.span_for_ns(0, u64::MAX), None);
}

#[test]
fn supply_of_two_windows_tick_by_tick() {
    let two = supply(12, &[(1, 3), (7, 8)]);
    let served = |instant: u64| [1, 2, 7].contains(&(instant % 12));
    for start in 0..24 {
        for span in 0..40 {
            let ticks = (start..start + span).filter(|&t| served(t)).count() as u64;
            assert_eq!(two.supply_ns(start, span), ticks);
            assert_eq!(two.least_supply_ns(span), (0..12).map(|s| two.supply_ns(s, span)).min().unwrap_or(0));
        }
        for work in 1..20 {
            let span = two.span_for_ns(start, work).expect("there is supply");
            assert_eq!((two.supply_ns(start, span), two.supply_ns(start, span - 1)), (work, work - 1));
        }
    }
}

/// Periodic resource, budget 3 every 5, in its worst placement: 3 at the begin of one period, then at
/// the end of each: closed form `sbf(t) = k Q + max(0, t - 2 (P - Q) - k P)`, `k = floor((t - (P - Q)) / P)`
/// (Shin & Lee, Periodic resource model for compositional real-time guarantees, RTSS 2003; from memory).
/// A table can only repeat, so the first blackout is laid into a long frame and read from its start.
#[test]
fn lower_curve_of_the_periodic_resource() {
    let windows: Vec<_> = (0..8).map(|k| if k == 0 { (0, 3) } else { (5 * k + 2, 5 * k + 5) }).collect();
    let table = supply(40, &windows);
    let closed = [0, 0, 0, 0, 0, 1, 2, 3, 3, 3, 4, 5, 6, 6, 6, 7, 8, 9, 9, 9, 10];
    for (span, expected) in closed.into_iter().enumerate() {
        assert_eq!(table.least_supply_ns(span as u64), expected, "sbf({span})");
    }
}
