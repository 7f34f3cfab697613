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
const BYTES_AT_ONCE: usize = 128 << 10;
/// So many blocks of a stream are read one after the other while others are merged: threads that wait for each other often
/// wait long.
const BLOCKS: u32 = 4;

/// A folder's streams while they are read.
pub struct Folder<R> {
    readings: Vec<Reading<R>>,
    ready: Vec<Ready>,
    source: u16,
    block: usize,
    unknown: BTreeMap<String, u64>,
}

/// One stream with what it has found last.
struct Reading<R> {
    input: R,
    stream: Stream,
    found: Found,
    ended: bool,
    failed: Option<Refusal>,
}

/// What one stream has found before that and nobody has taken yet.
#[derive(Default)]
struct Ready {
    events: Vec<Event>,
    /// The events taken.
    taken: usize,
    /// The name in the folder for each of the stream's.
    names: Vec<Option<Name>>,
    /// Whether the stream has no more than these.
    ended: bool,
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
        let ready = inputs.iter().map(|_| Ready::default()).collect();
        let readings =
            (0..).zip(inputs).map(|(file, input)| Reading::new(input, layout.clone(), source, file)).collect();
        Ok(Self { readings, ready, source, block, unknown: BTreeMap::new() })
    }

    /// Reads on by some blocks: what can be told in the order of time goes to `found`. `false`: that was all.
    pub fn read(&mut self, found: &mut Found) -> Result<bool, Refusal> {
        for (reading, ready) in self.readings.iter_mut().zip(&mut self.ready) {
            reading.tell_notes(found, &mut self.unknown);
            if let Some(refusal) = reading.failed.take() {
                return Err(refusal);
            }
            ready.refill(reading, self.block);
        }
        let counts = self.counts();
        self.name_new(&counts, found);
        let (readings, ready, block) = (&mut self.readings, &mut self.ready, self.block);
        // What is ready is merged while the next blocks are read.
        let merged = || merge(ready, &counts, &mut found.events);
        let read = || readings.par_iter_mut().for_each(|reading| reading.read(block));
        rayon::join(merged, read);
        let more = self.readings.iter().any(Reading::has_more) || self.ready.iter().any(|ready| ready.head().is_some());
        if !more {
            self.tell_unknown(found);
        }
        Ok(more)
    }

    /// How many of the next events of each stream can be told: those before the first stream has none, in the order of time, at
    /// equal times in the order of streams.
    fn counts(&self) -> Vec<usize> {
        match self.until() {
            Some(until) => self.ready.iter().enumerate().map(|(at, ready)| ready.count(at, until)).collect(),
            None => vec![0; self.ready.len()],
        }
    }

    /// The time and stream of the last event that can be told: those of the stream that will be the first to have none. `None`:
    /// one has none now.
    fn until(&self) -> Option<(u64, usize)> {
        let mut until = (u64::MAX, usize::MAX);
        for (at, ready) in self.ready.iter().enumerate().filter(|(_, ready)| !ready.ended) {
            ready.head()?;
            until = until.min((ready.events.last()?.at_ns, at));
        }
        Some(until)
    }

    /// Gives names that are new in the next events of each stream their place among the folder's, in the order of first use.
    fn name_new(&mut self, counts: &[usize], found: &mut Found) {
        let mut new: Vec<(u64, usize, Name)> = Vec::new();
        for (at, ((reading, ready), count)) in self.readings.iter().zip(&mut self.ready).zip(counts).enumerate() {
            ready.names.resize(reading.found.names.len(), None);
            if ready.names.iter().all(Option::is_some) {
                continue;
            }
            for event in &ready.events[ready.taken..ready.taken + count] {
                event.what.renamed(|name| {
                    if ready.names[name.0 as usize].is_none() {
                        new.push((event.at_ns, at, name));
                    }
                    name
                });
            }
        }
        new.sort_by_key(|(at_ns, lane, _)| (*at_ns, *lane));
        for (_, lane, name) in new {
            let named = self.readings[lane].found.names.get(name);
            self.ready[lane].names[name.0 as usize].get_or_insert_with(|| match named.id {
                Some(id) => found.names.thread(&named.text, id),
                None => found.names.text(&named.text),
            });
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

/// Takes so many events of each stream, in the order of time and, at equal times, of streams.
fn merge(ready: &mut [Ready], counts: &[usize], events: &mut Vec<Event>) {
    let begin = events.len();
    for (ready, count) in ready.iter_mut().zip(counts) {
        ready.give(*count, events);
    }
    // Each stream is in order: what stands there now is a few stretches in order, which this finds and merges.
    events[begin..].sort_by_key(|event| event.at_ns);
}

impl<R: Read> Reading<R> {
    fn new(input: R, layout: Arc<Layout>, source: u16, file: u16) -> Self {
        let stream = Stream::new(layout, source, file);
        Self { input, stream, found: Found::default(), ended: false, failed: None }
    }

    /// Whether there is more to read, or to be taken of what was read.
    fn has_more(&self) -> bool {
        !self.ended || self.failed.is_some() || !self.found.events.is_empty() || !self.found.notes.is_empty()
    }

    /// Reads some blocks where nothing is left of the last ones, and further ones until there is an event: a stream may hold none
    /// for long.
    fn read(&mut self, block: usize) {
        if !self.found.events.is_empty() {
            return;
        }
        let mut blocks = 0;
        while self.failed.is_none() && !self.ended && self.found.notes.len() < MOST_NOTES {
            if blocks >= BLOCKS && !self.found.events.is_empty() {
                return;
            }
            match self.stream.feed_from(&mut self.input, block, &mut self.found) {
                Ok(more) => self.ended = !more,
                Err(refusal) => self.failed = Some(refusal),
            }
            blocks += 1;
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
}

impl Ready {
    fn head(&self) -> Option<Event> {
        self.events.get(self.taken).copied()
    }

    /// Takes over what its stream has found, where little is left here; an event takes more bytes in a stream than here.
    fn refill<R>(&mut self, reading: &mut Reading<R>, block: usize) {
        if (self.events.len() - self.taken) * size_of::<Event>() < block / 8 {
            self.events.drain(..self.taken);
            self.taken = 0;
            self.events.append(&mut reading.found.events);
        }
        self.ended = reading.ended && reading.found.events.is_empty();
    }

    /// How many of the next events are not after that time, or at it and of no later stream; this is the stream `at`.
    fn count(&self, at: usize, until: (u64, usize)) -> usize {
        self.events[self.taken..].partition_point(|event| (event.at_ns, at) <= until)
    }

    /// Gives the next events, with the folder's names.
    fn give(&mut self, count: usize, events: &mut Vec<Event>) {
        let names = &self.names;
        let named = |name: Name| names[name.0 as usize].expect("every name of these events has its place");
        let next = &self.events[self.taken..self.taken + count];
        events.extend(next.iter().map(|event| Event { what: event.what.renamed(named), ..*event }));
        self.taken += count;
    }
}
