//! An event as it was recorded: in the recorder's own clock, cpus and names. 24 bytes, since recordings are long.

use crate::names::Name;

/// Something that was recorded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Event {
    /// When, in nanoseconds of the source's clock.
    pub at_ns: u64,
    /// On which cpu.
    pub cpu: Cpu,
    /// What.
    pub what: What,
}

/// A cpu as the recording numbers it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Cpu(u16);

impl Cpu {
    /// Where the recording does not say on which cpu something happened.
    pub const UNKNOWN: Self = Self(u16::MAX);

    /// The cpu of that number, where it is one that can be kept: below 65,535.
    pub fn new(number: u64) -> Option<Self> {
        u16::try_from(number).ok().map(Self).filter(|cpu| *cpu != Self::UNKNOWN)
    }

    /// Its number.
    pub fn number(self) -> Option<u16> {
        (self != Self::UNKNOWN).then_some(self.0)
    }
}

/// How a thread leaves its cpu.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Leaves {
    /// It could go on: it is displaced.
    Ready,
    /// It waits for something: its job is done, or it blocks.
    Waits,
    /// It has ended.
    Ended,
}

/// What can be recorded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum What {
    /// A cpu goes from one thread to another.
    Switch {
        /// The thread that leaves.
        from: Name,
        /// The thread that comes.
        to: Name,
        /// How the first leaves.
        leaves: Leaves,
    },
    /// A thread is woken; the event's cpu is where it was done from.
    Wakes {
        /// The thread.
        who: Name,
        /// Where it will run, if known.
        on: Cpu,
    },
    /// A thread goes to another cpu.
    Migrates {
        /// The thread.
        who: Name,
        /// To which.
        to: Cpu,
    },
    /// A cpu begins to handle an interrupt.
    InterruptBegins {
        /// The line: its name, or its number as text.
        line: Name,
    },
    /// A cpu has handled an interrupt.
    InterruptEnds {
        /// The line.
        line: Name,
    },
    /// A span with a name begins on a track.
    SpanBegins {
        /// Its name.
        name: Name,
        /// The track: a thread, or a name of the recording's own.
        on: Name,
    },
    /// The span that began last on a track ends.
    SpanEnds {
        /// Its name.
        name: Name,
        /// The track.
        on: Name,
    },
    /// A mark that somebody set: a text.
    Mark {
        /// The text.
        text: Name,
    },
    /// A frame was seen on the internal network.
    Frame {
        /// Who sent what to whom: the flow's name.
        flow: Name,
        /// Its length in bytes, of the payload.
        bytes: u32,
    },
    /// Said in the words of a plan.
    Told {
        /// The word.
        word: Word,
        /// Whom it is said of: a partition, a task, a port, a schedule.
        who: Name,
        /// The job's or message's number, where the word has one and it is known: see [`kept_number`].
        number: Option<std::num::NonZeroU32>,
    },
    /// Events before this one were lost, or could not be read.
    Lost {
        /// How many; 0 where it is not said.
        count: u32,
        /// How long before this instant they may have been, in microseconds, rounded up; 0: since the last event of that cpu.
        back_us: u32,
    },
}

impl What {
    /// Events were lost up to an instant, since an earlier one.
    pub fn lost_since(count: u32, from_ns: u64, to_ns: u64) -> Self {
        let back_us = u32::try_from(to_ns.saturating_sub(from_ns).div_ceil(1_000)).unwrap_or(u32::MAX);
        Self::Lost { count, back_us }
    }

    /// The same up to an instant, since the last event of that cpu.
    pub fn lost(count: u32) -> Self {
        Self::Lost { count, back_us: 0 }
    }

    /// From which instant on events may be lost, of a loss told at that one; `None`: from the last event of that cpu, or no loss.
    pub fn lost_from_ns(self, at_ns: u64) -> Option<u64> {
        match self {
            Self::Lost { back_us: u32::MAX, .. } => Some(0),
            Self::Lost { back_us: back_us @ 1.., .. } => Some(at_ns.saturating_sub(u64::from(back_us) * 1_000)),
            _ => None,
        }
    }

    /// Gives it other names: those that `name` gives for each. Where it stands, since it need not be put together anew then.
    #[inline]
    pub fn rename(&mut self, mut name: impl FnMut(Name) -> Name) {
        // Most are switches, and looked for first.
        if let Self::Switch { from, to, .. } = self {
            (*from, *to) = (name(*from), name(*to));
        } else {
            self.rename_other(name);
        }
    }

    fn rename_other(&mut self, mut name: impl FnMut(Name) -> Name) {
        let mut other = |own: &mut Name| *own = name(*own);
        match self {
            Self::Switch { from: name, to: on, .. } | Self::SpanBegins { name, on } | Self::SpanEnds { name, on } => {
                other(name);
                other(on);
            }
            Self::Wakes { who: only, .. }
            | Self::Migrates { who: only, .. }
            | Self::InterruptBegins { line: only }
            | Self::InterruptEnds { line: only }
            | Self::Mark { text: only }
            | Self::Frame { flow: only, .. }
            | Self::Told { who: only, .. } => other(only),
            Self::Lost { .. } => {}
        }
    }
}

/// The words of a plan, which a recording made for this purpose uses: see `docs/traces.md`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Word {
    /// A core begins to serve a partition; the switch and refill come first.
    WindowBegins,
    /// A core ends serving a partition.
    WindowEnds,
    /// A job, or work of a partition that is no job, executes from now on, on the event's cpu.
    Runs,
    /// Nothing executes from now on, on the event's cpu.
    Idles,
    /// A job of a task arrives.
    Arrives,
    /// A job of a task completes.
    Completes,
    /// A job is given up by a restart or stop.
    Dropped,
    /// A message is written to a channel.
    Writes,
    /// A message is read at an input of a channel.
    Reads,
    /// A message is lost: a queue is full.
    Overflows,
    /// A fault begins.
    FaultBegins,
    /// A fault ends.
    FaultEnds,
    /// An error of a partition is noticed.
    Noticed,
    /// A partition begins to start again, warm.
    RestartsWarm,
    /// A partition begins to start again, cold.
    RestartsCold,
    /// A partition's initialisation is done.
    Operational,
    /// A partition stops for good.
    Stopped,
    /// A module schedule takes effect.
    Schedule,
    /// A frame begins.
    Frame,
}

impl Word {
    /// Every word with its text: one that a tracepoint's name can be, so that it is the same in every format.
    pub const TEXTS: [(Self, &'static str); 19] = [
        (Self::WindowBegins, "window_begins"),
        (Self::WindowEnds, "window_ends"),
        (Self::Runs, "runs"),
        (Self::Idles, "idles"),
        (Self::Arrives, "arrives"),
        (Self::Completes, "completes"),
        (Self::Dropped, "dropped"),
        (Self::Writes, "writes"),
        (Self::Reads, "reads"),
        (Self::Overflows, "overflows"),
        (Self::FaultBegins, "fault_begins"),
        (Self::FaultEnds, "fault_ends"),
        (Self::Noticed, "noticed"),
        (Self::RestartsWarm, "restarts_warm"),
        (Self::RestartsCold, "restarts_cold"),
        (Self::Operational, "operational"),
        (Self::Stopped, "stopped"),
        (Self::Schedule, "schedule"),
        (Self::Frame, "frame"),
    ];

    /// The word of a text.
    pub fn of(text: &str) -> Option<Self> {
        Self::TEXTS.iter().find(|(_, known)| *known == text).map(|(word, _)| *word)
    }

    /// Its text.
    pub fn text(self) -> &'static str {
        Self::TEXTS[self as usize].1
    }
}

/// A number from 0 as [`What::Told`] keeps it: one more, so that none takes no room. `None` too where it is too large.
pub fn kept_number(number: u64) -> Option<std::num::NonZeroU32> {
    u32::try_from(number).ok()?.checked_add(1).and_then(std::num::NonZeroU32::new)
}

const _: () = assert!(size_of::<Event>() <= 24);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_word_stands_at_its_own_place_in_the_list() {
        for (word, text) in Word::TEXTS {
            assert_eq!((word.text(), Word::of(text)), (text, Some(word)));
        }
        assert_eq!(Word::of("Runs"), None);
        assert_eq!(
            [0, 6, u64::from(u32::MAX)].map(|n| kept_number(n).map(|kept| kept.get() - 1)),
            [Some(0), Some(6), None]
        );
    }
}
