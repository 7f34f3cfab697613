//! The rows of a table: cut into values, quickly where no value is quoted, and read by what the columns mean.

use super::super::block::{Builder, LONGEST_LINE, without_return};
use super::super::bytes::{Piece, digits, equal_of_64, number};
use super::super::text::leaves;
use super::columns::{Clock, Kind, PASSED, SLOTS, Table};
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

    /// Takes all rows.
    pub fn take<'a>(&mut self, mut rest: &'a [u8], builder: &mut Builder<'a>) {
        while !rest.is_empty() {
            builder.next_line();
            let (line, commas) = line(rest);
            self.row(without_return(line), rest, commas, builder);
            rest = rest.get(line.len() + 1..).unwrap_or_default();
        }
    }

    /// Takes one row; the block goes on with `rest` from the row's begin.
    #[inline(always)]
    fn row<'a>(&mut self, line: &'a [u8], rest: &[u8], commas: Option<u64>, builder: &mut Builder<'a>) {
        if line.is_empty() {
            return;
        }
        if line.len() > LONGEST_LINE {
            return builder.note(Matter::Unparsed);
        }
        let columns = self.table.slots();
        let mut places = Places::default();
        let bytes = match commas {
            _ if self.quotes && line.contains(&b'"') => self.fields.values(line, columns, &mut places),
            Some(commas) => short(line.len(), commas, columns, &mut places).map(|()| rest),
            None => long(line, columns, &mut places).map(|()| line),
        };
        let Some(bytes) = bytes else { return builder.note(Matter::Malformed) };
        if take(self.table, &Values { bytes, places: &places }, line, builder).is_none() {
            builder.note(Matter::Malformed);
        }
    }
}

/// The first line and, where it and what follows it are such that 64 bytes can be looked at together, where its commas are.
#[inline(always)]
fn line(rest: &[u8]) -> (&[u8], Option<u64>) {
    if let Some(bytes) = rest.first_chunk() {
        let ends = equal_of_64(bytes, b'\n');
        if ends != 0 {
            // All bits below that of the first line end.
            let within = (ends - 1) & !ends;
            return (&rest[..ends.trailing_zeros() as usize], Some(equal_of_64(bytes, b',') & within));
        }
    }
    (&rest[..memchr::memchr(b'\n', rest).unwrap_or(rest.len())], None)
}

/// Where the values of a row begin and end, by slot.
#[derive(Default)]
struct Places([(u32, u32); SLOTS]);

impl Places {
    /// A row has no more bytes than fit.
    #[inline(always)]
    fn put(&mut self, slot: u8, start: usize, end: usize) {
        self.0[usize::from(slot & PASSED)] = (start as u32, end as u32);
    }
}

/// The values of a row.
struct Values<'a> {
    bytes: &'a [u8],
    places: &'a Places,
}

impl<'a> Values<'a> {
    #[inline(always)]
    fn piece(&self, slot: usize) -> Piece<'a> {
        let (start, end) = self.places.0[slot];
        Piece::new(&self.bytes[start as usize..], (end - start) as usize)
    }

    #[inline(always)]
    fn text(&self, slot: usize) -> &'a [u8] {
        self.piece(slot).text()
    }

    /// A number, with blanks around it or without.
    #[inline(always)]
    fn number(&self, slot: usize) -> Option<u64> {
        match self.piece(slot).number() {
            None => number(self.text(slot).trim_ascii()),
            number => number,
        }
    }

    /// A thread's number.
    #[inline(always)]
    fn id(&self, slot: usize) -> Option<u32> {
        u32::try_from(self.number(slot)?).ok()
    }
}

/// Finds the values of a line without quotes whose commas are known, if they are as many as there are columns.
#[inline(always)]
fn short(length: usize, mut commas: u64, columns: &[u8], places: &mut Places) -> Option<()> {
    let (last, columns) = columns.split_last()?;
    let mut start = 0;
    for slot in columns {
        if commas == 0 {
            return None;
        }
        let end = commas.trailing_zeros() as usize;
        commas &= commas - 1;
        places.put(*slot, start, end);
        start = end + 1;
    }
    places.put(*last, start, length);
    (commas == 0).then_some(())
}

/// The same for a line that is long, or too near to the end of its block for 64 bytes to be looked at together.
#[cold]
fn long(line: &[u8], columns: &[u8], places: &mut Places) -> Option<()> {
    let mut columns = columns.iter();
    let mut start = 0;
    for value in line.split(|byte| *byte == b',') {
        places.put(*columns.next()?, start, start + value.len());
        start += value.len() + 1;
    }
    columns.next().is_none().then_some(())
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

    /// Finds the values of a line with quotes, if they are as many as there are columns: they stand in what is given back.
    #[cold]
    fn values(&mut self, line: &[u8], columns: &[u8], places: &mut Places) -> Option<&[u8]> {
        if !self.split(line) || self.ends.len() != columns.len() {
            return None;
        }
        let mut start = 0;
        for (slot, end) in columns.iter().zip(&self.ends) {
            places.put(*slot, start, *end);
            start = *end;
        }
        Some(&self.bytes)
    }

    /// The values.
    pub fn iter(&self) -> impl Iterator<Item = &[u8]> {
        let starts = std::iter::once(0).chain(self.ends.iter().copied());
        starts.zip(&self.ends).map(|(start, end)| &self.bytes[start..*end])
    }
}

/// `None`: a value cannot be read.
#[inline(always)]
fn take<'a>(table: &Table, values: &Values<'_>, line: &'a [u8], builder: &mut Builder<'a>) -> Option<()> {
    let Some(at) = time(values, table.clock())? else {
        builder.note(Matter::OutOfRange);
        return Some(());
    };
    let row = match table.kind() {
        Kind::Switches => Row::Is(switch(values, builder)?),
        Kind::Events => event(values, builder)?,
    };
    match row {
        Row::Is((cpu, what)) => builder.event(at, cpu, what, line),
        Row::Unknown => builder.unknown(values.text(2)),
    }
    Some(())
}

/// What a row tells.
enum Row {
    Is((Cpu, What)),
    /// An event of a kind that is not known.
    Unknown,
}

#[inline(always)]
fn switch(values: &Values<'_>, builder: &mut Builder<'_>) -> Option<(Cpu, What)> {
    let [cpu, from, from_id, state, to, to_id] = [1, 2, 3, 4, 5, 6];
    let cpu = Cpu::new(values.number(cpu)?)?;
    let (from_id, to_id) = (values.id(from_id)?, values.id(to_id)?);
    let leaves = leaves(values.text(state))?;
    let from = builder.thread(values.piece(from), from_id);
    Some((cpu, What::Switch { from, to: builder.thread(values.piece(to), to_id), leaves }))
}

fn event(values: &Values<'_>, builder: &mut Builder<'_>) -> Option<Row> {
    let [core, event, who, counted] = [1, 2, 3, 4];
    let number = |slot| if values.text(slot).is_empty() { Some(None) } else { values.number(slot).map(Some) };
    let cpu = match number(core)? {
        Some(number) => Cpu::new(number)?,
        None => Cpu::UNKNOWN,
    };
    let (number, who) = (number(counted)?, values.text(who));
    let what = match values.text(event) {
        b"mark" => What::Mark { text: builder.text(who) },
        b"lost" => {
            builder.note(Matter::Lost);
            What::lost(number.map_or(0, |count| u32::try_from(count).unwrap_or(u32::MAX)))
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

/// A time in nanoseconds, or in its unit where the clock has 32 bits. `Some(None)`: one that is too large.
#[inline(always)]
fn time(values: &Values<'_>, clock: Clock) -> Option<Option<u64>> {
    if clock.wraps {
        let at = values.number(0)?;
        return Some(u32::try_from(at).ok().map(u64::from));
    }
    match values.piece(0).number() {
        Some(units) => Some(units.checked_mul(clock.unit_ns)),
        None => decimal_time(values.text(0).trim_ascii(), clock),
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
