//! Recordings as they are read: of several sources, with events that are lost, late, or of no instant that can be told.

use crate::common::{finding, system};
use std::fmt::Write as _;
use trace::clock::Fit;
use trace::intake::Reader;
use trace::intake::csv::CsvReader;
use trace::intake::pcap::Pcap;
use trace::intake::trace_event::TraceEvent;
use trace::judge::{Allowed, Judge, Judgement, Status};
use trace::map::Map;
use trace::recording::{Source, Stream, Taking, fit_marks, sync_marks, take};

const HEAD: &str = "time_ns,core,event,who,number\n";

fn judged(sources: &[&str]) -> (Taking, Judgement) {
    heard((0..).zip(sources).map(table).collect())
}

fn table((index, rows): (u16, impl std::fmt::Display)) -> Box<dyn Source> {
    let text = std::io::Cursor::new(format!("{HEAD}{rows}").into_bytes());
    Box::new(Stream::new(index, text, Box::new(CsvReader::new(index))))
}

fn heard(sources: Vec<Box<dyn Source>>) -> (Taking, Judgement) {
    let (system, plan) = system();
    let mut judge = Judge::new(&system, &plan, Allowed { window_ns: Some(0), origin_ns: Some(0) });
    let fits = vec![Fit::SAME; sources.len()];
    let taking = take(&system, &Map::default(), sources, fits, &mut judge);
    (taking, judge.finish())
}

/// Jobs of `B.log`, one each ms, 60 us long, with the rows between them that `more` gives.
fn jobs(count: u64, more: impl Fn(u64) -> String) -> String {
    let mut rows = String::new();
    for job in 0..count {
        let at = job * 1_000_000;
        let _ = write!(
            rows,
            "{at},,arrives,B.log,{job}\n{},0,runs,B.log,{job}\n{},,completes,B.log,{job}\n{},0,idles,,\n{}",
            at + 10_000,
            at + 60_000,
            at + 60_000,
            more(job)
        );
    }
    rows
}

/// How many jobs were judged.
fn judged_jobs(judgement: &Judgement) -> u64 {
    finding(judgement, "deadline/B.log").seen
}

#[test]
fn where_a_source_begins_after_another_or_ends_before_it_a_gap_stands() {
    // The second source tells who executes, and only while job 2 is under way and a while before and after.
    let (taking, judgement) = judged(&[
        &jobs(5, |_| String::new()),
        "1030000,,writes,VALUE,\n2010000,,writes,VALUE,\n3030000,,writes,VALUE,\n",
    ]);
    assert_eq!(taking.events, [20, 3]);
    assert_eq!(judgement.coverage.gaps, 2);
    assert_eq!(judged_jobs(&judgement), 3, "jobs 1 and 3 lie where the second source begins and ends");
    assert_eq!(finding(&judgement, "age/VALUE").seen, 0);
}

#[test]
fn what_a_source_that_has_ended_said_last_says_nothing_of_later() {
    // The second source ends while `A` executes: whoever does so in the windows of `B` that follow is not known.
    let windows: String =
        (0..3).map(|at| format!("{0}400000,0,window_begins,B,\n{0}700000,0,window_ends,B,\n", at)).collect();
    let (_, judgement) = judged(&[&windows, "390000,0,runs,A.work,\n395000,0,runs,A.work,\n"]);
    let found = finding(&judgement, "foreign-execution/B");
    assert!(matches!(found.status, Status::NotAnalysed(_)), "{found:?}");
}

#[test]
fn marks_of_a_fault_are_no_beginning_of_a_recording() {
    let (_, judgement) = judged(&[&jobs(5, |_| String::new()), "2030000,,fault_begins,x,\n3030000,,fault_ends,x,\n"]);
    assert_eq!((judgement.coverage.gaps, judged_jobs(&judgement)), (0, 5));
}

#[test]
fn an_instant_that_cannot_be_told_is_a_gap() {
    // The clock counts from 1970 in the first row, and the last row is 300 years later.
    let from = 1_700_000_000_000_000_000_u64;
    let rows = format!("{from},,writes,VALUE,\n{},,reads,VALUE,\n{},,writes,VALUE,\n", from + 1_000, u64::MAX);
    let (taking, judgement) = judged(&[&rows]);
    assert!(taking.matters.iter().any(|found| found.matter == trace::note::Matter::OutOfRange));
    assert_eq!(judgement.coverage.gaps, 1);
}

#[test]
fn what_comes_after_its_place_has_passed_is_refused_with_its_instant() {
    let late = jobs(20_000, |_| String::new()) + "5000,,writes,VALUE,\n";
    let (taking, _) = judged(&[&late]);
    let [refusal] = taking.refusals.as_slice() else { panic!("{:?}", taking.refusals) };
    assert_eq!(refusal.place.at, trace::note::At::Instant(5_000));
    assert!(refusal.remedy.contains("sort"), "{refusal:?}");
}

#[test]
fn a_row_that_cannot_be_read_before_one_out_of_order_cuts_all_that_it_may_have_been_in() {
    // The row after the broken one belongs to 3,030 us and the one before it to 4,060 us: jobs 3 and 4 may hold what is missing.
    let more = |job: u64| if job == 4 { "what is this\n3030000,,writes,VALUE,\n".to_owned() } else { String::new() };
    let (_, judgement) = judged(&[&jobs(8, more)]);
    assert_eq!(judged_jobs(&judgement), 6);
    // In order, it lies between two jobs.
    let more = |job: u64| if job == 4 { "what is this\n".to_owned() } else { String::new() };
    let (_, judgement) = judged(&[&jobs(8, more)]);
    assert_eq!((judged_jobs(&judgement), judgement.coverage.gaps), (8, 1));
}

#[test]
fn what_a_cpu_lost_may_have_been_since_its_last_event() {
    // Core 0 is all there is; messages are told without a core. What was lost since 2,060 us may have been a message.
    let rows =
        "1000000,0,idles,,\n2000000,,writes,VALUE,\n2100000,,reads,VALUE,\n2900000,0,lost,,1\n3000000,,reads,VALUE,\n";
    let (_, judgement) = judged(&[rows]);
    assert_eq!(finding(&judgement, "age/VALUE").seen, 0, "the message that was read may have been a later one");
    let (_, judgement) = judged(&[&rows.replace("2900000,0,lost,,1\n", "")]);
    assert_eq!(finding(&judgement, "age/VALUE").seen, 2);
}

/// A capture with these blocks' bodies behind its section header, in the order of bytes that begins with the least.
fn capture(blocks: &[(u32, Vec<u8>)]) -> Vec<u8> {
    let mut bytes = Vec::new();
    let section = (0x0A0D_0D0A, words(&[0x1A2B_3C4D, 1, u32::MAX, u32::MAX]));
    for (kind, body) in std::iter::once(&section).chain(blocks) {
        let length = body.len() as u32 + 12;
        bytes.extend([words(&[*kind, length]), body.clone(), words(&[length])].concat());
    }
    bytes
}

fn words(words: &[u32]) -> Vec<u8> {
    words.iter().flat_map(|word| word.to_le_bytes()).collect()
}

#[test]
fn what_an_interface_counts_as_dropped_may_have_been_dropped_since_it_was_counted_last() {
    // Frames of an unknown kind of link each 100 us, and statistics behind frame 10 and 20: the second counts a drop.
    let mut blocks = vec![(1, words(&[113, 0]))];
    for frame in 0..30_u32 {
        blocks.push((6, words(&[0, 0, frame * 100, 4, 4, 0])));
        if frame % 10 == 0 {
            let drops = u32::from(frame >= 20);
            blocks.push((5, words(&[0, 0, frame * 100, 5 | 8 << 16, drops, 0, 0])));
        }
    }
    let map = "[[flow]]\nname = \"link 113\"\nchannel = \"ORDERS\"\n";
    let (system, plan) = system();
    let (map, wrong) = trace::map::read_map("map.toml", map.as_bytes(), &system, &mut diagnostic::Sources::new());
    let map = map.unwrap_or_else(|| panic!("{wrong:?}"));
    let reader: Box<dyn Reader> = Box::new(Pcap::new(0));
    let source: Box<dyn Source> = Box::new(Stream::new(0, std::io::Cursor::new(capture(&blocks)), reader));
    let mut judge = Judge::new(&system, &plan, Allowed::default());
    let taking = take(&system, &map, vec![source], vec![Fit::SAME], &mut judge);
    assert_eq!((taking.events.as_slice(), taking.refusals.len()), (&[31][..], 0));
    // Of 29 distances between 30 frames, the eleven from frame 10 to frame 21 say nothing.
    assert_eq!(finding(&judge.finish(), "write-interval/ORDERS").seen, 18);
}

#[test]
fn an_object_of_a_list_that_cannot_be_read_is_lost_near_its_neighbours() {
    let instant = |at: u64, name: &str, who: &str| {
        format!("{{\"ph\":\"i\",\"ts\":{at},\"name\":\"{name}\",\"args\":{{\"who\":\"{who}\"}}}},\n")
    };
    let list = |broken: &str| {
        let around = [instant(10, "writes", "VALUE"), broken.to_owned(), instant(30, "reads", "VALUE")].concat();
        let text = format!("[{around}{}]", instant(40, "reads", "VALUE").trim_end_matches(",\n"));
        let reader: Box<dyn Reader> = Box::new(TraceEvent::new(0));
        let (_, judgement) = heard(vec![Box::new(Stream::new(0, std::io::Cursor::new(text.into_bytes()), reader))]);
        finding(&judgement, "age/VALUE").seen
    };
    assert_eq!(list(""), 2);
    for broken in [
        "{\"ph\":7},\n",
        "{\"ph\":\"i\",\"name\":\"writes\"},\n",
        "{\"ph\":\"X\",\"ts\":20,\"dur\":-3,\"name\":\"x\"},\n",
        "{\"ph\":\"E\",\"ts\":20,\"pid\":1,\"tid\":1,\"name\":\"x\"},\n",
    ] {
        assert_eq!(list(broken), 0, "{broken}");
    }
}

/// The second source's clock is 5 ms behind and its common marks are read up to 2 us off: it tells when jobs of `B.log` complete.
fn judged_by_marks(marks: &[(u64, u64)], took_ns: u64) -> (Fit, Judgement) {
    let (mut own, mut other) = (String::new(), String::new());
    for job in 0..5 {
        let at = 10_000_000 + job * 1_000_000;
        let _ = writeln!(own, "{at},,arrives,B.log,{job}");
        let _ = writeln!(other, "{},,completes,B.log,{job}", at + took_ns - 5_000_000);
    }
    for (own_ns, off_ns) in marks {
        let _ = writeln!(own, "{own_ns},,mark,tick,");
        let _ = writeln!(other, "{},,mark,tick,", own_ns + off_ns - 5_000_000);
    }
    let open = || -> Vec<Box<dyn Source>> { (0..).zip([&own, &other]).map(table).collect() };
    let (system, plan) = system();
    let map = "sync = \"tick\"\n";
    let (map, wrong) = trace::map::read_map("map.toml", map.as_bytes(), &system, &mut diagnostic::Sources::new());
    let map = map.unwrap_or_else(|| panic!("{wrong:?}"));
    let [first, second] = [0, 1].map(|index| sync_marks(&map, open()[index].as_mut()));
    let fit = fit_marks(&second, &first).expect("a line");
    let mut judge = Judge::new(&system, &plan, Allowed::default());
    take(&system, &map, open(), vec![Fit::SAME, fit], &mut judge);
    (fit, judge.finish())
}

#[test]
fn what_the_fit_of_two_clocks_leaves_over_is_not_shown() {
    // Off by 0, 4 and 0 us: a line 2 us off all of them.
    let marks = [(9_000_000, 0), (12_996_000, 4_000), (17_000_000, 0)];
    // By that line jobs of 1,000 us are seen to take 998 us, and may have taken the 1 ms of their deadline.
    let status = |marks: &[(u64, u64)], took_ns| {
        let (fit, judgement) = judged_by_marks(marks, took_ns);
        (fit.error_ns(), finding(&judgement, "deadline/B.log").status.clone())
    };
    assert_eq!(status(&marks, 1_000_000), (Some(2_000), Status::Kept));
    let (_, found) = status(&marks, 1_000_001);
    assert!(matches!(&found, Status::NotShown(why) if why.contains("by up to 2000 ns")), "{found:?}");
    assert!(matches!(status(&marks, 1_004_000).1, Status::NotShown(_)));
    assert_eq!(status(&marks, 1_004_001).1, Status::Violated);
    // Nothing says how far off a line through two marks is.
    let (error_ns, found) = status(&marks[..2], 100_000);
    assert!(
        matches!((error_ns, &found), (None, Status::NotShown(why)) if why.contains("three common marks")),
        "{found:?}"
    );
}
