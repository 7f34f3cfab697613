//! A chain as its analyses take it: what is known of each task, and of the way that leads to it.

use crate::chain::Stage;
use crate::claims::queues::{self, Held};
use crate::claims::results::{Results, TaskTimes};
use crate::claims::scope::Scope;
use crate::claims::{network, ports};
use model::system::{Chain, ChainStep, ChannelKind, Exchange, PortEnd, QueueRead};
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
}

/// The links of `chain` in order.
///
/// # Errors
/// What is not known of some task or of the way to it.
pub(super) fn of(scope: &Scope<'_>, results: &Results, chain: &Chain) -> Result<Vec<Link>, String> {
    chain.steps.iter().map(|step| link(scope, results, step)).collect()
}

fn link(scope: &Scope<'_>, results: &Results, step: &ChainStep) -> Result<Link, String> {
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
    match step.via {
        Some(channel) => through(scope, results, channel, link),
        None => Ok(link),
    }
}

/// The link with what its channel adds.
fn through(scope: &Scope<'_>, results: &Results, id: ChannelId, mut link: Link) -> Result<Link, String> {
    let channel = scope.system.channel(id);
    let name = &channel.name.value;
    let destination = channel.destinations.iter().position(|end| leads_to(scope, end.value, link.id)).unwrap_or(0);
    if !matches!(channel.source.value, PortEnd::Task(_)) {
        link.lost = Some(format!("`{name}` names no task that writes: whoever else does may come between"));
    }
    if channel.forwarded {
        let through = network::through(scope, results, id, destination).map_err(|open| open.reason)?;
        link.network_ns = Some(through.delay_ns);
        link.lost = ports::joined([link.lost, through.caveat]);
    }
    if let ChannelKind::Queuing { depth, read, .. } = &channel.kind {
        let held =
            queues::held(scope, results, id, destination).unwrap_or_else(|| Err(format!("`{name}` is no queue")));
        link.reads = reads(&held, depth.value, *read);
        link.lost = ports::joined([link.lost, lost(name, held, depth.value)]);
    }
    Ok(link)
}

fn leads_to(scope: &Scope<'_>, end: PortEnd, reader: TaskId) -> bool {
    match end {
        PortEnd::Task(id) => id == reader,
        PortEnd::Partition(id) => id == scope.system.task(reader).partition,
        PortEnd::Device(_) => false,
    }
}

/// By which read after it has come a message is taken at the latest. It has at most as many messages in the queue with it as
/// the queue may hold, and each read takes the oldest.
fn reads(held: &Result<Held, String>, depth: u64, read: QueueRead) -> u64 {
    let messages = held.as_ref().ok().and_then(|held| held.messages).unwrap_or(depth).min(depth);
    match read {
        QueueRead::All => 1,
        QueueRead::AtMost(most) => messages.div_ceil(most.max(1)).max(1),
    }
}

/// Why a message may be lost in the queue.
fn lost(name: &str, held: Result<Held, String>, depth: u64) -> Option<String> {
    match held {
        Err(why) => Some(format!("whether `{name}` loses messages is not known: {why}")),
        Ok(Held { messages: None, .. }) => {
            Some(format!("messages may be lost in `{name}`: more may be sent than its reader takes"))
        }
        Ok(Held { messages: Some(messages), .. }) if messages > depth => {
            Some(format!("messages may be lost in `{name}`: it may have to hold {messages} and holds {depth}"))
        }
        Ok(Held { caveat, .. }) => caveat,
    }
}
