//! The ends of channels: a task `PARTITION.task`, a partition or a device, by name.

use super::names::report_unknown;
use super::{Context, Document, Fields, Names};
use crate::system::PortEnd;
use diagnostic::codes::channel::AMBIGUOUS_NAME;
use diagnostic::{Diagnostic, Located};
use quantity::{DeviceId, PartitionId, TaskId};

/// The ends of a channel as far as they can be found. Nothing is reported here.
pub(crate) struct Ends {
    pub source: Option<Located<PortEnd>>,
    pub destinations: Vec<Located<PortEnd>>,
    /// Whether every end that is written was found.
    pub whole: bool,
}

/// The ends of a channel.
pub(crate) fn ends_of(channel: &Fields, doc: &Document) -> Ends {
    let source = channel.text("from").and_then(|name| find(&name, doc));
    let destinations: Vec<_> = channel.texts("to").iter().filter_map(|name| find(name, doc)).collect();
    let whole = source.is_some() && channel.has("to") && destinations.len() == channel.list("to").len();
    Ends { source, destinations, whole }
}

/// The end of that name.
pub(crate) fn find(name: &Located<String>, doc: &Document) -> Option<Located<PortEnd>> {
    let names = &doc.names;
    let task = || names.tasks.get(&name.value).map(|index| PortEnd::Task(TaskId::new(index)));
    let partition = || names.partitions.get(&name.value).map(|index| PortEnd::Partition(PartitionId::new(index)));
    let device = || names.devices.get(&name.value).map(|index| PortEnd::Device(DeviceId::new(index)));
    // The names of partitions and devices hold no dot, so a task is never taken for one.
    let end = task().or_else(partition).or_else(device)?;
    Some(Located::new(end, name.span))
}

/// The partition that an end belongs to; a device belongs to none.
pub(crate) fn partition_of(end: PortEnd, doc: &Document) -> Option<usize> {
    match end {
        PortEnd::Task(task) => doc.tasks.get(task.index()).map(|task| task.partition),
        PortEnd::Partition(partition) => Some(partition.index()),
        PortEnd::Device(_) => None,
    }
}

/// Reports a name that nothing has, and one that two things have.
pub(super) fn report(name: &Located<String>, doc: &Document, cx: &mut Context) {
    let names = &doc.names;
    if find(name, doc).is_none() {
        let kinds = [&names.tasks, &names.partitions, &names.devices];
        return report_unknown(name, "task, partition or device", &kinds, cx);
    }
    let place = |found: Option<usize>, names: &Names| found.and_then(|index| names.place(index));
    let partition = place(names.partitions.get(&name.value), &names.partitions);
    let device = place(names.devices.get(&name.value), &names.devices);
    if let (Some(partition), Some(device)) = (partition, device) {
        let message = format!("`{}` is both a partition and a device", name.value);
        let fault = Diagnostic::new(&AMBIGUOUS_NAME, name.span, message);
        let fault = fault.also(partition, "the partition").also(device, "the device");
        cx.report(fault.help("give one of them another name, or name a task of the partition"));
    }
}
