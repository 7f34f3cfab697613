//! Sources that are made of lines: cut into blocks of whole lines, parsed each for itself and joined in order.

use super::block::{Block, LONGEST_LINE};
use super::desk::Desk;
use super::join::Join;
use super::{Found, Reader};
use crate::note::{At, Refusal};

/// A format made of lines.
pub trait Format: Send + Sync {
    /// Parses a block of whole lines. To be called by [`Desk::parse`], which hands on the names.
    fn parse(&self, lines: &[u8], desk: &mut Desk) -> Block;

    /// Begins to put together the blocks of the source of that index.
    fn join(&self, source: u16) -> Join;

    /// What a line should look like, where none does.
    fn expected(&self) -> &'static str;
}

/// The length of the part of `bytes` that is whole lines.
pub fn whole_lines(bytes: &[u8]) -> usize {
    memchr::memrchr(b'\n', bytes).map_or(0, |end| end + 1)
}

/// Reads a source of lines fed in blocks of any size.
#[derive(Debug)]
pub struct LineReader<F> {
    format: F,
    join: Join,
    desk: Desk,
    /// The begin of a line whose end has not come yet.
    begun: Vec<u8>,
}

impl<F: Format> LineReader<F> {
    /// Reads the source of that index.
    pub fn new(format: F, source: u16) -> Self {
        let join = format.join(source);
        Self { format, join, desk: Desk::new(0), begun: Vec::new() }
    }

    fn take(&mut self, lines: &[u8], found: &mut Found) {
        let block = self.desk.parse(&self.format, lines);
        self.desk.room = self.join.join(block, found);
    }

    /// Keeps the begin of a line, or as much of it as shows that it is too long.
    fn begin(&mut self, bytes: &[u8]) {
        let room = (LONGEST_LINE + 1).saturating_sub(self.begun.len());
        self.begun.extend_from_slice(&bytes[..bytes.len().min(room)]);
    }
}

impl<F: Format> Reader for LineReader<F> {
    fn feed(&mut self, mut bytes: &[u8], found: &mut Found) -> Result<(), Refusal> {
        if !self.begun.is_empty()
            && let Some(end) = memchr::memchr(b'\n', bytes)
        {
            self.begin(&bytes[..end]);
            let mut line = std::mem::take(&mut self.begun);
            line.push(b'\n');
            self.take(&line, found);
            line.clear();
            self.begun = line;
            bytes = &bytes[end + 1..];
        }
        let (whole, begun) = bytes.split_at(whole_lines(bytes));
        if !whole.is_empty() {
            self.take(whole, found);
        }
        self.begin(begun);
        Ok(())
    }

    fn finish(&mut self, found: &mut Found) -> Result<(), Refusal> {
        finish(&self.format, &mut self.join, &self.begun, found)
    }
}

/// Takes the end of a source whose blocks were joined, with what follows its last line end.
pub fn finish(format: &dyn Format, join: &mut Join, rest: &[u8], found: &mut Found) -> Result<(), Refusal> {
    join.finish(rest, found);
    let Some(line) = join.only_unparsed() else { return Ok(()) };
    Err(Refusal {
        place: join.place(At::Line(line)),
        why: "no line of this source can be read".to_owned(),
        remedy: format.expected().to_owned(),
    })
}
