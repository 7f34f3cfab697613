//! One core: its open window, and who executes on it.

use crate::rebuilt::{Slice, Window};
use crate::seen::Who;
use quantity::{CoreId, PartitionId};

/// What is under way on a core.
#[derive(Debug)]
pub(super) struct Line {
    core: CoreId,
    window: Option<Window>,
    /// Whether this core's windows are told: then none is guessed from who executes.
    told: bool,
    slice: Option<Slice>,
    /// How many interrupts are being handled, one within another.
    interrupts: u32,
    /// Who executed when the outermost of these came.
    stopped: Option<Who>,
    last_ns: u64,
}

impl Line {
    pub(super) fn new(core: CoreId) -> Self {
        Self { core, window: None, told: false, slice: None, interrupts: 0, stopped: None, last_ns: 0 }
    }

    pub(super) fn core(&self) -> CoreId {
        self.core
    }

    /// Who executes now.
    pub(super) fn who(&self) -> Option<Who> {
        self.slice.map(|slice| slice.who)
    }

    /// The last instant at which something of this core was seen.
    pub(super) fn last_ns(&self) -> u64 {
        self.last_ns
    }

    /// A told window begins; the one that was open until now is given back. One that was never told to end is not whole, and
    /// a guess at one ends with what was seen of it.
    pub(super) fn begin_window(&mut self, at: u64, partition: PartitionId) -> Option<Window> {
        self.last_ns = at;
        self.told = true;
        let window =
            Window { core: self.core, partition, from_ns: at, to_ns: at, first_ns: None, told: true, whole: true };
        let before = self.window.replace(window);
        before.map(|window| if window.told { Window { to_ns: at, whole: false, ..window } } else { window })
    }

    /// A told window ends. The end of one that is not open, since its beginning was not seen or another has begun, counts for
    /// nothing.
    pub(super) fn end_window(&mut self, at: u64, partition: PartitionId) -> Option<Window> {
        self.last_ns = at;
        self.told = true;
        let window = self.window.take_if(|window| window.told && window.partition == partition)?;
        Some(Window { to_ns: at, ..window })
    }

    /// Somebody executes from now on. Where windows are not told, another partition's first execution ends the guess at one.
    pub(super) fn begin_slice(&mut self, at: u64, who: Who, partition: Option<PartitionId>) -> Option<Window> {
        self.last_ns = at;
        self.slice = Some(Slice { core: self.core, who, from_ns: at, to_ns: at, whole: true });
        let partition = partition?;
        if let Some(window) = self.window.as_mut().filter(|window| window.partition == partition) {
            window.first_ns = window.first_ns.or(Some(at));
            return None;
        }
        if self.told {
            return None;
        }
        let guess =
            Window { core: self.core, partition, from_ns: at, to_ns: at, first_ns: Some(at), told: false, whole: true };
        self.window.replace(guess)
    }

    /// Whoever executes does so no longer. A guessed window lasts at least until then.
    pub(super) fn end_slice(&mut self, at: u64) -> Option<Slice> {
        self.last_ns = self.last_ns.max(at);
        let slice = self.slice.take()?;
        if let Some(window) = self.window.as_mut().filter(|window| !window.told) {
            window.to_ns = at;
        }
        Some(Slice { to_ns: at, ..slice })
    }

    /// An interrupt stops whoever executed.
    pub(super) fn interrupt(&mut self, stopped: Option<Who>) {
        self.interrupts = self.interrupts.saturating_add(1);
        self.stopped = self.stopped.or(stopped);
    }

    /// An interrupt is handled; who goes on now, where it was the last.
    pub(super) fn interrupt_ends(&mut self) -> Option<Who> {
        self.interrupts = self.interrupts.saturating_sub(1);
        if self.interrupts == 0 { self.stopped.take() } else { None }
    }

    /// Somebody is said to execute: no interrupt is under way.
    pub(super) fn no_interrupts(&mut self) {
        self.interrupts = 0;
        self.stopped = None;
    }

    /// Events were lost: nothing is known of what is under way. The open window is given back as not whole.
    pub(super) fn lose(&mut self) -> Option<Window> {
        self.no_interrupts();
        let window = self.window.take()?;
        let to_ns = if window.told { self.last_ns } else { window.to_ns };
        Some(Window { to_ns, whole: false, ..window })
    }
}
