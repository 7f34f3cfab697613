//! The streams of a folder, merged by time.

use super::{Layout, Stream, read_metadata};
use crate::event::Event;
use crate::intake::Found;
use crate::names::Name;
use crate::note::{At, Matter, Note, Place, Refusal};
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::io::Read;
use std::sync::Arc;

/// More streams than this are refused.
const MOST_STREAMS: usize = 4_096;
/// A stream that has found only so many notes gives them before it reads on.
const MOST_NOTES: usize = 4_096;
/// All streams together read so many bytes at once.
const BYTES_AT_ONCE: usize = 512 << 10;

/// A folder's streams while they are read.
pub struct Folder<R> {
    lanes: Vec<Lane<R>>,
    source: u16,
    block: usize,
    unknown: BTreeMap<String, u64>,
}

/// One stream with what it has found and nobody has taken yet.
struct Lane<R> {
    input: R,
    stream: Stream,
    found: Found,
    /// The events taken.
    taken: usize,
    /// The name in the folder for each of the stream's.
    names: Vec<Option<Name>>,
    ended: bool,
    failed: Option<Refusal>,
}

impl<R: Read + Send> Folder<R> {
    /// Of a folder's metadata and its streams, in an order that the caller keeps, such as that of their names.
    pub fn open(metadata: &[u8], inputs: Vec<R>, source: u16) -> Result<Self, Refusal> {
        let layout = Arc::new(read_metadata(metadata, source)?);
        if inputs.len() > MOST_STREAMS {
            let why = format!("{} streams are not read: at most {MOST_STREAMS} are", inputs.len());
            let place = Place { source, at: At::Line(1) };
            return Err(Refusal { place, why, remedy: "split the recording into folders".to_owned() });
        }
        let block = (BYTES_AT_ONCE / inputs.len().max(1)).clamp(4 << 10, 128 << 10);
        let lanes = (0..).zip(inputs).map(|(file, input)| Lane::new(input, layout.clone(), source, file)).collect();
        Ok(Self { lanes, source, block, unknown: BTreeMap::new() })
    }

    /// Reads on by some blocks: what can be told in the order of time goes to `found`. `false`: that was all.
    pub fn read(&mut self, found: &mut Found) -> Result<bool, Refusal> {
        let block = self.block;
        self.lanes.par_iter_mut().filter(|lane| lane.low(block)).for_each(|lane| lane.refill(block));
        for lane in &mut self.lanes {
            lane.tell_notes(found, &mut self.unknown);
            if let Some(refusal) = lane.failed.take() {
                return Err(refusal);
            }
        }
        self.merge(found);
        let more = self.lanes.iter().any(|lane| !lane.ended || lane.head().is_some());
        if !more {
            self.tell_unknown(found);
        }
        Ok(more)
    }

    /// Takes events in the order of time, those of equal times in the order of streams, until a stream that goes on has none.
    fn merge(&mut self, found: &mut Found) {
        let Some(until) = self.until() else { return };
        let counts: Vec<usize> = self.lanes.iter().enumerate().map(|(at, lane)| lane.count(at, until)).collect();
        self.name_new(&counts, found);
        let begin = found.events.len();
        for (lane, count) in self.lanes.iter_mut().zip(counts) {
            lane.give(count, &mut found.events);
        }
        // Each stream is in order: what stands there now is a few stretches in order, which this finds and merges.
        found.events[begin..].sort_by_key(|event| event.at_ns);
    }

    /// The time and stream of the last event that can be told: those of the stream that will be the first to have none. `None`:
    /// one has none now.
    fn until(&self) -> Option<(u64, usize)> {
        let mut until = (u64::MAX, usize::MAX);
        for (at, lane) in self.lanes.iter().enumerate().filter(|(_, lane)| !lane.ended) {
            lane.head()?;
            until = until.min((lane.found.events.last()?.at_ns, at));
        }
        Some(until)
    }

    /// Gives names that are new in the next events of each stream their place among the folder's, in the order of first use.
    fn name_new(&mut self, counts: &[usize], found: &mut Found) {
        let mut new: Vec<(u64, usize, Name)> = Vec::new();
        for (at, (lane, count)) in self.lanes.iter_mut().zip(counts).enumerate() {
            lane.names.resize(lane.found.names.len(), None);
            if lane.names.iter().all(Option::is_some) {
                continue;
            }
            for event in &lane.found.events[lane.taken..lane.taken + count] {
                event.what.renamed(|name| {
                    if lane.names[name.0 as usize].is_none() {
                        new.push((event.at_ns, at, name));
                    }
                    name
                });
            }
        }
        new.sort_by_key(|(at_ns, lane, _)| (*at_ns, *lane));
        for (_, lane, name) in new {
            self.lanes[lane].name(name, found);
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

impl<R: Read> Lane<R> {
    fn new(input: R, layout: Arc<Layout>, source: u16, file: u16) -> Self {
        Self {
            input,
            stream: Stream::new(layout, source, file),
            found: Found::default(),
            taken: 0,
            names: Vec::new(),
            ended: false,
            failed: None,
        }
    }

    fn head(&self) -> Option<Event> {
        self.found.events.get(self.taken).copied()
    }

    /// Whether it has little left; an event takes more bytes in a stream than here.
    fn low(&self, block: usize) -> bool {
        !self.ended && (self.found.events.len() - self.taken) * size_of::<Event>() < block / 8
    }

    /// Reads a block, and further ones until there is an event: a stream may hold none for long.
    fn refill(&mut self, block: usize) {
        self.found.events.drain(..self.taken);
        self.taken = 0;
        while self.failed.is_none() && !self.ended {
            match self.stream.feed_from(&mut self.input, block, &mut self.found) {
                Ok(more) => self.ended = !more,
                Err(refusal) => self.failed = Some(refusal),
            }
            if self.head().is_some() || self.found.notes.len() >= MOST_NOTES {
                return;
            }
        }
    }

    fn tell_notes(&mut self, found: &mut Found, unknown: &mut BTreeMap<String, u64>) {
        for note in std::mem::take(&mut self.found.notes) {
            match note.matter {
                Matter::Unknown { kind, count } => {
                    *unknown.entry(self.found.names.get(kind).text.clone()).or_default() += count;
                }
                _ => found.notes.push(note),
            }
        }
    }

    /// How many of the next events are not after that time, or at it and of no later stream; this is the stream `at`.
    fn count(&self, at: usize, until: (u64, usize)) -> usize {
        self.found.events[self.taken..].partition_point(|event| (event.at_ns, at) <= until)
    }

    /// Gives the folder the name of one of the stream's, if it has none yet.
    fn name(&mut self, name: Name, found: &mut Found) {
        let named = self.found.names.get(name);
        let new = || match named.id {
            Some(id) => found.names.thread(&named.text, id),
            None => found.names.text(&named.text),
        };
        self.names[name.0 as usize].get_or_insert_with(new);
    }

    /// Gives the next events, with the folder's names.
    fn give(&mut self, count: usize, events: &mut Vec<Event>) {
        let names = &self.names;
        let named = |name: Name| names[name.0 as usize].expect("every name of these events has its place");
        let next = &self.found.events[self.taken..self.taken + count];
        events.extend(next.iter().map(|event| Event { what: event.what.renamed(named), ..*event }));
        self.taken += count;
    }
}
