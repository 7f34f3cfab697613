//! The streams of a folder, merged by time.

use super::ahead::{Ahead, Portion};
use super::merge::Merge;
use super::{Stream, read_metadata};
use crate::event::Event;
use crate::intake::Found;
use crate::names::{Name, Named, Names};
use crate::note::{At, Matter, Note, Place, Refusal};
use std::collections::BTreeMap;
use std::io::Read;
use std::num::NonZeroUsize;
use std::sync::Arc;

/// More streams than this are refused.
const MOST_STREAMS: usize = 4_096;
/// All streams together read so many bytes at once.
const BYTES_AT_ONCE: usize = 128 << 10;
/// About so many events are told at once.
const EVENTS_AT_ONCE: usize = 4_096;

/// A folder's streams while they are read.
pub struct Folder<R> {
    ahead: Ahead<R>,
    lanes: Vec<Lane>,
    /// `None` until the first portion of each stream has come.
    merge: Option<Merge>,
    source: u16,
    unknown: BTreeMap<String, u64>,
}

/// What one stream has given.
#[derive(Default)]
struct Lane {
    events: Vec<Event>,
    /// How many of these have been told.
    told: usize,
    names: Vec<Named>,
    /// The name in the folder for each of the stream's, or [`NOT_USED`].
    known: Vec<Name>,
    /// Whether it has no more than these, and how it ended.
    end: Option<Result<(), Refusal>>,
}

/// No name: a recording has fewer.
const NOT_USED: Name = Name(u32::MAX);

impl<R: Read + Send + 'static> Folder<R> {
    /// Of a folder's metadata and its streams, in an order that the caller keeps, such as that of their names; they are read on so
    /// many threads, and what is found does not depend on how many.
    pub fn open(metadata: &[u8], inputs: Vec<R>, source: u16, threads: NonZeroUsize) -> Result<Self, Refusal> {
        let layout = Arc::new(read_metadata(metadata, source)?);
        if inputs.len() > MOST_STREAMS {
            let why = format!("{} streams are not read: at most {MOST_STREAMS} are", inputs.len());
            let place = Place { source, at: At::Line(1) };
            return Err(Refusal { place, why, remedy: "split the recording into folders".to_owned() });
        }
        let block = (BYTES_AT_ONCE / inputs.len().max(1)).clamp(4 << 10, 128 << 10);
        let lanes = inputs.iter().map(|_| Lane::default()).collect();
        let streams = (0..).zip(inputs).map(|(file, input)| (input, Stream::new(layout.clone(), source, file)));
        let ahead = Ahead::new(streams.collect(), block, threads);
        Ok(Self { ahead, lanes, merge: None, source, unknown: BTreeMap::new() })
    }

    /// Reads on: some more events go to `found`, in the order of time, at equal times in that of the streams. `false`: that was all.
    pub fn read(&mut self, found: &mut Found) -> Result<bool, Refusal> {
        let mut merge = match self.merge.take() {
            Some(merge) => merge,
            None => self.begin(found)?,
        };
        let enough = found.events.len() + EVENTS_AT_ONCE;
        found.events.reserve(EVENTS_AT_ONCE);
        while let Some(first) = merge.first() {
            if found.events.len() >= enough {
                self.merge = Some(merge);
                return Ok(true);
            }
            let lane = &mut self.lanes[first];
            lane.tell(found);
            let next = match lane.head() {
                None => self.refill(first, found)?,
                at_ns => at_ns,
            };
            merge.replace(next);
        }
        self.merge = Some(merge);
        self.tell_unknown(found);
        Ok(false)
    }

    /// Takes the first portion of each stream.
    fn begin(&mut self, found: &mut Found) -> Result<Merge, Refusal> {
        let times: Result<Vec<_>, Refusal> = (0..self.lanes.len()).map(|lane| self.refill(lane, found)).collect();
        Ok(Merge::new(&times?))
    }

    /// Takes portions of a stream of which all was told until there is an event: its time. `None`: the stream has ended.
    #[cold]
    fn refill(&mut self, lane: usize, found: &mut Found) -> Result<Option<u64>, Refusal> {
        let own = &mut self.lanes[lane];
        loop {
            if let Some(end) = &own.end {
                return end.clone().map(|()| None);
            }
            let Portion { events, notes, names, end } = self.ahead.next(lane);
            own.names.extend(names);
            own.known.resize(own.names.len(), NOT_USED);
            (own.events, own.told, own.end) = (events, 0, end);
            tell_notes(notes, &own.names, found, &mut self.unknown);
            if let at_ns @ Some(_) = own.head() {
                return Ok(at_ns);
            }
        }
    }

    fn tell_unknown(&mut self, found: &mut Found) {
        for (text, count) in std::mem::take(&mut self.unknown) {
            let kind = found.names.text(&text);
            let place = Place { source: self.source, at: At::End };
            found.notes.push(Note { place, matter: Matter::Unknown { kind, count } });
        }
    }
}

/// Events of unknown kinds are told at the end, those of all streams together.
fn tell_notes(notes: Vec<Note>, names: &[Named], found: &mut Found, unknown: &mut BTreeMap<String, u64>) {
    for note in notes {
        match note.matter {
            Matter::Unknown { kind, count } => {
                *unknown.entry(names[kind.0 as usize].text.clone()).or_default() += count;
            }
            _ => found.notes.push(note),
        }
    }
}

impl Lane {
    /// When the next event is.
    #[inline(always)]
    fn head(&self) -> Option<u64> {
        self.events.get(self.told).map(|event| event.at_ns)
    }

    /// Tells the next event, with the folder's names: each is given its place there when it is first used.
    #[inline(always)]
    fn tell(&mut self, found: &mut Found) {
        let Some(event) = self.events.get(self.told).copied() else { return };
        self.told += 1;
        found.events.push(event);
        if let Some(Event { what, .. }) = found.events.last_mut() {
            what.rename(|name| self.known(name, &mut found.names));
        }
    }

    #[inline(always)]
    fn known(&mut self, name: Name, names: &mut Names) -> Name {
        match self.known[name.0 as usize] {
            NOT_USED => self.meet(name, names),
            known => known,
        }
    }

    #[cold]
    fn meet(&mut self, name: Name, names: &mut Names) -> Name {
        let Named { text, id } = &self.names[name.0 as usize];
        let known = match id {
            Some(id) => names.thread(text, *id),
            None => names.text(text),
        };
        self.known[name.0 as usize] = known;
        known
    }
}
