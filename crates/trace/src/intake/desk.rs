//! What whoever parses lines has at hand from block to block, so that it need not be made for each.

use super::block::Block;
use super::lines::Format;
use super::recent::{Lately, Recent};
use crate::event::Event;

/// With more names than this, all are forgotten: they are kept beside those of the recording, for each parser.
const MOST_NAMES: usize = 1 << 14;

/// The desk of one parser.
#[derive(Debug)]
pub struct Desk {
    number: usize,
    /// The names it knows.
    pub(super) recent: Recent,
    /// The same by what formats remember them by.
    pub(super) told: Lately,
    /// Where events of another block were, and those of the next can be put.
    pub(super) room: Vec<Event>,
}

impl Desk {
    /// That of the parser of that number.
    pub fn new(number: usize) -> Self {
        Self { number, recent: Recent::new(), told: Lately::new(), room: Vec::new() }
    }

    /// Parses a block of whole lines; of what comes before it only the names have an influence, and only on how they are numbered.
    pub fn parse(&mut self, format: &dyn Format, lines: &[u8]) -> Block {
        let begins_anew = self.recent.len() > MOST_NAMES;
        if begins_anew {
            *self = Self { room: std::mem::take(&mut self.room), ..Self::new(self.number) };
        }
        let block = format.parse(lines, self);
        Block { desk: self.number, begins_anew, news: self.recent.news(), ..block }
    }
}
