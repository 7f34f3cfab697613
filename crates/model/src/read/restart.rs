//! `[partition.restart]`

use super::section::{Key, Kind, Section};
use super::{Context, Document, Fields};
use crate::system::Restart;
use quantity::TaskId;

pub(super) static SECTION: Section = Section {
    head: "[partition.restart]",
    summary: "What a restart of the partition takes and how long an outage may be.",
    keys: &[
        Key::optional("cold_init", Kind::Time, "Execution time of the initialisation after a cold start."),
        Key::optional("warm_init", Kind::Time, "Execution time of the initialisation after a warm start."),
        Key::optional("detection", Kind::Time, "The longest time until a fault is noticed."),
        Key::optional("action", Kind::Time, "The time that the action itself takes."),
        Key::optional("warm_need", Kind::Time, "The longest outage allowed after a warm start."),
        Key::optional("cold_need", Kind::Time, "The longest outage allowed after a cold start."),
        Key::optional("ends_with", Kind::Ref("task"), "The task whose first output ends the outage."),
        Key::optional("keeps", Kind::Text, "What a warm start keeps, in words."),
    ],
};

pub(super) fn read(fields: &Fields, doc: &Document, cx: &mut Context) -> Restart {
    Restart {
        cold_init: fields.time("cold_init"),
        warm_init: fields.time("warm_init"),
        detection: fields.time("detection"),
        action: fields.time("action"),
        warm_need: fields.time("warm_need"),
        cold_need: fields.time("cold_need"),
        ends_with: fields.text("ends_with").and_then(|name| doc.names.tasks.resolve(&name, TaskId::new, cx)),
        keeps: fields.words("keeps"),
    }
}
