//! A chain as its analyses take it: what is known of each task, and of the way that leads to it.

use super::queue::Queue;
use crate::chain::Stage;
use crate::claims::network;
use crate::claims::ports::joined;
use crate::claims::results::{Results, TaskTimes};
use crate::claims::scope::Scope;
use diagnostic::Located;
use model::system::{Chain, ChainStep, Channel, ChannelKind, Exchange, PortEnd, QueueRead};
use quantity::{ChannelId, TaskId};

/// One task of a chain and the way to it.
pub(super) struct Link {
    pub(super) id: TaskId,
    /// The task as `PARTITION.task`.
    pub(super) label: String,
    pub(super) times: TaskTimes,
    /// Whether it reads at its arrival and writes at its deadline.
    pub(super) logical: bool,
    /// The channel that leads to it.
    pub(super) via: Option<String>,
    /// How many reads it takes until a message is taken; at least 1.
    pub(super) reads: u64,
    /// What the internal network adds, where it carries the channel.
    pub(super) network_ns: Option<u64>,
    /// Why a message may be lost on the way.
    pub(super) lost: Option<String>,
}

impl Link {
    /// From an arrival to the write of its job at the latest, in ns.
    pub(super) fn write_ns(&self) -> u64 {
        if self.logical { self.times.response_ns.max(self.times.deadline_ns) } else { self.times.response_ns }
    }

    /// The task as the generic bound takes it.
    pub(super) fn stage(&self) -> Stage {
        Stage {
            period_ns: self.times.period_ns,
            response_ns: self.write_ns(),
            reads: self.reads,
            transport_ns: self.network_ns.unwrap_or(0),
        }
    }

    /// By how much one completion may come late against another.
    fn jitter_ns(&self) -> u64 {
        self.times.response_ns.saturating_sub(self.times.shortest_ns)
    }
}

/// The links of `chain` in order.
///
/// # Errors
/// What is not known of some task or of the way to it.
pub(super) fn of(scope: &Scope<'_>, results: &Results, chain: &Chain) -> Result<Vec<Link>, String> {
    let mut links: Vec<Link> = Vec::with_capacity(chain.steps.len());
    for step in &chain.steps {
        let link = link(scope, results, step, links.last())?;
        links.push(link);
    }
    Ok(links)
}

fn link(scope: &Scope<'_>, results: &Results, step: &ChainStep, before: Option<&Link>) -> Result<Link, String> {
    let id = step.task.value;
    let task = scope.system.task(id);
    let label = scope.system.task_label(id);
    if task.sporadic {
        return Err(format!("`{label}` is sporadic: there is no longest time until its next job"));
    }
    let link = Link {
        times: results.task(scope, id)?,
        logical: task.exchange == Exchange::Logical,
        via: step.via.map(|channel| scope.system.channel(channel).name.value.clone()),
        reads: 1,
        network_ns: None,
        lost: None,
        id,
        label,
    };
    match (step.via, before) {
        (Some(channel), Some(before)) => through(scope, results, channel, before, link),
        _ => Ok(link),
    }
}

/// The link with what its channel adds.
fn through(scope: &Scope<'_>, results: &Results, id: ChannelId, before: &Link, mut link: Link) -> Result<Link, String> {
    let channel = scope.system.channel(id);
    let mut spread_ns = 0;
    if channel.forwarded {
        let way =
            network::through(scope, results, id, receiver(scope, channel, link.id)).map_err(|open| open.reason)?;
        spread_ns = way.delay_ns - way.least_ns;
        (link.network_ns, link.lost) = (Some(way.delay_ns), way.caveat);
    }
    if let Some(queue) = queue(channel, before, &link, spread_ns) {
        link.reads = queue.reads();
        link.lost = joined([link.lost, lost(channel, &queue)]);
    }
    Ok(link)
}

/// Which of the channel's receivers the task is; its partition may be named instead.
fn receiver(scope: &Scope<'_>, channel: &Channel, id: TaskId) -> usize {
    let partition = PortEnd::Partition(scope.system.task(id).partition);
    let here = |end: &Located<PortEnd>| end.value == PortEnd::Task(id) || end.value == partition;
    channel.destinations.iter().position(here).unwrap_or(channel.destinations.len().saturating_sub(1))
}

/// The queue before a reader; the internal network may delay one message by `spread_ns` more than another.
fn queue(channel: &Channel, writer: &Link, reader: &Link, spread_ns: u64) -> Option<Queue> {
    let ChannelKind::Queuing { depth, min_interarrival, batch, burst, read } = &channel.kind else { return None };
    Some(Queue {
        depth: depth.value,
        batch: batch.value,
        burst: burst.as_ref().map(|burst| burst.value),
        at_most: match read {
            QueueRead::All => None,
            QueueRead::AtMost(most) => Some(*most),
        },
        sent_every_ns: min_interarrival.as_ref().map_or(writer.times.period_ns, |least| least.value.ns()).max(1),
        writer_jitter_ns: writer.jitter_ns().saturating_add(spread_ns),
        read_every_ns: reader.times.period_ns,
        reader_jitter_ns: reader.jitter_ns(),
    })
}

/// Why a message may be lost in the queue.
fn lost(channel: &Channel, queue: &Queue) -> Option<String> {
    let name = &channel.name.value;
    let is_task = |end: &PortEnd| matches!(end, PortEnd::Task(_));
    if !is_task(&channel.source.value) || !channel.destinations.iter().all(|end| is_task(&end.value)) {
        return Some(format!("`{name}` names no task at one end: whoever else sends or takes there is not known"));
    }
    match queue.needed() {
        Some(needed) if needed <= queue.depth => None,
        Some(needed) => {
            Some(format!("messages may be lost in `{name}`: it may have to hold {needed} and holds {}", queue.depth))
        }
        None => Some(format!("messages may be lost in `{name}`: more may be sent than its reader takes")),
    }
}
