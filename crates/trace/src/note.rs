//! What readers of recordings find wrong or worth saying, each with its place.

use crate::names::Name;

/// A place in a recording: which source, and where in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Place {
    /// The source: an index into the files given.
    pub source: u16,
    /// Where in it.
    pub at: At,
}

/// Where in a source.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum At {
    /// A line, from 1.
    Line(u64),
    /// A byte, from 0.
    Byte(u64),
    /// A byte, from 0, of one of a source's several files, in the order in which they are read.
    Within {
        /// The file, from 0.
        file: u16,
        /// The byte.
        byte: u64,
    },
    /// An instant of its clock, in nanoseconds.
    Instant(u64),
    /// The end.
    End,
}

/// What can be the matter with a part of a recording that is read all the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Matter {
    /// A line, record or event that is none of those known: left out.
    Unparsed,
    /// An event of a known kind whose fields cannot be read: left out.
    Malformed,
    /// Text that is not UTF-8: kept with a replacement character.
    NotUtf8,
    /// The source ends within an event: that is left out.
    Truncated,
    /// A frame of which only the beginning was recorded: kept.
    Snapped,
    /// An event earlier than one before it: put into its place, or left out where that has been passed for good.
    OutOfOrder,
    /// An event equal to the one before it: left out.
    Duplicate,
    /// A span that ends before it begins: left out.
    NegativeDuration,
    /// A clock of few bits has begun anew: carried on.
    Wrapped,
    /// The recorder lost events.
    Lost,
    /// A thread leaves a cpu that was another's: switches between were not recorded.
    Unannounced,
    /// A span ends that never began, or never ends: left out.
    Unpaired,
    /// A time that cannot be kept: before 0 or beyond 64 bits of nanoseconds.
    OutOfRange,
    /// Events of a kind of which nothing is known: left out, counted by the kind's name.
    Unknown {
        /// The kind's name.
        kind: Name,
        /// How many.
        count: u64,
    },
}

/// One thing found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Note {
    /// Where.
    pub place: Place,
    /// What.
    pub matter: Matter,
}

/// A source that cannot be read at all, or no further.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refusal {
    /// Where.
    pub place: Place,
    /// Why, and what would be read instead.
    pub why: String,
    /// What to do about it.
    pub remedy: String,
}
