//! What is read of captures, and that neither blocks nor bytes do harm. Frames are built by etherparse's own writer.

use super::Pcap;
use crate::event::What;
use crate::intake::{Found, Reader};
use crate::note::Matter;
use etherparse::PacketBuilder;
use proptest::prelude::*;

fn udp(payload: usize) -> Vec<u8> {
    let mut frame = Vec::new();
    let head = PacketBuilder::ethernet2([2, 0, 0, 0, 0, 1], [2, 0, 0, 0, 0, 2]).ipv4([10, 0, 0, 1], [10, 0, 0, 2], 9);
    head.udp(5000, 6000).write(&mut frame, &vec![7; payload]).expect("a vector takes it");
    frame
}

fn tcp() -> Vec<u8> {
    let mut frame = Vec::new();
    let head = PacketBuilder::ipv6([1; 16], [2; 16], 9);
    head.tcp(1, 2, 3, 4).write(&mut frame, &[1, 2, 3]).expect("a vector takes it");
    frame
}

fn tagged() -> Vec<u8> {
    let mut frame = vec![2, 0, 0, 0, 0, 2, 2, 0, 0, 0, 0, 1, 0x81, 0, 0, 5, 0x88, 0xF7];
    frame.extend([0; 28]);
    frame
}

/// A pcap file: magic number, link, and for each frame seconds, parts, bytes, and how many of the bytes were kept.
fn plain(magic: u32, link: u32, frames: &[(u32, u32, Vec<u8>, usize)]) -> Vec<u8> {
    let words = |words: &[u32]| words.iter().flat_map(|word| word.to_be_bytes()).collect::<Vec<u8>>();
    let mut file = words(&[magic, 0x0002_0004, 0, 0, 65_535, link]);
    for (seconds, parts, bytes, kept) in frames {
        file.extend(words(&[*seconds, *parts, *kept as u32, bytes.len() as u32]));
        file.extend(&bytes[..*kept]);
    }
    file
}

fn block(kind: u32, body: &[u8]) -> Vec<u8> {
    let mut body = body.to_vec();
    body.resize(body.len().next_multiple_of(4), 0);
    let length = (body.len() as u32 + 12).to_le_bytes();
    [&kind.to_le_bytes()[..], &length, &body, &length].concat()
}

fn option(code: u16, value: &[u8]) -> Vec<u8> {
    let mut option = [code.to_le_bytes(), (value.len() as u16).to_le_bytes()].concat();
    option.extend(value);
    option.resize(option.len().next_multiple_of(4), 0);
    option
}

fn words(words: &[u32]) -> Vec<u8> {
    words.iter().flat_map(|word| word.to_le_bytes()).collect()
}

fn packet(interface: u32, ticks: u64, frame: &[u8], options: &[u8]) -> Vec<u8> {
    let length = frame.len() as u32;
    let mut body = words(&[interface, (ticks >> 32) as u32, ticks as u32, length, length]);
    body.extend(frame);
    body.resize(body.len().next_multiple_of(4), 0);
    body.extend(options);
    block(6, &body)
}

/// A pcapng file with two interfaces: one of 2^-10 s beginning at second 2, one of 10^-9 s.
fn blocks() -> Vec<u8> {
    let section = [words(&[0x1A2B_3C4D, 1, u32::MAX, u32::MAX])].concat();
    let interface = |link: u32, options: Vec<Vec<u8>>| [words(&[link, 0]), options.concat(), words(&[0])].concat();
    let statistics =
        |ticks: u32, drops: u64| [words(&[1, 0, ticks]), option(5, &drops.to_le_bytes()), words(&[0])].concat();
    [
        block(0x0A0D_0D0A, &section),
        block(1, &interface(1, vec![option(9, &[0x8A]), option(14, &2_u64.to_le_bytes())])),
        block(1, &interface(101, vec![option(9, &[9])])),
        packet(0, 1, &tagged(), &[]),
        packet(1, 3_000_000_000, &tcp(), &[option(4, &6_u64.to_le_bytes()), words(&[0])].concat()),
        block(5, &statistics(3_000_000_005, 4)),
        block(5, &statistics(3_000_000_006, 4)),
        block(0x0BAD, &[1, 2, 3]),
        packet(7, 0, &tagged(), &[]),
    ]
    .concat()
}

fn read(bytes: &[u8], ends: &[usize]) -> (Found, bool) {
    let (mut found, mut reader, mut start) = (Found::default(), Pcap::new(0), 0);
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
    let line = |what| match what {
        What::Frame { flow, bytes } => format!("{} {bytes}", found.names.get(flow).text),
        other => format!("{other:?}"),
    };
    found.events.iter().map(|event| format!("{} {}", event.at_ns, line(event.what))).collect()
}

fn matters(found: &Found) -> Vec<Matter> {
    found.notes.iter().map(|note| note.matter).collect()
}

#[test]
fn frames_of_a_pcap_file_have_exact_times_flows_and_payloads() {
    let cut = udp(100).len() - 60;
    let file = plain(0xA1B2_C3D4, 1, &[(1, 5, udp(9), udp(9).len()), (2, 7, udp(100), cut)]);
    let (found, whole) = read(&file, &[]);
    let expected =
        ["1000005000 udp 10.0.0.1:5000 > 10.0.0.2:6000 9", "2000007000 udp 10.0.0.1:5000 > 10.0.0.2:6000 100"];
    assert_eq!(
        (lines(&found), matters(&found), whole),
        (expected.map(str::to_owned).to_vec(), vec![Matter::Snapped], true)
    );
    let file = plain(0xA1B2_3C4D, 1, &[(1, 5, tagged(), tagged().len())]);
    let (found, _) = read(&file[..], &[]);
    assert_eq!(lines(&found), ["1000000005 vlan 5 ethertype 0x88f7 02:00:00:00:00:01 > 02:00:00:00:00:02 28"]);
    let (found, whole) = read(&file[..file.len() - 1], &[]);
    assert_eq!((found.events.len(), matters(&found), whole), (0, vec![Matter::Truncated], true));
}

#[test]
fn blocks_of_a_pcapng_file_have_times_by_their_interface_and_losses() {
    let (found, whole) = read(&blocks(), &[]);
    let expected = [
        // 2 s and 1/1,024 s, rounded down.
        "2000976562 vlan 5 ethertype 0x88f7 02:00:00:00:00:01 > 02:00:00:00:00:02 28",
        // It is the first frame of its interface.
        "3000000000 Lost { count: 6, back_us: 3000000 }",
        "3000000000 tcp [101:101:101:101:101:101:101:101]:1 > [202:202:202:202:202:202:202:202]:2 3",
        // Counted for the first time: they were dropped at any time until then. What follows adds nothing.
        "3000000005 Lost { count: 4, back_us: 3000001 }",
        // The frame of an interface that is not declared.
        "3000000000 Lost { count: 1, back_us: 0 }",
    ];
    assert_eq!(lines(&found), expected);
    assert_eq!((matters(&found), whole), (vec![Matter::Lost, Matter::Lost, Matter::Malformed], true));
}

#[test]
fn what_is_no_capture_is_refused() {
    assert!(!read(b"", &[]).1);
    assert!(!read(b"neither one nor the other of the two", &[]).1);
    let mut long = plain(0xA1B2_C3D4, 1, &[(1, 5, udp(9), 9)]);
    long[32..36].fill(0xFF);
    assert!(!read(&long, &[]).1);
}

proptest! {
    #[test]
    fn any_split_gives_the_same_and_no_change_of_bytes_does_harm(
        mut ends in prop::collection::vec(0..700_usize, 0..20),
        changes in prop::collection::vec((0..700_usize, any::<u8>()), 0..6),
        which in any::<bool>(),
    ) {
        ends.sort_unstable();
        let mut bytes = if which { blocks() } else { plain(0xA1B2_C3D4, 1, &[(1, 5, udp(9), 40), (2, 7, udp(100), 90)]) };
        for (at, byte) in changes {
            if let Some(place) = bytes.get_mut(at) {
                *place = byte;
            }
        }
        prop_assert_eq!(read(&bytes, &[]), read(&bytes, &ends));
    }
}
