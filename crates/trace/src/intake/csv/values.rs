//! The values of a row, by slot, however the row was cut.

use super::super::bytes::{Piece, number};
use super::super::recent::Key;
use super::columns::{PASSED, SLOTS};
use csv_core::{ReadRecordResult, Reader};

/// The values of a row, by slot.
pub trait Values {
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
        match self.piece(slot).only() {
            Some(digit @ b'0'..=b'9') => Some(u64::from(digit - b'0')),
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

/// Where the values of any row begin and end, by slot.
#[derive(Default)]
pub struct Places([(u32, u32); SLOTS]);

impl Places {
    /// A row has no more bytes than fit.
    #[inline(always)]
    fn put(&mut self, slot: u8, start: usize, end: usize) {
        self.0[usize::from(slot & PASSED)] = (start as u32, end as u32);
    }

    /// Finds the values of a line without quotes, if they are as many as there are columns.
    pub fn cut(&mut self, line: &[u8], columns: &[u8]) -> Option<()> {
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
pub struct Far<'a> {
    pub bytes: &'a [u8],
    pub places: &'a Places,
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
    pub fn values(&mut self, line: &[u8], columns: &[u8], places: &mut Places) -> Option<&[u8]> {
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
