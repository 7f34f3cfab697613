//! What others see while a partition is out: messages that age, queues that fill and lose, queues that run dry.

use super::Outage;
use super::output::FirstOutput;
use crate::claims::results::Results;
use crate::claims::scope::Scope;
use crate::claims::{ports, queues};
use model::system::{Channel, ChannelKind, PortEnd};
use quantity::{ChannelId, Duration, PartitionId};

/// The consequences, channel by channel in file order, and last the queues that run dry.
pub(super) fn notes(scope: &Scope<'_>, results: &Results, partition: PartitionId, outage: &Outage) -> Vec<String> {
    let of_partition = |end: PortEnd| match end {
        PortEnd::Task(task) => scope.system.task(task).partition == partition,
        PortEnd::Partition(named) => named == partition,
        PortEnd::Device(_) => false,
    };
    let mut notes = Vec::new();
    let mut dry = Vec::new();
    for (index, channel) in scope.system.channels.iter().enumerate() {
        let writes = of_partition(channel.source.value);
        let reader = channel.destinations.iter().position(|end| of_partition(end.value));
        match &channel.kind {
            ChannelKind::Sampling { refresh: Some(refresh) } if writes => {
                notes.extend(stale(scope, results, channel, refresh.value, outage));
            }
            ChannelKind::Queuing { .. } if writes => dry.push(format!("`{}`", channel.name.value)),
            ChannelKind::Queuing { .. } => {
                let id = ChannelId::new(index);
                notes.extend(reader.and_then(|reader| overflow(scope, results, id, reader, outage)));
            }
            ChannelKind::Sampling { .. } => {}
        }
    }
    if !dry.is_empty() {
        notes.push(format!("what reads {} finds nothing", dry.join(", ")));
    }
    notes
}

/// The last write came as long before the fault as two writes may be apart.
fn stale(
    scope: &Scope<'_>,
    results: &Results,
    channel: &Channel,
    refresh: Duration,
    outage: &Outage,
) -> Option<String> {
    let name = &channel.name.value;
    let PortEnd::Task(writer) = channel.source.value else { return None };
    match FirstOutput::of(scope, results, writer) {
        Err(_) if !scope.runs(writer) => None,
        Err(why) => Some(format!("`{name}` is stale for a time that is not known: {why}")),
        Ok(output) => {
            let age_ns = output.gap_ns().saturating_add(outage.until_up_ns()).saturating_add(output.latest_ns());
            let stale_ns = age_ns.checked_sub(refresh.ns()).filter(|&ns| ns > 0)?;
            Some(format!("`{name}` is stale for up to {}", Duration::from_ns(stale_ns)))
        }
    }
}

/// The queue is emptied when the action begins, and read next by the first job of its reader.
fn overflow(
    scope: &Scope<'_>,
    results: &Results,
    id: ChannelId,
    destination: usize,
    outage: &Outage,
) -> Option<String> {
    let channel = scope.system.channel(id);
    let ChannelKind::Queuing { depth, .. } = &channel.kind else { return None };
    let name = &channel.name.value;
    let unknown = |why: String| Some(format!("how much `{name}` loses is not known: {why}"));
    if !ports::runs(scope, channel.source.value) {
        return None;
    }
    let arrivals = match queues::arrivals(scope, results, id, destination) {
        Ok((arrivals, ..)) => arrivals,
        Err(open) => return unknown(open.reason),
    };
    let reader = channel.destinations[destination].value;
    let PortEnd::Task(reader) = reader else { return unknown("no task is named that reads it".to_owned()) };
    let unread_ns = match FirstOutput::of(scope, results, reader) {
        Err(_) if !scope.runs(reader) => return None,
        Err(why) => return unknown(why),
        Ok(read) => outage.action_ns.saturating_add(outage.span_ns).saturating_add(read.latest_read_ns()),
    };
    let messages = arrivals.within(unread_ns);
    let lost = messages.checked_sub(depth.value).filter(|&lost| lost > 0)?;
    let first = Duration::from_ns(arrivals.soonest_ns(depth.value.saturating_add(1))?);
    let when = if first.is_zero() { "at once".to_owned() } else { format!("{first} after the action at the earliest") };
    Some(format!("`{name}` loses up to {lost} of {messages} messages, the first {when}"))
}
