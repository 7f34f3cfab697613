//! One stream's file: packet after packet, event after event, out of blocks of bytes of any length.

use super::bits::{Bits, Stop, Values};
use super::held::Held;
use super::layout::{self, FixedHeader, Layout};
use super::said::{AtOffsets, InSlots, Near};
use super::teller::{Teller, Told};
use super::ticks::{Scale, Ticks};
use crate::event::{Cpu, Event, What};
use crate::intake::{Found, Reader};
use crate::note::{At, Matter, Note, Place, Refusal};
use std::io::Read;
use std::sync::Arc;

/// The header and context of a packet may be so long.
const LONGEST_HEAD: usize = 64 << 10;
/// An event may be so long.
const LONGEST_EVENT: usize = 1 << 20;

/// What comes next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step {
    /// A packet's header and context.
    Head,
    /// Its events.
    Events,
    /// What a packet has behind its content.
    Rest,
}

/// The packet in hand.
#[derive(Debug, Clone, Copy)]
struct Packet {
    /// The byte of the file at which it begins.
    begins: u64,
    /// Where in it what comes next begins, in bits.
    at: u64,
    /// Its kind of stream.
    class: usize,
    /// The bits of it in use, if known.
    content: Option<u64>,
    /// All its bits, if known.
    size: Option<u64>,
    /// Its cpu.
    cpu: Cpu,
    /// When it ends, in ticks.
    ends: Option<u64>,
    /// Whether events of it may be missing.
    lost: bool,
}

impl Packet {
    /// One that begins at that byte, and of which nothing is known yet.
    fn beginning(begins: u64) -> Self {
        Self { begins, at: 0, class: 0, content: None, size: None, cpu: Cpu::UNKNOWN, ends: None, lost: false }
    }
}

/// Reads one stream's file. It must be given the same [`Found`] each time, since it remembers names.
pub struct Stream {
    layout: Arc<Layout>,
    source: u16,
    file: u16,
    held: Held,
    /// The byte of the file at which `held` begins.
    held_at: u64,
    step: Step,
    packet: Packet,
    values: Values,
    ticks: Ticks,
    teller: Teller,
    /// How many events were discarded until the packet before, and its number.
    discarded: Option<u64>,
    sequence: Option<u64>,
}

impl Reader for Stream {
    fn feed(&mut self, bytes: &[u8], found: &mut Found) -> Result<(), Refusal> {
        self.held.extend(bytes);
        self.read_held(found)
    }

    fn finish(&mut self, found: &mut Found) -> Result<(), Refusal> {
        let left = self.held_at + self.held.len() as u64 > self.position();
        let within = match self.step {
            Step::Head => left,
            Step::Events => left || self.packet.content.is_some(),
            Step::Rest => false,
        };
        if within {
            self.note(Matter::Truncated, found);
        }
        if self.step == Step::Events {
            self.packet.lost |= within;
            self.end_packet(found);
        }
        self.teller.tell_unknown(&self.layout, Place { source: self.source, at: At::End }, found);
        Ok(())
    }
}

impl Stream {
    /// A reader of the file of that number within a source.
    pub fn new(layout: Arc<Layout>, source: u16, file: u16) -> Self {
        Self {
            teller: Teller::new(&layout, source, file),
            values: Values::of(layout.slots),
            layout,
            source,
            file,
            held: Held::default(),
            held_at: 0,
            step: Step::Head,
            packet: Packet::beginning(0),
            ticks: Ticks::default(),
            discarded: None,
            sequence: None,
        }
    }

    /// Takes the next bytes, at most so many, from where they come without another copy. `false`: that was the end.
    pub(super) fn feed_from(&mut self, input: &mut impl Read, most: usize, found: &mut Found) -> Result<bool, Refusal> {
        match self.held.read_from(input, most) {
            Ok(0) => self.finish(found).map(|()| false),
            Ok(_) => self.read_held(found).map(|()| true),
            Err(error) => {
                let remedy = "check the file and its permissions".to_owned();
                Err(Refusal { place: self.place(), why: format!("the stream cannot be read: {error}"), remedy })
            }
        }
    }

    /// Reads what is held as far as it goes, and lets go of that.
    fn read_held(&mut self, found: &mut Found) -> Result<(), Refusal> {
        let read = self.run(found);
        let done = self.position().saturating_sub(self.held_at).min(self.held.len() as u64);
        self.held.let_go(usize::try_from(done).unwrap_or(0));
        self.held_at += done;
        read
    }

    fn run(&mut self, found: &mut Found) -> Result<(), Refusal> {
        let layout = self.layout.clone();
        loop {
            let more = match self.step {
                Step::Head => self.head(&layout, found)?,
                Step::Events => self.events(&layout, found)?,
                Step::Rest => self.rest(),
            };
            if !more {
                return Ok(());
            }
        }
    }

    /// The byte of the file from which on bytes are still needed.
    fn position(&self) -> u64 {
        self.packet.begins.saturating_add(self.packet.at / 8)
    }

    /// What is at hand of a byte of the packet on.
    #[inline(always)]
    fn at_hand(&self, byte: u64) -> Option<usize> {
        usize::try_from((self.packet.begins + byte).checked_sub(self.held_at)?).ok().filter(|at| *at <= self.held.len())
    }

    fn place(&self) -> Place {
        Place { source: self.source, at: At::Within { file: self.file, byte: self.position() } }
    }

    fn note(&self, matter: Matter, found: &mut Found) {
        found.notes.push(Note { place: self.place(), matter });
    }

    fn refuse<T>(&self, why: impl Into<String>) -> Result<T, Refusal> {
        let remedy =
            "check that the file is a stream of this trace, whole, with the metadata it was recorded with".to_owned();
        Err(Refusal { place: self.place(), why: why.into(), remedy })
    }

    /// Reads the header and context of a packet; `false`: more bytes are needed.
    fn head(&mut self, layout: &Layout, found: &mut Found) -> Result<bool, Refusal> {
        let Some(start) = self.at_hand(0).filter(|start| *start < self.held.len()) else { return Ok(false) };
        let ticks = self.ticks;
        match self.take_head(layout, start) {
            Ok(()) => {}
            Err(Ok(Stop::More)) if self.held.len() - start <= LONGEST_HEAD => {
                self.ticks = ticks;
                return Ok(false);
            }
            Err(Ok(_)) => return self.refuse("the header or context of a packet cannot be read"),
            Err(Err(why)) => return self.refuse(why),
        }
        self.begin_packet(layout, found);
        self.step = Step::Events;
        Ok(true)
    }

    fn take_head(&mut self, layout: &Layout, start: usize) -> Result<(), Result<Stop, String>> {
        let mut bits = Bits { bytes: &self.held[start..], origin: 0, at: 0, end: None };
        if let Some(header) = &layout.header {
            bits.take(header, &mut self.values, &mut |_, _| ()).map_err(Ok)?;
        }
        let magic = layout.magic.map(|slot| self.values.numbers[slot]);
        if magic.is_some_and(|magic| magic != 0xC1FC_1FC1) {
            return Err(Err("a packet does not begin with the magic number C1FC1FC1".to_owned()));
        }
        let number = layout.stream.map_or(0, |slot| self.values.numbers[slot]);
        let class = usize::try_from(number).ok().filter(|at| layout.streams.get(*at).is_some_and(Option::is_some));
        let class = class.ok_or_else(|| Err(format!("a packet is of stream {number}, which is not declared")))?;
        let stream = layout.streams[class].as_ref().expect("it was found");
        if let Some(context) = &stream.packet {
            let ticks = &mut self.ticks;
            bits.take(context, &mut self.values, &mut |value, bits| ticks.set(value, bits)).map_err(Ok)?;
        }
        let at = bits.at;
        let value = |slot: Option<layout::Slot>| slot.map(|slot| self.values.numbers[slot]);
        let (content, size) = (value(stream.context.content), value(stream.context.packet));
        let (content, size) = (content.or(size), size.or(content));
        if size.is_some_and(|size| size % 8 != 0 || content.is_some_and(|content| content > size || content < at)) {
            return Err(Err(
                "a packet says a size that cannot be: of no whole bytes, or less than its content".to_owned()
            ));
        }
        let cpu = value(stream.context.cpu).and_then(Cpu::new).unwrap_or(Cpu::UNKNOWN);
        let ends = value(stream.context.ends);
        self.packet = Packet { begins: self.packet.begins, at, class, content, size, cpu, ends, lost: false };
        self.teller.scale = Some(Scale::of(&stream.clock));
        Ok(())
    }

    /// Notices what the recorder says it has lost: it counts on from packet to packet.
    fn begin_packet(&mut self, layout: &Layout, found: &mut Found) {
        let Some(class) = &layout.streams[self.packet.class] else { return };
        let step = |counter: Option<(layout::Slot, u32)>, before: Option<u64>| {
            let (slot, bits) = counter?;
            let now = self.values.numbers[slot];
            Some((now, before.map(|before| now.wrapping_sub(before) & (u64::MAX >> (64 - bits)))))
        };
        let discarded = step(class.context.discarded, self.discarded);
        let sequence = step(class.context.sequence, self.sequence);
        let count = discarded.and_then(|(_, more)| more).unwrap_or(0);
        // What the first packet counts may have been lost before the file begins: how many of it were lost since is not said.
        let unsaid = discarded.is_some_and(|(now, more)| more.is_none() && now > 0);
        let skipped = sequence.and_then(|(_, more)| more).is_some_and(|more| more != 1);
        self.discarded = discarded.map(|(now, _)| now);
        self.sequence = sequence.map(|(now, _)| now);
        if count > 0 || unsaid || skipped {
            self.note(Matter::Lost, found);
            self.packet.lost = count > 0 || unsaid;
            self.lose(self.ticks.now, u32::try_from(count).unwrap_or(u32::MAX), found);
        }
    }

    fn lose(&mut self, ticks: u64, count: u32, found: &mut Found) {
        let at_ns = self.teller.at_or_after(ticks);
        found.events.push(Event { at_ns, cpu: self.packet.cpu, what: What::lost(count) });
    }

    /// Where events of a packet may be missing, the stretch behind its last event is marked too: a recorder may count what it
    /// lost after that event in the same packet.
    fn end_packet(&mut self, found: &mut Found) {
        if self.packet.lost {
            self.lose(self.packet.ends.unwrap_or(self.ticks.now), 0, found);
        }
    }

    fn rest(&mut self) -> bool {
        let Some(size) = self.packet.size else { return false };
        self.packet = Packet::beginning(self.packet.begins.saturating_add(size / 8));
        self.step = Step::Head;
        true
    }

    /// Reads events up to the end of the packet's content; `false`: more bytes are needed.
    fn events(&mut self, layout: &Layout, found: &mut Found) -> Result<bool, Refusal> {
        let Some(class) = &layout.streams[self.packet.class] else { return Ok(false) };
        loop {
            if self.packet.content.is_some_and(|content| self.packet.at >= content) {
                self.end_packet(found);
                self.step = Step::Rest;
                return Ok(true);
            }
            if let Some(header) = &class.fixed
                && self.fast(header, class, found)
            {
                continue;
            }
            match self.slow(class, found) {
                Ok(()) => {}
                Err(Stop::More) if self.left() <= LONGEST_EVENT => return Ok(false),
                Err(_) => self.give_up_packet(found)?,
            }
        }
    }

    /// The bytes at hand that belong to the event in hand, or come behind it.
    fn left(&self) -> usize {
        self.at_hand(self.packet.at / 8).map_or(0, |at| self.held.len() - at)
    }

    /// Leaves out the rest of a packet in which an event cannot be read; what follows it can be.
    fn give_up_packet(&mut self, found: &mut Found) -> Result<(), Refusal> {
        let Some(content) = self.packet.content else {
            return self.refuse("an event cannot be read, and no packet size says where the next one begins");
        };
        self.note(Matter::Malformed, found);
        self.packet.at = content;
        self.packet.lost = true;
        Ok(())
    }

    /// Reads the events whose fields stand at fixed offsets, as long as one comes after another and all of it is at hand.
    /// Whether there was one.
    fn fast(&mut self, header: &FixedHeader, stream: &layout::Stream, found: &mut Found) -> bool {
        let begun = self.packet.at.div_ceil(8);
        let Packet { begins: packet, cpu, class, .. } = self.packet;
        let Some(range) = self.content_at_hand(header.aligned(begun)) else { return false };
        let mut rest = &self.held[range];
        let mut end = begun;
        loop {
            let told = |ticks: &Ticks, number| Told { ticks: ticks.now, cpu, class, number, byte: packet + end };
            let size = if let Some(near) = rest.first_chunk()
                && let Some((number, fixed)) = header.near_event(near, stream)
            {
                self.ticks.set(header.time.near(near), header.time.number.bits);
                self.teller.say(&told(&self.ticks, number), &fixed.meaning, &Near(near), found);
                fixed.size
            } else if let Some((number, fixed)) = header.event(rest, stream) {
                self.ticks.set(header.time.value(rest), header.time.number.bits);
                self.teller.say_apart(&told(&self.ticks, number), &fixed.meaning, &AtOffsets(rest), found);
                fixed.size
            } else {
                break;
            };
            let begins = header.aligned(end);
            end = begins + size as u64;
            rest = rest.get((header.aligned(end) - begins) as usize..).unwrap_or_default();
        }
        if end > begun {
            self.packet.at = end * 8;
        }
        end > begun
    }

    /// Where in what is held the content of the packet from that byte on stands, as far as it is at hand.
    fn content_at_hand(&self, first: u64) -> Option<std::ops::Range<usize>> {
        let start = self.at_hand(first)?;
        let end = match self.packet.content {
            None => self.held.len(),
            Some(content) => start.checked_add(usize::try_from((content / 8).checked_sub(first)?).ok()?)?,
        };
        Some(start..end.min(self.held.len()))
    }

    fn slow(&mut self, class: &layout::Stream, found: &mut Found) -> Result<(), Stop> {
        let byte = self.packet.at / 8;
        let start = self.at_hand(byte).ok_or(Stop::More)?;
        let before = self.ticks;
        let taken = self.take_event(class, byte, start);
        match taken {
            Ok((number, at)) => {
                let event = class.events[number].as_ref().expect("it was found");
                let fields = InSlots { values: &self.values, bytes: &self.held[start..] };
                let Packet { cpu, class, .. } = self.packet;
                let told = Told { ticks: self.ticks.now, cpu, class, number, byte: self.position() };
                self.teller.say_apart(&told, &event.meaning, &fields, found);
                self.packet.at = at;
                Ok(())
            }
            Err(stop) => {
                self.ticks = before;
                Err(stop)
            }
        }
    }

    /// Reads an event into the values: its number, and where the next one begins.
    fn take_event(&mut self, class: &layout::Stream, byte: u64, start: usize) -> Result<(usize, u64), Stop> {
        let bytes = &self.held[start..];
        let mut bits = Bits { bytes, origin: byte * 8, at: self.packet.at, end: self.packet.content };
        let (ticks, values) = (&mut self.ticks, &mut self.values);
        bits.take(&class.header, values, &mut |value, bits| ticks.set(value, bits))?;
        let number = match class.id {
            Some(slot) => usize::try_from(values.numbers[slot]).ok(),
            None => class.events.iter().position(Option::is_some),
        };
        let known = number.and_then(|number| Some((number, class.events.get(number)?.as_ref()?)));
        let (number, event) = known.ok_or(Stop::Unchosen)?;
        event.nodes.iter().try_for_each(|node| bits.take(node, values, &mut |_, _| ()))?;
        Ok((number, bits.at))
    }
}
