//! Captures of the internal network, pcap and pcapng: each frame with its time, flow and bytes of payload.

mod flow;

use super::missing::Missing;
use super::{Found, Reader};
use crate::event::{Cpu, Event, What};
use crate::note::{At, Matter, Note, Place, Refusal};
use pcap_parser::nom::Err as Nom;
use pcap_parser::pcapng::{Block, PcapNGOption, parse_block_be, parse_block_le};
use pcap_parser::{PcapHeader, parse_pcap_frame, parse_pcap_frame_be, parse_pcap_frame_modified, parse_pcap_header};

/// A block or frame may be so long.
const LONGEST: usize = 16 << 20;
/// A section may describe so many interfaces.
const MOST_INTERFACES: usize = 65_536;
const NS_PER_S: u128 = 1_000_000_000;

/// What is known of the capture.
enum Kind {
    /// Its first bytes are not there yet.
    Unknown,
    /// A pcap file.
    Plain(PcapHeader),
    /// A pcapng file: the order of its section's numbers and the section's interfaces.
    Blocks { big: bool, interfaces: Vec<Interface> },
}

/// An interface of a pcapng section.
#[derive(Debug, Clone, Copy)]
struct Interface {
    link: u32,
    resolution: u8,
    offset_s: i64,
    dropped: u64,
    /// The last frame of it, and the last count of what was dropped.
    frame_ns: u64,
    counted_ns: u64,
}

/// Reads a capture.
pub struct Pcap {
    source: u16,
    kind: Kind,
    held: Vec<u8>,
    /// The byte of the file at which `held` begins.
    held_at: u64,
    last_ns: u64,
    missing: Missing,
}

/// What became of the bytes at hand.
enum Step {
    /// So many have been read.
    Read(usize),
    /// More are needed.
    More,
}

impl Reader for Pcap {
    fn feed(&mut self, bytes: &[u8], found: &mut Found) -> Result<(), Refusal> {
        self.held.extend_from_slice(bytes);
        let held = std::mem::take(&mut self.held);
        let mut done = 0;
        let read = loop {
            match self.step(&held[done..], found) {
                Ok(Step::Read(bytes)) => {
                    done += bytes;
                    self.held_at += bytes as u64;
                }
                Ok(Step::More) => break Ok(()),
                Err(refusal) => break Err(refusal),
            }
        };
        self.held = held;
        self.held.drain(..done);
        read
    }

    fn finish(&mut self, found: &mut Found) -> Result<(), Refusal> {
        if matches!(self.kind, Kind::Unknown) {
            return self.refuse("the capture ends before its first header does");
        }
        if !self.held.is_empty() {
            self.note(Matter::Truncated, found);
        }
        self.missing.finish(|loss| found.events.push(loss));
        Ok(())
    }
}

impl Pcap {
    /// A reader of that source.
    pub fn new(source: u16) -> Self {
        Self { source, kind: Kind::Unknown, held: Vec::new(), held_at: 0, last_ns: 0, missing: Missing::default() }
    }

    fn place(&self) -> Place {
        Place { source: self.source, at: At::Byte(self.held_at) }
    }

    fn note(&self, matter: Matter, found: &mut Found) {
        found.notes.push(Note { place: self.place(), matter });
    }

    fn refuse<T>(&self, why: impl Into<String>) -> Result<T, Refusal> {
        let remedy =
            "check that the file is a capture in pcap or pcapng, and that it is whole up to this place".to_owned();
        Err(Refusal { place: self.place(), why: why.into(), remedy })
    }

    fn step(&mut self, bytes: &[u8], found: &mut Found) -> Result<Step, Refusal> {
        match &self.kind {
            Kind::Unknown => self.begin(bytes),
            Kind::Plain(header) => {
                let header = header.clone();
                self.frame(&header, bytes, found)
            }
            Kind::Blocks { .. } => self.block(bytes, found),
        }
    }

    fn begin(&mut self, bytes: &[u8]) -> Result<Step, Refusal> {
        if bytes.starts_with(&[0x0A, 0x0D, 0x0D, 0x0A]) {
            self.kind = Kind::Blocks { big: false, interfaces: Vec::new() };
            return Ok(Step::Read(0));
        }
        if bytes.len() < 24 {
            return Ok(Step::More);
        }
        match parse_pcap_header(bytes) {
            Ok((_, header)) => {
                self.kind = Kind::Plain(header);
                Ok(Step::Read(24))
            }
            Err(_) => self.refuse("this begins like neither a pcap nor a pcapng file"),
        }
    }

    /// One frame of a pcap file.
    fn frame(&mut self, header: &PcapHeader, bytes: &[u8], found: &mut Found) -> Result<Step, Refusal> {
        let Some(kept) = number(bytes, 8, header.is_bigendian()) else { return Ok(Step::More) };
        if kept as usize > LONGEST {
            return self
                .refuse(format!("a frame says that {kept} bytes of it were kept: more than 16 MiB are not read"));
        }
        let parse = match (header.is_modified_format(), header.is_bigendian()) {
            (true, _) => parse_pcap_frame_modified,
            (false, true) => parse_pcap_frame_be,
            (false, false) => parse_pcap_frame,
        };
        let Ok((rest, frame)) = parse(bytes) else { return Ok(Step::More) };
        let unit = if header.is_nanosecond_precision() { 1 } else { 1_000 };
        let at_ns = u64::from(frame.ts_sec) * 1_000_000_000 + u64::from(frame.ts_usec) * unit;
        let link = header.network.0.cast_unsigned() & 0xFFFF;
        self.tell(Some(at_ns), link, frame.data, frame.origlen, found);
        Ok(Step::Read(bytes.len() - rest.len()))
    }

    fn tell(&mut self, at_ns: Option<u64>, link: u32, bytes: &[u8], length: u32, found: &mut Found) {
        let Some(at_ns) = at_ns else { return self.leave_out(Matter::OutOfRange, found) };
        self.missing.event(at_ns, |loss| found.events.push(loss));
        if bytes.len() < length as usize {
            self.note(Matter::Snapped, found);
        }
        let (name, payload) = flow::flow(link, bytes, length);
        let what = What::Frame { flow: found.names.text(&name), bytes: payload };
        self.last_ns = self.last_ns.max(at_ns);
        found.events.push(Event { at_ns, cpu: Cpu::UNKNOWN, what });
    }

    /// A frame, or what may have been one, is missing.
    fn leave_out(&mut self, matter: Matter, found: &mut Found) {
        self.note(matter, found);
        self.missing.lose(Cpu::UNKNOWN, 1);
    }

    /// So many frames were dropped after one instant and up to another.
    fn lose(&mut self, (from_ns, to_ns): (u64, u64), count: u64, found: &mut Found) {
        self.note(Matter::Lost, found);
        let count = u32::try_from(count).unwrap_or(u32::MAX);
        let what = What::lost_since(count, from_ns, to_ns);
        found.events.push(Event { at_ns: to_ns, cpu: Cpu::UNKNOWN, what });
    }

    /// One block of a pcapng file.
    fn block(&mut self, bytes: &[u8], found: &mut Found) -> Result<Step, Refusal> {
        let Kind::Blocks { big, .. } = &mut self.kind else { return Ok(Step::More) };
        if bytes.len() < 12 {
            return Ok(Step::More);
        }
        // A section's header says the order of its own numbers, its length included.
        if bytes.starts_with(&[0x0A, 0x0D, 0x0D, 0x0A]) {
            *big = bytes[8..12] == [0x1A, 0x2B, 0x3C, 0x4D];
        }
        let big = *big;
        let length = number(bytes, 4, big).unwrap_or(0) as usize;
        if !(12..=LONGEST).contains(&length) || !length.is_multiple_of(4) {
            return self
                .refuse(format!("a block says a length of {length}: multiples of 4 from 12 to 16 MiB are read"));
        }
        let Some(own) = bytes.get(..length) else { return Ok(Step::More) };
        let parsed = if big { parse_block_be(own) } else { parse_block_le(own) };
        match parsed {
            Ok((_, block)) => self.read_block(&block, big, found),
            Err(Nom::Incomplete(_) | Nom::Error(_) | Nom::Failure(_)) => self.leave_out(Matter::Malformed, found),
        }
        Ok(Step::Read(length))
    }

    fn read_block(&mut self, block: &Block<'_>, big: bool, found: &mut Found) {
        let Kind::Blocks { interfaces, .. } = &mut self.kind else { return };
        match block {
            Block::SectionHeader(_) => interfaces.clear(),
            Block::InterfaceDescription(described) if interfaces.len() < MOST_INTERFACES => {
                interfaces.push(Interface {
                    link: described.linktype.0.cast_unsigned() & 0xFFFF,
                    resolution: option(&described.options, 9, big).map_or(6, |value| value as u8),
                    offset_s: option(&described.options, 14, big).map_or(0, u64::cast_signed),
                    dropped: 0,
                    frame_ns: 0,
                    counted_ns: 0,
                })
            }
            Block::EnhancedPacket(packet) => {
                let Some(interface) = interfaces.get_mut(packet.if_id as usize) else {
                    return self.leave_out(Matter::Malformed, found);
                };
                let at_ns = time(packet.ts_high, packet.ts_low, interface);
                let before_ns = interface.frame_ns;
                interface.frame_ns = at_ns.unwrap_or(before_ns);
                let interface = *interface;
                if let (Some(at_ns), Some(count @ 1..)) = (at_ns, option(&packet.options, 4, big)) {
                    self.lose((before_ns.min(at_ns), at_ns), count, found);
                }
                let kept = packet.data.get(..packet.caplen as usize).unwrap_or(packet.data);
                self.tell(at_ns, interface.link, kept, packet.origlen, found);
            }
            Block::InterfaceStatistics(statistics) => {
                let Some(interface) = interfaces.get_mut(statistics.if_id as usize) else {
                    return self.leave_out(Matter::Malformed, found);
                };
                let counts = [5, 7].map(|code| option(&statistics.options, code, big).unwrap_or(0));
                let now = counts[0].saturating_add(counts[1]);
                let more = now.saturating_sub(interface.dropped);
                interface.dropped = now.max(interface.dropped);
                let at_ns = time(statistics.ts_high, statistics.ts_low, interface).unwrap_or(0).max(self.last_ns);
                // They may have been dropped at any time since it was last counted.
                let since_ns = std::mem::replace(&mut interface.counted_ns, at_ns);
                if more > 0 {
                    self.lose((since_ns, at_ns), more, found);
                }
            }
            // A simple packet has no time, so that nothing can be said of it; that something was there is noted.
            Block::SimplePacket(_) | Block::InterfaceDescription(_) => self.leave_out(Matter::Malformed, found),
            _ => {}
        }
    }
}

/// A number of 32 bits at a byte.
fn number(bytes: &[u8], at: usize, big: bool) -> Option<u32> {
    let own = bytes.get(at..at + 4)?.try_into().ok()?;
    Some(if big { u32::from_be_bytes(own) } else { u32::from_le_bytes(own) })
}

/// The number in an option of up to eight bytes.
fn option(options: &[PcapNGOption<'_>], code: u16, big: bool) -> Option<u64> {
    let found = options.iter().find(|option| option.code.0 == code)?;
    let value = found.value.get(..usize::from(found.len)).unwrap_or(&found.value);
    let join = |number: u64, byte: &u8| (number << 8) | u64::from(*byte);
    let number = if big { value.iter().take(8).fold(0, join) } else { value.iter().take(8).rev().fold(0, join) };
    (1..=8).contains(&value.len()).then_some(number)
}

/// Ticks of an interface as nanoseconds, rounded down: the highest bit of its resolution chooses powers of 2 instead of 10.
fn time(high: u32, low: u32, interface: &Interface) -> Option<u64> {
    let ticks = (u128::from(high) << 32) | u128::from(low);
    let power = u32::from(interface.resolution & 0x7F);
    let per_s = if interface.resolution & 0x80 == 0 { 10_u128.checked_pow(power) } else { 2_u128.checked_pow(power) }?;
    let ns = i128::try_from(ticks * NS_PER_S / per_s).ok()? + i128::from(interface.offset_s) * 1_000_000_000;
    u64::try_from(ns).ok()
}

#[cfg(test)]
mod tests;
