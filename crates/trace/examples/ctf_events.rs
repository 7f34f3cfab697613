//! The events of a Common Trace Format folder as lines of text, for a reader from outside to be held against.
//!
//! `ctf_events FOLDER` prints them; `ctf_events FOLDER count` only how many there are. `tests/outside/babeltrace.sh` runs it.

#![allow(clippy::disallowed_macros, clippy::disallowed_methods, reason = "it reads files and prints its answer")]

use std::fs::File;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use trace::event::{Cpu, Event, What};
use trace::intake::Found;
use trace::intake::ctf::Folder;
use trace::names::{Name, Names};
use trace::note::Matter;

fn main() {
    let mut arguments = std::env::args().skip(1);
    let folder = PathBuf::from(arguments.next().expect("a folder is given"));
    let counts = arguments.next().is_some();
    let metadata = std::fs::read(folder.join("metadata")).expect("the folder has a metadata file");
    let streams = streams(&folder);
    let threads = std::num::NonZeroUsize::new(2).expect("it is not 0");
    let mut reader = match Folder::open(&metadata, streams, 0, threads) {
        Ok(reader) => reader,
        Err(refusal) => return println!("refused {refusal:?}"),
    };
    let (mut found, mut count) = (Found::default(), 0);
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    let mut more = true;
    while more {
        more = match reader.read(&mut found) {
            Ok(more) => more,
            Err(refusal) => {
                writeln!(out, "refused {refusal:?}").expect("standard output takes it");
                false
            }
        };
        count += found.events.len();
        for event in found.events.drain(..).filter(|_| !counts) {
            writeln!(out, "{}", line(&event, &found.names)).expect("standard output takes it");
        }
        for note in found.notes.drain(..) {
            let text = match note.matter {
                Matter::Unknown { kind, count } => format!("unknown {} {count}", found.names.get(kind).text),
                matter => format!("note {matter:?} {:?}", note.place.at),
            };
            writeln!(out, "{text}").expect("standard output takes it");
        }
    }
    if counts {
        writeln!(out, "{count} events, {} names", found.names.len()).expect("standard output takes it");
    }
}

fn streams(folder: &Path) -> Vec<File> {
    let entries = std::fs::read_dir(folder).expect("the folder can be read");
    let mut paths: Vec<PathBuf> = entries.map(|entry| entry.expect("its entries can be read").path()).collect();
    paths.retain(|path| path.is_file() && !path.ends_with("metadata"));
    paths.sort();
    paths.iter().map(|path| File::open(path).expect("a stream can be opened")).collect()
}

fn line(event: &Event, names: &Names) -> String {
    let name = |name: Name| {
        let named = names.get(name);
        named.id.map_or_else(|| named.text.clone(), |id| format!("{}:{id}", named.text))
    };
    let number = |cpu: Cpu| cpu.number().map_or_else(|| "-".to_owned(), |number| number.to_string());
    let what = match event.what {
        What::Switch { from, to, leaves } => format!("switch {} {} {leaves:?}", name(from), name(to)),
        What::Wakes { who, on } => format!("wakes {} {}", name(who), number(on)),
        What::Migrates { who, to } => format!("migrates {} {}", name(who), number(to)),
        What::InterruptBegins { line } => format!("irq-begins {}", name(line)),
        What::InterruptEnds { line } => format!("irq-ends {}", name(line)),
        What::Told { word, who, number } => {
            let number = number.map_or_else(|| "-".to_owned(), |kept| (kept.get() - 1).to_string());
            format!("told {} {} {number}", word.text(), name(who))
        }
        What::Mark { text } => format!("mark {}", name(text)),
        What::Lost { count, .. } => format!("lost {count}"),
        other => format!("{other:?}"),
    };
    format!("{} {} {what}", event.at_ns, number(event.cpu))
}
