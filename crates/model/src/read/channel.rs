//! `[[channel]]`, and the rows of a table of channels.

use super::section::{COUNT, Key, Kind, Section};
use super::{Context, Document};
use crate::system::Channel;

pub(super) static SECTION: Section = Section {
    head: "[[channel]]",
    summary: "A channel between partitions.",
    keys: &[
        Key::required("name", Kind::Name, "The channel's name."),
        Key::optional("title", Kind::Text, "What it carries."),
        Key::required("kind", Kind::Word(&["sampling", "queuing"]), "The kind of its ports."),
        Key::required("size", Kind::Size, "The largest message."),
        Key::required("from", Kind::Ref("task, partition or device"), "Who writes."),
        Key::required("to", Kind::List(&Kind::Ref("task, partition or device")), "Who reads."),
        Key::optional("refresh", Kind::Time, "The longest age at which a sampled message is valid."),
        Key::optional("depth", COUNT, "The messages that a queue holds."),
        Key::optional("min_interarrival", Kind::Time, "The least time between two batches."),
        Key::optional("batch", COUNT, "The messages sent at once; 1 where not given."),
        Key::optional("checks", Kind::Text, "What every consumer checks, where the data come from a lower level."),
    ],
};

pub(super) fn read(_doc: &Document, _cx: &mut Context) -> Vec<Option<Channel>> {
    Vec::new()
}
