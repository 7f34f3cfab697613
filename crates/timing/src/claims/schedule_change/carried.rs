//! What channels carry over a change: queues that nobody reads any more, messages that nobody writes any more.

use super::Change;
use crate::claims::initialisation::Start;
use crate::claims::ports;
use crate::claims::scope::Scope;
use model::system::{Channel, ChannelKind, PortEnd};
use quantity::{Duration, PartitionId};

/// In file order.
pub(super) fn notes(change: &Change<'_>) -> Vec<String> {
    change.from.0.system.channels.iter().filter_map(|channel| note(change, channel)).collect()
}

fn note(change: &Change<'_>, channel: &Channel) -> Option<String> {
    let (from, to) = (&change.from.0, &change.to.0);
    let name = &channel.name.value;
    let written = ports::runs(to, channel.source.value);
    let reads = |scope: &Scope<'_>| channel.destinations.iter().any(|end| ports::runs(scope, end.value));
    match &channel.kind {
        ChannelKind::Queuing { depth, .. } if written && !reads(to) => {
            let after = full_after(to, channel, depth.value)?;
            Some(format!("`{name}` has no reader in `{}`, is full after at most {after} and then loses", to.name()))
        }
        ChannelKind::Queuing { depth, .. } if written && ports::runs(from, channel.source.value) && reads(from) => {
            let mut readers = channel.destinations.iter().filter_map(|end| to.system.partition_of(end.value));
            let emptied = readers.any(|reader| !from.is_idle(reader) && starts(to, reader));
            emptied.then(|| format!("`{name}` is emptied of up to {} messages", depth.value))
        }
        ChannelKind::Sampling { .. } if !written && ports::runs(from, channel.source.value) && reads(to) => {
            Some(format!("`{name}` is written no more in `{}`", to.name()))
        }
        _ => None,
    }
}

/// Until an empty queue is full, where its writer has a period.
fn full_after(scope: &Scope<'_>, channel: &Channel, depth: u64) -> Option<Duration> {
    let ChannelKind::Queuing { min_interarrival, batch, .. } = &channel.kind else { return None };
    let own = match channel.source.value {
        PortEnd::Task(task) => Some(scope.system.task(task).period),
        PortEnd::Partition(_) | PortEnd::Device(_) => None,
    };
    let every_ns = own.or(*min_interarrival)?.value.ns();
    let batches = depth.div_ceil(batch.value.max(1)).saturating_add(1);
    Some(Duration::from_ns(batches.saturating_mul(every_ns)))
}

fn starts(scope: &Scope<'_>, partition: PartitionId) -> bool {
    let action = scope.system.partition(partition).schedule_change;
    action.is_some_and(|action| Start::of_change(action.value).is_some())
}
