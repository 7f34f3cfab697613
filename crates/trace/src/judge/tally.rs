//! What a rule was seen to do, counted, and the finding that comes of it.

use super::Most;
use crate::moment::{Moment, Reading};
use std::collections::VecDeque;

/// What is judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Rule {
    /// A window begins when the plan says.
    WindowStart,
    /// A window ends when the plan says.
    WindowEnd,
    /// Every planned window is served, once, and no other.
    WindowOrder,
    /// Nobody else executes inside a window.
    Foreign,
    /// The switch to a partition and its refill take no longer than the platform sheet says.
    Switch,
    /// A job executes no longer than its task's claimed time.
    Execution,
    /// A job completes by its deadline.
    Deadline,
    /// Jobs arrive no closer than declared.
    Arrival,
    /// Messages are written no closer than declared.
    WriteInterval,
    /// A sampled message is no older than its refresh period when it is read.
    Age,
    /// No more messages wait than the queue holds.
    Depth,
    /// A chain answers every stimulus within its need.
    Reaction,
    /// What a chain puts out is no older than its need until the next output replaces it.
    DataAge,
    /// A partition that starts again is back within its need.
    Outage,
}

impl Rule {
    /// The word by which findings are named: `WORD/SUBJECT`.
    pub fn word(self) -> &'static str {
        match self {
            Self::WindowStart => "window-start",
            Self::WindowEnd => "window-end",
            Self::WindowOrder => "window-order",
            Self::Foreign => "foreign-execution",
            Self::Switch => "switch",
            Self::Execution => "execution",
            Self::Deadline => "deadline",
            Self::Arrival => "arrival",
            Self::WriteInterval => "write-interval",
            Self::Age => "age",
            Self::Depth => "depth",
            Self::Reaction => "reaction",
            Self::DataAge => "data-age",
            Self::Outage => "outage",
        }
    }

    /// What its values count.
    pub fn unit(self) -> &'static str {
        match self {
            Self::WindowOrder => "windows",
            Self::Depth => "messages",
            _ => "ns",
        }
    }

    /// Which side of the limit is the good one.
    pub fn relation(self) -> Relation {
        match self {
            Self::Arrival | Self::WriteInterval => Relation::AtLeast,
            _ => Relation::AtMost,
        }
    }
}

/// Which side of a limit is the good one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Relation {
    /// Values must not be above it.
    AtMost,
    /// Values must not be below it.
    AtLeast,
}

impl Relation {
    fn holds(self, value: u64, limit: u64) -> bool {
        match self {
            Self::AtMost => value <= limit,
            Self::AtLeast => value >= limit,
        }
    }

    /// What a value surely is at the worst.
    fn surely(self, reading: Reading) -> u64 {
        match self {
            Self::AtMost => reading.least,
            Self::AtLeast => reading.most,
        }
    }

    fn is_worse(self, value: u64, than: u64) -> bool {
        match self {
            Self::AtMost => value > than,
            Self::AtLeast => value < than,
        }
    }
}

/// What came of a rule.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Status {
    /// Nothing seen breaks it.
    Kept,
    /// Something seen may break it, and the clocks of its sources are not known well enough to tell: how well they are.
    NotShown(String),
    /// Something seen breaks it.
    Violated,
    /// The recording says nothing of it, or the limit is not known: why.
    NotAnalysed(String),
}

impl Status {
    /// The word for it.
    pub fn word(&self) -> &'static str {
        match self {
            Self::Kept => "kept",
            Self::NotShown(_) => "not shown",
            Self::Violated => "violated",
            Self::NotAnalysed(_) => "not analysed",
        }
    }

    /// Why it is neither kept nor violated.
    pub fn reason(&self) -> Option<&str> {
        match self {
            Self::NotShown(why) | Self::NotAnalysed(why) => Some(why),
            Self::Kept | Self::Violated => None,
        }
    }
}

/// The first thing seen that breaks a rule.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CounterExample {
    /// When, in nanoseconds of the common clock.
    pub at_ns: u64,
    /// The value, in the rule's unit.
    pub value: u64,
    /// What happened, in words.
    pub what: String,
}

/// What a recording says of one rule and one subject.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// The rule.
    pub rule: Rule,
    /// Of whom.
    pub subject: String,
    /// What came of it.
    pub status: Status,
    /// How often it could be judged.
    pub seen: u64,
    /// How often it could not, since the recording has a gap there, or begins or ends.
    pub in_gaps: u64,
    /// How often it was broken.
    pub broken: u64,
    /// How often it may have been broken or not, as far as the clocks of its sources are known.
    pub undecided: u64,
    /// The value nearest to the wrong side, or farthest on it; of values that are off by the clocks' error, by what they are surely.
    pub worst: Option<u64>,
    /// When that was.
    pub worst_at_ns: Option<u64>,
    /// The limit.
    pub limit: Option<u64>,
    /// The first that breaks it.
    pub first: Option<CounterExample>,
}

impl Finding {
    /// `WORD/SUBJECT`: stable while the subject lives.
    pub fn id(&self) -> String {
        format!("{}/{}", self.rule.word(), self.subject)
    }
}

/// A limit that is known, or why it is not.
pub(super) type Limit = Result<u64, String>;

/// Counts what is seen of one rule and subject.
#[derive(Debug, Clone)]
pub(super) struct Tally {
    rule: Rule,
    limit: Limit,
    seen: u64,
    in_gaps: u64,
    broken: u64,
    undecided: u64,
    /// The largest error of the clocks that left anything undecided.
    error_ns: u64,
    worst: Option<Worst>,
    first: Option<CounterExample>,
    /// Values that break the rule unless something is told soon that may have come before them.
    held: VecDeque<Held>,
}

/// The worst value, and when it was.
#[derive(Debug, Clone, Copy)]
struct Worst {
    /// What it surely was.
    surely: u64,
    reading: Reading,
    at_ns: u64,
}

#[derive(Debug, Clone)]
struct Held {
    reading: Reading,
    at: Moment,
    until_ns: u64,
    what: String,
}

/// So many values are held at most; of more, nothing is said of the oldest.
const MOST_HELD: usize = 1024;

impl Tally {
    pub(super) fn new(rule: Rule, limit: Limit) -> Self {
        Self {
            rule,
            limit,
            seen: 0,
            in_gaps: 0,
            broken: 0,
            undecided: 0,
            error_ns: 0,
            worst: None,
            first: None,
            held: VecDeque::new(),
        }
    }

    /// A value was seen; `what` says what happened, where that breaks the rule.
    pub(super) fn note(&mut self, reading: impl Into<Reading>, at_ns: u64, what: impl FnOnce() -> String) {
        let reading = reading.into();
        let relation = self.rule.relation();
        let surely = relation.surely(reading);
        if self.worst.is_none_or(|worst| relation.is_worse(surely, worst.surely)) {
            self.worst = Some(Worst { surely, reading, at_ns });
        }
        let holds = |value: u64| self.limit.as_ref().is_ok_and(|limit| relation.holds(value, *limit));
        match (holds(reading.least), holds(reading.most)) {
            _ if self.limit.is_err() => self.seen += 1,
            (true, true) => self.seen += 1,
            (false, false) => {
                self.seen += 1;
                self.broken += 1;
                self.first.get_or_insert_with(|| CounterExample { at_ns, value: reading.value, what: what() });
            }
            _ => self.note_undecided(reading.error_ns),
        }
    }

    /// Something was seen that breaks the rule or does not, as far as the clocks are known.
    pub(super) fn note_undecided(&mut self, error_ns: u64) {
        self.seen += 1;
        self.undecided += 1;
        self.error_ns = self.error_ns.max(error_ns);
    }

    /// A value was seen. Where it breaks the rule it waits until an instant for something that is told later by another source, and
    /// may have come before: see [`Self::turn`].
    pub(super) fn note_unless_turned(
        &mut self,
        reading: Reading,
        at: Moment,
        until_ns: u64,
        what: impl FnOnce() -> String,
    ) {
        if self.limit().is_none_or(|limit| self.rule.relation().holds(reading.least, limit)) {
            return self.note(reading, at.at_ns, what);
        }
        self.held.push_back(Held { reading, at, until_ns, what: what() });
        if self.held.len() > MOST_HELD
            && let Some(oldest) = self.held.pop_front()
        {
            self.note_undecided(oldest.until_ns - oldest.at.at_ns);
        }
    }

    /// What waited until before now stands.
    pub(super) fn settle(&mut self, now_ns: u64) {
        while let Some(held) = self.held.pop_front_if(|held| held.until_ns < now_ns) {
            self.stands(held);
        }
    }

    /// Something is told that would turn what waits, had it come before: it is open whether it did, or what waits stands.
    pub(super) fn turn(&mut self, by: Moment) {
        for held in std::mem::take(&mut self.held) {
            match held.at.may_swap_with(by) {
                Some(error_ns) => self.note_undecided(error_ns),
                None => self.stands(held),
            }
        }
    }

    fn stands(&mut self, Held { reading, at, what, .. }: Held) {
        self.note(reading, at.at_ns, || what);
    }

    /// All was told.
    pub(super) fn finish(&mut self) {
        std::mem::take(&mut self.held).into_iter().for_each(|held| self.stands(held));
    }

    /// What waits lies where events were lost.
    pub(super) fn lose(&mut self) {
        std::mem::take(&mut self.held).iter().for_each(|_| self.note_gap());
    }

    /// Something was seen that cannot be judged, since a gap lies within it.
    pub(super) fn note_gap(&mut self) {
        self.in_gaps += 1;
    }

    /// Whether the limit is known.
    pub(super) fn has_limit(&self) -> bool {
        self.limit.is_ok()
    }

    /// The limit, where it is known.
    pub(super) fn limit(&self) -> Option<u64> {
        self.limit.as_ref().ok().copied()
    }

    /// The value on the wrong side most, of those that are off by the clocks' error what they surely are.
    pub(super) fn most(&self) -> Option<Most> {
        let Worst { surely, reading, at_ns } = self.worst?;
        Some(Most { value: reading.value, surely, at_ns, seen: self.seen })
    }

    pub(super) fn finding(&self, subject: String, nothing_seen: &str) -> Finding {
        let status = match &self.limit {
            _ if self.seen == 0 && self.in_gaps > 0 => {
                Status::NotAnalysed("all that was seen of it lies in gaps or at the recording's ends".to_owned())
            }
            _ if self.seen == 0 => Status::NotAnalysed(nothing_seen.to_owned()),
            Err(why) => Status::NotAnalysed(why.clone()),
            Ok(_) if self.first.is_some() => Status::Violated,
            Ok(_) if self.undecided > 0 => Status::NotShown(self.doubt()),
            Ok(_) => Status::Kept,
        };
        Finding {
            rule: self.rule,
            subject,
            status,
            seen: self.seen,
            in_gaps: self.in_gaps,
            broken: self.broken,
            undecided: self.undecided,
            worst: self.worst.map(|worst| worst.reading.value),
            worst_at_ns: self.worst.map(|worst| worst.at_ns),
            limit: self.limit.as_ref().ok().copied(),
            first: self.first.clone(),
        }
    }

    /// Why what was seen neither keeps nor breaks the rule.
    fn doubt(&self) -> String {
        let often = format!("{} of {} times the sources that tell of it leave it open", self.undecided, self.seen);
        match self.error_ns {
            u64::MAX => format!("{often}: how far off their clocks are is not known, which takes three common marks"),
            error_ns => format!("{often}, whose clocks are off each other by up to {error_ns} ns"),
        }
    }
}
