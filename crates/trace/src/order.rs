//! Events in the order of time, within one source and over several, in bounded memory.

use crate::event::{Cpu, Event, What};
use crate::moment::Clock;
use crate::seen::{Happening, Seen};
use std::collections::VecDeque;

/// So many events of a source are held back to put later-coming earlier ones into their place: recorders with a buffer a cpu
/// hand these over one after the other.
pub const HELD_BACK: usize = 65_536;

/// So many losses are told apart at once; of more, the first ones are taken as one.
const MOST_LOSSES: usize = 64;

/// Puts the events of one source in order, and says of each whether it lies where events were lost.
#[derive(Debug, Default)]
pub struct Reorder {
    held: VecDeque<Event>,
    /// The latest instant given out.
    given_ns: u64,
    /// The latest instant given out of each cpu, by its number.
    given_of: Vec<u64>,
    losses: VecDeque<Loss>,
}

/// Events of a cpu, or of any, were lost after one instant and up to another.
#[derive(Debug, Clone, Copy)]
struct Loss {
    cpu: Cpu,
    from_ns: u64,
    to_ns: u64,
}

/// What became of an event.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Taken {
    /// It came in order.
    InOrder,
    /// It was put into its place.
    Moved,
    /// It came too late: its place has been passed.
    TooLate,
}

impl Reorder {
    /// Takes an event; equal instants keep the order in which they came. One that tells of losses since an instant is too late
    /// where that has been passed. Of losses since the last event of a cpu, which may be long ago, what is still held is marked.
    pub fn push(&mut self, event: Event) -> Taken {
        let lost_from_ns = event.what.lost_from_ns(event.at_ns);
        if event.at_ns < self.given_ns || lost_from_ns.is_some_and(|from_ns| from_ns < self.given_ns) {
            return Taken::TooLate;
        }
        let in_order = self.held.back().is_none_or(|last| last.at_ns <= event.at_ns);
        let place =
            if in_order { self.held.len() } else { self.held.partition_point(|other| other.at_ns <= event.at_ns) };
        if let What::Lost { .. } = event.what {
            let from_ns = lost_from_ns.unwrap_or_else(|| self.last_of(event.cpu, place));
            self.lose(Loss { cpu: event.cpu, from_ns, to_ns: event.at_ns });
        }
        self.held.insert(place, event);
        if in_order { Taken::InOrder } else { Taken::Moved }
    }

    /// When the last event of a cpu was, of those before a place; of an unknown one, any event.
    fn last_of(&self, cpu: Cpu, place: usize) -> u64 {
        let is_of = |event: &&Event| cpu == Cpu::UNKNOWN || event.cpu == cpu;
        let held = self.held.range(..place).rev().find(is_of).map(|event| event.at_ns);
        let given = || match cpu.number() {
            None => self.given_ns,
            Some(number) => self.given_of.get(usize::from(number)).copied().unwrap_or(0),
        };
        held.unwrap_or_else(given)
    }

    fn lose(&mut self, loss: Loss) {
        self.losses.push_back(loss);
        if self.losses.len() > MOST_LOSSES
            && let (Some(one), Some(other)) = (self.losses.pop_front(), self.losses.pop_front())
        {
            let cpu = if one.cpu == other.cpu { one.cpu } else { Cpu::UNKNOWN };
            let (from_ns, to_ns) = (one.from_ns.min(other.from_ns), one.to_ns.max(other.to_ns));
            self.losses.push_front(Loss { cpu, from_ns, to_ns });
        }
    }

    /// The next event that nothing can precede any more, as long as no source is more out of order than is held back.
    pub fn pop(&mut self) -> Option<Event> {
        if self.held.len() > HELD_BACK { self.pop_rest() } else { None }
    }

    /// The next event, once the source has ended.
    pub fn pop_rest(&mut self) -> Option<Event> {
        let event = self.held.pop_front()?;
        self.given_ns = event.at_ns;
        if let Some(number) = event.cpu.number().map(usize::from) {
            if self.given_of.len() <= number {
                self.given_of.resize(number + 1, 0);
            }
            self.given_of[number] = event.at_ns;
        }
        Some(event)
    }

    /// Whether any losses are under way.
    pub fn has_losses(&self) -> bool {
        !self.losses.is_empty()
    }

    /// Of which cpus events were lost right before the event given last, where it does not say so itself.
    pub fn lost_before(&mut self, event: &Event) -> Vec<Cpu> {
        self.losses.retain(|loss| loss.to_ns >= event.at_ns);
        let is_loss = matches!(event.what, What::Lost { .. });
        let within = self.losses.iter().filter(|loss| !is_loss && loss.from_ns < event.at_ns);
        within.map(|loss| loss.cpu).collect()
    }

    /// Of which cpus events were lost right after the event given last.
    pub fn lost_after(&self, event: &Event) -> Vec<Cpu> {
        let next_ns = self.held.front().map_or(u64::MAX, |next| next.at_ns);
        let begins = |loss: &&Loss| loss.from_ns >= event.at_ns && loss.from_ns < next_ns;
        self.losses.iter().filter(begins).map(|loss| loss.cpu).collect()
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
    /// The last instant given of it, once it has told what happens in the system.
    last_ns: Option<u64>,
    /// Whether it has been said that it tells no more.
    closed: bool,
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

    /// The next thing seen; `None` while a source must give more, and at the end. Where a source begins after another one or
    /// ends before it, a gap stands there: what it would have told is not known.
    pub fn pop(&mut self) -> Option<Seen> {
        if self.wants().is_some() {
            return None;
        }
        let first = |line: &mut Line| line.waiting.front().map(|seen| seen.at_ns);
        let next = self.sources.iter_mut().enumerate().filter_map(|(index, line)| Some((first(line)?, index))).min()?;
        if let Some(gap) = self.border(next) {
            return Some(gap);
        }
        let line = &mut self.sources[next.1];
        let seen = line.waiting.pop_front()?;
        if line.last_ns.is_some() || is_of_system(&seen.what) {
            line.last_ns = Some(seen.at_ns);
        }
        Some(seen)
    }

    /// The gap that stands before what comes next.
    fn border(&mut self, (at_ns, next): (u64, usize)) -> Option<Seen> {
        let gap = |at_ns, source: usize| {
            let clock = Clock::exact(u16::try_from(source).unwrap_or(u16::MAX));
            Some(Seen { at_ns, clock, what: Happening::Gap { core: None, ends: true } })
        };
        let over = |line: &Line| line.ended && line.waiting.is_empty() && !line.closed;
        for (source, line) in self.sources.iter_mut().enumerate().filter(|(_, line)| over(line)) {
            line.closed = true;
            if let Some(last_ns) = line.last_ns {
                return gap(last_ns, source);
            }
        }
        let is_first = self.sources[next].last_ns.is_none();
        let others = self.sources.iter().any(|line| line.last_ns.is_some());
        let begins = is_first && others && is_of_system(&self.sources[next].waiting.front()?.what);
        if !begins {
            return None;
        }
        self.sources[next].last_ns = Some(at_ns);
        gap(at_ns, next)
    }
}

/// Whether something is of what windows, jobs and messages are put together from.
fn is_of_system(what: &Happening) -> bool {
    !matches!(
        what,
        Happening::FaultBegins { .. }
            | Happening::FaultEnds { .. }
            | Happening::Noticed { .. }
            | Happening::Schedule { .. }
            | Happening::Frame
            | Happening::Gap { .. }
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn event(at_ns: u64, count: u32) -> Event {
        Event { at_ns, cpu: Cpu::UNKNOWN, what: What::lost(count) }
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
    fn what_was_lost_since_an_instant_touches_every_event_since() {
        let mut order = Reorder::default();
        let mark = |at_ns| Event { at_ns, cpu: Cpu::UNKNOWN, what: What::Mark { text: crate::names::Name(0) } };
        let lost = Event { at_ns: 9_000, cpu: Cpu::UNKNOWN, what: What::lost_since(1, 5_000, 9_000) };
        for event in [mark(4_000), mark(5_000), lost, mark(7_000), mark(10_000)] {
            order.push(event);
        }
        let mut around = Vec::new();
        while let Some(event) = order.pop_rest() {
            let before = order.lost_before(&event).len();
            around.push((event.at_ns, before, order.lost_after(&event).len()));
        }
        assert_eq!(around, [(4_000, 0, 0), (5_000, 0, 1), (7_000, 1, 0), (9_000, 0, 0), (10_000, 0, 0)]);
        let early = Event { at_ns: 12_000, cpu: Cpu::UNKNOWN, what: What::lost_since(1, 8_000, 12_000) };
        assert_eq!(order.push(early), Taken::TooLate, "what was given since 8,000 has been judged");
    }

    #[test]
    fn losses_of_many_cpus_at_once_are_taken_together() {
        let mut order = Reorder::default();
        for number in 0..1_000 {
            let cpu = Cpu::new(number).expect("a cpu");
            order.push(Event { at_ns: number, cpu, what: What::lost(1) });
        }
        assert!(order.losses.len() <= MOST_LOSSES);
        assert!(order.losses.iter().any(|loss| loss.cpu == Cpu::UNKNOWN && loss.from_ns == 0));
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
        let seen = |at_ns, source| Seen { at_ns, clock: Clock::exact(source), what: Happening::Frame };
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
