//! What is read of Trace Event JSON, and that neither blocks nor bytes do harm.

use super::TraceEvent;
use crate::event::{Event, What};
use crate::intake::{Found, Reader};
use crate::note::Matter;
use proptest::prelude::*;

fn read(bytes: &[u8], ends: &[usize]) -> (Found, bool) {
    let (mut found, mut reader, mut start) = (Found::default(), TraceEvent::new(0), 0);
    for end in ends.iter().copied().chain([bytes.len()]) {
        let end = end.clamp(start, bytes.len());
        if reader.feed(&bytes[start..end], &mut found).is_err() {
            return (found, false);
        }
        start = end;
    }
    let whole = reader.finish(&mut found).is_ok();
    (found, whole)
}

fn lines(found: &Found) -> Vec<String> {
    let name = |name| found.names.get(name).text.clone();
    let line = |event: &Event| {
        let cpu = event.cpu.number().map_or_else(|| "-".to_owned(), |cpu| cpu.to_string());
        let what = match event.what {
            What::SpanBegins { name: span, on } => format!("{} begins on {}", name(span), name(on)),
            What::SpanEnds { name: span, on } => format!("{} ends on {}", name(span), name(on)),
            What::Mark { text } => format!("mark {}", name(text)),
            What::Told { word, who, number } => {
                format!("{} {} {}", word.text(), name(who), number.map_or(0, std::num::NonZeroU32::get))
            }
            other => format!("{other:?}"),
        };
        format!("{} {cpu} {what}", event.at_ns)
    };
    found.events.iter().map(line).collect()
}

fn matters(found: &Found) -> Vec<Matter> {
    found.notes.iter().map(|note| note.matter).collect()
}

const LIST: &str = r#"[
 {"ph":"M","pid":1,"tid":2,"name":"thread_name","args":{"name":"loop {x}"}},
 {"ph":"E","pid":1,"tid":2,"ts":5.5},
 {"ph":"X","pid":1,"tid":2,"name":"in\"]","ts":2,"dur":1.25},
 {"ph":"B","pid":1,"tid":2,"name":"out","ts":1},
 {"ph":"E","pid":1,"tid":2,"name":"out","ts":4.001},
 {"ph":"b","cat":"net","id":"0x7","name":"send","ts":1},
 {"ph":"e","cat":"net","id":"0x7","name":"send","ts":3},
 {"ph":"i","pid":1,"tid":2,"name":"fault_begins","ts":9,"args":{"who":"babble","number":3}},
 {"ph":"I","pid":1,"name":"here","ts":9.5},
 {"ph":"C","pid":1,"name":"load","ts":9,"args":{"a":1}},
 {"ph":"X","pid":1,"name":"back","ts":9,"dur":-1},
 {"ph":"B","pid":1,"tid":2,"name":"never ends","ts":20},
 {"ph":"i","name":"no time"}
"#;

#[test]
fn a_list_in_any_order_and_without_its_end_is_read() {
    let (found, whole) = read(LIST.as_bytes(), &[]);
    let expected = [
        "1000 - out begins on 1/loop {x}",
        "1000 - send begins on net/0x7",
        "2000 - in\"] begins on 1/loop {x}",
        "3000 - send ends on net/0x7",
        "3250 - in\"] ends on 1/loop {x}",
        "4001 - out ends on 1/loop {x}",
        "5500 - Lost { count: 1, back_us: 0 }",
        "9000 - Lost { count: 1, back_us: 0 }",
        "9000 - fault_begins babble 4",
        "9500 - mark here",
        "20000 - Lost { count: 1, back_us: 0 }",
        "20000 - Lost { count: 1, back_us: 0 }",
    ];
    assert_eq!(lines(&found), expected);
    let [negative, timeless, cut, before, after, Matter::Unknown { count: 1, .. }] = matters(&found)[..] else {
        panic!("{:?}", found.notes)
    };
    assert_eq!((negative, timeless, cut), (Matter::NegativeDuration, Matter::Malformed, Matter::Truncated));
    assert_eq!((before, after), (Matter::Unpaired, Matter::Unpaired));
    assert!(whole);
}

#[test]
fn what_simulate_writes_is_windows_slices_and_words() {
    let text = r#"{"displayTimeUnit":"ns","traceEvents":[
{"ph":"M","pid":1,"tid":0,"name":"process_name","args":{"name":"cores"}},
{"ph":"M","pid":1,"tid":1,"name":"thread_name","args":{"name":"core b"}},
{"ph":"M","pid":3,"tid":0,"name":"process_name","args":{"name":"tasks"}},
{"ph":"M","pid":3,"tid":4,"name":"thread_name","args":{"name":"nav.ctl"}},
{"ph":"X","pid":1,"tid":1,"cat":"window","name":"nav/1","ts":0,"dur":10},
{"ph":"X","pid":1,"tid":1,"cat":"head","name":"head","ts":0,"dur":1.5},
{"ph":"X","pid":1,"tid":1,"cat":"window","name":"log","ts":10,"dur":5},
{"ph":"X","pid":1,"tid":1,"cat":"job","name":"nav.ctl","ts":1.5,"dur":2,"args":{"job":6}},
{"ph":"X","pid":3,"tid":4,"cat":"executes","name":"nav.ctl","ts":1.5,"dur":2,"args":{"job":6}},
{"ph":"i","pid":3,"tid":4,"s":"t","cat":"arrival","name":"nav.ctl arrives (job 6)","ts":0.25},
{"ph":"i","pid":4,"tid":0,"s":"t","cat":"fault","name":"fault begins: x","ts":2}
],"otherData":{"from_ns":0,"text":"} ] \\\" {"}}
"#;
    let (found, whole) = read(text.as_bytes(), &[]);
    let expected = [
        "0 1 window_begins nav 0",
        "0 - head begins on cores/core b",
        "250 - arrives nav.ctl 7",
        "1500 - head ends on cores/core b",
        "1500 1 runs nav.ctl 7",
        "2000 - mark fault begins: x",
        "3500 1 idles  0",
        "10000 1 window_ends nav 0",
        "10000 1 window_begins log 0",
        "15000 1 window_ends log 0",
    ];
    assert_eq!((lines(&found), found.notes.len(), whole), (expected.map(str::to_owned).to_vec(), 0, true));
}

#[test]
fn what_is_no_list_of_events_is_refused() {
    for text in ["", "7", "{\"a\":[1]}", "[7]", "{7:1}", "{\"traceEvents\":[[]]}"] {
        assert!(!read(text.as_bytes(), &[]).1, "{text}");
    }
    assert!(read(b"[]", &[]).1);
    let long = format!("[{{\"a\":\"{}\"}}]", "x".repeat(1 << 20));
    assert!(!read(long.as_bytes(), &[]).1);
}

proptest! {
    #[test]
    fn any_split_gives_the_same_and_no_change_of_bytes_does_harm(
        mut ends in prop::collection::vec(0..LIST.len(), 0..20),
        changes in prop::collection::vec((0..LIST.len(), any::<u8>()), 0..6),
    ) {
        ends.sort_unstable();
        let mut bytes = LIST.as_bytes().to_vec();
        for (at, byte) in changes {
            bytes[at] = byte;
        }
        let (whole, split) = (read(&bytes, &[]), read(&bytes, &ends));
        prop_assert_eq!(whole, split);
    }
}

#[test]
fn an_end_without_a_name_ends_what_began_last_on_its_track() {
    let text = r#"[{"ph":"B","pid":1,"tid":2,"name":"out","ts":1},{"ph":"B","pid":1,"tid":2,"name":"in","ts":2},
{"ph":"E","pid":1,"tid":2,"ts":3},{"ph":"E","pid":1,"tid":2,"ts":4},{"ph":"B","pid":1,"tid":2,"name":"a","ts":5},
{"ph":"B","pid":1,"tid":2,"name":"b","ts":6},{"ph":"E","pid":1,"tid":2,"name":"a","ts":7},{"ph":"E","pid":1,"tid":2,"ts":8}]"#;
    let (found, whole) = read(text.as_bytes(), &[]);
    let ends: Vec<String> = lines(&found).into_iter().filter(|line| line.contains("ends")).collect();
    assert_eq!(
        ends,
        ["3000 - in ends on 1/2", "4000 - out ends on 1/2", "7000 - a ends on 1/2", "8000 - b ends on 1/2"]
    );
    assert_eq!((matters(&found), whole), (vec![], true));
}

/// Spans that are all open at once and end in the order in which they began: each is looked for where it lies.
#[test]
fn many_spans_that_are_open_at_once_are_paired_in_their_number_not_its_square() {
    let mut text = "[".to_owned();
    for (phase, from) in [("B", 0), ("E", 100_000)] {
        for span in 0..50_000 {
            text += &format!("{{\"ph\":\"{phase}\",\"pid\":1,\"tid\":1,\"name\":\"s{span}\",\"ts\":{}}},", from + span);
        }
    }
    text += "]";
    let (found, _) = read(text.as_bytes(), &[]);
    assert_eq!((found.events.len(), matters(&found)), (100_000, vec![]));
}

#[test]
fn more_than_is_kept_is_refused_with_what_to_do() {
    let text = |count| format!("[{}", r#"{"ph":"i","ts":1},"#.repeat(count));
    let read = |count| TraceEvent::keeping(0, 100).feed(text(count).as_bytes(), &mut Found::default());
    assert!(read(100).is_ok());
    let refusal = read(101).expect_err("too many");
    assert!(refusal.why.contains("100") && refusal.remedy.contains("CSV"), "{refusal:?}");
}
