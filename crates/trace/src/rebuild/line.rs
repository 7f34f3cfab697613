//! One core: its open window, and who executes on it.

use crate::moment::Moment;
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
    last: Moment,
}

impl Line {
    pub(super) fn new(core: CoreId) -> Self {
        Self { core, window: None, told: false, slice: None, interrupts: 0, stopped: None, last: Moment::default() }
    }

    pub(super) fn core(&self) -> CoreId {
        self.core
    }

    /// Who executes now.
    pub(super) fn who(&self) -> Option<Who> {
        self.slice.map(|slice| slice.who)
    }

    /// When something of this core was seen last.
    pub(super) fn last(&self) -> Moment {
        self.last
    }

    /// A told window begins; the one that was open until now is given back. One that was never told to end is not whole, and
    /// a guess at one ends with what was seen of it. `runs`: whoever executes is of the partition, and goes on.
    pub(super) fn begin_window(&mut self, at: Moment, partition: PartitionId, runs: bool) -> Option<Window> {
        self.last = at;
        self.told = true;
        let clock = self.slice.filter(|_| runs).map(|slice| slice.clock);
        let first = clock.map(|clock| Moment { clock, ..at });
        let before = self.window.replace(Window { told: true, first, ..self.window_from(at, partition) });
        before.map(|window| if window.told { Window { whole: false, ..until(at, window) } } else { window })
    }

    /// A window of which nothing more is known yet.
    fn window_from(&self, at: Moment, partition: PartitionId) -> Window {
        Window {
            core: self.core,
            partition,
            from_ns: at.at_ns,
            to_ns: at.at_ns,
            clocks: (at.clock, at.clock),
            first: None,
            told: false,
            whole: true,
        }
    }

    /// A told window ends. The end of one that is not open, since its beginning was not seen or another has begun, counts for
    /// nothing.
    pub(super) fn end_window(&mut self, at: Moment, partition: PartitionId) -> Option<Window> {
        self.last = at;
        self.told = true;
        let window = self.window.take_if(|window| window.told && window.partition == partition)?;
        Some(until(at, window))
    }

    /// Somebody executes from now on. Where windows are not told, another partition's first execution ends the guess at one.
    pub(super) fn begin_slice(&mut self, at: Moment, who: Who, partition: Option<PartitionId>) -> Option<Window> {
        self.last = at;
        let (from_ns, clock) = (at.at_ns, at.clock);
        self.slice = Some(Slice { core: self.core, who, from_ns, to_ns: from_ns, clock, whole: true });
        let partition = partition?;
        if let Some(window) = self.window.as_mut().filter(|window| window.partition == partition) {
            window.first = window.first.or(Some(at));
            return None;
        }
        if self.told {
            return None;
        }
        self.window.replace(Window { first: Some(at), ..self.window_from(at, partition) })
    }

    /// Whoever executes does so no longer. A guessed window lasts at least until then.
    pub(super) fn end_slice(&mut self, at: Moment) -> Option<Slice> {
        if self.last.at_ns < at.at_ns {
            self.last = at;
        }
        let slice = self.slice.take()?;
        if let Some(window) = self.window.as_mut().filter(|window| !window.told) {
            *window = until(at, *window);
        }
        Some(Slice { to_ns: at.at_ns, ..slice })
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
        Some(Window { whole: false, ..if window.told { until(self.last, window) } else { window } })
    }
}

fn until(at: Moment, window: Window) -> Window {
    Window { to_ns: at.at_ns, clocks: (window.clocks.0, at.clock), ..window }
}
