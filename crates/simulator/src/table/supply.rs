//! Supply time: the time of a partition counted only while the usable parts of its windows last.

use super::unfit::{MOST_LISTED, Unfit};
use crate::Machine;
use crate::machine::Window;

/// The usable part of a window, or of several that touch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Open {
    /// The supply up to its end, in nanoseconds.
    pub(super) until: u64,
    /// Its end, in nanoseconds from the run's beginning.
    pub(super) end_ns: u64,
}

/// The supply of one partition over a run.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Supply {
    opens: Vec<Open>,
}

impl Supply {
    /// Adds `[from, to)`, which begins no sooner than what was added before ends.
    pub(super) fn add(&mut self, from_ns: u64, to_ns: u64) {
        if from_ns >= to_ns {
            return;
        }
        let until = self.total() + (to_ns - from_ns);
        match self.opens.last_mut() {
            Some(last) if last.end_ns == from_ns => *last = Open { until, end_ns: to_ns },
            _ => self.opens.push(Open { until, end_ns: to_ns }),
        }
    }

    fn total(&self) -> u64 {
        self.opens.last().map_or(0, |last| last.until)
    }

    /// The usable parts, by time.
    pub(super) fn opens(&self) -> &[Open] {
        &self.opens
    }

    /// The supply up to an instant.
    pub(super) fn at(&self, instant_ns: u64) -> u64 {
        let index = self.opens.partition_point(|open| open.end_ns < instant_ns);
        let before = index.checked_sub(1).map_or(0, |before| self.opens[before].until);
        self.opens.get(index).map_or(before, |open| before.max(open.until.saturating_sub(open.end_ns - instant_ns)))
    }

    /// The instant at which that much has been supplied; `None` where it never has.
    pub(super) fn reached_ns(&self, supply: u64) -> Option<u64> {
        let index = self.opens.partition_point(|open| open.until < supply);
        self.opens.get(index).map(|open| open.end_ns - (open.until - supply))
    }
}

/// What is supplied over a run, by partition, and how many windows begin in it.
#[derive(Debug, Clone, Default)]
pub(super) struct Supplies {
    pub(super) of: Vec<Supply>,
    pub(super) windows: u64,
}

/// Windows of one partition that begin late: those from an instant on, so many, by so much.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Late {
    pub(super) partition: usize,
    pub(super) from_ns: u64,
    pub(super) windows: u64,
    pub(super) by_ns: u64,
}

/// The supplies of all partitions within a span, under a module schedule.
///
/// # Errors
/// [`Unfit::Long`] where there are too many windows.
pub(super) fn supplies(
    machine: &Machine,
    schedule: usize,
    span_ns: u64,
    mut late: Option<Late>,
) -> Result<Supplies, Unfit> {
    let mut all = Supplies { of: vec![Supply::default(); machine.partitions.len()], windows: 0 };
    let frames = span_ns.div_ceil(machine.frame_ns);
    for windows in &machine.schedules[schedule].cores {
        let windows: Vec<&Window> = windows.iter().filter(|window| window.start_ns < window.end_ns).collect();
        if frames.saturating_mul(windows.len() as u64) > MOST_LISTED {
            return Err(Unfit::Long);
        }
        let goes_on = goes_on(&windows, machine.frame_ns);
        let (mut begun, mut head_end_ns) = (false, 0);
        for frame_ns in (0..frames).map(|frame| frame * machine.frame_ns) {
            for (index, window) in windows.iter().enumerate() {
                let (begin_ns, end_ns) = (frame_ns + window.start_ns, frame_ns + window.end_ns);
                if begin_ns >= span_ns {
                    break;
                }
                let partition = machine.lanes[window.lane].partition;
                // A window that was put off to its end is not gone on with.
                let continued = goes_on && index == 0 && begun;
                let late_ns = if continued { 0 } else { put_off(&mut late, partition, begin_ns) };
                let from_ns = begin_ns.saturating_add(late_ns);
                begun = from_ns < end_ns;
                all.windows += u64::from(!continued && from_ns < span_ns.min(end_ns));
                // A head that does not fit before the frame's end goes on in what continues the window.
                if !continued {
                    head_end_ns = from_ns.saturating_add(window.head_ns);
                }
                all.of[partition].add(from_ns.max(head_end_ns), end_ns);
            }
        }
    }
    Ok(all)
}

/// Whether the last window of a frame goes on with the first of the next, as one.
fn goes_on(windows: &[&Window], frame_ns: u64) -> bool {
    let (Some(first), Some(last)) = (windows.first(), windows.last()) else { return false };
    first.continues && first.lane == last.lane && first.start_ns == 0 && last.end_ns == frame_ns
}

/// By how much a window that was to begin then begins late.
fn put_off(late: &mut Option<Late>, partition: usize, begin_ns: u64) -> u64 {
    match late {
        Some(late) if late.partition == partition && begin_ns >= late.from_ns && late.windows > 0 => {
            late.windows -= 1;
            late.by_ns
        }
        _ => 0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Usable in [10, 20) and [50, 60).
    fn two() -> Supply {
        let mut supply = Supply::default();
        supply.add(10, 15);
        supply.add(15, 20);
        supply.add(30, 30);
        supply.add(50, 60);
        supply
    }

    #[test]
    fn supply_stands_still_between_windows() {
        let expected = [(0, 0), (10, 0), (13, 3), (20, 10), (35, 10), (50, 10), (51, 11), (60, 20), (99, 20)];
        assert_eq!(expected.map(|(instant_ns, _)| (instant_ns, two().at(instant_ns))), expected);
        assert_eq!(two().opens().len(), 2);
    }

    #[test]
    fn an_amount_is_reached_at_the_end_of_a_window_not_at_the_begin_of_the_next() {
        assert_eq!(
            [1, 10, 11, 20, 21].map(|amount| two().reached_ns(amount)),
            [Some(11), Some(20), Some(51), Some(60), None]
        );
    }
}
