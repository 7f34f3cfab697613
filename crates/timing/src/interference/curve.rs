//! How much of a periodic set of intervals lies between two instants.

use crate::supply::Interval;

/// Intervals of a frame that repeats for ever, with prefix sums.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Curve {
    frame_ns: u64,
    /// Sorted, apart, inside the frame.
    intervals: Vec<Interval>,
    /// What lies before the end of each interval, in ns.
    until_end_ns: Vec<u64>,
}

impl Curve {
    /// The union of `intervals`, each begun inside the frame and going on past its end, where it does, in the next one.
    /// Nothing begins past the frame's end, and the frame has a length: else there is no curve.
    pub fn new(frame_ns: u64, intervals: impl IntoIterator<Item = Interval>) -> Option<Self> {
        let mut cut = Vec::new();
        for interval in intervals {
            if interval.start_ns >= frame_ns.max(1) || interval.end_ns < interval.start_ns {
                return None;
            }
            cut_at_frame_end(interval, frame_ns, &mut cut);
        }
        (frame_ns > 0).then(|| Self::of_sorted(frame_ns, union(cut)))
    }

    fn of_sorted(frame_ns: u64, intervals: Vec<Interval>) -> Self {
        let mut sum_ns = 0;
        let add = |interval: &Interval| {
            sum_ns += interval.end_ns - interval.start_ns;
            sum_ns
        };
        Self { frame_ns, until_end_ns: intervals.iter().map(add).collect(), intervals }
    }

    /// What lies in both, in frames of the same length.
    pub fn meet(&self, other: &Self) -> Self {
        let mut both = Vec::new();
        let (mut a, mut b) = (0, 0);
        while let (Some(mine), Some(others)) = (self.intervals.get(a), other.intervals.get(b)) {
            let (start_ns, end_ns) = (mine.start_ns.max(others.start_ns), mine.end_ns.min(others.end_ns));
            if start_ns < end_ns {
                both.push(Interval { start_ns, end_ns });
            }
            if mine.end_ns <= others.end_ns {
                a += 1;
            } else {
                b += 1;
            }
        }
        Self::of_sorted(self.frame_ns, both)
    }

    /// What lies before `instant_ns`, in ns.
    pub fn before_ns(&self, instant_ns: u64) -> u64 {
        let Some(per_frame_ns) = self.until_end_ns.last() else { return 0 };
        let (frames, within_ns) = (instant_ns / self.frame_ns, instant_ns % self.frame_ns);
        let at = self.intervals.partition_point(|interval| interval.end_ns <= within_ns);
        let whole_ns = if at == 0 { 0 } else { self.until_end_ns[at - 1] };
        let part_ns = self.intervals.get(at).map_or(0, |interval| within_ns.saturating_sub(interval.start_ns));
        frames.saturating_mul(*per_frame_ns).saturating_add(whole_ns + part_ns)
    }

    /// What lies in `[from, to)`, in ns; nothing where `to` is the earlier.
    pub fn between_ns(&self, from_ns: u64, to_ns: u64) -> u64 {
        self.before_ns(to_ns).saturating_sub(self.before_ns(from_ns))
    }

    /// Length of the frame, in ns.
    pub(super) fn frame_ns(&self) -> u64 {
        self.frame_ns
    }

    /// The intervals of a frame.
    pub fn intervals(&self) -> &[Interval] {
        &self.intervals
    }

    /// Whether the frame is `rounds` times the same.
    pub(super) fn repeats(&self, rounds: u64) -> bool {
        let count = self.intervals.len();
        let Some(per_round) = (count as u64).is_multiple_of(rounds).then(|| count / rounds as usize) else {
            return false;
        };
        let shift_ns = self.frame_ns / rounds;
        let twins = self.intervals.iter().zip(&self.intervals[per_round..]);
        self.frame_ns.is_multiple_of(rounds)
            && twins.into_iter().all(|(a, b)| b.start_ns - a.start_ns == shift_ns && b.end_ns - a.end_ns == shift_ns)
            && self.intervals.iter().all(|interval| interval.start_ns / shift_ns == (interval.end_ns - 1) / shift_ns)
    }
}

fn cut_at_frame_end(interval: Interval, frame_ns: u64, cut: &mut Vec<Interval>) {
    let Interval { start_ns, end_ns } = interval;
    if end_ns - start_ns >= frame_ns {
        cut.push(Interval { start_ns: 0, end_ns: frame_ns });
    } else if end_ns > frame_ns {
        cut.push(Interval { start_ns, end_ns: frame_ns });
        cut.push(Interval { start_ns: 0, end_ns: end_ns - frame_ns });
    } else if start_ns < end_ns {
        cut.push(interval);
    }
}

fn union(mut intervals: Vec<Interval>) -> Vec<Interval> {
    intervals.sort_unstable_by_key(|interval| interval.start_ns);
    let mut apart: Vec<Interval> = Vec::with_capacity(intervals.len());
    for interval in intervals {
        match apart.last_mut() {
            Some(last) if interval.start_ns <= last.end_ns => last.end_ns = last.end_ns.max(interval.end_ns),
            _ => apart.push(interval),
        }
    }
    apart
}

#[cfg(test)]
mod tests {
    use super::*;

    fn curve(frame_ns: u64, intervals: &[(u64, u64)]) -> Curve {
        let intervals = intervals.iter().map(|&(start_ns, end_ns)| Interval { start_ns, end_ns });
        Curve::new(frame_ns, intervals).expect("intervals that begin inside the frame")
    }

    #[test]
    fn prefix_sums_are_those_of_counting_every_instant() {
        let some = curve(10, &[(8, 13), (2, 4), (4, 5)]);
        assert_eq!(some.intervals(), curve(10, &[(0, 5), (8, 10)]).intervals());
        let counted =
            |to: u64| (0..to).filter(|instant| [0, 1, 2, 3, 4, 8, 9].contains(&(instant % 10))).count() as u64;
        for to in 0..40 {
            assert_eq!(some.before_ns(to), counted(to), "before {to}");
            assert_eq!(some.between_ns(7, to), counted(to).saturating_sub(counted(7)), "from 7 to {to}");
        }
        assert_eq!(curve(10, &[]).before_ns(35), 0);
        assert_eq!(curve(10, &[(3, 40)]).before_ns(35), 35);
    }

    #[test]
    fn what_lies_in_both_is_what_each_has() {
        let (a, b) = (curve(20, &[(0, 5), (9, 12)]), curve(20, &[(3, 10), (11, 25)]));
        let both = a.meet(&b);
        let inside = |curve: &Curve, instant: u64| curve.between_ns(instant, instant + 1);
        for instant in 0..20 {
            assert_eq!(inside(&both, instant), inside(&a, instant) * inside(&b, instant), "at {instant}");
        }
    }

    #[test]
    fn a_frame_repeats_only_where_every_interval_does() {
        assert!(curve(20, &[(1, 3), (11, 13)]).repeats(2) && curve(20, &[]).repeats(4));
        assert!(!curve(20, &[(1, 3), (11, 14)]).repeats(2) && !curve(20, &[(1, 3)]).repeats(2));
        assert!(!curve(20, &[(9, 11), (19, 20)]).repeats(2));
    }

    #[test]
    fn nothing_begins_past_the_frame() {
        let past = Interval { start_ns: 10, end_ns: 12 };
        assert_eq!(Curve::new(10, [past]), None);
        assert_eq!(Curve::new(0, []), None);
    }
}
