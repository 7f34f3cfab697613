//! What happens in a run, as it is told to whoever records it. Indices are those of the [`Machine`](crate::Machine).

/// Something that happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Event {
    /// When, in nanoseconds from the run's beginning.
    pub at_ns: u64,
    /// What.
    pub what: What,
}

/// How a partition starts again.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Start {
    /// Keeping what it declares as kept.
    Warm,
    /// From nothing.
    Cold,
}

/// What can happen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum What {
    /// A core begins to serve a lane: its head, of that length, comes first.
    LaneBegins {
        /// The core.
        core: usize,
        /// The lane.
        lane: usize,
        /// The head: switch and refill, in nanoseconds.
        head_ns: u64,
    },
    /// A core ends serving a lane.
    LaneEnds {
        /// The core.
        core: usize,
        /// The lane.
        lane: usize,
    },
    /// A job executes from now on, on this core.
    Runs {
        /// The core.
        core: usize,
        /// The task.
        task: usize,
        /// The job's number, from 0.
        job: u64,
    },
    /// Work before all jobs executes from now on, on this core: initialisation, building another partition, the handler of an
    /// interrupt that was kept, fetching a working set that a fault evicted.
    Initialises {
        /// The core.
        core: usize,
        /// The partition.
        partition: usize,
    },
    /// Nothing executes from now on, on this core.
    Idles {
        /// The core.
        core: usize,
    },
    /// A core executes nothing until then: its bandwidth budget is used up, or an interrupt or a fault takes its time.
    Stalls {
        /// The core.
        core: usize,
        /// Until when, in nanoseconds.
        until_ns: u64,
        /// Why.
        why: Stall,
    },
    /// A job arrives.
    Arrives {
        /// The task.
        task: usize,
        /// The job's number.
        job: u64,
    },
    /// A job is released, at its arrival or at most its jitter later.
    Released {
        /// The task.
        task: usize,
        /// The job's number.
        job: u64,
    },
    /// A job completes.
    Completes {
        /// The task.
        task: usize,
        /// The job's number.
        job: u64,
        /// Since its arrival, in nanoseconds.
        response_ns: u64,
    },
    /// A job passes its deadline without having completed.
    Misses {
        /// The task.
        task: usize,
        /// The job's number.
        job: u64,
    },
    /// A job is dropped by a restart or a stop.
    Dropped {
        /// The task.
        task: usize,
        /// The job's number.
        job: u64,
    },
    /// A message is written to a channel.
    Writes {
        /// The channel.
        channel: usize,
    },
    /// An input is read.
    Reads {
        /// The input.
        input: usize,
        /// The age of the oldest message taken, in nanoseconds; `None` where there is none.
        age_ns: Option<u64>,
        /// Whether a sampled message was older than its refresh period.
        stale: bool,
    },
    /// A message to this input is lost: its queue is full, or that of the internal network on the way there. Of
    /// several at once that find no room anywhere the first is told.
    Lost {
        /// The input.
        input: usize,
    },
    /// The forwarder has moved a frame to this input.
    Forwarded {
        /// The input.
        input: usize,
        /// Since it was sent, in nanoseconds.
        delay_ns: u64,
    },
    /// A fault of the scenario begins: an index into its faults.
    FaultBegins {
        /// The fault.
        fault: usize,
    },
    /// A fault of the scenario ends.
    FaultEnds {
        /// The fault.
        fault: usize,
    },
    /// The health monitor notices an error of a partition.
    Noticed {
        /// The partition.
        partition: usize,
    },
    /// A partition begins to start again: the action begins.
    Restarts {
        /// The partition.
        partition: usize,
        /// How.
        start: Start,
    },
    /// The initialisation of a partition is done.
    Operational {
        /// The partition.
        partition: usize,
    },
    /// A partition stops for good.
    Stopped {
        /// The partition.
        partition: usize,
    },
    /// The module is reset or shut down: nothing runs from now on.
    ModuleStops,
    /// Another module schedule takes effect.
    ScheduleChanges {
        /// The schedule.
        to: usize,
    },
}

/// Why a core executes nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stall {
    /// Its bandwidth budget is used up.
    Throttled,
    /// An interrupt is handled.
    Interrupt,
    /// A window begins late.
    LateWindow,
    /// The core stands.
    CoreStops,
}

/// Who is told what happens. [`Nobody`] costs nothing.
pub trait Recorder {
    /// Whether events are wanted at all; where not, none need be made.
    const WANTED: bool = true;

    /// Takes an event; they come in the order of time, and at one instant in the order of `docs/semantics.md`.
    fn record(&mut self, event: Event);
}

/// Records nothing.
#[derive(Debug, Clone, Copy, Default)]
pub struct Nobody;

impl Recorder for Nobody {
    const WANTED: bool = false;

    fn record(&mut self, _: Event) {}
}

impl Recorder for Vec<Event> {
    fn record(&mut self, event: Event) {
        self.push(event);
    }
}
