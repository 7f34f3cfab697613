//! However the bytes of a source are cut, and whatever they are, the same is found, and nothing panics.

mod feeding;

use feeding::feed;
use proptest::prelude::*;
use std::num::NonZeroUsize;
use trace::intake::csv::{CsvReader, Table, TableLines};
use trace::intake::lines::{Format, finish, whole_lines};
use trace::intake::text::{SchedulerText, TextReader};
use trace::intake::threads::Lines;
use trace::intake::{Desk, Found, Reader};
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

/// What blocks of whole lines give that are parsed at two desks, far ahead of their turn.
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
    // At the second every other block is parsed before the first begins.
    let mut parse = |number: usize| {
        let mut desk = Desk::new(number);
        let own = blocks.iter().skip(number).step_by(2);
        own.map(|block| desk.parse(&*format, block)).collect::<Vec<_>>().into_iter()
    };
    let [second, first] = [1, 0].map(&mut parse);
    let mut parsed = [first, second];
    let mut join = format.join(1);
    for number in 0..blocks.len() {
        let block = parsed[number % 2].next().expect("every block has been parsed");
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

/// So many that no desk keeps all of them; some come again when they have been forgotten, and some are not UTF-8.
#[test]
fn many_names_are_found_in_whatever_blocks_they_stand() {
    let mark = |number: usize| {
        let letter = if number % 3 == 2 { 0xE9 } else { b'e' };
        [format!("{number},,mark,m").as_bytes(), &[letter], format!("{},\n", number % 45_000).as_bytes()].concat()
    };
    let source = [b"time_ns,core,event,who,number\n".to_vec(), (0..100_000).flat_map(mark).collect()].concat();
    let (whole, refused) = feed(&mut *reader(true), [source.as_slice()]);
    assert!(refused.is_ok());
    assert_eq!(whole.names.len(), 45_000);
    let (found, refused) = apart(true, &source, 300_000);
    assert!(refused.is_ok());
    assert_eq!(found.notes, whole.notes);
    assert!(found == whole);
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

/// A source that gives few bytes at a time.
struct Slow(Vec<u8>, usize);

impl std::io::Read for Slow {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let length = buffer.len().min(self.0.len() - self.1).min(70_001);
        buffer[..length].copy_from_slice(&self.0[self.1..self.1 + length]);
        self.1 += length;
        Ok(length)
    }
}

/// What threads find, and whether they end well.
fn by_threads(mut read: impl FnMut(&mut Found) -> Result<bool, Refusal>) -> (Found, Result<(), Refusal>) {
    let mut found = Found::default();
    loop {
        match read(&mut found) {
            Ok(true) => {}
            end => return (found, end.map(|_| ())),
        }
    }
}

/// However many threads read, and however few bytes the source gives at a time, the same is found in the same order.
#[test]
fn any_number_of_threads_finds_the_same() {
    let long = [b"x".repeat(1_500_000).as_slice(), b"\n"].concat();
    let much = SOURCES[0].repeat(90).into_bytes();
    let source = [&much[..], &long, &much, b"cut off"].concat();
    let (head, rows) = SOURCES[6].split_once('\n').expect("it has a head");
    let table = [head.as_bytes(), b",more\n", rows.repeat(9_000).replace('\n', ",x\n").as_bytes()].concat();
    let of_text = feed(&mut TextReader::new(SchedulerText, 1), [source.as_slice()]);
    assert!(of_text.1.is_ok() && of_text.0.events.len() > 20_000 && source.len() > 4_000_000);
    let of_table = feed(&mut CsvReader::new(1), [table.as_slice()]);
    assert!(of_table.1.is_ok() && of_table.0.events.len() > 20_000 && table.len() > 1_000_000);
    for threads in [1, 2, 3, 8].map(|threads| NonZeroUsize::new(threads).expect("not 0")) {
        let mut lines = Lines::new(Box::new(SchedulerText), 1, Slow(source.clone(), 0), threads);
        assert_eq!(by_threads(|found| lines.read(found)), of_text);
        let mut lines = TableLines::new(1, Slow(table.clone(), 0), threads);
        assert_eq!(by_threads(|found| lines.read(found)), of_table);
    }
}

/// What cannot be read at all is refused by threads as without.
#[test]
fn threads_refuse_what_is_refused_without_them() {
    let threads = NonZeroUsize::new(2).expect("not 0");
    for source in ["a\nb\n", "", "time_ns,core,event,who\n1,0,idles,\n", "time_ns,core,event,who,number"] {
        let source = source.as_bytes().to_vec();
        let mut lines = Lines::new(Box::new(SchedulerText), 1, Slow(source.clone(), 0), threads);
        assert_eq!(by_threads(|found| lines.read(found)), feed(&mut TextReader::new(SchedulerText, 1), [&source[..]]));
        let mut lines = TableLines::new(1, Slow(source.clone(), 0), threads);
        assert_eq!(by_threads(|found| lines.read(found)), feed(&mut CsvReader::new(1), [&source[..]]));
    }
}

/// A thread that panics ends the others too, which would wait for its block for ever; those that nobody waits for end as well.
#[test]
fn a_panic_ends_all_threads() {
    struct Panics(usize);
    impl std::io::Read for Panics {
        fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
            self.0 += 1;
            assert!(self.0 < 3, "the third block is one too many");
            buffer.fill(b'\n');
            Ok(buffer.len())
        }
    }
    for threads in [1, 2, 8].map(|threads| NonZeroUsize::new(threads).expect("not 0")) {
        let mut lines = Lines::new(Box::new(SchedulerText), 1, Panics(0), threads);
        let reads = std::panic::AssertUnwindSafe(|| by_threads(|found| lines.read(found)));
        assert!(std::panic::catch_unwind(reads).is_err());
        drop(lines);
        let much = SOURCES[0].repeat(200).into_bytes();
        let mut left = Lines::new(Box::new(SchedulerText), 1, std::io::Cursor::new(much), threads);
        assert_eq!(left.read(&mut Found::default()), Ok(true));
    }
}
