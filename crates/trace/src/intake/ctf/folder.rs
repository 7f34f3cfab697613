//! The streams of a folder, merged by time.

use super::{Layout, Stream, read_metadata};
use crate::event::Event;
use crate::intake::Found;
use crate::names::Name;
use crate::note::{At, Matter, Note, Place, Refusal};
use rayon::prelude::*;
use std::cmp::Reverse;
use std::collections::{BTreeMap, BinaryHeap};
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
        if self.lanes.iter().any(|lane| !lane.ended && lane.head().is_none()) {
            return;
        }
        let heads = self.lanes.iter().enumerate().filter_map(|(at, lane)| Some(Reverse((lane.head()?.at_ns, at))));
        let mut heads: BinaryHeap<_> = heads.collect();
        while let Some(Reverse((_, at))) = heads.pop() {
            let until = heads.peek().map(|Reverse(next)| *next);
            let lane = &mut self.lanes[at];
            while let Some(event) = lane.head().filter(|event| until.is_none_or(|until| (event.at_ns, at) < until)) {
                lane.taken += 1;
                let event = lane.translate(event, found);
                found.events.push(event);
            }
            match lane.head() {
                Some(event) => heads.push(Reverse((event.at_ns, at))),
                None if lane.ended => {}
                None => return,
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

    #[inline]
    fn name(&mut self, name: Name, found: &mut Found) -> Name {
        let at = name.0 as usize;
        if let Some(known) = self.names.get(at).copied().flatten() {
            return known;
        }
        let named = self.found.names.get(name);
        let new = match named.id {
            Some(id) => found.names.thread(&named.text, id),
            None => found.names.text(&named.text),
        };
        self.names.resize(self.names.len().max(at + 1), None);
        self.names[at] = Some(new);
        new
    }

    /// The event with the folder's names.
    #[inline]
    fn translate(&mut self, event: Event, found: &mut Found) -> Event {
        let what = event.what.renamed(|name| self.name(name, found));
        Event { what, ..event }
    }
}
