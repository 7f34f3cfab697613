//! Events in the order of time, within one source and over several, in bounded memory.

use crate::event::Event;
use crate::seen::Seen;
use std::collections::VecDeque;

/// So many events of a source are held back to put later-coming earlier ones into their place: recorders with a buffer a cpu
/// hand these over one after the other.
const HELD_BACK: usize = 65_536;

/// Puts the events of one source in order.
#[derive(Debug, Default)]
pub struct Reorder {
    held: VecDeque<Event>,
    /// The latest instant given out.
    given_ns: u64,
}

/// What became of an event.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Taken {
    /// It came in order.
    InOrder,
    /// It was put into its place.
    Moved,
    /// It came too late: its place has been passed, and it is left out.
    TooLate,
}

impl Reorder {
    /// Takes an event; equal instants keep the order in which they came.
    pub fn push(&mut self, event: Event) -> Taken {
        if event.at_ns < self.given_ns {
            return Taken::TooLate;
        }
        if self.held.back().is_none_or(|last| last.at_ns <= event.at_ns) {
            self.held.push_back(event);
            return Taken::InOrder;
        }
        let place = self.held.partition_point(|other| other.at_ns <= event.at_ns);
        self.held.insert(place, event);
        Taken::Moved
    }

    /// The latest instant given out.
    pub fn given_ns(&self) -> u64 {
        self.given_ns
    }

    /// The next event that nothing can precede any more, as long as no source is more out of order than is held back.
    pub fn pop(&mut self) -> Option<Event> {
        if self.held.len() > HELD_BACK { self.pop_rest() } else { None }
    }

    /// The next event, once the source has ended.
    pub fn pop_rest(&mut self) -> Option<Event> {
        let event = self.held.pop_front()?;
        self.given_ns = event.at_ns;
        Some(event)
    }
}

/// Joins what several sources saw: earlier first, at one instant the source given first.
#[derive(Debug)]
pub struct Merge {
    sources: Vec<Line>,
}

#[derive(Debug, Default)]
struct Line {
    waiting: VecDeque<Seen>,
    ended: bool,
}

impl Merge {
    /// Of so many sources.
    pub fn new(sources: usize) -> Self {
        Self { sources: (0..sources).map(|_| Line::default()).collect() }
    }

    /// The source that must give more before anything can be taken; `None`: none must.
    pub fn wants(&self) -> Option<usize> {
        self.sources.iter().position(|line| line.waiting.is_empty() && !line.ended)
    }

    /// Takes what a source saw next.
    pub fn push(&mut self, source: usize, seen: Seen) {
        self.sources[source].waiting.push_back(seen);
    }

    /// A source has ended.
    pub fn end(&mut self, source: usize) {
        self.sources[source].ended = true;
    }

    /// The next thing seen; `None` while a source must give more, and at the end.
    pub fn pop(&mut self) -> Option<Seen> {
        if self.wants().is_some() {
            return None;
        }
        let first = |line: &mut Line| line.waiting.front().map(|seen| seen.at_ns);
        let next = self.sources.iter_mut().enumerate().filter_map(|(index, line)| Some((first(line)?, index))).min()?;
        self.sources[next.1].waiting.pop_front()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::event::{Cpu, What};
    use crate::seen::Happening;

    fn event(at_ns: u64, count: u32) -> Event {
        Event { at_ns, cpu: Cpu::UNKNOWN, what: What::Lost { count } }
    }

    #[test]
    fn what_comes_late_is_put_into_its_place_after_its_equals() {
        let mut order = Reorder::default();
        let taken = [(5, 0), (9, 1), (5, 2), (7, 3)].map(|(at, count)| order.push(event(at, count)));
        assert_eq!(taken, [Taken::InOrder, Taken::InOrder, Taken::Moved, Taken::Moved]);
        let out: Vec<Event> = std::iter::from_fn(|| order.pop_rest()).collect();
        assert_eq!(out, [event(5, 0), event(5, 2), event(7, 3), event(9, 1)]);
        assert_eq!(order.push(event(8, 0)), Taken::TooLate);
    }

    #[test]
    fn a_source_holds_back_no_more_than_its_share() {
        let mut order = Reorder::default();
        (0..=HELD_BACK as u64).for_each(|at| _ = order.push(event(at, 0)));
        assert_eq!(order.pop(), Some(event(0, 0)));
        assert_eq!(order.pop(), None);
    }

    #[test]
    fn sources_are_joined_by_time_and_wait_for_each_other() {
        let seen = |at_ns, source| Seen { at_ns, source, what: Happening::Frame };
        let mut merge = Merge::new(2);
        merge.push(0, seen(5, 0));
        assert_eq!((merge.wants(), merge.pop()), (Some(1), None));
        merge.push(1, seen(5, 1));
        merge.push(1, seen(6, 1));
        assert_eq!(merge.pop(), Some(seen(5, 0)));
        assert_eq!(merge.pop(), None);
        merge.end(0);
        merge.end(1);
        assert_eq!([merge.pop(), merge.pop(), merge.pop()], [Some(seen(5, 1)), Some(seen(6, 1)), None]);
    }
}
