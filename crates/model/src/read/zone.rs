//! `[[zone]]`

use super::section::{Key, Kind, Section};
use super::{Context, Document};
use crate::system::Zone;

pub(super) static SECTION: Section = Section {
    head: "[[zone]]",
    summary: "A group of partitions of like security need.",
    keys: &[
        Key::required("name", Kind::Name, "The zone's name."),
        Key::optional("target", Kind::Text, "The security level asked for, in your own words."),
    ],
};

pub(super) fn read(doc: &Document, _cx: &mut Context) -> Vec<Option<Zone>> {
    let zones = doc.root.tables("zone");
    zones.map(|zone| Some(Zone { name: zone.text("name")?, target: zone.words("target") })).collect()
}
