//! What others see while a partition is out: messages that age, queues that fill and lose, queues that run dry.

use super::Outage;
use super::output::FirstOutput;
use crate::claims::results::Results;
use crate::claims::scope::Scope;
use model::system::{Channel, ChannelKind, PortEnd};
use quantity::{Duration, PartitionId};

/// The consequences, channel by channel in file order, and last the queues that run dry.
pub(super) fn notes(scope: &Scope<'_>, results: &Results, partition: PartitionId, outage: &Outage) -> Vec<String> {
    let of_partition = |end: PortEnd| match end {
        PortEnd::Task(task) => scope.system.task(task).partition == partition,
        PortEnd::Partition(named) => named == partition,
        PortEnd::Device(_) => false,
    };
    let mut notes = Vec::new();
    let mut dry = Vec::new();
    for channel in &scope.system.channels {
        let writes = of_partition(channel.source.value);
        let mut readers = channel.destinations.iter().map(|end| end.value).filter(|&end| of_partition(end));
        match &channel.kind {
            ChannelKind::Sampling { refresh: Some(refresh) } if writes => {
                notes.extend(stale(scope, results, channel, refresh.value, outage));
            }
            ChannelKind::Queuing { .. } if writes => dry.push(format!("`{}`", channel.name.value)),
            ChannelKind::Queuing { .. } => {
                notes.extend(readers.next().and_then(|reader| overflow(scope, results, channel, reader, outage)));
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
    channel: &Channel,
    reader: PortEnd,
    outage: &Outage,
) -> Option<String> {
    let ChannelKind::Queuing { depth, batch, .. } = &channel.kind else { return None };
    let name = &channel.name.value;
    let unknown = |why: String| Some(format!("how much `{name}` loses is not known: {why}"));
    let arrivals = match Arrivals::of(scope, results, channel) {
        Ok(arrivals) => arrivals?,
        Err(why) => return unknown(why),
    };
    let PortEnd::Task(reader) = reader else { return unknown("no task is named that reads it".to_owned()) };
    let unread_ns = match FirstOutput::of(scope, results, reader) {
        Err(_) if !scope.runs(reader) => return None,
        Err(why) => return unknown(why),
        Ok(read) => outage.action_ns.saturating_add(outage.span_ns).saturating_add(read.latest_read_ns()),
    };
    let messages = arrivals.batches_within(unread_ns).saturating_mul(batch.value);
    let lost = messages.checked_sub(depth.value).filter(|&lost| lost > 0)?;
    let first = Duration::from_ns(arrivals.earliest_ns(depth.value / batch.value.max(1)));
    let when = if first.is_zero() { "at once".to_owned() } else { format!("{first} after the action at the earliest") };
    Some(format!("`{name}` loses up to {lost} of {messages} messages, the first {when}"))
}

/// How often a channel is written.
struct Arrivals {
    every_ns: u64,
    /// How much closer two batches may come than that.
    spread_ns: u64,
}

impl Arrivals {
    /// None where the writer does not run here.
    fn of(scope: &Scope<'_>, results: &Results, channel: &Channel) -> Result<Option<Self>, String> {
        let ChannelKind::Queuing { min_interarrival, .. } = &channel.kind else { return Ok(None) };
        let declared_ns = min_interarrival.map(|time| time.value.ns());
        match channel.source.value {
            PortEnd::Task(writer) if !scope.runs(writer) => Ok(None),
            PortEnd::Task(writer) => {
                let times = results.task(scope, writer)?;
                let every_ns = declared_ns.unwrap_or(times.period_ns);
                Ok(Some(Self { every_ns, spread_ns: times.response_ns.saturating_sub(times.shortest_ns) }))
            }
            PortEnd::Partition(_) | PortEnd::Device(_) => {
                let every_ns = declared_ns.ok_or("`min_interarrival` is not given")?;
                Ok(Some(Self { every_ns, spread_ns: 0 }))
            }
        }
    }

    /// The most batches in a span.
    fn batches_within(&self, span_ns: u64) -> u64 {
        span_ns.saturating_add(self.spread_ns).div_ceil(self.every_ns.max(1))
    }

    /// The earliest that batch `k`, from 0, can come.
    fn earliest_ns(&self, k: u64) -> u64 {
        k.saturating_mul(self.every_ns).saturating_sub(self.spread_ns)
    }
}
