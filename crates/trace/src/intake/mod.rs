//! Readers of recordings: bytes in, events out, in blocks, so that memory does not grow with the recording.

mod block;
mod bytes;
pub mod csv;
pub mod ctf;
mod desk;
mod join;
pub mod lines;
mod missing;
pub mod pcap;
mod recent;
mod sniff;
pub mod text;
pub mod threads;
pub mod trace_event;

pub use block::Block;
pub use desk::Desk;
pub use join::Join;
pub use sniff::{Format, sniff};

use crate::event::Event;
use crate::names::Names;
use crate::note::{Note, Refusal};

/// What a reader has found so far; whoever feeds it takes events and notes out as they come.
#[derive(Debug, Default, PartialEq, Eq)]
pub struct Found {
    /// The events, in the order of the recording.
    pub events: Vec<Event>,
    /// What was wrong or worth saying.
    pub notes: Vec<Note>,
    /// The names that events use; they stay.
    pub names: Names,
}

/// Reads one source.
pub trait Reader {
    /// Takes the next bytes of the source, of any number; what they complete goes to `found`.
    fn feed(&mut self, bytes: &[u8], found: &mut Found) -> Result<(), Refusal>;

    /// Takes the end of the source.
    fn finish(&mut self, found: &mut Found) -> Result<(), Refusal>;
}
