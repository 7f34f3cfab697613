//! The time of a core's frame that no window has yet.

/// A half-open interval in ns: start and end.
pub(crate) type Gap = (u64, u64);

/// What is free in one frame.
#[derive(Debug, Clone)]
pub(crate) struct FreeTime {
    frame_ns: u64,
    /// Sorted, disjoint, none empty.
    gaps: Vec<Gap>,
}

impl FreeTime {
    /// A frame without windows.
    pub(crate) fn whole(frame_ns: u64) -> Self {
        Self { frame_ns, gaps: vec![(0, frame_ns)] }
    }

    /// Takes `[start, end)`; what is taken already stays taken.
    pub(crate) fn take(&mut self, start: u64, end: u64) {
        let first = self.gaps.partition_point(|gap| gap.1 <= start);
        let last = self.gaps.partition_point(|gap| gap.0 < end);
        if first >= last {
            return;
        }
        let rest = [(self.gaps[first].0, start), (end, self.gaps[last - 1].1)];
        self.gaps.splice(first..last, rest.into_iter().filter(|gap| gap.0 < gap.1));
    }

    /// The free parts of `[start, end)`.
    pub(crate) fn within(&self, start: u64, end: u64) -> Vec<Gap> {
        let first = self.gaps.partition_point(|gap| gap.1 <= start);
        let inside = self.gaps[first..].iter().take_while(|gap| gap.0 < end);
        inside.map(|gap| (gap.0.max(start), gap.1.min(end))).collect()
    }

    /// The parts of a period that are free in every period of the frame; `period_ns` divides the frame.
    pub(crate) fn in_every(&self, period_ns: u64) -> Vec<Gap> {
        let mut common = vec![(0, period_ns)];
        for begin in (0..self.frame_ns).step_by(period_ns.max(1) as usize) {
            let here = self.within(begin, begin + period_ns);
            common = intersect(&common, here.iter().map(|gap| (gap.0 - begin, gap.1 - begin)));
        }
        common
    }
}

fn intersect(one: &[Gap], other: impl Iterator<Item = Gap>) -> Vec<Gap> {
    let mut both = Vec::new();
    let mut at = 0;
    for gap in other {
        while at < one.len() && one[at].1 <= gap.0 {
            at += 1;
        }
        let meeting = one[at..].iter().take_while(|o| o.0 < gap.1);
        both.extend(meeting.map(|o| (o.0.max(gap.0), o.1.min(gap.1))));
    }
    both
}

/// As few pieces of the gaps as hold `usable_ns`, each with a head of `head_ns` before its usable part; starts ascend.
/// The first gap that holds all is taken, or else the longest ones, the last piece in the first gap that holds the rest.
pub(crate) fn pieces(gaps: &[Gap], usable_ns: u64, head_ns: u64) -> Option<Vec<Gap>> {
    let mut longest: Vec<Gap> = gaps.iter().copied().filter(|gap| gap.1 - gap.0 > head_ns).collect();
    longest.sort_by_key(|gap| (std::cmp::Reverse(gap.1 - gap.0), gap.0));
    let mut taken = Vec::new();
    let mut missing = usable_ns;
    for gap in &longest {
        let room = gap.1 - gap.0 - head_ns;
        if room < missing {
            missing -= room;
            taken.push(*gap);
            continue;
        }
        let free = longest[taken.len()..].iter().filter(|gap| gap.1 - gap.0 - head_ns >= missing);
        let start = free.map(|gap| gap.0).min()?;
        taken.push((start, start + head_ns + missing));
        taken.sort_unstable();
        return Some(taken);
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_taken_is_free_no_more() {
        let mut free = FreeTime::whole(100);
        free.take(10, 20);
        free.take(60, 70);
        free.take(15, 30);
        assert_eq!(free.within(0, 100), [(0, 10), (30, 60), (70, 100)]);
        assert_eq!(free.in_every(50), [(0, 10), (30, 50)]);
        free.take(0, 100);
        assert_eq!(free.within(0, 100), []);
    }

    #[test]
    fn pieces_are_few_and_pay_a_head_each() {
        let gaps = [(0, 5), (10, 20), (30, 38)];
        assert_eq!(pieces(&gaps, 4, 1), Some(vec![(0, 5)]));
        assert_eq!(pieces(&gaps, 9, 1), Some(vec![(10, 20)]));
        assert_eq!(pieces(&gaps, 10, 1), Some(vec![(0, 2), (10, 20)]));
        assert_eq!(pieces(&gaps, 20, 1), Some(vec![(0, 5), (10, 20), (30, 38)]));
        assert_eq!(pieces(&gaps, 21, 1), None);
    }
}
