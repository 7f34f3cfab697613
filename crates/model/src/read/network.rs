//! `[network]`

use super::section::{COUNT, Key, Kind, Section};
use super::{Context, Document};
use crate::system::Network;
use quantity::{PartitionId, TaskId};

pub(super) static SECTION: Section = Section {
    head: "[network]",
    summary: "The network inside the board, where one partition forwards the others' messages.",
    keys: &[
        Key::required("forwarder", Kind::Ref("partition"), "The partition that forwards."),
        Key::optional("task", Kind::Ref("task"), "The task of it that does the work."),
        Key::optional("fixed", Kind::Time, "The cost of one frame for each receiver, fixed part."),
        Key::optional("per_byte_ps", COUNT, "The cost of each byte of it, in picoseconds."),
        Key::optional("depth", COUNT, "The frames that the queue of each direction holds.").above_zero(),
    ],
};

pub(super) fn read(doc: &Document, cx: &mut Context) -> Option<Network> {
    let fields = doc.root.table("network")?;
    let forwarder = fields.text("forwarder").and_then(|name| doc.names.partitions.resolve(&name, PartitionId::new, cx));
    let task = fields.text("task").and_then(|name| doc.names.tasks.resolve(&name, TaskId::new, cx));
    Some(Network {
        forwarder: forwarder?,
        task,
        fixed: fields.time("fixed"),
        per_byte_ps: fields.count("per_byte_ps"),
        depth: fields.count("depth"),
    })
}
