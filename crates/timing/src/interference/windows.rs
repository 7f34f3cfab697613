//! How many windows of a frame that repeats for ever are met by a span.

use crate::supply::Interval;

/// Windows that begin inside the frame and may end in the next one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Windows {
    frame_ns: u64,
    /// Sorted, in ns from the frame's begin.
    starts_ns: Vec<u64>,
    /// Sorted, in ns from the begin of the frame that they are in.
    ends_ns: Vec<u64>,
    /// How many end in the frame after the one that they begin in.
    across: u64,
}

impl Windows {
    /// Windows that begin inside the frame; one that is longer than the frame counts as long as the frame. None where one
    /// begins past its end, or the frame has no length.
    pub fn new(frame_ns: u64, windows: &[Interval]) -> Option<Self> {
        let sound = |window: &Interval| window.start_ns < frame_ns && window.start_ns <= window.end_ns;
        if frame_ns == 0 || !windows.iter().all(sound) {
            return None;
        }
        let ends = windows.iter().map(|window| window.end_ns.min(window.start_ns + frame_ns));
        let across = ends.clone().filter(|&end_ns| end_ns >= frame_ns).count() as u64;
        let mut ends_ns: Vec<_> = ends.map(|end_ns| end_ns % frame_ns).collect();
        let mut starts_ns: Vec<_> = windows.iter().map(|window| window.start_ns).collect();
        starts_ns.sort_unstable();
        ends_ns.sort_unstable();
        Some(Self { frame_ns, starts_ns, ends_ns, across })
    }

    /// How many have an instant in `[from, to)`.
    pub fn met(&self, from_ns: u64, to_ns: u64) -> u64 {
        if to_ns <= from_ns {
            return 0;
        }
        // Counted from a frame earlier, so that those that have begun before the first frame are there.
        let begun = self.begun_before(to_ns.saturating_add(self.frame_ns));
        begun.saturating_sub(self.ended_by(from_ns.saturating_add(self.frame_ns)))
    }

    fn begun_before(&self, instant_ns: u64) -> u64 {
        let within = self.starts_ns.partition_point(|&start_ns| start_ns < instant_ns % self.frame_ns) as u64;
        (instant_ns / self.frame_ns).saturating_mul(self.starts_ns.len() as u64).saturating_add(within)
    }

    fn ended_by(&self, instant_ns: u64) -> u64 {
        let within = self.ends_ns.partition_point(|&end_ns| end_ns <= instant_ns % self.frame_ns) as u64;
        let whole = (instant_ns / self.frame_ns).saturating_mul(self.ends_ns.len() as u64);
        whole.saturating_add(within).saturating_sub(self.across)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn as_many_are_met_as_counting_every_instant_finds() {
        let listed = [(8, 13), (2, 4), (4, 5), (6, 10), (9, 19)];
        let intervals = listed.map(|(start_ns, end_ns)| Interval { start_ns, end_ns });
        let windows = Windows::new(10, &intervals).expect("windows of the frame");
        for from in 0..25 {
            for to in from..45 {
                let has = |&(start, end): &(i64, i64)| start < to && end > from && from < to;
                let all = listed.iter().flat_map(|&(start, end)| {
                    (-1..6).map(move |frame| (start as i64 + 10 * frame, end as i64 + 10 * frame))
                });
                let counted = all.filter(has).count() as u64;
                assert_eq!(windows.met(from as u64, to as u64), counted, "[{from}, {to})");
            }
        }
    }

    #[test]
    fn no_window_begins_past_the_frame() {
        assert_eq!(Windows::new(10, &[Interval { start_ns: 10, end_ns: 12 }]), None);
        assert_eq!(Windows::new(0, &[]), None);
    }
}
