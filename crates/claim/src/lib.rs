//! Claims and their verdicts: the common shape of every result.
//!
//! An analysis makes [`Verdict`]s; whoever shows them only renders. A verdict that does not say *shown* always
//! carries its reason, and one that says *violated* always carries the witness.

#![deny(clippy::float_arithmetic, clippy::disallowed_types, clippy::disallowed_methods, clippy::disallowed_macros)]

mod assumption;
mod part;
mod simulated;
mod witness;

pub use assumption::Assumption;
pub use part::{Part, PartKind, sum_of_parts};
pub use simulated::{FoundBy, Simulated};
pub use witness::{Segment, Witness, WitnessRelease};

use diagnostic::Span;

/// What is known about a claim. Missing data is `NotAnalysed`, never a pass.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Status {
    /// The bound keeps the limit.
    Shown,
    /// Only the bound passes the limit; no scenario that does is known.
    NotShown,
    /// The limit is passed and a witness shows it.
    Violated,
    /// Nothing was computed; the reason says which datum or analysis is missing.
    NotAnalysed,
}

impl Status {
    /// The word for people: `shown`, `not shown`, `violated`, `not analysed`.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Shown => "shown",
            Self::NotShown => "not shown",
            Self::Violated => "violated",
            Self::NotAnalysed => "not analysed",
        }
    }

    /// Its place among what stands beside it: what is not known is worse than what is shown, and what is known to fail is worse
    /// than that.
    pub const fn badness(self) -> u8 {
        match self {
            Self::Shown => 0,
            Self::NotAnalysed => 1,
            Self::NotShown => 2,
            Self::Violated => 3,
        }
    }

    /// The word for programs: `shown`, `not_shown`, `violated`, `not_analysed`.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Shown => "shown",
            Self::NotShown => "not_shown",
            Self::Violated => "violated",
            Self::NotAnalysed => "not_analysed",
        }
    }
}

/// What a claim is about, in the order in which claims are listed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// The windows of a core or partition are well placed.
    Window,
    /// A task's response time against its deadline.
    Response,
    /// A chain's reaction time.
    Reaction,
    /// A chain's data age.
    DataAge,
    /// How far the instants of a task's outputs vary against its period.
    OutputJitter,
    /// The age at which a sampled message is read against its refresh period.
    Refresh,
    /// The messages that a queue must hold.
    QueueDepth,
    /// What is left for growth.
    Margin,
    /// Memory ranges are apart, aligned, inside.
    Memory,
    /// Devices reach only what their owner may.
    Device,
    /// Interrupts take no time from others.
    Interrupt,
    /// Cache ways are apart.
    Cache,
    /// Bandwidth budgets fit.
    Bandwidth,
    /// Messages flow only where the policy permits.
    Flow,
    /// What comes from a lower level is checked.
    Criticality,
    /// Partitions are operational in time.
    Boot,
    /// An outage after a restart.
    Restart,
    /// The health-monitor table is complete.
    Health,
    /// What moves inside the board through a forwarder arrives in time and whole.
    Forwarding,
    /// A change to another module schedule starves nobody.
    ScheduleChange,
    /// Faults of a partition reach only those declared.
    Containment,
    /// What masters share is mitigated or bounded.
    Channel,
    /// Critical settings of the board are guarded.
    Setting,
    /// A partition keeps its time whether the other cores are idle or at their worst.
    RobustTime,
    /// A partition keeps its memory, devices and bandwidth, and its faults stay with it.
    RobustResources,
    /// What carries covertly between those who must not influence each other is slow.
    Covert,
    /// Something stands against every kind of fault of an exchange.
    Exchange,
}

impl Kind {
    /// Every kind in listing order.
    pub const ALL: [Self; 27] = [
        Self::Window,
        Self::Response,
        Self::Reaction,
        Self::DataAge,
        Self::OutputJitter,
        Self::Refresh,
        Self::QueueDepth,
        Self::Margin,
        Self::Memory,
        Self::Device,
        Self::Interrupt,
        Self::Cache,
        Self::Bandwidth,
        Self::Flow,
        Self::Criticality,
        Self::Boot,
        Self::Restart,
        Self::Health,
        Self::Forwarding,
        Self::ScheduleChange,
        Self::Containment,
        Self::Channel,
        Self::Setting,
        Self::RobustTime,
        Self::RobustResources,
        Self::Covert,
        Self::Exchange,
    ];

    /// The word for programs, which begins every id of the kind.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Window => "window",
            Self::Response => "response",
            Self::Reaction => "reaction",
            Self::DataAge => "data_age",
            Self::OutputJitter => "output_jitter",
            Self::Refresh => "refresh",
            Self::QueueDepth => "queue_depth",
            Self::Margin => "margin",
            Self::Memory => "memory",
            Self::Device => "device",
            Self::Interrupt => "interrupt",
            Self::Cache => "cache",
            Self::Bandwidth => "bandwidth",
            Self::Flow => "flow",
            Self::Criticality => "criticality",
            Self::Boot => "boot",
            Self::Restart => "restart",
            Self::Health => "health",
            Self::Forwarding => "forwarding",
            Self::ScheduleChange => "schedule_change",
            Self::Containment => "containment",
            Self::Channel => "channel",
            Self::Setting => "setting",
            Self::RobustTime => "robust_time",
            Self::RobustResources => "robust_resources",
            Self::Covert => "covert",
            Self::Exchange => "exchange",
        }
    }

    /// The words for people, in the plural.
    pub const fn title(self) -> &'static str {
        match self {
            Self::Window => "windows",
            Self::Response => "response times",
            Self::Reaction => "reaction times",
            Self::DataAge => "data ages",
            Self::OutputJitter => "output jitter",
            Self::Refresh => "refresh periods",
            Self::QueueDepth => "queue depths",
            Self::Margin => "margins",
            Self::Memory => "memory separation",
            Self::Device => "device separation",
            Self::Interrupt => "interrupts",
            Self::Cache => "cache ways",
            Self::Bandwidth => "bandwidth budgets",
            Self::Flow => "information flow",
            Self::Criticality => "criticality direction",
            Self::Boot => "boot",
            Self::Restart => "restart outages",
            Self::Health => "health monitor",
            Self::Forwarding => "internal network",
            Self::ScheduleChange => "schedule changes",
            Self::Containment => "containment",
            Self::Channel => "interference channels",
            Self::Setting => "settings of the board",
            Self::RobustTime => "robust time partitioning",
            Self::RobustResources => "robust resource partitioning",
            Self::Covert => "covert channels",
            Self::Exchange => "faults of exchange",
        }
    }
}

/// The unit of a bound and its limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Unit {
    /// Nanoseconds.
    Nanoseconds,
    /// Bytes.
    Bytes,
    /// Messages.
    Messages,
    /// Parts per million.
    Ppm,
    /// Things counted, such as overlaps.
    Count,
    /// Thousandths of a bit per second.
    MillibitsPerSecond,
}

impl Unit {
    /// The word for programs: `ns`, `bytes`, `messages`, `ppm`, `count`, `millibits/s`.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Nanoseconds => "ns",
            Self::Bytes => "bytes",
            Self::Messages => "messages",
            Self::Ppm => "ppm",
            Self::Count => "count",
            Self::MillibitsPerSecond => "millibits/s",
        }
    }
}

/// Which side of the limit is good.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Relation {
    /// The bound must not pass the limit.
    AtMost,
    /// The bound must reach the limit.
    AtLeast,
}

impl Relation {
    /// Whether `bound` keeps `limit`.
    pub const fn holds(self, bound: u64, limit: u64) -> bool {
        match self {
            Self::AtMost => bound <= limit,
            Self::AtLeast => bound >= limit,
        }
    }

    /// The word for programs.
    pub const fn key(self) -> &'static str {
        match self {
            Self::AtMost => "at_most",
            Self::AtLeast => "at_least",
        }
    }
}

/// How a verdict was reached.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Basis {
    /// The analysis: the name of its page in `docs/analyses/`.
    pub analysis: &'static str,
    /// The publication it rests on, or `common practice, no source`.
    pub source: &'static str,
    /// What it takes for granted.
    pub assumptions: Vec<Assumption>,
}

/// The largest growth of one task alone that keeps every deadline of its partition.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Growth {
    /// The charged time of a job now, in nanoseconds.
    pub charged_ns: u64,
    /// The largest charged time that still holds, in nanoseconds; 0 where none does.
    pub largest_charged_ns: u64,
}

/// What is known about one claim.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Verdict {
    /// The stable id, such as `response/OBJT.trk`. It never changes while its subject lives.
    pub id: String,
    /// What the claim is about.
    pub kind: Kind,
    /// The subject in the words of the system file.
    pub subject: String,
    /// What is known.
    pub status: Status,
    /// The bound; `None` where there is none.
    pub bound: Option<u64>,
    /// The limit; `None` where the subject declares none.
    pub limit: Option<u64>,
    /// The unit of both.
    pub unit: Unit,
    /// Which side of the limit is good.
    pub relation: Relation,
    /// Whether a scenario attains the bound.
    pub exact: bool,
    /// Why there is no bound, or why the claim does not hold, in a sentence; or what a shown claim rests on.
    pub reason: Option<String>,
    /// The generic bound of a chain.
    pub generic: Option<u64>,
    /// The table-aware bound of a chain.
    pub table_aware: Option<u64>,
    /// The largest growth of the subject, for response times.
    pub growth: Option<Growth>,
    /// What the bound is made of, in the order in which time passes; empty where it is not told apart.
    pub parts: Vec<Part>,
    /// Why a bound is not told apart that could be, in a sentence without its begin and its full stop.
    pub untold: Option<&'static str>,
    /// How the verdict was reached.
    pub basis: Basis,
    /// The place in the input that the verdict is about.
    pub place: Option<Span>,
    /// The scenario that shows a violation.
    pub witness: Option<Witness>,
    /// What simulation saw of the subject; `None` where it did not look.
    pub simulated: Option<Simulated>,
    /// The same in runs in which line requests wait only for what others ask for at the same time.
    pub concurrent: Option<Simulated>,
}

impl Verdict {
    /// Whether the witness says no more than the reason: a fact shows itself.
    pub fn is_own_witness(&self) -> bool {
        self.witness.as_ref().is_some_and(|witness| self.reason.as_ref() == Some(&witness.summary))
    }

    /// How far what simulation saw stays below the bound, 0 where it attains it; `None` where either is missing, or where what
    /// was seen is above.
    pub fn gap(&self) -> Option<u64> {
        self.bound?.checked_sub(self.simulated?.largest)
    }

    /// A verdict about which nothing is known yet: *not analysed*, for the reason given.
    pub fn not_analysed(kind: Kind, subject: impl Into<String>, basis: Basis, reason: impl Into<String>) -> Self {
        let subject = subject.into();
        Self {
            id: format!("{}/{subject}", kind.key()),
            kind,
            subject,
            status: Status::NotAnalysed,
            bound: None,
            limit: None,
            unit: Unit::Nanoseconds,
            relation: Relation::AtMost,
            exact: false,
            reason: Some(reason.into()),
            generic: None,
            table_aware: None,
            growth: None,
            parts: Vec::new(),
            untold: None,
            basis,
            place: None,
            witness: None,
            simulated: None,
            concurrent: None,
        }
    }
}

/// The order in which verdicts are listed: by kind, then by id.
pub fn sort_verdicts(verdicts: &mut [Verdict]) {
    verdicts.sort_by(|a, b| a.kind.cmp(&b.kind).then_with(|| a.id.cmp(&b.id)));
}
