//! Near rows, which most are: short ones without quotes, cut and read without looking at each byte.

use super::super::block::without_return;
use super::super::bytes::{Piece, equal_of_64};
use super::super::recent::Key;
use super::columns::{IDLE_OF_USUAL as IDLE, SLOTS, Table, USUAL, columns_of};
use super::values::Values;

/// The bytes that are looked at together.
const NEAR: usize = 64;

/// So many bytes can be read from each of these on, and from the one behind them.
const MARGIN: usize = 24;

/// In which columns the values of a row stand.
pub trait Layout: Copy {
    /// Room for where each value of a row ends.
    type Ends: AsRef<[u8]> + AsMut<[u8]>;

    /// Room that nothing stands in yet.
    fn ends() -> Self::Ends;

    /// How many columns there are.
    fn columns(self) -> usize;

    /// The column of a slot.
    fn column(self, slot: usize) -> usize;
}

/// The layout of a table of switches as most write it: known here, so that where its values end needs no room in memory.
#[derive(Clone, Copy)]
pub struct Usual;

impl Layout for Usual {
    type Ends = [u8; USUAL.len()];

    #[inline(always)]
    fn ends() -> Self::Ends {
        [0; USUAL.len()]
    }

    #[inline(always)]
    fn columns(self) -> usize {
        USUAL.len()
    }

    #[inline(always)]
    fn column(self, slot: usize) -> usize {
        const COLUMNS: [u8; SLOTS] = columns_of(&USUAL);
        usize::from(COLUMNS[slot])
    }
}

/// The layout that the first line of a table declares.
#[derive(Clone, Copy)]
pub struct Declared<'t> {
    count: usize,
    columns: &'t [u8; SLOTS],
}

impl<'t> Declared<'t> {
    /// That of a table.
    pub fn of(table: &'t Table) -> Self {
        Self { count: table.slots().len(), columns: table.columns() }
    }
}

impl Layout for Declared<'_> {
    type Ends = [u8; NEAR];

    fn ends() -> Self::Ends {
        [0; NEAR]
    }

    fn columns(self) -> usize {
        self.count
    }

    fn column(self, slot: usize) -> usize {
        usize::from(self.columns[slot])
    }
}

/// A near row: one that ends within the next 64 bytes, has no quotes and as many values as there are columns, and that some more
/// bytes follow.
pub struct Near<'a, L: Layout> {
    layout: L,
    bytes: &'a [u8; NEAR + 1 + MARGIN],
    ends: L::Ends,
    /// The row without the end of its line.
    pub line: &'a [u8],
    /// What follows the row and its end.
    pub rest: &'a [u8],
}

impl<'a, L: Layout> Near<'a, L> {
    /// Cuts the row that `rest` begins with, if it is near but for quotes.
    #[inline(always)]
    pub fn cut(layout: L, rest: &'a [u8]) -> Option<Self> {
        let bytes: &[u8; NEAR + 1 + MARGIN] = rest.first_chunk()?;
        let near: &[u8; NEAR] = bytes.first_chunk()?;
        let line_ends = equal_of_64(near, b'\n');
        if line_ends == 0 {
            return None;
        }
        let (length, within) = (line_ends.trailing_zeros() as usize, (line_ends - 1) & !line_ends);
        let line = &bytes[..length];
        let mut ends = L::ends();
        let end = without_return(line).len();
        cut(equal_of_64(near, b',') & within, end, ends.as_mut().get_mut(..layout.columns())?)?;
        Some(Self { layout, bytes, ends, line, rest: &rest[length + 1..] })
    }

    /// Where the value of a column begins.
    #[inline(always)]
    fn start(&self, column: usize) -> usize {
        column.checked_sub(1).map_or(0, |before| self.end(before) + 1)
    }

    /// Where it ends.
    #[inline(always)]
    fn end(&self, column: usize) -> usize {
        usize::from(self.ends.as_ref()[column])
    }
}

impl Near<'_, Usual> {
    /// Whether a value of which nothing is made begins with a quote, which may have no end. Within a value that begins with none
    /// a quote is a character; and one of the other values that does is none that is known.
    #[inline(always)]
    pub fn idle_is_quoted(&self) -> bool {
        let quoted = |column| self.bytes[self.start(column)] == b'"';
        quoted(IDLE[0]) | quoted(IDLE[1])
    }
}

/// Finds the ends of values by the commas between them and the end of the last, if they are as many as there is room for.
#[inline(always)]
fn cut(mut commas: u64, last_end: usize, ends: &mut [u8]) -> Option<()> {
    let (last, before) = ends.split_last_mut()?;
    let mut found = 0;
    for end in before {
        // Where there is no comma left this is 64, and stays so.
        found = commas.trailing_zeros();
        *end = found as u8;
        commas &= commas.wrapping_sub(1);
    }
    *last = last_end as u8;
    (commas == 0 && found < u64::BITS).then_some(())
}

impl<L: Layout> Values for Near<'_, L> {
    #[inline(always)]
    fn piece(&self, slot: usize) -> Piece<'_> {
        let column = self.layout.column(slot);
        let start = self.start(column);
        Piece::within(&self.bytes[start..], self.end(column).wrapping_sub(start))
    }

    /// A name and the number behind it, as they stand there: at most 23 bytes, and how many they are.
    #[inline(always)]
    fn told(&self, name: usize, id: usize) -> Option<Key> {
        let (first, second) = (self.layout.column(name), self.layout.column(id));
        let start = self.start(first);
        let length = self.end(second).wrapping_sub(start);
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
