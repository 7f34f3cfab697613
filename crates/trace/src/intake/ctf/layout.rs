//! From declared types to what a stream is read by: nodes with a slot for each value, and fixed offsets where there are such.

use super::Wrong;
use super::kinds::{Integer, Kind, Label, Length, Order, Type};
use super::meaning::Meaning;
use super::metadata::{Block, Clock, Metadata, order};
use std::sync::Arc;

/// A place for a value that was read: an index into the numbers or the texts of a stream's [`Values`](super::bits::Values).
pub type Slot = usize;

/// More nodes than this are refused, so that no text of some kilobytes asks for gigabytes.
const MOST_NODES: usize = 1 << 18;
/// Events and streams with higher numbers are refused: they stand in a list by their number.
const HIGHEST_ID: u64 = 65_535;

/// A whole number as it is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Number {
    /// Its bits.
    pub bits: u32,
    /// It begins at a multiple of so many bits.
    pub align: u32,
    /// Whether it can be negative.
    pub signed: bool,
    /// Whether its greatest byte comes first.
    pub big: bool,
    /// Where it is put.
    pub slot: Slot,
    /// Whether it sets the clock.
    pub clock: bool,
}

/// How many elements a list has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Count {
    /// So many.
    Fixed(u64),
    /// As many as the number in the slot.
    Slot(Slot),
}

/// One option of a variant: the tag's values that choose it, from the first to the last of each range.
pub type Chosen = (Vec<(i128, i128)>, Node);

/// How to read a value.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Node {
    /// A number.
    Number(Number),
    /// So many bits at that alignment that nothing is made of.
    Skip(u32, u32),
    /// A text up to a byte of 0.
    Text(Slot),
    /// One after the other, beginning at that alignment.
    Struct(u32, Vec<Node>),
    /// Characters of a byte each.
    Characters(Count, Slot),
    /// Elements one after the other.
    List(Box<Node>, Count),
    /// One of several, chosen by the number in the slot, which can be negative or not.
    Variant(Slot, bool, Vec<Chosen>),
}

impl Node {
    /// It begins at a multiple of so many bits.
    pub fn align(&self) -> u32 {
        match self {
            Self::Number(number) => number.align,
            Self::Skip(_, align) | Self::Struct(align, _) => *align,
            Self::Text(_) | Self::Characters(..) => 8,
            Self::List(element, _) => element.align(),
            Self::Variant(..) => 1,
        }
    }

    /// The fewest bits that it can take.
    fn least(&self) -> u64 {
        match self {
            Self::Number(number) => u64::from(number.bits),
            Self::Skip(bits, _) => u64::from(*bits),
            Self::Text(_) => 8,
            Self::Struct(_, members) => members.iter().map(Self::least).fold(0, u64::saturating_add),
            Self::Characters(Count::Fixed(count), _) => count.saturating_mul(8),
            Self::List(element, Count::Fixed(count)) => element.least().saturating_mul(*count),
            Self::Characters(..) | Self::List(..) => 0,
            Self::Variant(_, _, options) => options.iter().map(|(_, node)| node.least()).min().unwrap_or(0),
        }
    }
}

/// The bytes within which fields are near: events of which all fields are can be read by fewer steps.
pub const NEAR: usize = 128;

/// So many bytes can be read from each of these on.
pub const MARGIN: usize = 16;

/// A number at a fixed offset.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FixedNumber {
    /// The bytes before it.
    pub offset: usize,
    /// What it is.
    pub number: Number,
    /// Its own bits of a word in which they are the lowest.
    own: u64,
    /// The bit of its sign, or none.
    sign: u64,
}

impl FixedNumber {
    /// A number behind so many bytes.
    pub fn new(offset: usize, number: Number) -> Self {
        let own = u64::MAX >> (u64::BITS - number.bits);
        Self { offset, number, own, sign: if number.signed { own ^ (own >> 1) } else { 0 } }
    }

    /// Its value; its bytes are at hand.
    #[inline(always)]
    pub fn value(&self, bytes: &[u8]) -> u64 {
        let word = match bytes.get(self.offset..self.offset + 8).and_then(<[u8]>::first_chunk) {
            Some(eight) if !self.number.big => u64::from_le_bytes(*eight),
            _ => self.rarer_word(bytes),
        };
        // Where the sign is set, this takes it twice from the number: once as the bit that it is, once as what it counts.
        ((word & self.own) ^ self.sign).wrapping_sub(self.sign)
    }

    /// The same of a number that is [near](FixedEvent::near).
    #[inline(always)]
    pub fn near(&self, bytes: &[u8; NEAR + MARGIN]) -> u64 {
        // No such number begins beyond these bytes, which the processor need not check then.
        let [a, b, c, d, e, f, g, h, ..] = bytes[self.offset % NEAR..] else { return 0 };
        let word = u64::from_le_bytes([a, b, c, d, e, f, g, h]);
        ((word & self.own) ^ self.sign).wrapping_sub(self.sign)
    }

    /// A word in big-endian order, or of which not all bytes are there.
    #[cold]
    fn rarer_word(&self, bytes: &[u8]) -> u64 {
        let own = &bytes[self.offset..self.offset + self.number.bits as usize / 8];
        let join = |value: u64, byte: &u8| (value << 8) | u64::from(*byte);
        if self.number.big { own.iter().fold(0, join) } else { own.iter().rev().fold(0, join) }
    }
}

/// Characters at a fixed offset.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FixedText {
    /// The bytes before it.
    pub offset: usize,
    /// Its bytes.
    pub length: usize,
    /// Where it would be put otherwise.
    slot: Slot,
}

/// A layout in which everything stands at a fixed number of bytes from the beginning of its event.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
struct Fixed {
    /// All its bytes.
    size: usize,
    /// Its numbers.
    numbers: Vec<FixedNumber>,
    /// Its texts.
    texts: Vec<FixedText>,
}

impl Fixed {
    /// Adds a node; `None`: it does not stand on whole bytes, or not always on the same ones.
    fn add(&mut self, node: &Node, start: u32) -> Option<()> {
        if node.align() > start {
            return None;
        }
        self.size = self.size.next_multiple_of(usize::try_from(node.align().div_ceil(8)).ok()?);
        match node {
            Node::Number(number) if number.bits.is_multiple_of(8) => {
                self.numbers.push(FixedNumber::new(self.size, *number));
                self.grow(u64::from(number.bits / 8))
            }
            Node::Skip(bits, _) => self.grow(u64::from(bits / 8)),
            Node::Struct(_, members) => members.iter().try_for_each(|member| self.add(member, start)),
            Node::Characters(Count::Fixed(count), slot) => {
                self.texts.push(FixedText { offset: self.size, length: usize::try_from(*count).ok()?, slot: *slot });
                self.grow(*count)
            }
            _ => None,
        }
    }

    fn grow(&mut self, bytes: u64) -> Option<()> {
        self.size = self.size.checked_add(usize::try_from(bytes).ok()?).filter(|size| *size <= 4_096)?;
        Some(())
    }
}

/// One kind of event.
#[derive(Debug)]
pub struct Event {
    /// Its name.
    pub name: String,
    /// What it is taken for.
    pub meaning: Meaning,
    /// How the contexts and fields behind its header are read.
    pub nodes: Vec<Node>,
    /// Its layout with the header, where it is fixed.
    pub fixed: Option<FixedEvent>,
}

/// An event with a fixed layout.
#[derive(Debug)]
pub struct FixedEvent {
    /// Its bytes, those of its header too.
    pub size: usize,
    /// Whether all of them are near, and no number has its greatest byte first.
    near: bool,
    /// What it is taken for, and where what this needs stands.
    pub meaning: Meaning<FixedNumber, FixedText>,
}

/// A header with a fixed layout.
#[derive(Debug)]
pub struct FixedHeader {
    /// The bytes of which its beginning is a multiple.
    pub align: u64,
    /// Its bytes.
    pub size: usize,
    /// The number of the event, where there is one.
    pub id: Option<FixedNumber>,
    /// The time.
    pub time: FixedNumber,
}

impl FixedHeader {
    /// The first byte from there on at which an event can begin.
    #[inline(always)]
    pub fn aligned(&self, byte: u64) -> u64 {
        // An alignment is a power of two.
        byte.saturating_add(self.align - 1) & !(self.align - 1)
    }

    /// The event with which these bytes begin, and its number, if its layout is fixed and all of it is there.
    #[inline(always)]
    pub fn event<'a>(&self, bytes: &[u8], stream: &'a Stream) -> Option<(usize, &'a FixedEvent)> {
        if bytes.len() < self.size {
            return None;
        }
        let found = stream.fixed_event(self.id.as_ref().map(|id| id.value(bytes)))?;
        (found.1.size <= bytes.len()).then_some(found)
    }

    /// The same of bytes of which more are there than any near event has: if it is one.
    #[inline(always)]
    pub fn near_event<'a>(&self, bytes: &[u8; NEAR + MARGIN], stream: &'a Stream) -> Option<(usize, &'a FixedEvent)> {
        // Where the number is not near, no event is: then this is not its number, and nothing is made of that.
        let found = stream.fixed_event(self.id.as_ref().map(|id| id.near(bytes)))?;
        found.1.near.then_some(found)
    }
}

/// What a packet says of itself, by slot.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Context {
    /// When it ends.
    pub ends: Option<Slot>,
    /// Its bits that are in use.
    pub content: Option<Slot>,
    /// All its bits.
    pub packet: Option<Slot>,
    /// Its cpu.
    pub cpu: Option<Slot>,
    /// The events discarded until now, and the bits of this counter.
    pub discarded: Option<(Slot, u32)>,
    /// Its number, and the bits of this counter.
    pub sequence: Option<(Slot, u32)>,
}

/// One kind of stream.
#[derive(Debug)]
pub struct Stream {
    /// Its clock.
    pub clock: Clock,
    /// How the context of a packet is read.
    pub packet: Option<Node>,
    /// What of it is used.
    pub context: Context,
    /// How the header of an event is read.
    pub header: Node,
    /// The slot of the event's number, where it has one.
    pub id: Option<Slot>,
    /// The header's layout, where it is fixed.
    pub fixed: Option<FixedHeader>,
    /// The events by their number.
    pub events: Vec<Option<Event>>,
}

impl Stream {
    /// The event of a number with that number, if its layout is fixed; the only one where events have none.
    #[inline(always)]
    fn fixed_event(&self, number: Option<u64>) -> Option<(usize, &FixedEvent)> {
        let number = match number {
            Some(number) => usize::try_from(number).ok()?,
            None => self.events.iter().position(Option::is_some)?,
        };
        Some((number, self.events.get(number)?.as_ref()?.fixed.as_ref()?))
    }
}

/// How a trace is read.
#[derive(Debug)]
pub struct Layout {
    /// How the header of a packet is read.
    pub header: Option<Node>,
    /// The slots of its magic number and of its stream's number.
    pub magic: Option<Slot>,
    /// The slot of the stream's number.
    pub stream: Option<Slot>,
    /// The streams by their number.
    pub streams: Vec<Option<Stream>>,
    /// How many slots there are.
    pub slots: usize,
}

/// Whether a layout can be made of a text's declarations, and which.
pub fn layout(metadata: &Metadata) -> Result<Layout, Wrong> {
    let big = match order(&metadata.trace)? {
        Order::Big => true,
        Order::Little => false,
        Order::Native => return Err(Wrong::at(metadata.trace.line, "the trace does not say its 'byte_order'")),
    };
    let mut maker =
        Maker { big, clocks: &metadata.clocks, clock: None, fields: Vec::new(), slots: 0, most: 0, nodes: 0 };
    let header = metadata.trace.kind("packet.header");
    let header = header.map(|kind| maker.scope("trace.packet.header", &kind)).transpose()?;
    let (magic, stream) = (maker.slot("trace.packet.header", "magic"), maker.slot("trace.packet.header", "stream_id"));
    let mut streams: Vec<Option<Stream>> = Vec::new();
    let shared = (maker.fields.len(), maker.slots);
    for block in &metadata.streams {
        maker.forget(shared);
        let id = id_of(block, "id")?;
        let events: Vec<&Block> = metadata
            .events
            .iter()
            .filter(|event| event.number("stream_id").is_ok_and(|of| of.unwrap_or(0) == id))
            .collect();
        let stream = maker.stream(block, &events)?;
        put(&mut streams, id, stream, block.line)?;
    }
    for event in &metadata.events {
        let of = id_of(event, "stream_id")?;
        if streams.get(place(of)).is_none_or(Option::is_none) {
            return Err(Wrong::at(event.line, format!("the event is of stream {of}, which is not declared")));
        }
    }
    Ok(Layout { header, magic, stream, streams, slots: maker.most })
}

fn place(id: u64) -> usize {
    usize::try_from(id).unwrap_or(usize::MAX)
}

fn id_of(block: &Block, name: &str) -> Result<u64, Wrong> {
    let id = block.number(name)?.unwrap_or(0);
    if id > HIGHEST_ID {
        return Err(Wrong::at(block.line, format!("'{name}' {id} is not read: numbers up to {HIGHEST_ID} are")));
    }
    Ok(id)
}

fn put<T>(list: &mut Vec<Option<T>>, id: u64, item: T, line: u64) -> Result<(), Wrong> {
    let at = place(id);
    if list.len() <= at {
        list.resize_with(at + 1, || None);
    }
    if list[at].replace(item).is_some() {
        return Err(Wrong::at(line, format!("the number {id} is given twice")));
    }
    Ok(())
}

/// A number that can be referred to.
struct Field {
    path: Vec<String>,
    slot: Slot,
    bits: u32,
    signed: bool,
    text: bool,
    labels: Option<Arc<Vec<Label>>>,
}

/// Makes nodes of types.
struct Maker<'a> {
    big: bool,
    clocks: &'a [Clock],
    /// The clock that the stream in hand uses.
    clock: Option<Clock>,
    /// All fields before the one in hand.
    fields: Vec<Field>,
    slots: usize,
    most: usize,
    nodes: usize,
}

impl Maker<'_> {
    fn forget(&mut self, (fields, slots): (usize, usize)) {
        self.fields.truncate(fields);
        self.slots = slots;
    }

    fn scope(&mut self, name: &str, kind: &Type) -> Result<Node, Wrong> {
        let mut path: Vec<String> = name.split('.').map(str::to_owned).collect();
        self.node(kind, &mut path)
    }

    /// The last field of a name, with or without an underscore before it, within a scope.
    fn field(&self, scope: &str, name: &str) -> Option<&Field> {
        let scope: Vec<&str> = scope.split('.').collect();
        let fits = |field: &&Field| {
            field.path.iter().take(scope.len()).eq(scope.iter())
                && field.path.last().is_some_and(|last| last.strip_prefix('_').unwrap_or(last) == name)
        };
        self.fields.iter().rev().find(fits)
    }

    fn slot(&self, scope: &str, name: &str) -> Option<Slot> {
        self.field(scope, name).filter(|field| !field.text).map(|field| field.slot)
    }

    fn stream(&mut self, block: &Block, events: &[&Block]) -> Result<Stream, Wrong> {
        self.clock = None;
        let packet = block.kind("packet.context").map(|kind| self.scope("stream.packet.context", &kind)).transpose()?;
        let context = self.context();
        let header =
            block.kind("event.header").ok_or_else(|| Wrong::at(block.line, "the stream has no event.header"))?;
        let header = self.scope("stream.event.header", &header)?;
        let time = self.clock.is_some() && self.time_in(&header);
        if !time {
            let why = "the stream's events have no time: an event.header with a field mapped to a clock, or named 'timestamp', is read";
            return Err(Wrong::at(block.line, why));
        }
        let id = self.slot("stream.event.header", "id");
        let shared = block.kind("event.context").map(|kind| self.scope("stream.event.context", &kind)).transpose()?;
        let fixed = fixed_header(&header, id);
        let before = (self.fields.len(), self.slots);
        let mut list = Vec::new();
        for event in events {
            self.forget(before);
            let made = self.event(event, &header, shared.as_ref(), fixed.is_some())?;
            put(&mut list, id_of(event, "id")?, made, event.line)?;
        }
        if id.is_none() && list.iter().flatten().count() > 1 {
            return Err(Wrong::at(block.line, "the stream has several events, but its event.header has no 'id'"));
        }
        let clock = self.clock.take().ok_or_else(|| Wrong::at(block.line, "the stream has no clock"))?;
        Ok(Stream { clock, packet, context, header, id, fixed, events: list })
    }

    fn time_in(&self, node: &Node) -> bool {
        match node {
            Node::Number(number) => number.clock,
            Node::Struct(_, members) => members.iter().any(|member| self.time_in(member)),
            Node::Variant(_, _, options) => options.iter().all(|(_, option)| self.time_in(option)),
            _ => false,
        }
    }

    fn context(&self) -> Context {
        let scope = "stream.packet.context";
        let counter = |name| self.field(scope, name).filter(|field| !field.text).map(|field| (field.slot, field.bits));
        Context {
            ends: self.slot(scope, "timestamp_end"),
            content: self.slot(scope, "content_size"),
            packet: self.slot(scope, "packet_size"),
            cpu: self.slot(scope, "cpu_id"),
            discarded: counter("events_discarded"),
            sequence: counter("packet_seq_num"),
        }
    }

    fn event(&mut self, block: &Block, header: &Node, shared: Option<&Node>, fixed: bool) -> Result<Event, Wrong> {
        let name = block.text("name")?.ok_or_else(|| Wrong::at(block.line, "an event has no name"))?.to_owned();
        let mut nodes: Vec<Node> = shared.cloned().into_iter().collect();
        self.nodes += nodes.len();
        for (scope, key) in [("event.context", "context"), ("event.fields", "fields")] {
            if let Some(kind) = block.kind(key) {
                nodes.push(self.scope(scope, &kind)?);
            }
        }
        let field = |name: &str, text: bool| {
            self.field("event.fields", name).filter(|field| field.text == text).map(|field| field.slot)
        };
        let meaning = Meaning::of(&name, &|name| field(name, false), &|name| field(name, true));
        let fixed = if fixed { fixed_event(header, &nodes, &meaning) } else { None };
        Ok(Event { name, meaning, nodes, fixed })
    }

    fn node(&mut self, kind: &Type, path: &mut Vec<String>) -> Result<Node, Wrong> {
        self.nodes += 1;
        if self.nodes > MOST_NODES {
            return Err(Wrong::at(kind.line, format!("more than {MOST_NODES} fields are not read")));
        }
        match &kind.kind {
            Kind::Integer(integer) => self.number(integer, None, kind.line, path),
            Kind::Enum(integer, labels) => self.number(integer, Some(labels.clone()), kind.line, path),
            Kind::Float(bits, align) => Ok(Node::Skip(*bits, *align)),
            Kind::Text => Ok(Node::Text(self.keep(path, 0, false, true, None))),
            Kind::Struct(align, fields) => {
                let members = self.members(fields, path)?;
                let align = members.iter().map(Node::align).fold(*align, u32::max);
                Ok(Node::Struct(align, members))
            }
            Kind::List(element, length) => self.list(element, length, kind.line, path),
            Kind::Variant(tag, options) => self.variant(tag.as_deref(), options, kind.line, path),
        }
    }

    fn members(&mut self, fields: &[(String, Arc<Type>)], path: &mut Vec<String>) -> Result<Vec<Node>, Wrong> {
        let mut members = Vec::new();
        for (name, field) in fields {
            path.push(name.clone());
            members.push(self.node(field, path)?);
            path.pop();
        }
        Ok(members)
    }

    fn keep(&mut self, path: &[String], bits: u32, signed: bool, text: bool, labels: Option<Arc<Vec<Label>>>) -> Slot {
        let slot = self.shared_slot(path).unwrap_or(self.slots);
        self.slots = self.slots.max(slot + 1);
        self.most = self.most.max(self.slots);
        self.fields.push(Field { path: path.to_vec(), slot, bits, signed, text, labels });
        slot
    }

    /// An event's number can stand in several options of its header; whichever is read last holds.
    fn shared_slot(&self, path: &[String]) -> Option<Slot> {
        let in_header = path.len() > 3 && path[..3].iter().eq(["stream", "event", "header"]);
        let is_id = in_header && path.last().is_some_and(|last| last == "id");
        if is_id { self.slot("stream.event.header", "id") } else { None }
    }

    fn number(
        &mut self,
        integer: &Integer,
        labels: Option<Arc<Vec<Label>>>,
        line: u64,
        path: &[String],
    ) -> Result<Node, Wrong> {
        let clock = self.clocked(integer, line, path)?;
        let slot = self.keep(path, integer.size, integer.signed, false, labels);
        let big = match integer.order {
            Order::Big => true,
            Order::Little => false,
            Order::Native => self.big,
        };
        Ok(Node::Number(Number { bits: integer.size, align: integer.align, signed: integer.signed, big, slot, clock }))
    }

    /// Whether a number sets the clock: in the header of an event, and as the beginning of a packet.
    fn clocked(&mut self, integer: &Integer, line: u64, path: &[String]) -> Result<bool, Wrong> {
        let scope: Vec<&str> = path.iter().take(3).map(String::as_str).collect();
        let last = path.last().map_or("", String::as_str);
        let sets = match scope.as_slice() {
            ["stream", "event", "header"] => integer.clock.is_some() || last == "timestamp",
            ["stream", "packet", "context"] => last == "timestamp_begin",
            _ => false,
        };
        if !sets {
            return Ok(false);
        }
        let clock = match (&integer.clock, self.clocks) {
            (Some(name), clocks) => clocks.iter().find(|clock| clock.name == *name),
            (None, [only]) => Some(only),
            (None, _) => None,
        };
        let clock = clock.ok_or_else(|| Wrong::at(line, format!("'{last}' is of no declared clock")))?;
        if self.clock.as_ref().is_some_and(|other| other != clock) {
            return Err(Wrong::at(line, "a stream with several clocks is not read"));
        }
        self.clock = Some(clock.clone());
        Ok(true)
    }

    fn list(&mut self, element: &Type, length: &Length, line: u64, path: &mut Vec<String>) -> Result<Node, Wrong> {
        let count = match length {
            Length::Fixed(count) => Count::Fixed(*count),
            Length::Field(name) => match self.refer(name, path) {
                Some(field) if !field.text && !field.signed => Count::Slot(field.slot),
                _ => {
                    let name = name.join(".");
                    return Err(Wrong::at(
                        line,
                        format!("the length '{name}' is no unsigned number before this field"),
                    ));
                }
            },
        };
        if matches!(&element.kind, Kind::Integer(integer) if integer.text && integer.size == 8 && integer.align == 8) {
            return Ok(Node::Characters(count, self.keep(path, 0, false, true, None)));
        }
        path.push("[]".to_owned());
        let node = self.node(element, path)?;
        path.pop();
        if node.least() == 0 {
            return Err(Wrong::at(line, "a list of elements that can be empty is not read"));
        }
        Ok(Node::List(Box::new(node), count))
    }

    fn variant(
        &mut self,
        tag: Option<&[String]>,
        options: &[(String, Arc<Type>)],
        line: u64,
        path: &mut Vec<String>,
    ) -> Result<Node, Wrong> {
        let tag = tag.ok_or_else(|| Wrong::at(line, "a variant without a tag is not read"))?;
        let field = self.refer(tag, path).and_then(|field| Some((field.slot, field.signed, field.labels.clone()?)));
        let Some((slot, signed, labels)) = field else {
            let tag = tag.join(".");
            return Err(Wrong::at(line, format!("the tag '{tag}' is no enumeration before this field")));
        };
        let mut chosen = Vec::new();
        for (name, option) in options {
            let ranges = labels.iter().filter(|label| label.name == *name).map(|label| (label.first, label.last));
            path.push(name.clone());
            chosen.push((ranges.collect(), self.node(option, path)?));
            path.pop();
        }
        Ok(Node::Variant(slot, signed, chosen))
    }

    /// The field that a path means at some place: from the root, or from any struct around the place, the innermost first, or
    /// from the root of a scope before this one, the last first.
    fn refer(&self, name: &[String], place: &[String]) -> Option<&Field> {
        let find = |prefix: &[String]| {
            self.fields.iter().rev().find(|field| {
                field.path.len() == prefix.len() + name.len()
                    && field.path.starts_with(prefix)
                    && field.path.ends_with(name)
            })
        };
        let around = (0..=place.len()).rev().find_map(|kept| find(&place[..kept]));
        let root = |field: &Field| if field.path[0] == "event" { 2 } else { 3 };
        around.or_else(|| {
            let of_scope = |field: &&Field| field.path.get(root(field)..).is_some_and(|rest| rest == name);
            self.fields.iter().rev().find(of_scope)
        })
    }
}

fn fixed_header(header: &Node, id: Option<Slot>) -> Option<FixedHeader> {
    let start = header.align();
    if start < 8 {
        return None;
    }
    let mut fixed = Fixed::default();
    fixed.add(header, start)?;
    let with = |wanted: &dyn Fn(&Number) -> bool| fixed.numbers.iter().find(|found| wanted(&found.number)).copied();
    let id = match id {
        None => None,
        Some(slot) => Some(with(&|number| number.slot == slot)?),
    };
    Some(FixedHeader { align: u64::from(start / 8), size: fixed.size, id, time: with(&|number| number.clock)? })
}

fn fixed_event(header: &Node, nodes: &[Node], meaning: &Meaning) -> Option<FixedEvent> {
    let mut fixed = Fixed::default();
    fixed.add(header, header.align())?;
    let header_is_big = fixed.numbers.iter().any(|number| number.number.big);
    fixed.numbers.clear();
    nodes.iter().try_for_each(|node| fixed.add(node, header.align()))?;
    let number = |slot| fixed.numbers.iter().rev().find(|found| found.number.slot == slot).copied();
    let text = |slot| fixed.texts.iter().rev().find(|found| found.slot == slot).copied();
    let big = header_is_big || fixed.numbers.iter().any(|number| number.number.big);
    let near = fixed.size <= NEAR && !big;
    Some(FixedEvent { size: fixed.size, near, meaning: meaning.placed(&number, &text)? })
}
