//! A message fits into the RAM of whoever writes or reads it.

use super::name;
use crate::read::{Context, Document, Fields, ends_of, partition_of};
use crate::system::PortEnd;
use diagnostic::codes::channel::MESSAGE_ABOVE_RAM;
use diagnostic::{Diagnostic, Located};

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let partitions: Vec<_> = doc.root.tables("partition").collect();
    for channel in doc.channels() {
        let ends = ends_of(channel, doc);
        let ends = ends.source.into_iter().chain(ends.destinations);
        let mut faults = ends.filter_map(|end| too_large(channel, end, partitions.get(partition_of(end.value, doc)?)?));
        faults.next().into_iter().for_each(|fault| cx.report(fault));
    }
}

fn too_large(channel: &Fields, end: Located<PortEnd>, partition: &Fields) -> Option<Diagnostic> {
    let (size, ram) = (channel.size("size")?, partition.size("ram")?);
    if size.value <= ram.value {
        return None;
    }
    let message = format!(
        "channel {}: a message of {} does not fit into the {} of RAM of partition {}",
        name(channel),
        size.value,
        ram.value,
        name(partition)
    );
    let fault =
        Diagnostic::new(&MESSAGE_ABOVE_RAM, size.span, message).also(ram.span, "the RAM").also(end.span, "the end");
    Some(fault.help("is the unit of `size` right? Otherwise give the partition more RAM"))
}
