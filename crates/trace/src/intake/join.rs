//! Puts the blocks of a source together, in order: one name for each thread, line numbers from the source's begin, one clock,
//! and what is the matter between neighbours.

use super::Found;
use super::block::{Block, Loss};
use super::missing::Missing;
use super::recent::Told;
use crate::event::{Cpu, Event, What};
use crate::names::{Name, Names};
use crate::note::{At, Matter, Note, Place};
use std::collections::BTreeMap;

/// How many kinds of unknown events are told one by one; more of them are told together.
const KINDS: usize = 1000;

/// What is known of a source up to the block that comes next.
#[derive(Debug)]
pub struct Join {
    source: u16,
    lines: u64,
    last: Option<Last>,
    irqs: BTreeMap<u32, Name>,
    desks: Vec<Shared>,
    missing: Missing,
    round: Option<Round>,
    unknown: BTreeMap<String, (u64, u64)>,
    unparsed: Option<u64>,
    stamped: bool,
}

/// The event before.
#[derive(Debug)]
struct Last {
    at_ns: u64,
    line: Vec<u8>,
}

/// A clock of 32 bits, carried on over its rounds.
#[derive(Debug)]
struct Round {
    unit_ns: u64,
    last: Option<(u32, i64)>,
}

impl Join {
    /// Nothing is known yet of the source of that index.
    pub fn new(source: u16) -> Self {
        Self {
            source,
            lines: 0,
            last: None,
            irqs: BTreeMap::new(),
            desks: Vec::new(),
            missing: Missing::default(),
            round: None,
            unknown: BTreeMap::new(),
            unparsed: None,
            stamped: false,
        }
    }

    /// The times of the blocks are those of a clock of 32 bits with that unit, and are in this unit.
    pub fn of_32_bits(mut self, unit_ns: u64) -> Self {
        self.round = Some(Round { unit_ns, last: None });
        self
    }

    /// The first line that could not be read, where none has been read so far.
    pub fn only_unparsed(&self) -> Option<u64> {
        self.unparsed.filter(|_| !self.stamped)
    }

    /// A place in the source.
    pub fn place(&self, at: At) -> Place {
        Place { source: self.source, at }
    }

    /// Lines that belong to no block: a head.
    pub fn pass_lines(&mut self, lines: u64) {
        self.lines += lines;
    }

    /// Takes the next block. Gives room for the events of another one.
    pub fn join(&mut self, mut block: Block, found: &mut Found) -> Vec<Event> {
        let first_note = found.notes.len();
        self.take_notes(&block, found);
        self.take_events(&mut block, found);
        self.take_unknown(std::mem::take(&mut block.unknown));
        self.lines += u64::from(block.lines);
        found.notes[first_note..].sort();
        block.events
    }

    /// Takes the end of the source, with what follows its last line end.
    pub fn finish(&mut self, rest: &[u8], found: &mut Found) {
        if !rest.trim_ascii().is_empty() {
            self.note(Matter::Truncated, self.lines + 1, found);
        }
        self.missing.finish(|loss| found.events.push(loss));
        self.note_unknown(found);
    }

    fn note(&self, matter: Matter, line: u64, found: &mut Found) {
        found.notes.push(Note { place: self.place(At::Line(line)), matter });
    }

    fn take_notes(&mut self, block: &Block, found: &mut Found) {
        for (line, matter) in &block.notes {
            let line = self.lines + u64::from(*line);
            if *matter == Matter::Unparsed {
                self.unparsed.get_or_insert(line);
            }
            self.note(*matter, line, found);
        }
        self.stamped |= block.stamped;
    }

    fn take_events(&mut self, block: &mut Block, found: &mut Found) {
        let mut names = self.names_of(block);
        let has_events = !block.events.is_empty();
        if self.is_plain(block) {
            self.take_as_they_are(block, &mut names, found);
        } else {
            self.take_one_by_one(block, &mut names, found);
        }
        for (irq, name) in &block.irqs {
            // The event that named it, or one that this repeats, has been taken: the name is not new.
            self.irqs.insert(*irq, names.share(*name, 0, &mut found.names));
        }
        for event in names.mended.drain(..) {
            self.note(Matter::NotUtf8, self.lines + u64::from(block.event_lines.of(event)), found);
        }
        self.desks[block.desk] = names;
        if let (true, Some(last)) = (has_events, &mut self.last) {
            last.line = std::mem::take(&mut block.ends[1]);
        }
    }

    /// The names of the desk of a block, with those that are new in it. To be put back.
    fn names_of(&mut self, block: &mut Block) -> Shared {
        if self.desks.len() <= block.desk {
            self.desks.resize_with(block.desk + 1, Shared::default);
        }
        let mut names = std::mem::take(&mut self.desks[block.desk]);
        names.learn(block);
        names
    }

    /// Whether every event of a block has its own time and its name, and nothing is missing before any.
    fn is_plain(&self, block: &Block) -> bool {
        let nothing_is_missing = block.losses.is_empty() && !self.missing.is_pending();
        self.round.is_none() && block.unnamed_ends.is_empty() && nothing_is_missing
    }

    /// Takes events of which every one is kept with its own time and whose names are all known, which most are: as
    /// [`Self::take_one_by_one`] would.
    fn take_as_they_are(&mut self, block: &mut Block, names: &mut Shared, found: &mut Found) {
        let repeats = self.repeats(block);
        if repeats {
            self.note(Matter::Duplicate, self.lines + u64::from(block.event_lines.of(0)), found);
        }
        let first = usize::from(repeats);
        let Some(end_ns) = block.events.get(first..).and_then(|events| events.last()).map(|event| event.at_ns) else {
            return;
        };
        let latest_ns = self.take_times(block, first, found);
        self.missing.nothing_before(end_ns, latest_ns);
        self.set_last(end_ns);
        let Found { events: all, names: known, .. } = found;
        let begin = all.len();
        if begin == 0 && first == 0 {
            std::mem::swap(all, &mut block.events);
        } else {
            all.extend_from_slice(&block.events[first..]);
        }
        // Names are made known in the order of use, which is not always that of the block: a half of a switch names its thread first.
        for (index, event) in (first..).zip(&mut all[begin..]) {
            event.what.rename(|name| names.share(name, index, known));
        }
    }

    /// Notes where the times of events go back, from that of the index on. Gives the latest.
    fn take_times(&self, block: &Block, first: usize, found: &mut Found) -> u64 {
        let mut before_ns = self.last.as_ref().map_or(0, |last| last.at_ns);
        let events = &block.events[first..];
        if events[0].at_ns >= before_ns && !block.goes_back {
            return events[events.len() - 1].at_ns;
        }
        let mut latest_ns = 0;
        for (index, event) in (first..).zip(events) {
            if event.at_ns < before_ns {
                self.note(Matter::OutOfOrder, self.lines + u64::from(block.event_lines.of(index)), found);
            }
            before_ns = event.at_ns;
            latest_ns = event.at_ns.max(latest_ns);
        }
        latest_ns
    }

    fn take_one_by_one(&mut self, block: &Block, names: &mut Shared, found: &mut Found) {
        let mut unnamed = block.unnamed_ends.iter().copied().peekable();
        let mut losses = block.losses.iter().copied().peekable();
        let repeats = self.repeats(block);
        found.events.reserve(block.events.len());
        for (index, event) in block.events.iter().enumerate() {
            let irq = unnamed.next_if(|(at, _)| *at as usize == index).map(|(_, irq)| irq);
            let line = self.lines + u64::from(block.event_lines.of(index));
            while let Some((_, Loss { cpu, count })) = losses.next_if(|(at, _)| *at as usize == index) {
                self.lose(cpu, count);
            }
            if index == 0 && repeats {
                self.note(Matter::Duplicate, line, found);
                continue;
            }
            let Some(at_ns) = self.on_one_clock(event.at_ns, line, found) else {
                self.missing.lose(event.cpu, 1);
                continue;
            };
            self.missing.event(at_ns, |loss| found.events.push(loss));
            let mut what = event.what;
            match (&mut what, irq) {
                (What::InterruptEnds { line }, Some(irq)) => *line = self.irq(irq, &mut found.names),
                (what, _) => what.rename(|name| names.share(name, index, &mut found.names)),
            }
            found.events.push(Event { at_ns, cpu: event.cpu, what });
        }
        losses.for_each(|(_, Loss { cpu, count })| self.lose(cpu, count));
    }

    /// Something is lost here, so that what comes next repeats nothing.
    fn lose(&mut self, cpu: Cpu, count: u32) {
        self.missing.lose(cpu, count);
        if let Some(last) = &mut self.last {
            last.line.clear();
        }
    }

    /// Whether the first event of a block repeats the line of the last event before it.
    fn repeats(&self, block: &Block) -> bool {
        let [first, _] = &block.ends;
        let is_next = block.losses.first().is_none_or(|(at, _)| *at > 0);
        is_next && !first.is_empty() && self.last.as_ref().is_some_and(|last| last.line == *first)
    }

    /// The time of an event on the clock of the source, with a note where it goes back.
    fn on_one_clock(&mut self, at: u64, line: u64, found: &mut Found) -> Option<u64> {
        let before = self.last.as_ref().map(|last| last.at_ns);
        let at_ns = match &mut self.round {
            None => Some(at),
            Some(round) => {
                let (at_ns, begun_anew) = round.carry_on(at as u32);
                if begun_anew {
                    self.note(Matter::Wrapped, line, found);
                }
                at_ns
            }
        };
        let Some(at_ns) = at_ns else {
            self.note(Matter::OutOfRange, line, found);
            return None;
        };
        if before.is_some_and(|before| at_ns < before) {
            self.note(Matter::OutOfOrder, line, found);
        }
        self.set_last(at_ns);
        Some(at_ns)
    }

    fn set_last(&mut self, at_ns: u64) {
        self.last.get_or_insert(Last { at_ns, line: Vec::new() }).at_ns = at_ns;
    }

    fn irq(&mut self, irq: u32, names: &mut Names) -> Name {
        *self.irqs.entry(irq).or_insert_with(|| names.text(&irq.to_string()))
    }

    fn take_unknown(&mut self, unknown: BTreeMap<String, (u32, u64)>) {
        for (kind, (line, count)) in unknown {
            let told = self.unknown.len() < KINDS || self.unknown.contains_key(&kind);
            let kind = if told { kind } else { "(more kinds)".to_owned() };
            self.unknown.entry(kind).or_insert((self.lines + u64::from(line), 0)).1 += count;
        }
    }

    fn note_unknown(&mut self, found: &mut Found) {
        for (text, (line, count)) in std::mem::take(&mut self.unknown) {
            let kind = found.names.text(&text);
            self.note(Matter::Unknown { kind, count }, line, found);
        }
    }
}

impl Round {
    /// The time in ns since the clock's first zero; `None` before that. Of the two ways round the nearer one is taken, so that
    /// an event that is only out of order does not count as a round.
    fn carry_on(&mut self, at: u32) -> (Option<u64>, bool) {
        let (total, begun_anew) = match self.last {
            None => (i64::from(at), false),
            Some((last, total)) => {
                let step = at.wrapping_sub(last).cast_signed();
                (total + i64::from(step), step > 0 && at < last)
            }
        };
        self.last = Some((at, total));
        (u64::try_from(total).ok().and_then(|total| total.checked_mul(self.unit_ns)), begun_anew)
    }
}

/// The names of a desk among those of the recording, each made known there when an event first uses it.
#[derive(Debug, Default)]
struct Shared {
    told: Vec<Told>,
    names: Vec<Option<Name>>,
    /// The events of the block that use a name which the recording did not have before and which is not UTF-8.
    mended: Vec<usize>,
}

impl Shared {
    /// Names that a block brings.
    fn learn(&mut self, block: &mut Block) {
        if block.begins_anew {
            *self = Self::default();
        }
        self.told.append(&mut block.news);
        self.names.resize(self.told.len(), None);
    }

    /// A name that the event of that index uses.
    #[inline(always)]
    fn share(&mut self, name: Name, event: usize, all: &mut Names) -> Name {
        match self.names[name.0 as usize] {
            Some(name) => name,
            None => self.meet(name, event, all),
        }
    }

    #[cold]
    fn meet(&mut self, name: Name, event: usize, all: &mut Names) -> Name {
        let known = all.len();
        let told = &self.told[name.0 as usize];
        let shared = match told.id {
            Some(id) => all.thread(&told.text, id),
            None => all.text(&told.text),
        };
        if told.mended && all.len() > known {
            self.mended.push(event);
        }
        self.names[name.0 as usize] = Some(shared);
        shared
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::intake::desk::Desk;
    use crate::intake::text::SchedulerText;
    use proptest::prelude::*;

    fn line() -> impl Strategy<Value = String> {
        let switch = |(at, from, to)| {
            format!(
                "   {from}-1 [000] d..2. 1.{at:06}: sched_switch: prev_comm={from} prev_pid=1 prev_prio=9 prev_state=S ==> next_comm={to} next_pid=2 next_prio=9\n"
            )
        };
        let interrupt = |(at, irq)| format!("   a-1 [000] d..2. 1.{at:06}: irq_handler_entry: irq={irq} name=i{irq}\n");
        prop_oneof![
            6 => (0..9_u32, "[a-c]", "[a-d]").prop_map(switch),
            2 => (0..9_u32, 0..3_u8).prop_map(interrupt),
            1 => Just("CPU:0 [LOST 3 EVENTS]\n".to_owned()),
            1 => Just("no such line\n".to_owned()),
            1 => Just("# a comment\n".to_owned()),
        ]
    }

    proptest! {
        #[test]
        fn events_that_are_taken_as_they_are_are_those_taken_one_by_one(blocks in prop::collection::vec(prop::collection::vec(line(), 0..6), 1..6)) {
            let begin = || (Join::new(0), Found::default(), Desk::new(0));
            let (mut whole, mut single) = (begin(), begin());
            for block in blocks {
                let lines = block.concat();
                for ((join, found, desk), as_they_are) in [(&mut whole, true), (&mut single, false)] {
                    let mut block = desk.parse(&SchedulerText, lines.as_bytes());
                    let mut names = join.names_of(&mut block);
                    if as_they_are && join.is_plain(&block) {
                        join.take_as_they_are(&mut block, &mut names, found);
                    } else {
                        join.take_one_by_one(&block, &mut names, found);
                    }
                    join.desks[block.desk] = names;
                    join.lines += u64::from(block.lines);
                    if let Some(last) = &mut join.last {
                        last.line.clone_from(&block.ends[1]);
                    }
                }
                prop_assert_eq!(&whole.1, &single.1);
                prop_assert_eq!(whole.0.last.as_ref().map(|last| last.at_ns), single.0.last.as_ref().map(|last| last.at_ns));
            }
        }
    }
}
