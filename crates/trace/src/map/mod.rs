//! The map: which names, ids and cpus of a recording are which partitions, tasks, ports and cores of a system.
//!
//! Names that are those of the system need no entry: a word of the plan said of `NAV` is said of the partition `NAV`.

mod declared;
mod mapper;
mod pattern;
mod read;
mod sections;
pub(crate) mod subject;

pub use declared::{ChannelSaid, Declared, declared};
pub use mapper::{Mapper, Unmapped};
pub use read::{key_tables, read_map};

use crate::event::Word;
use crate::seen::Who;
use pattern::Pattern;
use quantity::{ChannelId, CoreId};
use subject::Subject;

/// The entries of a map, resolved against one system.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Map {
    /// By how much windows may begin and end earlier or later than planned, in nanoseconds.
    pub tolerance_ns: Option<u64>,
    /// An instant of the first source's clock at which a frame begins.
    pub frame_at_ns: Option<u64>,
    /// Whether processes on another machine stood in for the target.
    pub is_rehearsal: bool,
    /// The texts of marks that several sources record at the same instants.
    sync: Option<Pattern>,
    cpus: Vec<(u16, CoreId)>,
    threads: Vec<Thread>,
    marks: Vec<Mark>,
    spans: Vec<Span>,
    flows: Vec<(Pattern, ChannelId)>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
struct Thread {
    name: Option<Pattern>,
    id: Option<u32>,
    who: Who,
    /// Whether wake-ups are arrivals and waits completions.
    jobs: bool,
}

#[derive(Debug, Clone, PartialEq, Eq)]
struct Mark {
    text: Pattern,
    means: Word,
    of: Option<Subject>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
struct Span {
    name: Pattern,
    track: Option<Pattern>,
    is_window: bool,
    who: Who,
    core: Option<CoreId>,
}

impl Map {
    /// Whether it says which marks several sources record at the same instants.
    pub fn has_sync(&self) -> bool {
        self.sync.is_some()
    }

    /// Whether a mark of that text is one that several sources record at the same instants.
    pub fn is_sync(&self, text: &str) -> bool {
        self.sync.as_ref().is_some_and(|pattern| pattern.fits(text))
    }
}
