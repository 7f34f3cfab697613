//! `[[accepted]]`

use super::section::{Key, Kind, Section};
use super::{Context, Document};
use crate::system::Accepted;

pub(super) static SECTION: Section = Section {
    head: "[[accepted]]",
    summary: "A claim that is known not to hold and is accepted for a while.",
    keys: &[
        Key::required("claim", Kind::Text, "The claim's id, such as \"response/NAV.fuse\"."),
        Key::required("reason", Kind::Text, "Why it is accepted."),
        Key::required("owner", Kind::Text, "Who answers for it."),
        Key::required("until", Kind::Date, "The last day on which it is accepted."),
    ],
};

pub(super) fn read(doc: &Document, _cx: &mut Context) -> Vec<Accepted> {
    let accepted = doc.root.tables("accepted");
    let accepted = accepted.filter_map(|fields| {
        Some(Accepted {
            claim: fields.text("claim")?,
            reason: fields.text("reason")?,
            owner: fields.text("owner")?,
            until: fields.date("until")?,
        })
    });
    accepted.collect()
}
