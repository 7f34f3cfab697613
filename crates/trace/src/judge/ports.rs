//! Messages: how close they are written, how old they are when read, how many wait.

use super::tally::{Finding, Limit, Rule, Tally};
use super::{Most, channel_name};
use crate::rebuilt::Observer;
use crate::seen::{Happening, Seen};
use model::System;
use model::system::{Channel, ChannelKind, PortEnd, QueueRead};

#[derive(Debug)]
pub(super) struct Ports {
    /// By channel.
    channels: Vec<Port>,
}

#[derive(Debug)]
struct Port {
    last_write: Option<u64>,
    intervals: Tally,
    kind: PortKind,
}

#[derive(Debug)]
enum PortKind {
    /// The age at each read of whichever receiver.
    Sampling { ages: Tally },
    /// By receiver.
    Queuing { takes: QueueRead, receivers: Vec<Queue> },
}

#[derive(Debug)]
struct Queue {
    /// How many messages wait; `None` from a gap, and from the beginning, until the queue is read whole.
    waiting: Option<u64>,
    /// How many it holds.
    holds: u64,
    depths: Tally,
}

impl Ports {
    pub(super) fn new(system: &System) -> Self {
        Self { channels: system.channels.iter().map(|channel| Port::new(system, channel)).collect() }
    }

    pub(super) fn findings(&self, system: &System) -> Vec<Finding> {
        let channels = self.channels.iter().enumerate();
        channels.flat_map(|(index, port)| port.findings(&channel_name(system, index))).collect()
    }

    /// The greatest age at which each sampled channel was read that has a refresh period.
    pub(super) fn ages(&self) -> Vec<Option<Most>> {
        let most = |port: &Port| match &port.kind {
            PortKind::Sampling { ages } => {
                // Where the forwarder carries it, the message written last may not have come.
                let (value, at_ns) = ages.worst().filter(|_| ages.has_limit())?;
                Some(Most { value, at_ns, seen: ages.seen() })
            }
            PortKind::Queuing { .. } => None,
        };
        self.channels.iter().map(most).collect()
    }

    /// The most messages that each receiver had waiting.
    pub(super) fn depths(&self) -> Vec<Vec<Option<Most>>> {
        let most = |queue: &Queue| {
            // What the forwarder holds counts as waiting too: that is no depth.
            let (value, at_ns) = queue.depths.worst().filter(|_| queue.depths.has_limit())?;
            Some(Most { value, at_ns, seen: queue.depths.seen() })
        };
        let of = |port: &Port| match &port.kind {
            PortKind::Queuing { receivers, .. } => receivers.iter().map(most).collect(),
            PortKind::Sampling { .. } => Vec::new(),
        };
        self.channels.iter().map(of).collect()
    }
}

impl Port {
    fn new(system: &System, channel: &Channel) -> Self {
        let undeclared = |what: &str| Err(format!("the channel declares no `{what}`"));
        let carried = channel.forwarded.then(|| "the forwarder carries it, and what it holds is not seen".to_owned());
        let unless_carried = |limit: Limit| carried.clone().map_or(limit, Err);
        let (interval, kind): (Limit, PortKind) = match &channel.kind {
            ChannelKind::Sampling { refresh } => {
                let limit = refresh.map_or_else(|| undeclared("refresh"), |refresh| Ok(refresh.value.ns()));
                let limit = unless_carried(limit);
                let none = Err("a sampling channel declares no interval".to_owned());
                (none, PortKind::Sampling { ages: Tally::new(Rule::Age, limit) })
            }
            ChannelKind::Queuing { depth, min_interarrival, read, batch, burst } => {
                let sender = sender(system, channel);
                let limit = match min_interarrival {
                    _ if batch.value > 1 || burst.is_some() => Err("several messages may come at once".to_owned()),
                    // It speaks of the jobs that send: each writes between its arrival and its deadline.
                    Some(least) => Ok(least.value.ns().saturating_sub(sender)),
                    None => undeclared("min_interarrival"),
                };
                let queue = || {
                    let depths = Tally::new(Rule::Depth, unless_carried(Ok(depth.value)));
                    Queue { waiting: None, holds: depth.value, depths }
                };
                let receivers = channel.destinations.iter().map(|_| queue()).collect();
                (limit, PortKind::Queuing { takes: *read, receivers })
            }
        };
        Self { last_write: None, intervals: Tally::new(Rule::WriteInterval, interval), kind }
    }

    fn findings(&self, name: &str) -> Vec<Finding> {
        match &self.kind {
            PortKind::Sampling { ages } => {
                vec![ages.finding(name.to_owned(), "it was not seen to be read after a write")]
            }
            PortKind::Queuing { receivers, .. } => {
                let intervals = self.intervals.finding(name.to_owned(), "no two writes were seen one after the other");
                let depths = receivers.iter().enumerate().map(|(index, queue)| {
                    let name = if receivers.len() == 1 { name.to_owned() } else { format!("{name} to {}", index + 1) };
                    queue.depths.finding(name, "what waits could not be counted: no read of the whole queue was seen")
                });
                std::iter::once(intervals).chain(depths).collect()
            }
        }
    }

    fn writes(&mut self, at: u64) {
        if let Some(last) = self.last_write.replace(at) {
            let apart = at.saturating_sub(last);
            self.intervals.note(apart, at, || format!("a message was written {apart} ns after the one before"));
        }
        if let PortKind::Queuing { receivers, .. } = &mut self.kind {
            for queue in receivers {
                if let Some(waiting) = &mut queue.waiting {
                    *waiting += 1;
                    queue.depths.note(*waiting, at, || format!("{waiting} messages wait"));
                }
            }
        }
    }

    fn reads(&mut self, at: u64, receiver: usize) {
        match &mut self.kind {
            PortKind::Sampling { ages } => {
                if let Some(written) = self.last_write {
                    let age = at.saturating_sub(written);
                    ages.note(age, at, || format!("a message {age} ns old was read"));
                }
            }
            PortKind::Queuing { takes, receivers } => {
                let Some(queue) = receivers.get_mut(receiver) else { return };
                queue.waiting = match takes {
                    QueueRead::All => Some(0),
                    QueueRead::AtMost(most) => queue.waiting.map(|waiting| waiting.saturating_sub(*most)),
                };
            }
        }
    }

    fn overflows(&mut self, at: u64, receiver: usize) {
        if let PortKind::Queuing { receivers, .. } = &mut self.kind
            && let Some(queue) = receivers.get_mut(receiver)
        {
            // The message that found no room was counted as written, and does not wait.
            let full = queue.waiting.unwrap_or(queue.holds.saturating_add(1));
            queue.depths.note(full, at, || "a message found no room".to_owned());
            queue.waiting = queue.waiting.map(|waiting| waiting.saturating_sub(1));
        }
    }

    fn lose(&mut self) {
        self.last_write = None;
        if let PortKind::Queuing { receivers, .. } = &mut self.kind {
            receivers.iter_mut().for_each(|queue| queue.waiting = None);
        }
    }
}

/// How long after its arrival a job of the sender may write, in nanoseconds; 0 where no task sends.
fn sender(system: &System, channel: &Channel) -> u64 {
    match channel.source.value {
        PortEnd::Task(task) => system.task(task).deadline.value.ns(),
        PortEnd::Partition(_) | PortEnd::Device(_) => 0,
    }
}

impl Observer for Ports {
    fn seen(&mut self, seen: &Seen) {
        let at = seen.at_ns;
        match seen.what {
            Happening::Writes { channel, .. } => self.channels[channel.index()].writes(at),
            Happening::Reads { channel, receiver } => self.channels[channel.index()].reads(at, usize::from(receiver)),
            Happening::Overflows { channel, receiver } => {
                self.channels[channel.index()].overflows(at, usize::from(receiver));
            }
            // Queues of a partition that starts anew are emptied, and the recording does not say of whom this was heard.
            Happening::Gap { .. } | Happening::Restarts { .. } | Happening::Stopped { .. } => {
                self.channels.iter_mut().for_each(Port::lose);
            }
            _ => {}
        }
    }
}
