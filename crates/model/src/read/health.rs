//! `[health]`

use super::section::{COUNT, Key, Kind, Section, words};
use super::{Context, Document, Fields};
use crate::system::{Escalation, Health, HealthAction, HealthEntry, HealthError, HealthLevel};
use diagnostic::Located;
use quantity::PartitionId;

pub(super) static SECTION: Section = Section {
    head: "[health]",
    summary: "The health-monitor table.",
    keys: &[
        Key::optional("entry", Kind::Tables(&ENTRY), ENTRY.summary),
        Key::optional("escalation", Kind::Tables(&ESCALATION), ESCALATION.summary),
    ],
};

static ENTRY: Section = Section {
    head: "[[health.entry]]",
    summary: "What is done about an error, and at which level.",
    keys: &[
        Key::required("error", Kind::Word(ERROR_WORDS), "The error."),
        Key::required("level", Kind::Word(LEVEL_WORDS), "The level at which it is handled."),
        Key::required("action", Kind::Word(ACTION_WORDS), "What is done."),
        Key::optional(
            "partitions",
            PARTITIONS,
            "The partitions it is for; where not given all that no other entry names.",
        ),
    ],
};

static ESCALATION: Section = Section {
    head: "[[health.escalation]]",
    summary: "What an error or action leads to that comes too often.",
    keys: &[
        Key::required("from", Kind::Word(&COUNTED), "The error or action that is counted."),
        Key::required("count", COUNT, "How many.").above_zero(),
        Key::required("window", Kind::Time, "Within which time.").above_zero(),
        Key::required("to", Kind::Word(ACTION_WORDS), "What is then done."),
        Key::optional("partitions", PARTITIONS, "The partitions it is for; all where not given."),
        Key::optional("safe_within", Kind::Time, "The longest time allowed to the safe state.").above_zero(),
    ],
};

const PARTITIONS: Kind = Kind::List(&Kind::Ref("partition"));

const ERRORS: [(&str, HealthError); 8] = [
    ("deadline missed", HealthError::DeadlineMissed),
    ("application error", HealthError::ApplicationError),
    ("numeric error", HealthError::NumericError),
    ("illegal request", HealthError::IllegalRequest),
    ("stack overflow", HealthError::StackOverflow),
    ("memory violation", HealthError::MemoryViolation),
    ("hardware fault", HealthError::HardwareFault),
    ("power fail", HealthError::PowerFail),
];
const ERROR_WORDS: &[&str] = &words(&ERRORS);

const LEVELS: [(&str, HealthLevel); 3] =
    [("process", HealthLevel::Process), ("partition", HealthLevel::Partition), ("module", HealthLevel::Module)];
const LEVEL_WORDS: &[&str] = &words(&LEVELS);

const ACTIONS: [(&str, HealthAction); 8] = [
    ("ignore", HealthAction::Ignore),
    ("handler", HealthAction::Handler),
    ("restart process", HealthAction::RestartProcess),
    ("warm start", HealthAction::WarmStart),
    ("cold start", HealthAction::ColdStart),
    ("stop", HealthAction::Stop),
    ("module reset", HealthAction::ModuleReset),
    ("module shutdown", HealthAction::ModuleShutdown),
];
const ACTION_WORDS: &[&str] = &words(&ACTIONS);

/// What can be counted: every error and every action.
static COUNTED: [&str; ERRORS.len() + ACTIONS.len()] = {
    let mut counted = [""; ERRORS.len() + ACTIONS.len()];
    let mut index = 0;
    while index < counted.len() {
        counted[index] = if index < ERRORS.len() { ERRORS[index].0 } else { ACTIONS[index - ERRORS.len()].0 };
        index += 1;
    }
    counted
};

/// The level of an entry.
pub(crate) fn level_of(entry: &Fields) -> Option<Located<HealthLevel>> {
    entry.word("level", &LEVELS)
}

/// The action that a key names.
pub(crate) fn action_of(fields: &Fields, key: &str) -> Option<Located<HealthAction>> {
    fields.word(key, &ACTIONS)
}

/// An action in the words of the table.
pub(crate) fn action_word(action: HealthAction) -> &'static str {
    ACTIONS.iter().find(|(_, named)| *named == action).map_or("", |(word, _)| word)
}

impl HealthAction {
    /// The action in the words of the table.
    pub fn word(self) -> &'static str {
        action_word(self)
    }

    /// The action of that word.
    pub fn of_word(word: &str) -> Option<Self> {
        ACTIONS.iter().find(|(named, _)| *named == word).map(|(_, action)| *action)
    }
}

impl HealthError {
    /// Every error of the catalogue.
    pub const ALL: [Self; ERRORS.len()] = {
        let mut all = [Self::DeadlineMissed; ERRORS.len()];
        let mut index = 0;
        while index < all.len() {
            all[index] = ERRORS[index].1;
            index += 1;
        }
        all
    };

    /// The error in the words of the table.
    pub fn word(self) -> &'static str {
        ERRORS.iter().find(|(_, named)| *named == self).map_or("", |(word, _)| word)
    }
}

pub(super) fn read(doc: &Document, cx: &mut Context) -> Option<Health> {
    let fields = doc.root.table("health")?;
    let partitions = |fields: &Fields, cx: &mut _| {
        doc.names.partitions.resolve_all(&fields.texts("partitions"), PartitionId::new, cx)
    };
    let entries = fields.tables("entry").filter_map(|fields| entry(fields, partitions(fields, cx))).collect();
    let escalations = fields.tables("escalation").filter_map(|fields| escalation(fields, partitions(fields, cx)));
    Some(Health { entries, escalations: escalations.collect() })
}

fn entry(fields: &Fields, partitions: Vec<Located<PartitionId>>) -> Option<HealthEntry> {
    Some(HealthEntry {
        error: fields.word("error", &ERRORS)?,
        level: level_of(fields)?,
        action: action_of(fields, "action")?,
        partitions,
    })
}

fn escalation(fields: &Fields, partitions: Vec<Located<PartitionId>>) -> Option<Escalation> {
    Some(Escalation {
        from: fields.text("from")?,
        count: fields.count("count")?,
        window: fields.time("window")?,
        to: action_of(fields, "to")?,
        partitions,
        safe_within: fields.time("safe_within"),
    })
}
