//! The rows of a table: cut into values, quickly where no value is quoted, and read by what the columns mean.

use super::super::block::Builder;
use super::super::bytes::{digits, equal_of_64, number};
use super::super::text::leaves;
use super::columns::{Clock, Kind, PASSED, Slots, Table};
use crate::event::{Cpu, What, Word, kept_number};
use crate::note::Matter;
use csv_core::{ReadRecordResult, Reader};

/// Reads rows of a table.
pub struct Rows<'t> {
    table: &'t Table,
    fields: Fields,
    quotes: bool,
}

impl<'t> Rows<'t> {
    /// Reads those rows of that table.
    pub fn new(table: &'t Table, lines: &[u8]) -> Self {
        let quotes = memchr::memchr(b'"', lines).is_some();
        Self { table, fields: Fields::default(), quotes }
    }

    /// Takes one row; `after` is what the block holds from the row's begin.
    #[inline]
    pub fn take<'a>(&mut self, line: &'a [u8], after: &'a [u8], builder: &mut Builder<'a>) {
        let table = self.table;
        let mut slots: Slots<'_> = [&[]; 8];
        let whole = if self.quotes && line.contains(&b'"') {
            self.quoted(line, &mut slots)
        } else {
            unquoted(line, after, table.slots(), &mut slots)
        };
        let took = if whole { take(table, &slots, line, builder) } else { None };
        if took.is_none() {
            builder.note(Matter::Malformed);
        }
    }

    #[cold]
    fn quoted<'a>(&'a mut self, line: &[u8], slots: &mut Slots<'a>) -> bool {
        let columns = self.table.slots();
        let whole = self.fields.split(line) && self.fields.iter().count() == columns.len();
        for (field, slot) in self.fields.iter().zip(columns) {
            slots[usize::from(*slot)] = field;
        }
        whole
    }
}

/// Puts the values of a line without quotes into their slots, and says whether they are as many as there are columns. `after`
/// is what follows the line's begin.
#[inline]
fn unquoted<'a>(line: &'a [u8], after: &[u8], columns: &[u8], slots: &mut Slots<'a>) -> bool {
    let Some(bytes) = after.first_chunk().filter(|_| line.len() < 64) else { return long(line, columns, slots) };
    let mut commas = equal_of_64(bytes, b',') & ((1 << line.len()) - 1);
    let Some((last, columns)) = columns.split_last() else { return false };
    if columns.len() != commas.count_ones() as usize {
        return false;
    }
    let mut start = 0;
    for slot in columns {
        let end = commas.trailing_zeros() as usize;
        commas &= commas - 1;
        slots[usize::from(*slot & PASSED)] = &line[start..end];
        start = end + 1;
    }
    slots[usize::from(*last & PASSED)] = &line[start..];
    true
}

/// The same for a line that is long, or too near to the end of its block for 64 bytes to be looked at together.
#[cold]
fn long<'a>(line: &'a [u8], columns: &[u8], slots: &mut Slots<'a>) -> bool {
    let mut columns = columns.iter();
    for value in line.split(|byte| *byte == b',') {
        let Some(slot) = columns.next() else { return false };
        slots[usize::from(*slot & PASSED)] = value;
    }
    columns.next().is_none()
}

/// The values of a line with their quotes undone.
#[derive(Default)]
pub struct Fields {
    bytes: Vec<u8>,
    ends: Vec<usize>,
}

impl Fields {
    /// Splits a line. `false`: a quote has no end.
    pub fn split(&mut self, line: &[u8]) -> bool {
        // Values are not longer than the line, and not more than its bytes and one.
        self.bytes.resize(line.len() + 1, 0);
        self.ends.resize(line.len() + 2, 0);
        let ended = [line, b"\n"].concat();
        let (result, _, _, count) = Reader::new().read_record(&ended, &mut self.bytes, &mut self.ends);
        self.ends.truncate(count);
        result == ReadRecordResult::Record
    }

    /// The values.
    pub fn iter(&self) -> impl Iterator<Item = &[u8]> {
        let starts = std::iter::once(0).chain(self.ends.iter().copied());
        starts.zip(&self.ends).map(|(start, end)| &self.bytes[start..*end])
    }
}

/// `None`: a value cannot be read.
#[inline]
fn take<'a>(table: &Table, slots: &Slots<'_>, line: &'a [u8], builder: &mut Builder<'a>) -> Option<()> {
    let Some(at) = time(slots[0], table.clock())? else {
        builder.note(Matter::OutOfRange);
        return Some(());
    };
    let row = match table.kind() {
        Kind::Switches => Row::Is(switch(slots, builder)?),
        Kind::Events => event(slots, builder)?,
    };
    match row {
        Row::Is((cpu, what)) => builder.event(at, cpu, what, line),
        Row::Unknown => builder.unknown(slots[2]),
    }
    Some(())
}

/// What a row tells.
enum Row {
    Is((Cpu, What)),
    /// An event of a kind that is not known.
    Unknown,
}

#[inline]
fn switch(slots: &Slots<'_>, builder: &mut Builder<'_>) -> Option<(Cpu, What)> {
    let [_, cpu, from, from_id, state, to, to_id, _] = slots;
    let cpu = Cpu::new(padded_number(cpu)?)?;
    let id = |field| u32::try_from(padded_number(field)?).ok();
    let (from_id, to_id) = (id(from_id)?, id(to_id)?);
    let leaves = leaves(state)?;
    Some((cpu, What::Switch { from: builder.thread(from, from_id), to: builder.thread(to, to_id), leaves }))
}

fn event(slots: &Slots<'_>, builder: &mut Builder<'_>) -> Option<Row> {
    let [_, core, event, who, counted, ..] = slots;
    let cpu = if core.is_empty() { Cpu::UNKNOWN } else { Cpu::new(padded_number(core)?)? };
    let number = if counted.is_empty() { None } else { Some(padded_number(counted)?) };
    let what = match *event {
        b"mark" => What::Mark { text: builder.text(who) },
        b"lost" => {
            builder.note(Matter::Lost);
            What::Lost { count: number.map_or(0, |count| u32::try_from(count).unwrap_or(u32::MAX)) }
        }
        word => match std::str::from_utf8(word).ok().and_then(Word::of) {
            Some(word) => told(word, cpu, who, number, builder)?,
            None => return Some(Row::Unknown),
        },
    };
    Some(Row::Is((cpu, what)))
}

/// An event in a word of a plan. What a core does needs the core, and nobody is told to idle.
fn told(word: Word, cpu: Cpu, who: &[u8], number: Option<u64>, builder: &mut Builder<'_>) -> Option<What> {
    let of_core = matches!(word, Word::WindowBegins | Word::WindowEnds | Word::Runs | Word::Idles);
    if of_core && cpu == Cpu::UNKNOWN || who.is_empty() && word != Word::Idles {
        return None;
    }
    let number = match number {
        Some(number) => Some(kept_number(number)?),
        None => None,
    };
    Some(What::Told { word, who: builder.text(who), number })
}

/// A number, with blanks around it or without.
#[inline]
fn padded_number(field: &[u8]) -> Option<u64> {
    number(field).or_else(|| number(field.trim_ascii()))
}

/// A time in nanoseconds, or in its unit where the clock has 32 bits. `Some(None)`: one that is too large.
#[inline]
fn time(field: &[u8], clock: Clock) -> Option<Option<u64>> {
    if clock.wraps {
        let at = padded_number(field)?;
        return Some(u32::try_from(at).ok().map(u64::from));
    }
    match number(field) {
        Some(units) => Some(units.checked_mul(clock.unit_ns)),
        None => decimal_time(field.trim_ascii(), clock),
    }
}

/// A time with a point, whose digits after it end before parts of a nanosecond begin.
fn decimal_time(field: &[u8], clock: Clock) -> Option<Option<u64>> {
    let (units, count) = digits(field)?;
    let (parts, decimals) = match &field[count..] {
        [] => (0, 0),
        [b'.', decimals @ ..] => (number(decimals)?, u32::try_from(decimals.len()).ok()?),
        _ => return None,
    };
    let scale = clock.decimals.checked_sub(decimals)?;
    let whole = units.checked_mul(clock.unit_ns);
    Some(whole.and_then(|whole| whole.checked_add(parts * 10_u64.pow(scale))))
}
