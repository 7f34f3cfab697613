//! However the bytes of a source are cut, and whatever they are, the same is found, and nothing panics.

mod feeding;

use feeding::feed;
use proptest::prelude::*;
use trace::intake::csv::{CsvReader, Table};
use trace::intake::lines::{Format, finish, whole_lines};
use trace::intake::text::{SchedulerText, TextReader};
use trace::intake::threads::read;
use trace::intake::{Found, Reader};
use trace::note::Refusal;

/// The sources from this one on are tables.
const FIRST_TABLE: usize = 6;

const SOURCES: [&str; 9] = [
    include_str!("recorded/ftrace.txt"),
    include_str!("recorded/ftrace-tgid.txt"),
    include_str!("recorded/ftrace-lost.txt"),
    include_str!("recorded/perf.txt"),
    include_str!("recorded/perf-ns.txt"),
    include_str!("recorded/perf-switches.txt"),
    "ts_ns,cpu,prev_comm,prev_pid,prev_prio,prev_state,next_comm,next_pid,next_prio\n\
     100,0,swapper/0,0,120,R,\"a,b\",7,40\n100,0,swapper/0,0,120,R,\"a,b\",7,40\n90,0,a,7,40,S,b,8,40\n120,1,b,8,40,S,a,7,40\n",
    "time_us_u32,core,event,who,number\n4294967290,0,window_begins,nav,\n4294967293,0,runs,nav.ctl,1\n3,0,completes,nav.ctl,1\n\
     3,0,completes,nav.ctl,1\n4294967295,0,idles,,\n7,,mark,\"say \"\"it\"\"\",\n9,0,lost,,4\n9,0,jumps,x,\n2147483650,0,idles,,\n",
    "extra,time_ms,core,event,who,number\r\n1,0.5,0,arrives,nav.ctl,0\r\n2,0.500001,0,runs,nav.ctl,0\r\n3,0.6,0,completes,nav.ctl,0\r\n",
];

/// A change of a source.
#[derive(Debug, Clone)]
enum Change {
    Byte(prop::sample::Index, u8),
    Cut(prop::sample::Index),
    Repeat(prop::sample::Index),
    Drop(prop::sample::Index),
}

fn changes() -> impl Strategy<Value = Vec<Change>> {
    let index = any::<prop::sample::Index>;
    let byte = prop_oneof![any::<u8>(), Just(b'\n'), Just(b'"'), Just(b','), Just(b' '), Just(b'9'), Just(b'\r')];
    let change = prop_oneof![
        4 => (index(), byte).prop_map(|(at, byte)| Change::Byte(at, byte)),
        1 => index().prop_map(Change::Cut),
        2 => index().prop_map(Change::Repeat),
        2 => index().prop_map(Change::Drop),
    ];
    prop::collection::vec(change, 0..12)
}

fn changed(source: &str, changes: &[Change]) -> Vec<u8> {
    let mut bytes = source.as_bytes().to_vec();
    for change in changes {
        let lines: Vec<&[u8]> = bytes.split_inclusive(|byte| *byte == b'\n').collect();
        bytes = match change {
            _ if bytes.is_empty() => return bytes,
            Change::Byte(at, byte) => {
                let at = at.index(bytes.len());
                [&bytes[..at], &[*byte], &bytes[at + 1..]].concat()
            }
            Change::Cut(at) => bytes[..at.index(bytes.len())].to_vec(),
            Change::Repeat(at) => {
                let at = at.index(lines.len());
                [&lines[..=at], &lines[at..]].concat().concat()
            }
            Change::Drop(at) => {
                let at = at.index(lines.len());
                [&lines[..at], &lines[at + 1..]].concat().concat()
            }
        };
    }
    bytes
}

fn reader(of_table: bool) -> Box<dyn Reader> {
    if of_table { Box::new(CsvReader::new(1)) } else { Box::new(TextReader::new(SchedulerText, 1)) }
}

/// What blocks of whole lines give that are parsed apart from each other, the last first.
fn apart(of_table: bool, mut source: &[u8], size: usize) -> (Found, Result<(), Refusal>) {
    let mut found = Found::default();
    let format: Box<dyn Format> = if of_table {
        let table = match Table::of_head(source, 1) {
            Ok(table) => table,
            Err(refusal) => return (found, Err(refusal)),
        };
        table.note_unknown_columns(1, &mut found);
        source = source.split_at(source.iter().position(|byte| *byte == b'\n').map_or(source.len(), |end| end + 1)).1;
        Box::new(table)
    } else {
        Box::new(SchedulerText)
    };
    let mut blocks = Vec::new();
    let whole = whole_lines(source);
    let (mut lines, rest) = source.split_at(whole);
    while !lines.is_empty() {
        let from = size.min(lines.len() - 1);
        let end = lines[from..].iter().position(|byte| *byte == b'\n').map_or(lines.len(), |end| from + end + 1);
        blocks.push(&lines[..end]);
        lines = &lines[end..];
    }
    let mut parsed: Vec<_> = blocks.iter().rev().map(|block| format.parse(block)).collect();
    let mut join = format.join(1);
    while let Some(block) = parsed.pop() {
        join.join(block, &mut found);
    }
    let result = finish(&*format, &mut join, rest, &mut found);
    (found, result)
}

/// The line between is left out; the number that it names is not that of the line behind it.
#[test]
fn an_end_told_twice_names_no_other_line() {
    let line = |us: u32, event: &str| format!("          a-1 [000] d.h..  1.{us:06}: irq_handler_{event}\n");
    let (begins, ends) = (line(1, "entry: irq=41 name=one"), line(2, "exit: irq=41 ret=handled"));
    let behind = [&ends[..], &ends, &line(3, "exit: irq=42 ret=handled")].concat();
    let whole = feed(&mut *reader(false), [[&begins[..], &behind].concat().as_bytes()]);
    assert_eq!(feed(&mut *reader(false), [begins.as_bytes(), behind.as_bytes()]), whole);
    assert_eq!(whole.0.names.len(), 2, "{:?}", whole.0);
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(512) })]

    #[test]
    fn any_split_finds_the_same(which in 0..SOURCES.len(), changes in changes(), sizes in prop::collection::vec(1..600_usize, 1..20)) {
        let of_table = which >= FIRST_TABLE;
        let source = changed(SOURCES[which], &changes);
        let whole = feed(&mut *reader(of_table), [source.as_slice()]);
        let mut rest = source.as_slice();
        let parts: Vec<&[u8]> = sizes.iter().cycle().map_while(|size| {
            let (part, after) = rest.split_at((*size).min(rest.len()));
            rest = after;
            (!part.is_empty()).then_some(part)
        }).collect();
        prop_assert_eq!(&feed(&mut *reader(of_table), parts), &whole);
        prop_assert_eq!(&apart(of_table, &source, sizes[0]), &whole);
    }

    #[test]
    fn any_bytes_are_read_or_refused(of_table: bool, source in prop::collection::vec(any::<u8>(), 0..300)) {
        let whole = feed(&mut *reader(of_table), [source.as_slice()]);
        let bytes = source.chunks(1);
        prop_assert_eq!(feed(&mut *reader(of_table), bytes), whole);
    }
}

/// However many threads read, and however few bytes the source gives at a time, the same is found in the same order.
#[test]
fn any_number_of_threads_finds_the_same() {
    struct Slow<'a>(&'a [u8]);
    impl std::io::Read for Slow<'_> {
        fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
            let length = buffer.len().min(self.0.len()).min(70_001);
            buffer[..length].copy_from_slice(&self.0[..length]);
            self.0 = &self.0[length..];
            Ok(length)
        }
    }
    let long = [b"x".repeat(1_500_000).as_slice(), b"\n"].concat();
    let much = SOURCES[0].repeat(90).into_bytes();
    let source = [&much[..], &long, &much, b"cut off"].concat();
    let (whole, result) = feed(&mut TextReader::new(SchedulerText, 1), [source.as_slice()]);
    assert!(result.is_ok() && whole.events.len() > 20_000 && source.len() > 4_000_000);
    for threads in [1, 2, 3, 8] {
        let (mut events, mut found) = (Vec::new(), Found::default());
        let threads = std::num::NonZeroUsize::new(threads).expect("not 0");
        let take = |found: &mut Found| events.append(&mut found.events);
        let result = read(&SchedulerText, SchedulerText.join(1), Slow(&source), threads, &mut found, take);
        assert!(result.is_ok(), "{result:?}");
        assert_eq!((&events, &found.notes, &found.names), (&whole.events, &whole.notes, &whole.names));
    }
}

/// A thread that panics ends the others too, which would wait for its block for ever.
#[test]
fn a_panic_ends_all_threads() {
    let much = SOURCES[0].repeat(200).into_bytes();
    for threads in [1, 2, 8] {
        let threads = std::num::NonZeroUsize::new(threads).expect("not 0");
        let mut blocks = 0;
        let take = |_: &mut Found| {
            blocks += 1;
            assert!(blocks < 2, "the second block is one too many");
        };
        let reads = std::panic::AssertUnwindSafe(|| {
            read(&SchedulerText, SchedulerText.join(1), &much[..], threads, &mut Found::default(), take)
        });
        assert!(std::panic::catch_unwind(reads).is_err());
    }
}
