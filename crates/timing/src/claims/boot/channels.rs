//! What reaches nobody, or is missed by its readers, since partitions are operational at different times.

use super::ready::{Readiness, Ready};
use crate::claims::scope::Scope;
use model::System;
use model::system::{Channel, ChannelKind, PortEnd};
use quantity::{Duration, PartitionId};
use std::collections::BTreeSet;

/// What `partition` brings about by being later than others: told with the later end of each channel.
pub(super) fn notes(scope: &Scope<'_>, readiness: &Readiness, partition: PartitionId, ready: &Ready) -> Vec<String> {
    let earlier = |other: PartitionId| {
        let other = readiness.of_partition(other).as_ref().ok()?;
        ready.at_ns.checked_sub(other.at_ns).filter(|&ahead_ns| ahead_ns > 0)
    };
    let note = |channel: &Channel| {
        let writer = scope.system.partition_of(channel.source.value)?;
        let readers: BTreeSet<_> =
            channel.destinations.iter().filter_map(|end| scope.system.partition_of(end.value)).collect();
        match &channel.kind {
            ChannelKind::Sampling { .. } if writer == partition => {
                let ahead = readers.into_iter().filter_map(earlier).max()?;
                let ahead = Duration::from_ns(ahead);
                Some(format!("`{}` has readers {ahead} before its writer is up", channel.name.value))
            }
            ChannelKind::Queuing { depth, .. } if readers.contains(&partition) => {
                overflow(scope.system, channel, depth.value, earlier(writer)?)
            }
            _ => None,
        }
    };
    scope.system.channels.iter().filter_map(note).collect()
}

/// The messages that come before the reader is there: one batch at the writer's start and one each period.
fn overflow(system: &System, channel: &Channel, depth: u64, ahead_ns: u64) -> Option<String> {
    let ChannelKind::Queuing { min_interarrival, batch, burst, .. } = &channel.kind else { return None };
    let own = match channel.source.value {
        PortEnd::Task(task) => Some(system.task(task).period),
        PortEnd::Partition(_) | PortEnd::Device(_) => None,
    };
    let every_ns = min_interarrival.or(own)?.value.ns();
    let batches = ahead_ns.checked_add(every_ns.checked_sub(1)?)?.checked_div(every_ns)?;
    let messages = batches.saturating_mul(batch.value).saturating_add(burst.map_or(0, |burst| burst.value));
    let lost = messages.checked_sub(depth).filter(|&lost| lost > 0)?;
    let (name, ahead) = (&channel.name.value, Duration::from_ns(ahead_ns));
    Some(format!(
        "`{name}` has its writer {ahead} before its reader: {messages} messages come, {depth} fit, {lost} are lost"
    ))
}
