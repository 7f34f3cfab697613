//! `[[core_set]]`

use super::section::{COUNT, Key, Kind, Section, words};
use super::{Context, Document, Fields, assumed};
use crate::system::{CorePolicy, CoreSet};
use diagnostic::Located;
use quantity::CoreId;

pub(super) static SECTION: Section = Section {
    head: "[[core_set]]",
    summary: "Cores that are scheduled together; where none is given, all cores are one set \"all\" with a window table.",
    keys: &[
        Key::required("name", Kind::Name, "The set's name."),
        Key::required("cores", Kind::List(&Kind::Ref("core")), "Its cores."),
        Key::required("policy", Kind::Word(POLICY_WORDS), "How its cores are scheduled."),
        Key::optional("synchronised", Kind::Flag, "Whether its frame begins with the others'; as the platform says."),
        Key::optional("drift_ppm", COUNT, "The drift of its clock, in parts per million."),
        Key::optional("quantum", Kind::Time, "The turn of a proportional share.").above_zero(),
    ],
};

/// The policies by name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Policy {
    WindowTable,
    BudgetServer,
    ProportionalShare,
    Dedicated,
}

const POLICIES: [(&str, Policy); 4] = [
    ("window table", Policy::WindowTable),
    ("budget server", Policy::BudgetServer),
    ("proportional share", Policy::ProportionalShare),
    ("dedicated", Policy::Dedicated),
];
const POLICY_WORDS: &[&str] = &words(&POLICIES);

/// The policy that a core set names.
pub(crate) fn policy_of(fields: &Fields) -> Option<Located<Policy>> {
    fields.word("policy", &POLICIES)
}

/// The declared sets, or the one set of all active cores.
pub(super) fn read(doc: &Document, cx: &mut Context) -> Vec<Option<CoreSet>> {
    let synchronised = doc.root.table("platform").and_then(|platform| platform.flag("synchronised"));
    let synchronised = synchronised.is_some_and(|flag| flag.value);
    if !doc.root.has("core_set") {
        return vec![all(doc, synchronised)];
    }
    doc.root.tables("core_set").map(|fields| core_set(fields, doc, synchronised, cx)).collect()
}

fn all(doc: &Document, synchronised: bool) -> Option<CoreSet> {
    let board = doc.root.table("board")?;
    let active = |core: &Fields| core.flag("active").is_none_or(|flag| flag.value);
    let cores = board.tables("core").enumerate().filter(|(_, core)| active(core));
    Some(CoreSet {
        name: assumed("all".to_owned(), board.span),
        cores: cores.map(|(index, _)| CoreId::new(index)).collect(),
        policy: CorePolicy::WindowTable { synchronised, drift_ppm: None },
    })
}

fn core_set(fields: &Fields, doc: &Document, synchronised: bool, cx: &mut Context) -> Option<CoreSet> {
    let cores = doc.names.cores.resolve_all(&fields.texts("cores"), CoreId::new, cx);
    let policy = match policy_of(fields)?.value {
        Policy::WindowTable => CorePolicy::WindowTable {
            synchronised: fields.flag("synchronised").map_or(synchronised, |flag| flag.value),
            drift_ppm: fields.count("drift_ppm").map(|drift| drift.value),
        },
        Policy::BudgetServer => CorePolicy::BudgetServer,
        Policy::ProportionalShare => CorePolicy::ProportionalShare { quantum: fields.time("quantum")?.value },
        Policy::Dedicated => CorePolicy::Dedicated,
    };
    Some(CoreSet { name: fields.text("name")?, cores: cores.into_iter().map(|core| core.value).collect(), policy })
}
