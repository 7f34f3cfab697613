//! What a rule was seen to do, counted, and the finding that comes of it.

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
            Self::Violated => "violated",
            Self::NotAnalysed(_) => "not analysed",
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
    /// The value nearest to the wrong side, or farthest on it.
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
    worst: Option<(u64, u64)>,
    first: Option<CounterExample>,
}

impl Tally {
    pub(super) fn new(rule: Rule, limit: Limit) -> Self {
        Self { rule, limit, seen: 0, in_gaps: 0, broken: 0, worst: None, first: None }
    }

    /// A value was seen; `what` says what happened, where that breaks the rule.
    pub(super) fn note(&mut self, value: u64, at_ns: u64, what: impl FnOnce() -> String) {
        self.seen += 1;
        let relation = self.rule.relation();
        if self.worst.is_none_or(|(worst, _)| relation.is_worse(value, worst)) {
            self.worst = Some((value, at_ns));
        }
        if self.limit.as_ref().is_ok_and(|limit| !relation.holds(value, *limit)) {
            self.broken += 1;
            self.first.get_or_insert_with(|| CounterExample { at_ns, value, what: what() });
        }
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

    /// How often it could be judged.
    pub(super) fn seen(&self) -> u64 {
        self.seen
    }

    /// The value on the wrong side most, and when.
    pub(super) fn worst(&self) -> Option<(u64, u64)> {
        self.worst
    }

    pub(super) fn finding(&self, subject: String, nothing_seen: &str) -> Finding {
        let status = match &self.limit {
            _ if self.seen == 0 && self.in_gaps > 0 => {
                Status::NotAnalysed("all that was seen of it lies in gaps or at the recording's ends".to_owned())
            }
            _ if self.seen == 0 => Status::NotAnalysed(nothing_seen.to_owned()),
            Err(why) => Status::NotAnalysed(why.clone()),
            Ok(_) if self.first.is_some() => Status::Violated,
            Ok(_) => Status::Kept,
        };
        Finding {
            rule: self.rule,
            subject,
            status,
            seen: self.seen,
            in_gaps: self.in_gaps,
            broken: self.broken,
            worst: self.worst.map(|(value, _)| value),
            worst_at_ns: self.worst.map(|(_, at_ns)| at_ns),
            limit: self.limit.as_ref().ok().copied(),
            first: self.first.clone(),
        }
    }
}
