//! What others see while a partition is out: messages that age, queues that fill and lose, queues that run dry.

use super::Outage;
use super::output::FirstOutput;
use crate::claims::results::Results;
use crate::claims::scope::Scope;
use crate::claims::{network, ports, queues};
use model::system::{ChannelKind, PortEnd};
use quantity::{ChannelId, Duration, PartitionId};

/// The consequences, channel by channel in file order, and last the queues that run dry.
pub(super) fn notes(scope: &Scope<'_>, results: &Results, partition: PartitionId, outage: &Outage) -> Vec<String> {
    let outside = Outside { scope, results, outage };
    let mut notes = Vec::new();
    let mut dry = Vec::new();
    for id in (0..scope.system.channels.len()).map(ChannelId::new) {
        let channel = scope.system.channel(id);
        let writes = of_partition(scope, channel.source.value, partition);
        match &channel.kind {
            _ if !ports::is_used(scope, channel) => {}
            ChannelKind::Sampling { refresh: Some(refresh) } if writes => {
                notes.extend(outside.stale(id, refresh.value));
            }
            ChannelKind::Queuing { .. } if writes => dry.push(format!("`{}`", channel.name.value)),
            ChannelKind::Queuing { depth, .. } => notes.extend(outside.overflow(id, depth.value, partition)),
            ChannelKind::Sampling { .. } => {}
        }
    }
    if !dry.is_empty() {
        notes.push(format!("what reads {} finds nothing", dry.join(", ")));
    }
    notes
}

/// Devices go on while their owner is out.
fn of_partition(scope: &Scope<'_>, end: PortEnd, partition: PartitionId) -> bool {
    !matches!(end, PortEnd::Device(_)) && scope.system.partition_of(end) == Some(partition)
}

/// The system around a partition that is out.
struct Outside<'a> {
    scope: &'a Scope<'a>,
    results: &'a Results,
    outage: &'a Outage,
}

impl Outside<'_> {
    fn stale(&self, id: ChannelId, refresh: Duration) -> Option<String> {
        let name = &self.scope.system.channel(id).name.value;
        match self.age_ns(id) {
            Err(why) => Some(format!("`{name}` is stale for a time that is not known: {why}")),
            Ok(age_ns) => {
                let stale_ns = age_ns.checked_sub(refresh.ns()).filter(|&ns| ns > 0)?;
                Some(format!("`{name}` is stale for up to {}", Duration::from_ns(stale_ns)))
            }
        }
    }

    /// The greatest age before the first write after the outage is there. The last write came as long before the fault as
    /// two writes may be apart.
    fn age_ns(&self, id: ChannelId) -> Result<u64, String> {
        let channel = self.scope.system.channel(id);
        let output =
            FirstOutput::of(self.scope, self.results, ports::task_at(self.scope, channel.source.value, "writes")?)?;
        let parts = [output.gap_ns(), self.outage.until_up_ns(), output.latest_ns(), self.forwarding_ns(id)?];
        Ok(parts.into_iter().fold(0, u64::saturating_add))
    }

    /// The longest way through the internal network to any reader.
    fn forwarding_ns(&self, id: ChannelId) -> Result<u64, String> {
        let channel = self.scope.system.channel(id);
        if !channel.forwarded {
            return Ok(0);
        }
        let readers = channel.destinations.iter().enumerate().filter(|(_, end)| ports::runs(self.scope, end.value));
        let delays = readers.map(|(index, _)| network::through(self.scope, self.results, id, index));
        let delays = delays.map(|way| way.map(|way| way.delay_ns).map_err(|open| open.reason));
        Ok(delays.collect::<Result<Vec<_>, _>>()?.into_iter().max().unwrap_or(0))
    }

    /// What the queue of the worst reader in the partition loses.
    fn overflow(&self, id: ChannelId, depth: u64, partition: PartitionId) -> Option<String> {
        let channel = self.scope.system.channel(id);
        let name = &channel.name.value;
        let here =
            channel.destinations.iter().enumerate().filter(|(_, end)| {
                of_partition(self.scope, end.value, partition) && ports::runs(self.scope, end.value)
            });
        let losses = here.map(|(index, end)| self.loss(id, index, end.value, depth)).collect::<Result<Vec<_>, _>>();
        match losses {
            Err(why) => Some(format!("how much `{name}` loses is not known: {why}")),
            Ok(losses) => {
                let loss = losses.into_iter().flatten().max_by_key(|loss| loss.messages)?;
                let (lost, messages) = (loss.messages - depth, loss.messages);
                let when = match loss.first_ns {
                    0 => "at once".to_owned(),
                    ns => format!("{} after the action at the earliest", Duration::from_ns(ns)),
                };
                Some(format!("`{name}` loses up to {lost} of {messages} messages, the first {when}"))
            }
        }
    }

    /// The queue is emptied when the action begins, and read next by the first job of its reader.
    fn loss(&self, id: ChannelId, index: usize, reader: PortEnd, depth: u64) -> Result<Option<Loss>, String> {
        let (arrivals, ..) = queues::arrivals(self.scope, self.results, id, index).map_err(|open| open.reason)?;
        let read = FirstOutput::of(self.scope, self.results, ports::task_at(self.scope, reader, "reads")?)?;
        let unread_ns = self.outage.action_ns.saturating_add(self.outage.span_ns).saturating_add(read.latest_read_ns());
        let messages = arrivals.within(unread_ns);
        let first_ns = arrivals.soonest_ns(depth.saturating_add(1)).unwrap_or(u64::MAX);
        Ok((messages > depth).then_some(Loss { messages, first_ns }))
    }
}

/// More messages than a queue holds.
struct Loss {
    messages: u64,
    /// From the action to the first that is lost, at the earliest.
    first_ns: u64,
}
