//! What a block of whole lines holds, before it is known what comes before it: in names, line numbers and times of its own.

use super::bytes::Piece;
use super::recent::{Recent, Told};
use crate::event::{Cpu, Event, What};
use crate::names::Name;
use crate::note::Matter;
use std::collections::BTreeMap;

/// A line longer than this is none of those that are known, and is not kept.
pub const LONGEST_LINE: usize = 1 << 16;

/// So much is kept of the name of a kind of events that is not known.
const LONGEST_KIND: usize = 64;

/// What a block of whole lines holds. Blocks can be made by several threads; [`Join`](super::join::Join) puts them together.
#[derive(Debug, Default)]
pub struct Block {
    /// How many lines there are.
    pub(super) lines: u32,
    /// The events.
    pub(super) events: Vec<Event>,
    /// Whether the time of one is before that of the one before it.
    pub(super) goes_back: bool,
    /// On which lines they stand.
    pub(super) event_lines: EventLines,
    /// What is the matter, by line.
    pub(super) notes: Vec<(u32, Matter)>,
    /// Whose names the events have.
    pub(super) desk: usize,
    /// Whether those of earlier blocks are forgotten there.
    pub(super) begins_anew: bool,
    /// The names that are new there.
    pub(super) news: Vec<Told>,
    /// Kinds of events of which nothing is known: the line of the first and how many.
    pub(super) unknown: BTreeMap<String, (u32, u64)>,
    /// The lines of the first and the last event; empty where a loss stands behind that.
    pub(super) ends: [Vec<u8>; 2],
    /// Whether a line has a time, whether it gave an event or not.
    pub(super) stamped: bool,
    /// Interrupt lines by number, as named last.
    pub(super) irqs: BTreeMap<u32, Name>,
    /// Ends of interrupts, by event, whose line this block has not named before.
    pub(super) unnamed_ends: Vec<(u32, u32)>,
    /// Losses, each before the event of that index.
    pub(super) losses: Vec<(u32, Loss)>,
}

/// On which line of its block each event stands: since most lines are an event each, it is kept how many lines before an event
/// are none, and only where this changes.
#[derive(Debug, Default)]
pub(super) struct EventLines {
    /// The event from which on so many more lines than events have gone by.
    changes: Vec<(u32, u32)>,
    others: u32,
}

impl EventLines {
    /// The event of that index stands on that line, from 1. Each is told, in order.
    #[inline(always)]
    fn put(&mut self, event: usize, line: u32) {
        let others = line.wrapping_sub(event as u32);
        if others != self.others {
            self.others = others;
            self.changes.push((event as u32, others));
        }
    }

    /// The line of an event that was told.
    pub(super) fn of(&self, event: usize) -> u32 {
        let after = self.changes.partition_point(|(from, _)| *from as usize <= event);
        let others = after.checked_sub(1).map_or(0, |last| self.changes[last].1);
        others.wrapping_add(event as u32)
    }
}

/// Events were lost, before the next one.
#[derive(Debug, Clone, Copy)]
pub struct Loss {
    /// The cpu they were of.
    pub cpu: Cpu,
    /// How many; 0 if not said.
    pub count: u32,
}

/// Makes a block line by line.
#[derive(Debug)]
pub struct Builder<'a> {
    block: Block,
    recent: &'a mut Recent,
    first: &'a [u8],
    last: &'a [u8],
    /// The time of the last event; before the first one, no time is later.
    last_ns: u64,
}

impl<'a> Builder<'a> {
    /// A block for about `bytes` of lines, with those names, whose events are put in that room.
    pub fn new(bytes: usize, recent: &'a mut Recent, mut room: Vec<Event>) -> Self {
        room.clear();
        // Few lines are shorter than this; where they are, the room grows.
        room.reserve(bytes / 48);
        let block = Block { events: room, ..Block::default() };
        Self { block, recent, first: &[], last: &[], last_ns: u64::MAX }
    }

    /// Begins the next line.
    #[inline]
    pub fn next_line(&mut self) {
        self.block.lines += 1;
    }

    /// An end without a name whose event was not kept, as one that repeats the line before, is none of the next event's.
    fn forget_unkept_end(&mut self) {
        let next = self.block.events.len() as u32;
        self.block.unnamed_ends.pop_if(|(at, _)| *at == next);
    }

    /// The line has a time.
    #[inline]
    pub fn stamp(&mut self) {
        self.block.stamped = true;
    }

    /// The line is an event.
    #[inline(always)]
    pub fn event(&mut self, at_ns: u64, cpu: Cpu, what: What, line: &'a [u8]) {
        if at_ns <= self.last_ns && self.is_not_new(at_ns, line) {
            return;
        }
        (self.last_ns, self.last) = (at_ns, line);
        self.block.event_lines.put(self.block.events.len(), self.block.lines);
        self.block.events.push(Event { at_ns, cpu, what });
    }

    /// What is to be said of an event that is no later than the one before, or is the first. Whether it repeats the line before.
    #[inline(never)]
    fn is_not_new(&mut self, at_ns: u64, line: &'a [u8]) -> bool {
        self.stamp();
        if self.block.events.is_empty() {
            self.first = line;
        } else if at_ns < self.last_ns {
            self.block.goes_back = true;
        } else if self.last == line {
            // What is told of equal lines is equal.
            self.forget_unkept_end();
            self.note(Matter::Duplicate);
            return true;
        }
        false
    }

    /// The line tells a loss before the next event.
    pub fn loss(&mut self, cpu: Cpu, count: u32) {
        self.note(Matter::Lost);
        self.lose(Loss { cpu, count });
    }

    /// Something is the matter with the line. One that cannot be read may have been an event, which is lost then.
    #[cold]
    pub fn note(&mut self, matter: Matter) {
        self.block.notes.push((self.block.lines, matter));
        if matches!(matter, Matter::Unparsed | Matter::Malformed | Matter::OutOfRange) {
            self.lose(Loss { cpu: Cpu::UNKNOWN, count: 1 });
        }
    }

    /// What comes next is no repetition of what came before.
    fn lose(&mut self, loss: Loss) {
        self.last = &[];
        self.block.losses.push((self.block.events.len() as u32, loss));
    }

    /// The line is an event of a kind of which nothing is known.
    pub fn unknown(&mut self, kind: &[u8]) {
        let kind = String::from_utf8_lossy(&kind[..kind.len().min(LONGEST_KIND)]);
        match self.block.unknown.get_mut(kind.as_ref()) {
            Some((_, count)) => *count += 1,
            None => _ = self.block.unknown.insert(kind.into_owned(), (self.block.lines, 1)),
        }
    }

    /// The name of a thread.
    #[inline(always)]
    pub fn thread(&mut self, text: Piece<'_>, id: u32) -> Name {
        self.recent.find(text, Some(id))
    }

    /// The name of a text that is no thread's.
    #[inline]
    pub fn text(&mut self, text: &[u8]) -> Name {
        self.recent.find(Piece::whole(text), None)
    }

    /// An interrupt line begins to be handled, and here has its name.
    pub fn irq_begins(&mut self, irq: u32, text: &[u8]) -> Name {
        let name = self.text(text);
        self.block.irqs.insert(irq, name);
        name
    }

    /// An interrupt line has been handled, and is told by its number alone: it has the name it had last.
    pub fn irq_ends(&mut self, irq: u32) -> Name {
        if let Some(name) = self.block.irqs.get(&irq) {
            return *name;
        }
        self.block.unnamed_ends.push((self.block.events.len() as u32, irq));
        Name(u32::MAX)
    }

    /// The block is complete.
    pub fn finish(mut self) -> Block {
        self.block.ends = [self.first.to_vec(), self.last.to_vec()];
        self.block
    }
}

/// Calls `line` for each line, without its end.
#[inline]
pub fn for_each_line<'a>(mut lines: &'a [u8], mut line: impl FnMut(&'a [u8])) {
    while !lines.is_empty() {
        let end = memchr::memchr(b'\n', lines).unwrap_or(lines.len());
        line(without_return(&lines[..end]));
        lines = lines.get(end + 1..).unwrap_or_default();
    }
}

/// A line without the return that some systems put before its end.
#[inline]
pub fn without_return(line: &[u8]) -> &[u8] {
    line.strip_suffix(b"\r").unwrap_or(line)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn events_know_their_lines() {
        // Events before lines that are none, behind them, on every line, and two on one.
        let told = [1, 2, 3, 7, 8, 20, 20, 21, 22, 100];
        let mut lines = EventLines::default();
        for (event, line) in told.iter().enumerate() {
            lines.put(event, *line);
        }
        assert_eq!((0..told.len()).map(|event| lines.of(event)).collect::<Vec<_>>(), told);
        assert_eq!(lines.changes.len(), 5);
    }
}
