//! Trace Event JSON: a list of events, or an object with one, in any order of time.
//!
//! Since the order is any, events are kept until the end and put in order then; a span that begins or ends alone is left out.
//! The fields are from memory of the format's public description; `docs/traces.md` says which are read.

mod micros;
mod pairs;
mod split;

use super::missing::Missing;
use super::{Found, Reader};
use crate::event::{Cpu, Event, What, Word, kept_number};
use crate::names::Name;
use crate::note::{At, Matter, Note, Place, Refusal};
use micros::ns;
use pairs::unpaired;
use serde::Deserialize;
use serde_json::value::RawValue;
use split::{Fault, Split};
use std::collections::BTreeMap;

/// More tracks or kinds than this are not told apart.
const MOST_TRACKS: usize = 1 << 16;
/// So many begins, ends and marks are kept, since their order is known at the end only.
const MOST_KEPT: usize = 1 << 22;

/// One object of the list.
#[derive(Debug, Deserialize)]
struct Entry<'a> {
    ph: String,
    name: Option<String>,
    cat: Option<String>,
    #[serde(borrow)]
    ts: Option<&'a RawValue>,
    #[serde(borrow)]
    dur: Option<&'a RawValue>,
    #[serde(borrow)]
    pid: Option<&'a RawValue>,
    #[serde(borrow)]
    tid: Option<&'a RawValue>,
    #[serde(borrow)]
    id: Option<&'a RawValue>,
    #[serde(borrow)]
    args: Option<&'a RawValue>,
}

/// What of an event's arguments is read.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Arguments {
    name: Option<String>,
    who: Option<String>,
    number: Option<u64>,
    job: Option<u64>,
}

/// Where among events of one instant an event stands: what ends there before what begins, but not before its own beginning.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Rank {
    Ends,
    Plain,
    EndsAtOnce,
}

/// Why an object gives no event, and where one is lost for it.
enum LeftOut {
    /// It tells of no event.
    NoEvent(Matter),
    /// The event is lost at that instant.
    At(u64, Matter),
    /// The event is lost near those beside it in the list.
    Somewhere(Matter),
}

/// Reads Trace Event JSON.
pub struct TraceEvent {
    source: u16,
    most: usize,
    split: Split,
    kept: Vec<(Event, Rank)>,
    missing: Missing,
    processes: BTreeMap<String, String>,
    threads: BTreeMap<(String, String), String>,
    tracks: BTreeMap<(String, String), Name>,
    unknown: BTreeMap<String, u64>,
}

impl Reader for TraceEvent {
    fn feed(&mut self, bytes: &[u8], found: &mut Found) -> Result<(), Refusal> {
        let mut split = std::mem::take(&mut self.split);
        let read = split.feed(bytes, |begins, object| self.object(begins, object, found));
        let at = split.at;
        self.split = split;
        read.map_err(|fault| self.refusal(fault, at))?;
        if self.kept.len() > self.most { Err(self.too_many(at)) } else { Ok(()) }
    }

    fn finish(&mut self, found: &mut Found) -> Result<(), Refusal> {
        if !self.split.found_list {
            return Err(self.refusal(Fault::Begin, self.split.at));
        }
        if !self.split.complete() {
            self.note(At::End, Matter::Truncated, found);
        }
        let Self { missing, kept, .. } = self;
        missing.finish(|loss| kept.push((loss, Rank::Ends)));
        self.tell(found);
        for (text, count) in std::mem::take(&mut self.unknown) {
            let kind = found.names.text(&text);
            self.note(At::End, Matter::Unknown { kind, count }, found);
        }
        Ok(())
    }
}

impl TraceEvent {
    /// A reader of that source.
    pub fn new(source: u16) -> Self {
        Self::keeping(source, MOST_KEPT)
    }

    /// One that keeps so many begins, ends and marks.
    fn keeping(source: u16, most: usize) -> Self {
        Self {
            source,
            most,
            split: Split::default(),
            kept: Vec::new(),
            missing: Missing::default(),
            processes: BTreeMap::new(),
            threads: BTreeMap::new(),
            tracks: BTreeMap::new(),
            unknown: BTreeMap::new(),
        }
    }

    fn refusal(&self, fault: Fault, at: u64) -> Refusal {
        let why = match fault {
            Fault::Begin => "this is neither a list of events nor an object with a list 'traceEvents'",
            Fault::Element => "the list of events holds something that is no object",
            Fault::Long => "an event is longer than 1 MiB",
            Fault::Outer => "the object around the list of events is not well formed",
        };
        let remedy = "check that the file is Trace Event JSON, and that it is whole up to this place".to_owned();
        Refusal { place: Place { source: self.source, at: At::Byte(at) }, why: why.to_owned(), remedy }
    }

    fn too_many(&self, at: u64) -> Refusal {
        let most = self.most;
        let why = format!("the list has more than {most} begins and ends, and no more are kept to be put in order");
        let remedy = "cut it into several files by time, or convert it to CSV, which is read in order".to_owned();
        Refusal { place: Place { source: self.source, at: At::Byte(at) }, why, remedy }
    }

    fn note(&self, at: At, matter: Matter, found: &mut Found) {
        found.notes.push(Note { place: Place { source: self.source, at }, matter });
    }

    fn object(&mut self, begins: u64, object: &[u8], found: &mut Found) {
        let text = String::from_utf8_lossy(object);
        if matches!(text, std::borrow::Cow::Owned(_)) {
            self.note(At::Byte(begins), Matter::NotUtf8, found);
        }
        let read = match serde_json::from_str::<Entry<'_>>(&text) {
            Ok(entry) => self.entry(&entry, found),
            Err(_) => Err(LeftOut::Somewhere(Matter::Unparsed)),
        };
        let Err(left_out) = read else { return };
        let matter = match left_out {
            LeftOut::NoEvent(matter) => matter,
            LeftOut::At(at_ns, matter) => {
                self.keep(at_ns, Cpu::UNKNOWN, What::lost(1), Rank::Ends);
                matter
            }
            LeftOut::Somewhere(matter) => {
                self.missing.lose(Cpu::UNKNOWN, 1);
                matter
            }
        };
        self.note(At::Byte(begins), matter, found);
    }

    fn entry(&mut self, entry: &Entry<'_>, found: &mut Found) -> Result<(), LeftOut> {
        let arguments =
            || entry.args.and_then(|raw| serde_json::from_str::<Arguments>(raw.get()).ok()).unwrap_or_default();
        if entry.ph == "M" {
            return self.name_track(entry, arguments()).map_err(LeftOut::NoEvent);
        }
        let known = ["B", "E", "X", "i", "I", "R", "b", "e"].contains(&entry.ph.as_str());
        if !known {
            let kind = format!("ph {}", entry.ph.chars().take(8).collect::<String>());
            if self.unknown.len() < MOST_TRACKS || self.unknown.contains_key(&kind) {
                *self.unknown.entry(kind).or_default() += 1;
            }
            return Ok(());
        }
        let at_ns = entry.ts.ok_or(Matter::Malformed).and_then(time).map_err(LeftOut::Somewhere)?;
        let Self { missing, kept, .. } = self;
        missing.event(at_ns, |loss| kept.push((loss, Rank::Ends)));
        self.event(entry, at_ns, &arguments(), found).map_err(|matter| LeftOut::At(at_ns, matter))
    }

    fn event(&mut self, entry: &Entry<'_>, at_ns: u64, arguments: &Arguments, found: &mut Found) -> Result<(), Matter> {
        let name = entry.name.as_deref().unwrap_or_default();
        match entry.ph.as_str() {
            "X" => self.complete(entry, name, at_ns, arguments, found),
            "i" | "I" | "R" => {
                self.instant(entry, name, at_ns, arguments, found);
                Ok(())
            }
            _ => {
                let asynchronous = entry.ph == "b" || entry.ph == "e";
                let on =
                    if asynchronous { found.names.text(&asynchronous_track(entry)) } else { self.track(entry, found) };
                let name = found.names.text(name);
                let begins = entry.ph.eq_ignore_ascii_case("b");
                let what = if begins { What::SpanBegins { name, on } } else { What::SpanEnds { name, on } };
                self.keep(at_ns, Cpu::UNKNOWN, what, Rank::Plain);
                Ok(())
            }
        }
    }

    fn keep(&mut self, at_ns: u64, cpu: Cpu, what: What, rank: Rank) {
        self.kept.push((Event { at_ns, cpu, what }, rank));
    }

    /// Something with a length: of a run that `simulate` wrote a window or slice, else a span.
    fn complete(
        &mut self,
        entry: &Entry<'_>,
        name: &str,
        at_ns: u64,
        arguments: &Arguments,
        found: &mut Found,
    ) -> Result<(), Matter> {
        let length = match entry.dur {
            None => 0,
            Some(raw) if raw.get().starts_with('-') => return Err(Matter::NegativeDuration),
            Some(raw) => time(raw)?,
        };
        let ends_ns = at_ns.checked_add(length).ok_or(Matter::OutOfRange)?;
        let Some((cpu, [begins, ends])) = self.own(entry, name, arguments, found) else { return Ok(()) };
        self.keep(at_ns, cpu, begins, Rank::Plain);
        self.keep(ends_ns, cpu, ends, if length == 0 { Rank::EndsAtOnce } else { Rank::Ends });
        Ok(())
    }

    /// What begins and ends; `None`: it is told a second time, as `simulate` does of slices.
    fn own(
        &mut self,
        entry: &Entry<'_>,
        name: &str,
        arguments: &Arguments,
        found: &mut Found,
    ) -> Option<(Cpu, [What; 2])> {
        let cpu = entry.tid.and_then(|raw| raw.get().parse().ok()).and_then(Cpu::new).unwrap_or(Cpu::UNKNOWN);
        let told = |word, who, number| What::Told { word, who, number };
        let text = |text: &str, found: &mut Found| found.names.text(text);
        match (self.process(entry), entry.cat.as_deref()) {
            ("cores", Some("window")) => {
                let who = text(of_core(name), found);
                Some((cpu, [told(Word::WindowBegins, who, None), told(Word::WindowEnds, who, None)]))
            }
            ("cores", Some("job" | "initialises")) => {
                let number = arguments.job.and_then(kept_number);
                let who = text(name.strip_suffix(" initialises").unwrap_or(name), found);
                let nobody = text("", found);
                Some((cpu, [told(Word::Runs, who, number), told(Word::Idles, nobody, None)]))
            }
            ("tasks", Some("executes")) => None,
            _ => {
                let (on, name) = (self.track(entry, found), text(name, found));
                Some((Cpu::UNKNOWN, [What::SpanBegins { name, on }, What::SpanEnds { name, on }]))
            }
        }
    }

    /// Something without length: a word of a plan, or a mark.
    fn instant(&mut self, entry: &Entry<'_>, name: &str, at_ns: u64, arguments: &Arguments, found: &mut Found) {
        let word = match (self.process(entry), entry.cat.as_deref()) {
            ("tasks", Some("arrival")) => Some(Word::Arrives),
            ("tasks", Some("completion")) => Some(Word::Completes),
            ("tasks", Some("drop")) => Some(Word::Dropped),
            _ => None,
        };
        let what = match (word, Word::of(name), arguments.who.as_deref()) {
            (Some(word), _, _) => {
                let number = number_in(name).and_then(kept_number);
                let who = found.names.text(&self.thread(entry));
                What::Told { word, who, number }
            }
            (None, Some(word), Some(who)) => {
                What::Told { word, who: found.names.text(who), number: arguments.number.and_then(kept_number) }
            }
            _ => What::Mark { text: found.names.text(name) },
        };
        self.keep(at_ns, Cpu::UNKNOWN, what, Rank::Plain);
    }

    fn process(&self, entry: &Entry<'_>) -> &str {
        self.processes.get(plain(entry.pid).as_str()).map_or("", String::as_str)
    }

    fn thread(&self, entry: &Entry<'_>) -> String {
        let key = (plain(entry.pid), plain(entry.tid));
        self.threads.get(&key).cloned().unwrap_or(key.1)
    }

    /// A track by the names of its process and thread, or their numbers where they have none before its first event.
    fn track(&mut self, entry: &Entry<'_>, found: &mut Found) -> Name {
        let key = (plain(entry.pid), plain(entry.tid));
        if let Some(name) = self.tracks.get(&key) {
            return *name;
        }
        let process = self.processes.get(&key.0).unwrap_or(&key.0);
        let name = found.names.text(&format!("{process}/{}", self.thread(entry)));
        if self.tracks.len() < MOST_TRACKS {
            self.tracks.insert(key, name);
        }
        name
    }

    fn name_track(&mut self, entry: &Entry<'_>, arguments: Arguments) -> Result<(), Matter> {
        let which = entry.name.as_deref().unwrap_or_default();
        if which != "process_name" && which != "thread_name" {
            return Ok(());
        }
        let name = arguments.name.ok_or(Matter::Malformed)?;
        let (pid, tid) = (plain(entry.pid), plain(entry.tid));
        let used = |key: &(String, String)| key.0 == pid && (which == "process_name" || key.1 == tid);
        let late = self.tracks.keys().any(used);
        if self.processes.len() + self.threads.len() < MOST_TRACKS {
            match which {
                "process_name" => _ = self.processes.insert(pid, name),
                _ => _ = self.threads.insert((pid, tid), name),
            }
        }
        if late { Err(Matter::OutOfOrder) } else { Ok(()) }
    }

    /// Puts all in order and gives what pairs.
    fn tell(&mut self, found: &mut Found) {
        let mut kept = std::mem::take(&mut self.kept);
        kept.sort_by_key(|(event, rank)| (event.at_ns, *rank));
        let alone = unpaired(&mut kept, found.names.text(""));
        let mut alone = alone.into_iter().peekable();
        found.events.reserve(kept.len());
        for (at, (event, _)) in kept.into_iter().enumerate() {
            if alone.next_if_eq(&at).is_some() {
                self.note(At::Instant(event.at_ns), Matter::Unpaired, found);
                found.events.push(Event { what: What::lost(1), ..event });
            } else {
                found.events.push(event);
            }
        }
    }
}

fn time(raw: &RawValue) -> Result<u64, Matter> {
    ns(raw.get())
}

/// A number or text as it is written, without quotation marks.
fn plain(raw: Option<&RawValue>) -> String {
    raw.map_or("", RawValue::get).trim_matches('"').to_owned()
}

/// A partition by the name of its virtual core, which has a number behind it where there are several.
fn of_core(name: &str) -> &str {
    match name.rsplit_once('/') {
        Some((partition, number)) if number.bytes().all(|byte| byte.is_ascii_digit()) => partition,
        _ => name,
    }
}

/// The number in a text that ends with `(job NUMBER)`.
fn number_in(text: &str) -> Option<u64> {
    text.strip_suffix(')')?.rsplit_once("(job ")?.1.parse().ok()
}

fn asynchronous_track(entry: &Entry<'_>) -> String {
    format!("{}/{}", entry.cat.as_deref().unwrap_or_default(), plain(entry.id))
}

#[cfg(test)]
mod tests;
