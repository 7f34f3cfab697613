//! A whole recording: from the bytes of its sources to what is put together from them, a block at a time.

use crate::clock::{Fit, fit};
use crate::event::{Event, What};
use crate::intake::{Found, Reader};
use crate::map::{Map, Mapper, Unmapped};
use crate::names::Names;
use crate::note::{At, Matter, Note, Place, Refusal};
use crate::order::{Merge, Reorder, Taken};
use crate::rebuild::Rebuild;
use crate::rebuilt::Observer;
use crate::seen::{Happening, Seen};
use model::System;
use std::collections::BTreeMap;

/// Gives the bytes of sources, a block at a time. Whoever implements it touches the files.
pub trait Blocks {
    /// The next bytes of a source; none at its end. An error is a refusal in words.
    fn next(&mut self, source: usize) -> Result<&[u8], String>;
}

/// How often something was the matter with a source, and where first.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Matters {
    /// The source.
    pub source: u16,
    /// What; the number in it counts for nothing.
    pub matter: Matter,
    /// How often.
    pub count: u64,
    /// Where first.
    pub first: Place,
}

/// What was taken in.
#[derive(Debug, Default)]
pub struct Taking {
    /// How many events each source gave.
    pub events: Vec<u64>,
    /// The names of each source.
    pub names: Vec<Names>,
    /// How each source's clock was read as the first one's.
    pub fits: Vec<Fit>,
    /// What was the matter, by source and matter.
    pub matters: Vec<Matters>,
    /// What neither map nor system names, of each source.
    pub unmapped: Vec<Vec<Unmapped>>,
    /// Sources that were given up, and where: nothing after that place was judged.
    pub refusals: Vec<Refusal>,
}

/// Takes a whole recording in, and tells `observer` what is put together from it. `readers` are as many as there are sources,
/// and `fits` too: how the clock of each is read as the common one.
pub fn take(
    system: &System,
    map: &Map,
    readers: Vec<Box<dyn Reader>>,
    fits: Vec<Fit>,
    blocks: &mut dyn Blocks,
    observer: &mut dyn Observer,
) -> Taking {
    let lines = readers.into_iter().zip(fits).enumerate();
    let mut lines: Vec<Line<'_>> =
        lines.map(|(index, (reader, fit))| Line::new(system, map, index, reader, fit)).collect();
    let mut merge = Merge::new(lines.len());
    let mut rebuild = Rebuild::new(system);
    loop {
        while let Some(seen) = merge.pop() {
            rebuild.take(&seen, observer);
        }
        let Some(source) = merge.wants() else { break };
        lines[source].read(source, blocks, &mut merge);
    }
    rebuild.finish(observer);
    finish(lines)
}

/// The marks that several sources record at the same instants, with the instants of this source's clock, in its order.
pub fn sync_marks(map: &Map, reader: &mut dyn Reader, source: usize, blocks: &mut dyn Blocks) -> Vec<(String, u64)> {
    let mut found = Found::default();
    let mut marks = Vec::new();
    while let Ok(block) = blocks.next(source) {
        let ended = block.is_empty();
        let fed = if ended { reader.finish(&mut found) } else { reader.feed(block, &mut found) };
        let Found { events, names, .. } = &mut found;
        for event in events.drain(..) {
            if let What::Mark { text } = event.what
                && map.is_sync(&names.get(text).text)
            {
                marks.push((names.get(text).text.clone(), event.at_ns));
            }
        }
        found.notes.clear();
        if ended || fed.is_err() {
            break;
        }
    }
    marks
}

/// How a source's clock is read as the reference's: the first mark of a text pairs with the other's first, and so on, where
/// both have as many of it.
pub fn fit_marks(own: &[(String, u64)], reference: &[(String, u64)]) -> Option<Fit> {
    let by_text = |marks: &[(String, u64)]| {
        let mut texts: BTreeMap<String, Vec<u64>> = BTreeMap::new();
        marks.iter().for_each(|(text, at)| texts.entry(text.clone()).or_default().push(*at));
        texts
    };
    let reference = by_text(reference);
    let own = by_text(own).into_iter();
    let both = own.filter_map(|(text, own)| Some((own, reference.get(&text)?)));
    let as_many = both.filter(|(own, common)| own.len() == common.len());
    let mut pairs: Vec<(u64, u64)> =
        as_many.flat_map(|(own, common)| own.into_iter().zip(common.iter().copied())).collect();
    pairs.sort_unstable();
    fit(&pairs)
}

/// One source on its way.
struct Line<'a> {
    source: u16,
    reader: Box<dyn Reader>,
    found: Found,
    order: Reorder,
    mapper: Mapper<'a>,
    fit: Fit,
    events: u64,
    matters: BTreeMap<Matter, (u64, Place)>,
    refusal: Option<Refusal>,
}

impl<'a> Line<'a> {
    fn new(system: &'a System, map: &'a Map, index: usize, reader: Box<dyn Reader>, fit: Fit) -> Self {
        let source = u16::try_from(index).unwrap_or(u16::MAX);
        Self {
            source,
            reader,
            found: Found::default(),
            order: Reorder::default(),
            mapper: Mapper::new(system, map, source),
            fit,
            events: 0,
            matters: BTreeMap::new(),
            refusal: None,
        }
    }

    /// Reads one block on.
    fn read(&mut self, index: usize, blocks: &mut dyn Blocks, merge: &mut Merge) {
        let (fed, ended) = match blocks.next(index) {
            Ok([]) => (self.reader.finish(&mut self.found), true),
            Ok(block) => (self.reader.feed(block, &mut self.found), false),
            Err(why) => (Err(self.refuse(why)), true),
        };
        self.take_notes();
        self.take_events(index, merge);
        let refused = fed.is_err();
        self.refusal = self.refusal.take().or(fed.err());
        if ended || refused {
            while let Some(event) = self.order.pop_rest() {
                self.give(&event, index, merge);
            }
            if refused {
                self.lose(index, merge);
            }
            merge.end(index);
        }
    }

    fn refuse(&self, why: String) -> Refusal {
        let place = Place { source: self.source, at: At::End };
        Refusal { place, why, remedy: "make the file readable, and judge again".to_owned() }
    }

    fn take_notes(&mut self) {
        for Note { place, matter } in std::mem::take(&mut self.found.notes) {
            self.note(matter, Place { source: self.source, ..place });
        }
    }

    fn note(&mut self, matter: Matter, place: Place) {
        let (matter, count) = match matter {
            Matter::Unknown { kind, count } => (Matter::Unknown { kind, count: 0 }, count),
            matter => (matter, 1),
        };
        let (so_far, _) = self.matters.entry(matter).or_insert((0, place));
        *so_far = so_far.saturating_add(count);
    }

    fn take_events(&mut self, index: usize, merge: &mut Merge) {
        let mut events = std::mem::take(&mut self.found.events);
        self.events += events.len() as u64;
        for event in events.drain(..) {
            match self.order.push(event) {
                Taken::InOrder => {}
                Taken::Moved => self.note(Matter::OutOfOrder, self.place(event.at_ns)),
                Taken::TooLate => {
                    self.note(Matter::OutOfOrder, self.place(event.at_ns));
                    self.lose(index, merge);
                }
            }
            while let Some(event) = self.order.pop() {
                self.give(&event, index, merge);
            }
        }
        self.found.events = events;
    }

    /// Where an event of that instant stands cannot be told once its line is read: its instant can.
    fn place(&self, at_ns: u64) -> Place {
        Place { source: self.source, at: At::Instant(at_ns) }
    }

    /// What the source saw from here back to its last event is not known.
    fn lose(&mut self, index: usize, merge: &mut Merge) {
        if let Some(at_ns) = self.fit.common(self.order.given_ns()) {
            merge.push(index, Seen { at_ns, source: self.source, what: Happening::Gap { core: None } });
        }
    }

    fn give(&mut self, event: &Event, index: usize, merge: &mut Merge) {
        let Some(at_ns) = self.fit.common(event.at_ns) else {
            self.note(Matter::OutOfRange, self.place(event.at_ns));
            return;
        };
        self.mapper.take(event, &self.found.names, |seen| merge.push(index, Seen { at_ns, ..seen }));
    }
}

fn finish(lines: Vec<Line<'_>>) -> Taking {
    let mut taking = Taking::default();
    for line in lines {
        taking.events.push(line.events);
        taking.unmapped.push(line.mapper.unmapped(&line.found.names));
        taking.fits.push(line.fit);
        let matters = line.matters.into_iter();
        taking.matters.extend(matters.map(|(matter, (count, first))| Matters {
            source: line.source,
            matter,
            count,
            first,
        }));
        taking.refusals.extend(line.refusal);
        taking.names.push(line.found.names);
    }
    taking
}
