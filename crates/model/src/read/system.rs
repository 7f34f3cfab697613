//! `[system]` and `[tables]`

use super::section::{Key, Kind, Section, words};
use super::{Context, Document};
use crate::system::DeadlinePhase;
use diagnostic::Located;
use quantity::Duration;

pub(super) static SECTION: Section = Section {
    head: "[system]",
    summary: "What the system is called, its frame, and what is asked of it as a whole.",
    keys: &[
        Key::required("name", Kind::Text, "The system's name."),
        Key::optional("description", Kind::Text, "What it is, in a sentence or two."),
        Key::required("frame", Kind::Time, "The major time frame, in which every window table repeats.").above_zero(),
        Key::optional("deadlines_hold_in", PHASE, "The phases of the frame in which deadlines must hold."),
        Key::optional("levels", Kind::List(&Kind::Name), "The scale of criticality levels, lowest first."),
        Key::optional("milestone", Kind::Text, "The review at which the growth rules are judged."),
        Key::optional("robust_partitioning", Kind::Flag, "Whether robust time and resource partitioning are claimed."),
        Key::optional("plan", Kind::Text, "The plan that is taken where none is named, from this file's folder."),
    ],
};

pub(super) static TABLES: Section = Section {
    head: "[tables]",
    summary: "CSV tables that belong to the system, as paths from this file's folder.",
    keys: &[
        Key::optional("tasks", Kind::List(&Kind::Text), "Tables of tasks, one task in a row."),
        Key::optional("channels", Kind::List(&Kind::Text), "Tables of channels, one channel in a row."),
    ],
};

const PHASES: [(&str, DeadlinePhase); 2] = [("any phase", DeadlinePhase::Any), ("frame phase", DeadlinePhase::Frame)];
const PHASE_WORDS: &[&str] = &words(&PHASES);
pub(super) const PHASE: Kind = Kind::Word(PHASE_WORDS);

/// What the section says.
#[derive(Debug)]
pub(crate) struct Head {
    pub name: Located<String>,
    pub description: Option<String>,
    pub plan: Option<Located<String>>,
    pub frame: Located<Duration>,
    pub deadline_phase: DeadlinePhase,
    pub levels: Vec<Located<String>>,
    pub milestone: Option<Located<String>>,
    pub robust_partitioning: Option<Located<bool>>,
}

pub(super) fn read(doc: &Document, _cx: &mut Context) -> Option<Head> {
    let fields = doc.root.table("system")?;
    Some(Head {
        name: fields.text("name")?,
        description: fields.words("description"),
        plan: fields.text("plan"),
        frame: fields.time("frame")?,
        deadline_phase: phase(fields, "deadlines_hold_in").unwrap_or(DeadlinePhase::Any),
        levels: fields.texts("levels"),
        milestone: fields.text("milestone"),
        robust_partitioning: fields.flag("robust_partitioning"),
    })
}

/// The phase that a key names.
pub(crate) fn phase(fields: &super::Fields, key: &str) -> Option<DeadlinePhase> {
    fields.word(key, &PHASES).map(|phase| phase.value)
}
