//! `[[board.shared]]` and `[[board.setting]]`

use super::section::{Key, Kind, Section, words};
use super::{Context, Document, Fields};
use crate::system::{Checked, Closure, Setting, Shared, SharedKind};

pub(super) static SHARED: Section = Section {
    head: "[[board.shared]]",
    summary: "A resource of the board that several masters use, and what is known of the interference through it.",
    keys: &[
        Key::required("name", Kind::Name, "The resource's name; that of a cache, memory or device where it is one."),
        Key::required("kind", Kind::Word(KIND_WORDS), "What it is."),
        Key::optional(
            "arbiter",
            Kind::Text,
            "Who goes first where several ask at once; needed but for power and heat.",
        ),
        Key::optional("status", Kind::Word(CLOSURE_WORDS), "What is said of it; open where not given."),
        Key::optional("by", Kind::Text, "By what it is mitigated or bounded; needed where it is."),
        Key::optional("source", Kind::Text, "Where that can be read; needed where it is mitigated or bounded."),
        Key::optional("settings", Kind::List(&Kind::Ref("setting")), "The settings that this depends on."),
    ],
};

pub(super) static SETTING: Section = Section {
    head: "[[board.setting]]",
    summary: "A configuration setting of the board, such as a feature that is switched off.",
    keys: &[
        Key::required("name", Kind::Name, "The setting's name."),
        Key::required("value", Kind::Text, "What it is set to."),
        Key::optional("register", Kind::Text, "The register or fuse that holds it."),
        Key::optional("owner", Kind::Text, "Who sets it."),
        Key::optional(
            "critical",
            Kind::Flag,
            "Whether a change that nobody meant takes a result away; not where not given.",
        ),
        Key::optional("mitigation", Kind::Text, "What stands against such a change."),
        Key::optional("checked", Kind::Word(CHECKED_WORDS), "When somebody looks whether it is still so."),
    ],
};

const KINDS: [(&str, SharedKind); 10] = [
    ("cache", SharedKind::Cache),
    ("interconnect", SharedKind::Interconnect),
    ("memory controller", SharedKind::MemoryController),
    ("banks", SharedKind::Banks),
    ("device", SharedKind::Device),
    ("translation", SharedKind::Translation),
    ("interrupt controller", SharedKind::InterruptController),
    ("coherency", SharedKind::Coherency),
    ("power and heat", SharedKind::Power),
    ("other", SharedKind::Other),
];
const KIND_WORDS: &[&str] = &words(&KINDS);

const CLOSURES: [(&str, Closure); 3] =
    [("open", Closure::Open), ("mitigated", Closure::Mitigated), ("bounded", Closure::Bounded)];
const CLOSURE_WORDS: &[&str] = &words(&CLOSURES);

const CHECKED: [(&str, Checked); 2] = [("boot", Checked::Boot), ("periodic", Checked::Periodic)];
const CHECKED_WORDS: &[&str] = &words(&CHECKED);

/// What a declared resource is.
pub(crate) fn kind_of(fields: &Fields) -> Option<SharedKind> {
    fields.word("kind", &KINDS).map(|kind| kind.value)
}

/// What is said of a declared resource.
pub(crate) fn closure_of(fields: &Fields) -> Closure {
    fields.word("status", &CLOSURES).map_or(Closure::Open, |closure| closure.value)
}

pub(super) fn read(fields: &Fields, doc: &Document, cx: &mut Context) -> Option<Shared> {
    let settings = doc.names.settings.resolve_all(&fields.texts("settings"), |index| index, cx);
    Some(Shared {
        name: fields.text("name")?,
        kind: fields.word("kind", &KINDS)?,
        arbiter: fields.text("arbiter"),
        closure: closure_of(fields),
        by: fields.text("by"),
        source: fields.text("source"),
        settings,
    })
}

pub(super) fn setting(fields: &Fields) -> Option<Setting> {
    Some(Setting {
        name: fields.text("name")?,
        value: fields.text("value")?,
        register: fields.text("register"),
        owner: fields.text("owner"),
        critical: fields.flag("critical").is_some_and(|critical| critical.value),
        mitigation: fields.text("mitigation"),
        checked: fields.word("checked", &CHECKED),
    })
}
