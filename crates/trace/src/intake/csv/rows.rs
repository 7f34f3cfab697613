//! The rows of a table: cut into values, quickly where no value is quoted, and read by what the columns mean.

use super::super::block::{Builder, LONGEST_LINE, without_return};
use super::super::bytes::{Piece, digits, equal_of_64, number};
use super::super::recent::{Key, Lately};
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
    starts: Starts,
    /// Threads by what near rows say of them.
    told: Lately,
}

impl<'t> Rows<'t> {
    /// Reads those rows of that table.
    pub fn new(table: &'t Table, lines: &[u8]) -> Self {
        let quotes = memchr::memchr(b'"', lines).is_some();
        Self { table, fields: Fields::default(), quotes, starts: Starts([0; NEAR + 1]), told: Lately::new() }
    }

    /// Takes all rows.
    pub fn take<'a>(&mut self, mut rest: &'a [u8], builder: &mut Builder<'a>) {
        while !rest.is_empty() {
            builder.next_line();
            let length = match self.near(rest, builder) {
                Some(length) => length,
                None => self.any(rest, builder),
            };
            rest = rest.get(length + 1..).unwrap_or_default();
        }
    }

    /// Takes a row that ends within the next 64 bytes, has no quotes and as many values as there are columns, where more bytes
    /// follow it: most are such. It is cut and read without looking at each byte, and makes the same of the row as
    /// [`Self::any`]. Its length, or `None` if it is none of these and nothing has been done.
    #[inline(always)]
    fn near<'a>(&mut self, rest: &'a [u8], builder: &mut Builder<'a>) -> Option<usize> {
        let bytes: &[u8; NEAR + MARGIN] = rest.first_chunk()?;
        let near: &[u8; NEAR] = bytes.first_chunk()?;
        let ends = equal_of_64(near, b'\n');
        if ends == 0 {
            return None;
        }
        let (length, within) = (ends.trailing_zeros() as usize, (ends - 1) & !ends);
        if self.quotes && equal_of_64(near, b'"') & within != 0 {
            return None;
        }
        let line = without_return(&rest[..length]);
        self.starts.cut(equal_of_64(near, b',') & within, line.len(), self.table.slots().len())?;
        let values = Near { bytes, starts: &self.starts, columns: self.table.columns() };
        if take(self.table, &values, &mut self.told, line, builder).is_none() {
            builder.note(Matter::Malformed);
        }
        Some(length)
    }

    /// Takes any row; gives its length.
    #[inline(never)]
    fn any<'a>(&mut self, rest: &'a [u8], builder: &mut Builder<'a>) -> usize {
        let length = memchr::memchr(b'\n', rest).unwrap_or(rest.len());
        let line = without_return(&rest[..length]);
        if line.len() > LONGEST_LINE {
            builder.note(Matter::Unparsed);
        } else if !line.is_empty() && self.values(line, builder).is_none() {
            builder.note(Matter::Malformed);
        }
        length
    }

    /// `None`: the row has not as many values as there are columns, or one cannot be read.
    fn values<'a>(&mut self, line: &'a [u8], builder: &mut Builder<'a>) -> Option<()> {
        let columns = self.table.slots();
        let mut places = Places::default();
        let bytes = if self.quotes && line.contains(&b'"') {
            self.fields.values(line, columns, &mut places)?
        } else {
            places.cut(line, columns)?;
            line
        };
        take(self.table, &Far { bytes, places: &places }, &mut self.told, line, builder)
    }
}

/// The values of a row, by slot.
trait Values {
    /// A value with what stands behind it.
    fn piece(&self, slot: usize) -> Piece<'_>;

    /// By what a thread is remembered: by all that the row says of it, so that its number need not be read again.
    fn told(&self, name: usize, id: usize) -> Option<Key>;

    #[inline(always)]
    fn text(&self, slot: usize) -> &[u8] {
        self.piece(slot).text()
    }

    /// A number, with blanks around it or without.
    #[inline(always)]
    fn number(&self, slot: usize) -> Option<u64> {
        match self.piece(slot).number() {
            None => number_between_blanks(self.text(slot)),
            number => number,
        }
    }

    /// A cpu's number, which most often is one digit.
    #[inline(always)]
    fn cpu(&self, slot: usize) -> Option<u64> {
        match self.text(slot) {
            [digit @ b'0'..=b'9'] => Some(u64::from(digit - b'0')),
            _ => self.number(slot),
        }
    }

    /// A thread's number.
    #[inline(always)]
    fn id(&self, slot: usize) -> Option<u32> {
        u32::try_from(self.number(slot)?).ok()
    }
}

#[cold]
fn number_between_blanks(text: &[u8]) -> Option<u64> {
    number(text.trim_ascii())
}

/// The bytes that are looked at together.
const NEAR: usize = 64;

/// So many bytes can be read from each of these on.
const MARGIN: usize = 24;

/// Where each value of a near row begins, and the one that would follow the last.
struct Starts([u8; NEAR + 1]);

impl Starts {
    /// Finds the values of a line by its commas, if they are as many as there are columns.
    #[inline(always)]
    fn cut(&mut self, mut commas: u64, length: usize, columns: usize) -> Option<()> {
        let [_, starts @ ..] = &mut self.0;
        let (last, before) = starts.get_mut(..columns)?.split_last_mut()?;
        let mut end = 0;
        for start in before {
            // Where there is no comma left this is 64, and stays so.
            end = commas.trailing_zeros();
            *start = end as u8 + 1;
            commas &= commas.wrapping_sub(1);
        }
        *last = length as u8 + 1;
        (commas == 0 && end < u64::BITS).then_some(())
    }
}

/// The values of a near row.
struct Near<'a> {
    bytes: &'a [u8; NEAR + MARGIN],
    starts: &'a Starts,
    columns: &'a [u8; SLOTS],
}

impl Values for Near<'_> {
    #[inline(always)]
    fn piece(&self, slot: usize) -> Piece<'_> {
        // A near row has no value that begins beyond these, which the processor need not check then.
        let column = usize::from(self.columns[slot]) % NEAR;
        let start = usize::from(self.starts.0[column]) % NEAR;
        let next = usize::from(self.starts.0[column + 1]);
        Piece::within(&self.bytes[start..], next.wrapping_sub(start + 1))
    }

    /// A name and the number behind it, as they stand there: at most 23 bytes, and how many they are.
    #[inline(always)]
    fn told(&self, name: usize, id: usize) -> Option<Key> {
        let (first, second) = (usize::from(self.columns[name]) % NEAR, usize::from(self.columns[id]) % NEAR);
        let start = usize::from(self.starts.0[first]) % NEAR;
        let length = usize::from(self.starts.0[second + 1]).wrapping_sub(start + 1);
        if second != first + 1 || length >= MARGIN {
            return None;
        }
        let bytes: &[u8; MARGIN] = self.bytes[start..].first_chunk()?;
        let ([text @ .., _, _, _, _, _, _, _, _], [.., a, b, c, d, e, f, g, h]) = (bytes, bytes);
        let (text, more) = (u128::from_le_bytes(*text), u64::from_le_bytes([*a, *b, *c, *d, *e, *f, *g, *h]));
        let (own_text, own_more) = OWN[length];
        Some(Key::new(text & own_text, more & own_more | (length as u64) << 56))
    }
}

/// The lowest bytes of 24, as many as the index.
const OWN: [(u128, u64); MARGIN] = {
    let mut own = [(u128::MAX, 0); MARGIN];
    let mut length = 0;
    while length < MARGIN {
        if length < 16 {
            own[length].0 = (1 << (8 * length)) - 1;
        } else {
            own[length].1 = (1 << (8 * (length - 16))) - 1;
        }
        length += 1;
    }
    own
};

/// Where the values of any row begin and end, by slot.
#[derive(Default)]
struct Places([(u32, u32); SLOTS]);

impl Places {
    /// A row has no more bytes than fit.
    #[inline(always)]
    fn put(&mut self, slot: u8, start: usize, end: usize) {
        self.0[usize::from(slot & PASSED)] = (start as u32, end as u32);
    }

    /// Finds the values of a line without quotes, if they are as many as there are columns.
    fn cut(&mut self, line: &[u8], columns: &[u8]) -> Option<()> {
        let mut columns = columns.iter();
        let mut start = 0;
        for value in line.split(|byte| *byte == b',') {
            self.put(*columns.next()?, start, start + value.len());
            start += value.len() + 1;
        }
        columns.next().is_none().then_some(())
    }
}

/// The values of any row.
struct Far<'a> {
    bytes: &'a [u8],
    places: &'a Places,
}

impl Values for Far<'_> {
    fn piece(&self, slot: usize) -> Piece<'_> {
        let (start, end) = self.places.0[slot];
        Piece::new(&self.bytes[start as usize..], (end - start) as usize)
    }

    fn told(&self, _: usize, _: usize) -> Option<Key> {
        None
    }
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
fn take<'a>(
    table: &Table,
    values: &impl Values,
    told: &mut Lately,
    line: &'a [u8],
    builder: &mut Builder<'a>,
) -> Option<()> {
    let Some(at) = time(values, table.clock())? else {
        builder.note(Matter::OutOfRange);
        return Some(());
    };
    let row = match table.kind() {
        Kind::Switches => Row::Is(switch(values, told, builder)?),
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
fn switch(values: &impl Values, told: &mut Lately, builder: &mut Builder<'_>) -> Option<(Cpu, What)> {
    let [cpu, name, id, state, next_name, next_id] = [1, 2, 3, 4, 5, 6];
    let cpu = Cpu::new(values.cpu(cpu)?)?;
    let leaves = leaves(values.text(state))?;
    let keys = values.told(name, id).zip(values.told(next_name, next_id));
    if let Some((from, to)) = keys
        && let (Some(from), Some(to)) = (told.find(from), told.find(to))
    {
        return Some((cpu, What::Switch { from, to, leaves }));
    }
    // Both numbers are read before a name is kept, so that a row that cannot be read leaves nothing behind.
    let (from_id, to_id) = (values.id(id)?, values.id(next_id)?);
    let from = builder.thread(values.piece(name), from_id);
    let to = builder.thread(values.piece(next_name), to_id);
    if let Some(keys) = keys {
        told.remember(keys.0, from);
        told.remember(keys.1, to);
    }
    Some((cpu, What::Switch { from, to, leaves }))
}

fn event(values: &impl Values, builder: &mut Builder<'_>) -> Option<Row> {
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
fn time(values: &impl Values, clock: Clock) -> Option<Option<u64>> {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::intake::Found;
    use crate::intake::lines::Format;
    use proptest::prelude::*;

    const HEADS: [&str; 3] = [
        "ts_ns,cpu,prev_comm,prev_pid,prev_prio,prev_state,next_comm,next_pid,next_prio",
        "next_pid,next_comm,extra,prev_pid,prev_state,prev_comm,cpu,ts_us",
        "time_ns_u32,core,event,who,number",
    ];

    /// What rows give that are all taken as near ones where they are such, or all as any.
    fn found(table: &Table, rows: &[u8], near: bool) -> Found {
        let mut builder = Builder::new(rows.len());
        let mut reader = Rows::new(table, rows);
        if near {
            reader.take(rows, &mut builder);
        } else {
            let mut rest = rows;
            while !rest.is_empty() {
                builder.next_line();
                let length = reader.any(rest, &mut builder);
                rest = rest.get(length + 1..).unwrap_or_default();
            }
        }
        let (mut found, mut join) = (Found::default(), table.join(0));
        join.join(builder.finish(), &mut found);
        join.finish(b"", &mut found);
        found
    }

    fn value() -> impl Strategy<Value = String> {
        prop_oneof![
            8 => "[0-9]{1,3}",
            4 => "[0-9]{1,14}",
            4 => "[ab]{1,2}",
            2 => "(R|S|R\\+|X)",
            2 => "[a-z]{14,20}",
            1 => "(runs|mark|lost|idles)",
            1 => " ?[0-9]{0,21} ?",
            1 => "\"[a,\"]{0,3}\"?",
            1 => "[0-9]{0,9}\\.[0-9]{0,10}",
            1 => "[\\PC\0]{0,4}",
        ]
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(300) })]

        #[test]
        fn near_rows_are_read_as_any_are(
            which in 0..HEADS.len(),
            rows in prop::collection::vec((prop::collection::vec(value(), 1..11), any::<bool>(), 0..3_usize), 0..20),
        ) {
            let table = Table::of_head(HEADS[which].as_bytes(), 0).expect("the head is one of a table");
            let columns = table.slots().len();
            let lines = rows.into_iter().flat_map(|(mut values, right, end)| {
                if right {
                    values = values.iter().cycle().take(columns).cloned().collect();
                }
                let line = values.join(",") + ["\n", "\r\n", "\n"][end];
                std::iter::repeat_n(line, 1 + usize::from(end == 2))
            });
            let lines = lines.collect::<String>();
            prop_assert_eq!(found(&table, lines.as_bytes(), true), found(&table, lines.as_bytes(), false));
        }

        #[test]
        fn near_switches_are_read_as_any_are(rows in prop::collection::vec((0..9_u64, 0..4_u8, "[a-c]{1,2}", 0..3_u32, "[RSX]", "[a-c\0 ]{1,16}", "[0-2]{1,8}"), 0..30)) {
            let table = Table::of_head(HEADS[0].as_bytes(), 0).expect("the head is one of a table");
            let lines: String = rows
                .iter()
                .map(|(at, cpu, from, id, state, to, to_id)| format!("{at},{cpu},{from},{id},120,{state},{to},{to_id},40\n"))
                .collect();
            let near = found(&table, lines.as_bytes(), true);
            prop_assert_eq!(&near, &found(&table, lines.as_bytes(), false));
            prop_assert!(near.events.len() + near.notes.len() >= rows.len());
        }
    }
}
