//! Feeds readers, for the tests of them.

#![allow(dead_code, reason = "not every file of tests uses all of it")]

use trace::event::{Event, What};
use trace::intake::csv::CsvReader;
use trace::intake::text::{SchedulerText, TextReader};
use trace::intake::{Found, Reader};
use trace::note::{At, Matter, Refusal};

/// What a reader makes of a source that is fed in the given parts.
pub fn feed<'a>(reader: &mut dyn Reader, parts: impl IntoIterator<Item = &'a [u8]>) -> (Found, Result<(), Refusal>) {
    let mut found = Found::default();
    let fed = parts.into_iter().try_for_each(|part| reader.feed(part, &mut found));
    let result = fed.and_then(|()| reader.finish(&mut found));
    (found, result)
}

/// What scheduler text tells. Panics where it is refused.
pub fn text(source: impl AsRef<[u8]>) -> Found {
    let (found, result) = feed(&mut TextReader::new(SchedulerText, 0), [source.as_ref()]);
    result.expect("the text is read");
    found
}

/// What a table tells. Panics where it is refused.
pub fn table(source: impl AsRef<[u8]>) -> Found {
    let (found, result) = feed(&mut CsvReader::new(0), [source.as_ref()]);
    result.expect("the table is read");
    found
}

/// The notes, as matter and line.
pub fn notes(found: &Found) -> Vec<(Matter, u64)> {
    let line = |at| match at {
        At::Line(line) => line,
        _ => panic!("a source of lines has lines"),
    };
    found.notes.iter().map(|note| (note.matter, line(note.place.at))).collect()
}

/// An event in one line: time, cpu and what, with the names spelt out and the ids of threads after a colon.
pub fn told(event: &Event, found: &Found) -> String {
    let name = |name| {
        let named = found.names.get(name);
        named.id.map_or(named.text.clone(), |id| format!("{}:{id}", named.text))
    };
    let what = match event.what {
        What::Switch { from, to, leaves } => format!("{} {leaves:?} > {}", name(from), name(to)),
        What::Wakes { who, on } => format!("{} wakes on {:?}", name(who), on.number()),
        What::Migrates { who, to } => format!("{} to {:?}", name(who), to.number()),
        What::InterruptBegins { line } => format!("begins {}", name(line)),
        What::InterruptEnds { line } => format!("ends {}", name(line)),
        What::Mark { text } => format!("mark {}", name(text)),
        What::Told { word, who, number } => {
            format!("{} {} {:?}", word.text(), name(who), number.map(|kept| kept.get() - 1))
        }
        What::Lost { count, back_us: 0 } => format!("lost {count}"),
        What::Lost { count, back_us } => format!("lost {count} in {back_us} us"),
        what => format!("{what:?}"),
    };
    format!("{} {:?} {what}", event.at_ns, event.cpu.number())
}

/// All events, each in one line.
pub fn all_told(found: &Found) -> Vec<String> {
    found.events.iter().map(|event| told(event, found)).collect()
}
