//! What is to happen, in the order of time, and at one instant in the order in which it was asked for.

use crate::engine::NEVER;
use crate::event::Start;
use model::system::HealthError;
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// Something that is to happen. `fault` is an index into the scenario's faults; `life` is that of the partition when it
/// was asked for, and where another one has begun since nothing comes of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Happening {
    /// A fault begins.
    Fault(usize),
    /// A fault ends.
    Ends(usize),
    /// The partition of a fault crashes again, and that many times more.
    Crash { fault: usize, left: u64 },
    /// An error is noticed.
    Noticed(Notice),
    /// The action is done, and a partition starts.
    Starts { partition: usize, start: Start, life: u32 },
    /// A babbling sender sends.
    Message { fault: usize, until_ns: u64 },
    /// A device interrupts on one of its lines, by its number among all.
    Interrupt { fault: usize, line: usize, until_ns: u64 },
    /// A regulation period begins for a core that bursts.
    Regulation { fault: usize, until_ns: u64 },
    /// A core has used its bandwidth budget, where it executes what it did at that change.
    Throttles { core: usize, change: u32 },
    /// A master that is no core, by its number among these, asks for memory from now on, or no longer does.
    Moves { master: usize, asks: bool },
    /// Another module schedule takes effect.
    Change(usize),
}

/// An error on its way to the health monitor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Notice {
    pub(super) partition: usize,
    pub(super) error: HealthError,
    /// The task and number of the job that it is of, where it is of one.
    pub(super) job: Option<(usize, u64)>,
    /// When it happened.
    pub(super) since_ns: u64,
    /// The partition's life in which it happened.
    pub(super) life: u32,
}

/// The calendar of a run.
#[derive(Debug, Default)]
pub(super) struct Calendar {
    heap: BinaryHeap<Reverse<(u64, u64, Happening)>>,
    asked: u64,
}

impl Calendar {
    pub(super) fn clear(&mut self) {
        self.heap.clear();
        self.asked = 0;
    }

    /// What is to happen at `NEVER` is not kept.
    pub(super) fn add(&mut self, at_ns: u64, happening: Happening) {
        if at_ns < NEVER {
            self.heap.push(Reverse((at_ns, self.asked, happening)));
            self.asked += 1;
        }
    }

    #[inline]
    pub(super) fn next_ns(&self) -> u64 {
        self.heap.peek().map_or(NEVER, |Reverse((at_ns, ..))| *at_ns)
    }

    /// Takes the next one that is due.
    pub(super) fn due(&mut self, now: u64) -> Option<Happening> {
        if self.next_ns() > now {
            return None;
        }
        self.heap.pop().map(|Reverse((_, _, happening))| happening)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_asked_for_first_comes_first_of_an_instant() {
        let mut calendar = Calendar::default();
        for (at_ns, fault) in [(5, 3), (2, 0), (5, 1), (2, 9), (NEVER, 7)] {
            calendar.add(at_ns, Happening::Fault(fault));
        }
        assert_eq!(calendar.next_ns(), 2);
        let taken: Vec<_> = std::iter::from_fn(|| calendar.due(5)).collect();
        assert_eq!(taken, [0, 9, 3, 1].map(Happening::Fault));
        assert_eq!((calendar.next_ns(), calendar.due(NEVER)), (NEVER, None));
    }
}
