//! Window tables.

use diagnostic::Span;
use quantity::{CoreId, Duration, Instant, PartitionId, ScheduleId};

/// The window tables of one module schedule.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ScheduleTable {
    /// The schedule.
    pub schedule: ScheduleId,
    /// One table for each core that has one, in core order.
    pub cores: Vec<CoreTable>,
}

/// The windows of one core in one frame.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CoreTable {
    /// The core.
    pub core: CoreId,
    /// The windows by start, then in the order of the file.
    pub windows: Vec<Window>,
}

/// One partition time window: `[start, start + length)` in every frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// The partition.
    pub partition: PartitionId,
    /// Which of its virtual cores, from 0.
    pub virtual_core: u32,
    /// The start in the frame.
    pub start: Instant,
    /// The length, head included.
    pub length: Duration,
    /// Whether the planner must leave it where it is.
    pub pinned: bool,
    /// The place in the plan file; `None` in a plan that was never text.
    pub span: Option<Span>,
}

/// Touching windows of one partition, joined: they pay one head.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct MergedWindow {
    /// The start in the frame.
    pub start: Instant,
    /// The length; a window joined across the frame's end runs past the frame's length.
    pub length: Duration,
}

impl Window {
    /// One past the window's last instant; saturates.
    pub fn end(&self) -> Instant {
        Instant::from_ns(self.start.ns().saturating_add(self.length.ns()))
    }
}

impl CoreTable {
    /// The windows of one virtual core of a partition, touching ones joined, across the frame's end too, by start.
    ///
    /// A partition whose joined windows fill the whole frame has one of the frame's length.
    /// Meant for tables whose windows lie inside the frame and do not overlap.
    pub fn merged(&self, partition: PartitionId, virtual_core: u32, frame: Duration) -> Vec<MergedWindow> {
        let mine = self.windows.iter().filter(|w| w.partition == partition && w.virtual_core == virtual_core);
        let mut joined: Vec<MergedWindow> = Vec::new();
        for window in mine {
            match joined.last_mut() {
                Some(last) if last.end() == window.start => {
                    last.length = Duration::from_ns(last.length.ns().saturating_add(window.length.ns()));
                }
                _ => joined.push(MergedWindow { start: window.start, length: window.length }),
            }
        }
        join_across_frame(&mut joined, frame);
        joined
    }
}

/// A window that ends with the frame and one that begins with it are one; it starts before the frame's end.
fn join_across_frame(joined: &mut Vec<MergedWindow>, frame: Duration) {
    if joined.len() < 2 {
        return;
    }
    let first = joined[0];
    let Some(last) = joined.last_mut() else { return };
    if first.start == Instant::ZERO && last.end().ns() == frame.ns() {
        last.length = Duration::from_ns(last.length.ns().saturating_add(first.length.ns()));
        joined.remove(0);
    }
}

impl MergedWindow {
    /// One past the window's last instant; saturates.
    pub fn end(&self) -> Instant {
        Instant::from_ns(self.start.ns().saturating_add(self.length.ns()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(windows: &[(u64, u64)]) -> CoreTable {
        let window = |&(start, length): &(u64, u64)| Window {
            partition: PartitionId::new(0),
            virtual_core: 0,
            start: Instant::from_ns(start),
            length: Duration::from_ns(length),
            pinned: false,
            span: None,
        };
        CoreTable { core: CoreId::new(0), windows: windows.iter().map(window).collect() }
    }

    fn merged(windows: &[(u64, u64)], frame: u64) -> Vec<(u64, u64)> {
        let joined = table(windows).merged(PartitionId::new(0), 0, Duration::from_ns(frame));
        joined.iter().map(|w| (w.start.ns(), w.length.ns())).collect()
    }

    #[test]
    fn touching_windows_are_one_across_the_frame_end_too() {
        assert_eq!(merged(&[(0, 2), (2, 3), (7, 1)], 10), [(0, 5), (7, 1)]);
        assert_eq!(merged(&[(0, 2), (4, 1), (8, 2)], 10), [(4, 1), (8, 4)]);
        assert_eq!(merged(&[(0, 4), (4, 6)], 10), [(0, 10)]);
        assert_eq!(merged(&[], 10), []);
    }
}
