//! What is read, refused and left out; `tests/outside/babeltrace.sh` holds the same reader against one from outside.

use super::{Folder, Layout, Stream, read_metadata};
use crate::event::{Cpu, Event, Leaves, What, Word};
use crate::intake::{Found, Reader};
use crate::note::{At, Matter};
use proptest::prelude::*;
use std::num::NonZeroUsize;
use std::sync::Arc;

/// A header with an 8-bit number and a 16-bit time; a switch of fixed layout, a word with a string, and an event of no meaning.
const METADATA: &str = r#"/* CTF 1.8 */
typealias integer { size = 8; align = 8; encoding = UTF8; } := char;
typealias integer { size = 8; align = 8; } := u8;
typealias integer { size = 32; align = 8; } := u32;
typealias integer { size = 16; align = 8; map = clock.c.value; } := time;
trace { major = 1; minor = 8; byte_order = le; packet.header := struct { u32 magic; }; };
clock { name = "c"; freq = 1000000000; offset = 1000; };
stream {
    packet.context := struct { u32 content_size; u32 packet_size; u8 cpu_id; u8 events_discarded; };
    event.header := struct { u8 id; time timestamp; };
};
event { name = "sched_switch"; id = 0; fields := struct {
    char _prev_comm[4]; u32 _prev_tid; u8 _prev_state; char _next_comm[4]; u32 _next_tid; }; };
event { name = "board:completes"; id = 1; fields := struct { string who; u32 number; }; };
event { name = "other"; id = 2; };
"#;

fn layout(text: &str) -> Layout {
    read_metadata(text.as_bytes(), 0).expect("the metadata is read")
}

/// A packet with those events, with so many bytes behind its content.
fn packet(cpu: u8, discarded: u8, padding: usize, events: &[Vec<u8>]) -> Vec<u8> {
    let body = events.concat();
    let content = 14 + body.len();
    let bits = |bytes: usize| u32::try_from(bytes * 8).expect("it is small").to_le_bytes();
    let mut packet = 0xC1FC_1FC1_u32.to_le_bytes().to_vec();
    packet.extend(bits(content));
    packet.extend(bits(content + padding));
    packet.extend([cpu, discarded]);
    packet.extend(body);
    packet.extend(vec![0xEE; padding]);
    packet
}

fn switch(time: u16, from: u32, state: u8, to: u32) -> Vec<u8> {
    let text = |id: u32| [b't', b'0' + (id % 10) as u8, 0, 0];
    let mut event = vec![0];
    event.extend(time.to_le_bytes());
    event.extend(text(from));
    event.extend(from.to_le_bytes());
    event.push(state);
    event.extend(text(to));
    event.extend(to.to_le_bytes());
    event
}

fn completes(time: u16, who: &str, number: u32) -> Vec<u8> {
    let mut event = vec![1];
    event.extend(time.to_le_bytes());
    event.extend(who.as_bytes());
    event.push(0);
    event.extend(number.to_le_bytes());
    event
}

fn other(time: u16) -> Vec<u8> {
    let mut event = vec![2];
    event.extend(time.to_le_bytes());
    event
}

/// Reads bytes in blocks that end where it is said.
fn read(bytes: &[u8], ends: &[usize]) -> (Found, bool) {
    read_by(layout(METADATA), bytes, ends)
}

fn read_by(layout: Layout, bytes: &[u8], ends: &[usize]) -> (Found, bool) {
    let mut found = Found::default();
    let mut stream = Stream::new(Arc::new(layout), 0, 0);
    let mut start = 0;
    for end in ends.iter().copied().chain([bytes.len()]) {
        let end = end.clamp(start, bytes.len());
        if stream.feed(&bytes[start..end], &mut found).is_err() {
            return (found, false);
        }
        start = end;
    }
    let whole = stream.finish(&mut found).is_ok();
    (found, whole)
}

fn matters(found: &Found) -> Vec<Matter> {
    found.notes.iter().map(|note| note.matter).collect()
}

#[test]
fn events_of_two_packets_are_read_with_times_that_wrap() {
    let mut bytes = packet(3, 0, 5, &[switch(65_000, 1, 1, 2), other(65_001), completes(10, "nav", 7)]);
    bytes.extend(packet(3, 0, 0, &[switch(20, 2, 0, 1)]));
    let (found, whole) = read(&bytes, &[]);
    let cpu = Cpu::new(3).expect("it is a cpu");
    let names: Vec<(&str, Option<u32>)> =
        found.names.iter().map(|(_, named)| (named.text.as_str(), named.id)).collect();
    assert_eq!(names, [("t1", Some(1)), ("t2", Some(2)), ("nav", None), ("other", None)]);
    let name = |at: u32| crate::names::Name(at);
    let number = std::num::NonZeroU32::new(8);
    let expected = [
        Event { at_ns: 66_000, cpu, what: What::Switch { from: name(0), to: name(1), leaves: Leaves::Waits } },
        Event { at_ns: 66_546, cpu, what: What::Told { word: Word::Completes, who: name(2), number } },
        Event { at_ns: 66_556, cpu, what: What::Switch { from: name(1), to: name(0), leaves: Leaves::Ready } },
    ];
    assert_eq!(found.events, expected);
    assert_eq!(matters(&found), [Matter::Unknown { kind: name(3), count: 1 }]);
    assert!(whole);
}

#[test]
fn a_counter_of_discarded_events_that_grows_is_a_loss_even_where_it_wraps() {
    let packets = [packet(0, 255, 0, &[other(5)]), packet(0, 255, 0, &[]), packet(0, 2, 0, &[switch(9, 1, 1, 2)])];
    let (found, _) = read(&packets.concat(), &[]);
    let lost: Vec<(u64, What)> = found.events.iter().map(|event| (event.at_ns, event.what)).collect();
    let [before, after, told, switch, last] = lost.as_slice() else { panic!("{lost:?}") };
    assert_eq!((before.1, after.1), (What::lost(0), What::lost(0)), "how many is not said");
    assert_eq!(*told, (1_005, What::lost(3)), "1,005 is the time of the last event before");
    assert!(matches!(switch.1, What::Switch { .. }));
    assert_eq!(*last, (1_009, What::lost(0)));
}

#[test]
fn a_packet_with_an_event_that_is_not_declared_is_left_from_there_and_the_next_is_read() {
    let mut bytes = packet(0, 0, 2, &[switch(5, 1, 1, 2), vec![9, 0, 0], switch(6, 2, 1, 1)]);
    bytes.extend(packet(0, 0, 0, &[switch(7, 1, 1, 2)]));
    let (found, whole) = read(&bytes, &[]);
    let times: Vec<(u64, bool)> =
        found.events.iter().map(|event| (event.at_ns, matches!(event.what, What::Lost { .. }))).collect();
    assert_eq!(times, [(1_005, false), (1_005, true), (1_007, false)]);
    assert_eq!((found.notes[0].matter, found.notes[0].place.at), (Matter::Malformed, At::Within { file: 0, byte: 34 }));
    assert!(whole);
}

#[test]
fn a_stream_cut_within_an_event_says_so() {
    let bytes = packet(0, 0, 0, &[switch(5, 1, 1, 2), switch(6, 2, 1, 1)]);
    let (found, whole) = read(&bytes[..bytes.len() - 1], &[]);
    assert_eq!(matters(&found), [Matter::Truncated]);
    assert_eq!(found.events.len(), 2, "the first switch, and the mark that more is missing");
    assert!(whole);
}

#[test]
fn what_is_no_stream_of_the_trace_is_refused() {
    assert!(!read(b"not a stream at all, but some text", &[]).1);
    let mut bytes = packet(0, 0, 0, &[]);
    bytes[4] = 0xF8;
    assert!(!read(&bytes, &[]).1, "the content is larger than the packet");
}

#[test]
fn metadata_outside_the_subset_is_refused_at_its_line() {
    let cases = [
        ("trace { major = 1; };", 1, "byte_order"),
        ("\ntypealias integer { size = 65; } := big;", 2, "65 bits"),
        ("trace { byte_order = le; };\nstream { };", 2, "event.header"),
        (
            "trace { byte_order = le; };\nstream { event.header := struct { integer { size = 8; } id; }; };",
            2,
            "no time",
        ),
        ("typealias floating_point { exp_dig = 1; mant_dig = 2; } := f;", 1, "3 bits"),
        ("\n\nwhatever { };", 3, "'whatever'"),
        ("trace { byte_order = pdp; };", 1, "pdp"),
        ("trace { byte_order = le; }; struct a { nothing x; };", 1, "'nothing'"),
        ("trace { byte_order = le; };\nevent { name = \"a\"; stream_id = 3; };", 2, "stream 3"),
        ("typealias integer { size = 8; align = 3; } := a;", 1, "3 bits"),
        ("trace { byte_order = le; packet.header := struct {\n integer { size = 8; } x[n]; }; };", 2, "'n'"),
        ("trace { byte_order = le; packet.header := struct { struct { } x[9]; }; };", 1, "empty"),
        ("typealias integer { size = 64; align = 8; map = clock; } := t;", 1, "clock.NAME.value"),
    ];
    for (text, line, part) in cases {
        let refusal = read_metadata(text.as_bytes(), 4).expect_err(text);
        assert_eq!((refusal.place.source, refusal.place.at), (4, At::Line(line)), "{text}: {}", refusal.why);
        assert!(refusal.why.contains(part), "{text}: {}", refusal.why);
    }
}

#[test]
fn types_that_would_grow_without_end_are_refused() {
    let mut doubling = String::from("typealias integer { size = 8; } := t0;\n");
    for at in 1..40 {
        doubling += &format!("typealias struct {{ t{0} a; t{0} b; }} := t{at};\n", at - 1);
    }
    doubling += "trace { byte_order = le; packet.header := t39; };";
    assert!(read_metadata(doubling.as_bytes(), 0).expect_err("it is too much").why.contains("fields"));
    let deep = "struct { ".repeat(100_000);
    assert!(read_metadata(format!("typealias {deep}").as_bytes(), 0).expect_err("it is too deep").why.contains("deep"));
}

#[test]
fn metadata_in_packets_is_read_as_its_text() {
    let text = METADATA.as_bytes();
    let mut packed = Vec::new();
    for part in text.chunks(200) {
        let content = u32::try_from((37 + part.len()) * 8).expect("it is small");
        packed.extend(0x75D1_1D57_u32.to_be_bytes());
        packed.extend([0; 20]);
        packed.extend(content.to_be_bytes());
        packed.extend((content + 64).to_be_bytes());
        packed.extend([0, 0, 0, 1, 8]);
        packed.extend(part);
        packed.extend([0; 8]);
    }
    assert!(read_metadata(&packed, 0).is_ok());
    packed[32] = 1;
    assert!(read_metadata(&packed, 0).expect_err("it is compressed").why.contains("compressed"));
}

#[test]
fn streams_are_merged_by_time_under_one_set_of_names() {
    let streams = [
        packet(0, 0, 0, &[switch(10, 1, 1, 2), switch(30, 2, 1, 1), other(31)]),
        packet(1, 0, 0, &[other(1), switch(20, 2, 1, 3), switch(30, 3, 1, 2)]),
        Vec::new(),
    ];
    let inputs = streams.map(std::io::Cursor::new).into();
    let mut folder = Folder::open(METADATA.as_bytes(), inputs, 0, NonZeroUsize::MIN).expect("it opens");
    let mut found = Found::default();
    while folder.read(&mut found).expect("it is read") {}
    let seen: Vec<(u64, Option<u16>, u32)> = found
        .events
        .iter()
        .map(|event| match event.what {
            What::Switch { to, .. } => (event.at_ns, event.cpu.number(), found.names.get(to).id.unwrap_or(0)),
            other => panic!("{other:?}"),
        })
        .collect();
    assert_eq!(seen, [(1_010, Some(0), 2), (1_020, Some(1), 3), (1_030, Some(0), 1), (1_030, Some(1), 2)]);
    let [note] = found.notes.as_slice() else { panic!("{:?}", found.notes) };
    assert!(matches!(note.matter, Matter::Unknown { count: 2, .. }));
}

/// A stream that gives few bytes at a time and says where it may not be read on.
struct Slow(std::io::Cursor<Vec<u8>>, u64);

impl std::io::Read for Slow {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        if self.0.position() >= self.1 {
            return Err(std::io::Error::other("it is broken"));
        }
        let length = buffer.len().min(7_001);
        self.0.read(&mut buffer[..length])
    }
}

/// What so many threads find in streams that end well up to that byte, and how they end.
fn by_threads(streams: &[Vec<u8>], broken_at: u64, threads: usize) -> (Found, Result<bool, crate::note::Refusal>) {
    let inputs = streams.iter().map(|bytes| Slow(std::io::Cursor::new(bytes.clone()), broken_at)).collect();
    let threads = NonZeroUsize::new(threads).expect("it is not 0");
    let mut folder = Folder::open(METADATA.as_bytes(), inputs, 0, threads).expect("it opens");
    let mut found = Found::default();
    loop {
        match folder.read(&mut found) {
            Ok(true) => {}
            end => return (found, end),
        }
    }
}

#[test]
fn any_number_of_threads_finds_the_same_of_streams() {
    // Of different densities, with losses, packets without events, events of no meaning, and one that is out of order.
    let stream = |cpu: u8, every: u16| -> Vec<u8> {
        let packets = (0..600_u16).map(|number| {
            let at = |index: u16| number.wrapping_mul(997).wrapping_add(index.wrapping_mul(every));
            let events = (0..50).map(|index| match (index + number) % 9 {
                0 => completes(at(index), ["nav", "log", "io"][usize::from(number % 3)], u32::from(index)),
                1 => other(at(index)),
                _ => switch(at(index), u32::from((index + number) % 40), (index % 3) as u8, u32::from(index % 50)),
            });
            packet(cpu, (number / 100) as u8, 3, &if number % 7 == 0 { Vec::new() } else { events.collect::<Vec<_>>() })
        });
        packets.collect::<Vec<_>>().concat()
    };
    let streams = [stream(0, 7), stream(1, 3), Vec::new(), stream(2, 11), packet(3, 0, 0, &[switch(40_000, 1, 1, 2)])];
    let (whole, end) = by_threads(&streams, u64::MAX, 1);
    assert_eq!(end, Ok(false));
    assert!(whole.events.len() > 50_000 && whole.events.is_sorted_by_key(|event| event.at_ns));
    assert!(matters(&whole).contains(&Matter::Lost));
    let whole = (whole, end);
    for threads in [2, 3, 8] {
        assert_eq!(by_threads(&streams, u64::MAX, threads), whole);
    }
    let broken = by_threads(&streams, 300_000, 1);
    assert!(broken.1.is_err() && broken.0.events.len() > 1_000, "{:?}", broken.1);
    for threads in [2, 5] {
        assert_eq!(by_threads(&streams, 300_000, threads), broken);
    }
}

#[test]
fn a_panic_in_a_stream_ends_all_threads() {
    struct Panics(u32);
    impl std::io::Read for Panics {
        fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
            self.0 += 1;
            assert!(self.0 < 40, "it is one too many");
            let packet = packet(0, 0, 0, &[switch(self.0 as u16, 1, 1, 2)]);
            buffer[..packet.len()].copy_from_slice(&packet);
            Ok(packet.len())
        }
    }
    for threads in [1, 2, 4] {
        let threads = NonZeroUsize::new(threads).expect("it is not 0");
        let inputs = vec![Panics(0), Panics(0), Panics(0)];
        let mut folder = Folder::open(METADATA.as_bytes(), inputs, 0, threads).expect("it opens");
        let mut found = Found::default();
        let reads = std::panic::AssertUnwindSafe(|| while folder.read(&mut found).expect("it panics before") {});
        assert!(std::panic::catch_unwind(reads).is_err());
    }
}

fn events() -> impl Strategy<Value = Vec<Vec<u8>>> {
    let one = (0..3_u8, any::<u16>(), "[a-z]{0,5}", any::<u32>()).prop_map(|(kind, time, who, number)| match kind {
        0 => switch(time, number % 50, (number % 3) as u8, number % 7),
        1 => completes(time, &who, number),
        _ => other(time),
    });
    prop::collection::vec(one, 0..16)
}

proptest! {
    #[test]
    fn any_split_gives_the_same_events(
        packets in prop::collection::vec((events(), 0..9_usize, any::<u8>()), 1..5),
        mut ends in prop::collection::vec(0..600_usize, 0..40),
    ) {
        let bytes: Vec<u8> = packets.iter().flat_map(|(events, padding, lost)| packet(1, *lost, *padding, events)).collect();
        ends.sort_unstable();
        let (whole, split) = (read(&bytes, &[]), read(&bytes, &ends));
        prop_assert_eq!((&whole.0.events, &whole.0.notes, &whole.0.names), (&split.0.events, &split.0.notes, &split.0.names));
    }

    #[test]
    fn fields_at_fixed_offsets_are_read_as_fields_one_by_one(
        packets in prop::collection::vec((events(), 0..9_usize, any::<u8>()), 1..5),
        changes in prop::collection::vec((0..600_usize, any::<u8>()), 0..6),
    ) {
        let mut bytes: Vec<u8> =
            packets.iter().flat_map(|(events, padding, lost)| packet(1, *lost, *padding, events)).collect();
        for (at, byte) in changes {
            if let Some(place) = bytes.get_mut(at) {
                *place = byte;
            }
        }
        let mut one_by_one = layout(METADATA);
        for stream in one_by_one.streams.iter_mut().flatten() {
            stream.fixed = None;
        }
        let (fixed, single) = (read(&bytes, &[]), read_by(one_by_one, &bytes, &[]));
        prop_assert_eq!(fixed, single);
    }

    #[test]
    fn changed_bytes_do_no_harm(
        events in events(),
        changes in prop::collection::vec((0..200_usize, any::<u8>()), 0..12),
        ends in prop::collection::vec(0..200_usize, 0..5),
    ) {
        let mut bytes = [packet(0, 0, 3, &events), packet(0, 1, 0, &events)].concat();
        for (at, byte) in changes {
            if let Some(place) = bytes.get_mut(at) {
                *place = byte;
            }
        }
        let (found, _) = read(&bytes, &ends);
        prop_assert!(found.events.len() <= bytes.len());
    }

    #[test]
    fn any_metadata_does_no_harm(text in "[ -~\n]{0,80}", at in 0..METADATA.len(), cut in 0..40_usize) {
        let _ = read_metadata(text.as_bytes(), 0);
        let end = (at + cut).min(METADATA.len());
        let spliced = [&METADATA[..at], text.as_str(), &METADATA[end..]].concat();
        let _ = read_metadata(spliced.as_bytes(), 0);
    }
}

#[test]
fn an_event_that_is_left_out_since_it_is_out_of_order_is_lost_since_its_own_instant() {
    let mut teller = super::teller::Teller::new(&layout(METADATA), 0, 0);
    let clock = super::metadata::Clock { name: String::new(), freq: 1_000_000_000, offset_s: 0, offset: 0 };
    teller.scale = Some(super::ticks::Scale::of(&clock));
    let mut found = Found::default();
    let cpu = Cpu::new(2).expect("it is a cpu");
    for ticks in [10_000, 4_000, 11_000] {
        let told = super::teller::Told { ticks, cpu, class: 0, number: 0, byte: 0 };
        teller.say(&told, &super::meaning::Meaning::Unknown, &super::said::AtOffsets(&[]), &mut found);
    }
    assert_eq!(matters(&found), [Matter::OutOfOrder]);
    assert_eq!(found.events, [Event { at_ns: 10_000, cpu, what: What::lost_since(1, 3_999, 10_000) }]);
}
