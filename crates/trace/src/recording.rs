//! A whole recording: from the bytes of its sources to what is put together from them, a block at a time.

use crate::clock::{Fit, fit};
use crate::continuity::Continuity;
use crate::event::{Cpu, Event, What};
use crate::intake::csv::TableLines;
use crate::intake::ctf::Folder;
use crate::intake::threads::{Lines, unreadable};
use crate::intake::{Found, Reader};
use crate::map::{Map, Mapper, Unmapped};
use crate::moment::{Clock, Moment};
use crate::names::Names;
use crate::note::{At, Matter, Note, Place, Refusal};
use crate::order::{HELD_BACK, Merge, Reorder, Taken};
use crate::rebuild::Rebuild;
use crate::rebuilt::Observer;
use crate::seen::{Happening, Seen};
use model::System;
use quantity::CoreId;
use std::collections::BTreeMap;
use std::io::Read;

/// The bytes of a source that are read at once.
const BLOCK: usize = 1 << 20;

/// One source, read a block at a time.
pub trait Source {
    /// Reads on; what is found goes to `found`. Whether there may be more.
    fn read(&mut self, found: &mut Found) -> Result<bool, Refusal>;
}

/// A source of one stream of bytes.
pub struct Stream<R> {
    number: u16,
    input: R,
    reader: Box<dyn Reader>,
    block: Vec<u8>,
}

impl<R: Read> Stream<R> {
    /// Reads `input` by `reader`; `number` is that of the source.
    pub fn new(number: u16, input: R, reader: Box<dyn Reader>) -> Self {
        Self { number, input, reader, block: vec![0; BLOCK] }
    }
}

impl<R: Read> Source for Stream<R> {
    fn read(&mut self, found: &mut Found) -> Result<bool, Refusal> {
        let place = Place { source: self.number, at: At::End };
        let refuse = |error: std::io::Error| unreadable(place, &error);
        match self.input.read(&mut self.block).map_err(refuse)? {
            0 => self.reader.finish(found).map(|()| false),
            length => self.reader.feed(&self.block[..length], found).map(|()| true),
        }
    }
}

impl<R: Read + Send + 'static> Source for Lines<R> {
    fn read(&mut self, found: &mut Found) -> Result<bool, Refusal> {
        Lines::read(self, found)
    }
}

impl<R: Read + Send + 'static> Source for TableLines<R> {
    fn read(&mut self, found: &mut Found) -> Result<bool, Refusal> {
        TableLines::read(self, found)
    }
}

impl<R: Read + Send + 'static> Source for Folder<R> {
    fn read(&mut self, found: &mut Found) -> Result<bool, Refusal> {
        Folder::read(self, found)
    }
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
#[derive(Debug, Clone, Default)]
pub struct Taking {
    /// How many events each source gave.
    pub events: Vec<u64>,
    /// The names of each source.
    pub names: Vec<Names>,
    /// From which instant of the first source's clock instants count: 0, but where that clock has long been running, as one
    /// that counts from 1970.
    pub epoch_ns: u64,
    /// How each source's clock was read as the first one's.
    pub fits: Vec<Fit>,
    /// What was the matter, by source and matter.
    pub matters: Vec<Matters>,
    /// What neither map nor system names, of each source.
    pub unmapped: Vec<Vec<Unmapped>>,
    /// Sources that were given up, and where: nothing after that place was judged.
    pub refusals: Vec<Refusal>,
}

/// Takes a whole recording in, and tells `observer` what is put together from it. There are as many `fits` as sources: how the
/// clock of each is read as the common one.
pub fn take(
    system: &System,
    map: &Map,
    sources: Vec<Box<dyn Source>>,
    fits: Vec<Fit>,
    observer: &mut dyn Observer,
) -> Taking {
    let lines = sources.into_iter().zip(fits).enumerate();
    let mut lines: Vec<Line<'_>> =
        lines.map(|(index, (source, fit))| Line::new(system, map, index, source, fit)).collect();
    let mut epoch = Epoch::default();
    let mut merge = Merge::new(lines.len());
    let mut rebuild = Rebuild::new(system);
    loop {
        while let Some(seen) = merge.pop() {
            rebuild.take(&seen, observer);
        }
        let Some(source) = merge.wants() else { break };
        lines[source].read(&mut Out { index: source, merge: &mut merge, epoch: &mut epoch });
    }
    rebuild.finish(observer);
    finish(lines, epoch)
}

/// From where instants count.
#[derive(Debug, Clone, Copy, Default)]
struct Epoch {
    /// `None` until the first event is given.
    from_ns: Option<u64>,
}

/// A day: sources that share a clock that counts from 1970 may begin at different instants of one.
const DAY_NS: u64 = 86_400_000_000_000;

impl Epoch {
    /// The instant that is told of one of the common clock: small enough to be kept exactly by every reader of JSON.
    fn told(&mut self, common_ns: u64) -> Option<u64> {
        let is_long = common_ns > quantity::LIMIT;
        let from = *self.from_ns.get_or_insert(if is_long { common_ns - common_ns % DAY_NS } else { 0 });
        common_ns.checked_sub(from).filter(|told| *told <= quantity::LIMIT)
    }
}

/// Where what a source saw goes.
struct Out<'o> {
    index: usize,
    merge: &'o mut Merge,
    epoch: &'o mut Epoch,
}

/// The marks that several sources record at the same instants, with the instants of this source's clock, in its order.
pub fn sync_marks(map: &Map, source: &mut dyn Source) -> Vec<(String, u64)> {
    let mut found = Found::default();
    let mut marks = Vec::new();
    loop {
        let more = source.read(&mut found);
        let Found { events, names, .. } = &mut found;
        for event in events.drain(..) {
            if let What::Mark { text } = event.what
                && map.is_sync(&names.get(text).text)
            {
                marks.push((names.get(text).text.clone(), event.at_ns));
            }
        }
        found.notes.clear();
        if !more.unwrap_or(false) {
            return marks;
        }
    }
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
    number: u16,
    source: Box<dyn Source>,
    found: Found,
    order: Reorder,
    continuity: Continuity,
    mapper: Mapper<'a>,
    fit: Fit,
    /// The last moment given.
    given: Option<Moment>,
    events: u64,
    matters: BTreeMap<Matter, (u64, Place)>,
    refusal: Option<Refusal>,
}

impl<'a> Line<'a> {
    fn new(system: &'a System, map: &'a Map, index: usize, source: Box<dyn Source>, fit: Fit) -> Self {
        let number = u16::try_from(index).unwrap_or(u16::MAX);
        Self {
            number,
            source,
            found: Found::default(),
            order: Reorder::default(),
            continuity: Continuity::default(),
            mapper: Mapper::new(system, map, number),
            fit,
            given: None,
            events: 0,
            matters: BTreeMap::new(),
            refusal: None,
        }
    }

    /// Reads one block on.
    fn read(&mut self, out: &mut Out<'_>) {
        let read = self.source.read(&mut self.found);
        self.take_notes();
        let read = self.take_events(out).and(read);
        if matches!(read, Ok(true)) {
            return;
        }
        while let Some(event) = self.order.pop_rest() {
            self.give(&event, out);
        }
        if let Err(refusal) = read {
            self.refusal = Some(refusal);
            self.lose(out, None, true);
        }
        out.merge.end(out.index);
    }

    fn take_notes(&mut self) {
        for Note { place, matter } in std::mem::take(&mut self.found.notes) {
            self.note(matter, Place { source: self.number, ..place });
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

    fn take_events(&mut self, out: &mut Out<'_>) -> Result<(), Refusal> {
        let mut events = std::mem::take(&mut self.found.events);
        self.events += events.len() as u64;
        for event in events.drain(..) {
            match self.order.push(event) {
                Taken::InOrder => {}
                Taken::Moved => self.note(Matter::OutOfOrder, self.place(event.at_ns)),
                Taken::TooLate => return Err(self.too_late(&event)),
            }
            while let Some(event) = self.order.pop() {
                self.give(&event, out);
            }
        }
        self.found.events = events;
        Ok(())
    }

    /// What came before has been judged without what would have changed it.
    fn too_late(&self, event: &Event) -> Refusal {
        let place = self.place(event.what.lost_from_ns(event.at_ns).unwrap_or(event.at_ns));
        let (why, remedy) = match event.what {
            What::Lost { .. } => (
                format!("events may have been lost since here, which is told after more than {HELD_BACK} later ones"),
                "record again with a larger buffer, or so that losses are counted more often; nothing of this source after the \
                 place is to be trusted",
            ),
            _ => (
                format!("an event of this instant comes after more than {HELD_BACK} later ones"),
                "sort the recording by time, and judge again",
            ),
        };
        Refusal { place, why, remedy: remedy.to_owned() }
    }

    /// Where an event of that instant stands cannot be told once its line is read: its instant can.
    fn place(&self, at_ns: u64) -> Place {
        Place { source: self.number, at: At::Instant(at_ns) }
    }

    /// Something was lost after what was given last.
    fn lose(&mut self, out: &mut Out<'_>, core: Option<CoreId>, ends: bool) {
        self.mapper.forget();
        // Before the first event nothing is under way that could be cut.
        let Some(Moment { at_ns, clock }) = self.given else { return };
        out.merge.push(out.index, Seen { at_ns, clock, what: Happening::Gap { core, ends } });
    }

    /// The same of cpus; one that is no core of the board touches none.
    fn lose_of(&mut self, cpus: Vec<Cpu>, out: &mut Out<'_>) {
        for cpu in cpus {
            let core = self.mapper.core(cpu);
            if core.is_some() || cpu == Cpu::UNKNOWN {
                self.lose(out, core, false);
            }
        }
    }

    fn give(&mut self, event: &Event, out: &mut Out<'_>) {
        let Some(at_ns) = self.fit.common(event.at_ns).and_then(|common| out.epoch.told(common)) else {
            self.note(Matter::OutOfRange, self.place(event.at_ns));
            self.lose(out, None, true);
            return;
        };
        let clock = Clock { source: self.number, error_ns: self.fit.error_at_ns(event.at_ns) };
        let moment = Moment { at_ns, clock };
        self.given = Some(moment);
        if self.continuity.breaks_at(event, &self.found.names) {
            self.note(Matter::Unannounced, self.place(event.at_ns));
            self.see(&Event { what: What::lost(0), ..*event }, moment, out);
        }
        if !self.order.has_losses() {
            return self.see(event, moment, out);
        }
        let before = self.order.lost_before(event);
        self.lose_of(before, out);
        self.see(event, moment, out);
        let after = self.order.lost_after(event);
        self.lose_of(after, out);
    }

    /// Tells what is seen by an event.
    fn see(&mut self, event: &Event, Moment { at_ns, clock }: Moment, out: &mut Out<'_>) {
        self.mapper.take(event, &self.found.names, |seen| out.merge.push(out.index, Seen { at_ns, clock, ..seen }));
    }
}

fn finish(lines: Vec<Line<'_>>, epoch: Epoch) -> Taking {
    let mut taking = Taking { epoch_ns: epoch.from_ns.unwrap_or(0), ..Taking::default() };
    for line in lines {
        taking.events.push(line.events);
        taking.unmapped.push(line.mapper.unmapped(&line.found.names));
        taking.fits.push(line.fit);
        let matters = line.matters.into_iter();
        taking.matters.extend(matters.map(|(matter, (count, first))| Matters {
            source: line.number,
            matter,
            count,
            first,
        }));
        taking.refusals.extend(line.refusal);
        taking.names.push(line.found.names);
    }
    taking
}
