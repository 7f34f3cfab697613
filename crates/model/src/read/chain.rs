//! `[[chain]]`

use super::path::Paths;
use super::section::{Key, Kind, Section};
use super::{Context, Document, Fields};
use crate::system::{Chain, Need};

pub(super) static SECTION: Section = Section {
    head: "[[chain]]",
    summary: "A cause-effect chain and what it must keep.",
    keys: &[
        Key::required("name", Kind::Name, "The chain's name."),
        Key::optional("title", Kind::Text, "What it is for."),
        Key::required("path", Kind::List(&Kind::Text), "Its tasks in order, and channels between them where needed."),
        Key::optional("reaction", Kind::Time, "The longest time from a stimulus to the last output that it causes.")
            .above_zero(),
        Key::optional("data_age", Kind::Time, "The longest age of the data behind an output until the next one.")
            .above_zero(),
        Key::instead("latency", LATENCY),
        Key::optional("before", Kind::Time, "The time before the first task: a sensor's."),
        Key::optional("after", Kind::Time, "The time after the last task: an actuator's."),
    ],
};

const LATENCY: &str = "say which: `reaction` is the longest time from a stimulus to the last output that it causes (how \
    long until something happens?); `data_age` is how old the data behind an output may get before the next output \
    replaces it (how stale may it be?)";

pub(super) fn read(doc: &Document, cx: &mut Context) -> Vec<Option<Chain>> {
    let paths = Paths::new(doc);
    doc.root.tables("chain").map(|fields| chain(fields, &paths, cx)).collect()
}

fn chain(fields: &Fields, paths: &Paths<'_>, cx: &mut Context) -> Option<Chain> {
    let steps = paths.read(fields, cx);
    Some(Chain {
        name: fields.text("name")?,
        title: fields.words("title"),
        steps: steps?,
        need: need(fields)?,
        before: fields.time("before"),
        after: fields.time("after"),
    })
}

fn need(fields: &Fields) -> Option<Need> {
    let reaction = fields.time("reaction").map(Need::Reaction);
    reaction.or_else(|| fields.time("data_age").map(Need::DataAge))
}
