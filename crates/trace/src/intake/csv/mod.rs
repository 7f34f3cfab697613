//! Recordings as tables of comma-separated values: events in the words of a plan, or switches of a scheduler.

mod columns;
mod near;
mod rows;
mod switches;
mod times;
mod values;

use super::block::{Block, Builder, LONGEST_LINE};
use super::desk::Desk;
use super::join::Join;
use super::lines::{Format, LineReader};
use super::threads::{Lines, unreadable};
use super::{Found, Reader};
use crate::note::{At, Matter, Note, Place, Refusal};
pub use columns::Table;
use std::io::{BufReader, Read};
use std::num::NonZeroUsize;

impl Format for Table {
    fn parse(&self, lines: &[u8], desk: &mut Desk) -> Block {
        let mut builder = Builder::new(lines.len(), &mut desk.recent, std::mem::take(&mut desk.room));
        rows::Rows::new(self, lines, &mut desk.told).take(lines, &mut builder);
        builder.finish()
    }

    fn join(&self, source: u16) -> Join {
        let mut join = Join::new(source);
        join.pass_lines(1);
        if self.clock().wraps { join.of_32_bits(self.clock().unit_ns) } else { join }
    }

    fn expected(&self) -> &'static str {
        "give every line as many values as the first line names columns, none longer than 65,536 bytes"
    }
}

/// Reads a table fed in blocks of any size.
#[derive(Debug)]
pub struct CsvReader {
    source: u16,
    /// The begin of the first line, until it is whole.
    head: Vec<u8>,
    rows: Option<LineReader<Table>>,
}

impl CsvReader {
    /// Reads the source of that index.
    pub fn new(source: u16) -> Self {
        Self { source, head: Vec::new(), rows: None }
    }

    /// Takes the first line as soon as it is whole; what comes after it is left.
    fn head<'a>(&mut self, bytes: &'a [u8], found: &mut Found) -> Result<&'a [u8], Refusal> {
        let end = memchr::memchr(b'\n', bytes).map_or(bytes.len(), |end| end + 1);
        self.head.extend_from_slice(&bytes[..end.min(LONGEST_LINE + 1)]);
        if self.head.ends_with(b"\n") || self.head.len() > LONGEST_LINE {
            let table = self.table(found)?;
            self.rows = Some(LineReader::new(table, self.source));
        }
        Ok(&bytes[end..])
    }

    fn table(&self, found: &mut Found) -> Result<Table, Refusal> {
        let table = Table::of_head(&self.head, self.source)?;
        table.note_unknown_columns(self.source, found);
        Ok(table)
    }
}

impl Reader for CsvReader {
    fn feed(&mut self, bytes: &[u8], found: &mut Found) -> Result<(), Refusal> {
        let rest = if self.rows.is_none() { self.head(bytes, found)? } else { bytes };
        match &mut self.rows {
            Some(rows) => rows.feed(rest, found),
            None => Ok(()),
        }
    }

    fn finish(&mut self, found: &mut Found) -> Result<(), Refusal> {
        match &mut self.rows {
            Some(rows) => rows.finish(found),
            // A first line without an end, and nothing else: its columns are looked at all the same.
            None => self.table(found).map(|_| ()),
        }
    }
}

/// A table that threads read ahead, as [`CsvReader`] reads it.
pub struct TableLines<R> {
    source: u16,
    threads: NonZeroUsize,
    /// What begins with the first line; `None` once that has been read.
    begin: Option<BufReader<R>>,
    rows: Option<Lines<BufReader<R>>>,
}

impl<R: Read + Send + 'static> TableLines<R> {
    /// Reads the source of that index on so many threads.
    pub fn new(source: u16, input: R, threads: NonZeroUsize) -> Self {
        Self { source, threads, begin: Some(BufReader::new(input)), rows: None }
    }

    /// Reads on: first the first line, then block after block. `false`: that was the end.
    pub fn read(&mut self, found: &mut Found) -> Result<bool, Refusal> {
        if let Some(mut input) = self.begin.take() {
            let place = Place { source: self.source, at: At::End };
            let table = Table::read_head(&mut input, self.source).map_err(|error| unreadable(place, &error))??;
            table.note_unknown_columns(self.source, found);
            self.rows = Some(Lines::new(Box::new(table), self.source, input, self.threads));
            return Ok(true);
        }
        self.rows.as_mut().map_or(Ok(false), |rows| rows.read(found))
    }
}

impl Table {
    /// Says which columns are read over: to be called once for a source.
    pub fn note_unknown_columns(&self, source: u16, found: &mut Found) {
        for column in self.unknown() {
            let kind = found.names.text(&format!("column {column}"));
            let place = Place { source, at: At::Line(1) };
            found.notes.push(Note { place, matter: Matter::Unknown { kind, count: 1 } });
        }
    }
}
