//! `[[protection]]`, and the `measures` of channels and regions.

use super::fields::Datum;
use super::section::{Key, Kind, Section};
use super::{Context, Document, Fields};
use crate::system::{ExchangeFault, FaultAnswer, Protection};
use diagnostic::Located;

pub(super) static SECTION: Section = Section {
    head: "[[protection]]",
    summary: "Measures against faults of exchange that several channels or regions have in common.",
    keys: &[
        Key::required("name", Kind::Name, "The name by which channels and regions take them."),
        Key::required("measures", Kind::Table(&MEASURES), MEASURES.summary),
    ],
};

static MEASURES: Section = Section {
    head: "measures = { … }",
    summary: "What stands against each kind of fault of an exchange.",
    keys: &[
        against(ExchangeFault::Repetition),
        against(ExchangeFault::Loss),
        against(ExchangeFault::Delay),
        against(ExchangeFault::Insertion),
        against(ExchangeFault::Masquerade),
        against(ExchangeFault::Sequence),
        against(ExchangeFault::Corruption),
        against(ExchangeFault::Asymmetry),
        against(ExchangeFault::Subset),
        against(ExchangeFault::Blocking),
    ],
};

static CANNOT: Section = Section {
    head: "{ cannot_occur = … }",
    summary: "Why a kind of fault cannot occur.",
    keys: &[Key::required("cannot_occur", Kind::Text, "The reason.")],
};

const fn against(fault: ExchangeFault) -> Key {
    Key::optional(fault.word(), ANSWER, fault.meaning())
}

const ANSWER: Kind = Kind::Either(&[Kind::Text, Kind::List(&Kind::Text), Kind::Table(&CANNOT)]);

const MEASURES_OR_NAME: Kind = Kind::Either(&[Kind::Ref("protection"), Kind::Table(&MEASURES)]);

/// The key of channels and regions.
pub(super) const KEY: Key = Key::optional(
    "measures",
    MEASURES_OR_NAME,
    "What stands against faults of the exchange, by kind; or the [[protection]] that says so.",
);

/// What a channel or region declares; reports a protection that nobody declares.
pub(super) fn read(fields: &Fields, doc: &Document, cx: &mut Context) -> Option<Located<Protection>> {
    let value = fields.value("measures")?;
    let (name, table) = match &value.value {
        Datum::Text(name) => {
            let name = Located::new(name.clone(), value.span);
            let index = doc.names.protections.resolve(&name, |index| index, cx)?.value;
            (Some(name.value), doc.root.tables("protection").nth(index)?.table("measures")?)
        }
        Datum::Table(table) => (None, table),
        _ => return None,
    };
    let answer = |fault: ExchangeFault| Some((fault, answer_to(table, fault)?));
    let answers = ExchangeFault::ALL.into_iter().filter_map(answer).collect();
    Some(Located::new(Protection { name, answers }, value.span))
}

/// What a table of measures says against a kind of fault.
pub(crate) fn answer_to(table: &Fields, fault: ExchangeFault) -> Option<Located<FaultAnswer>> {
    let key = fault.word();
    let value = table.value(key)?;
    let answer = match &value.value {
        Datum::Text(measure) => FaultAnswer::Measures(vec![measure.clone()]),
        Datum::List(_) => FaultAnswer::Measures(table.texts(key).into_iter().map(|measure| measure.value).collect()),
        Datum::Table(cannot) => FaultAnswer::CannotOccur(cannot.words("cannot_occur")?),
        _ => return None,
    };
    Some(Located::new(answer, value.span))
}
