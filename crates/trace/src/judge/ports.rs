//! Messages: how close they are written, how old they are when read, how many wait.

use super::tally::{Finding, Limit, Rule, Tally};
use super::{Most, channel_name};
use crate::moment::{Clock, Moment, Order, Reading};
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
    last_write: Option<Moment>,
    intervals: Tally,
    kind: PortKind,
}

#[derive(Debug)]
enum PortKind {
    /// The age at each read of whichever receiver, and the write before the last one.
    Sampling { ages: Tally, older: Option<Moment> },
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
    /// In which order it is written and read.
    order: Order,
    /// When it was read last.
    read: Option<Moment>,
}

impl Ports {
    pub(super) fn new(system: &System) -> Self {
        Self { channels: system.channels.iter().map(|channel| Port::new(system, channel)).collect() }
    }

    pub(super) fn findings(&self, system: &System) -> Vec<Finding> {
        let channels = self.channels.iter().enumerate();
        channels.flat_map(|(index, port)| port.findings(&channel_name(system, index))).collect()
    }

    /// Takes the end of the recording.
    pub(super) fn finish(&mut self) {
        self.channels.iter_mut().flat_map(Port::tallies).for_each(Tally::finish);
    }

    /// The greatest age at which each sampled channel was read that has a refresh period.
    pub(super) fn ages(&self) -> Vec<Option<Most>> {
        let most = |port: &Port| match &port.kind {
            // Where the forwarder carries it, the message written last may not have come.
            PortKind::Sampling { ages, .. } => ages.most().filter(|_| ages.has_limit()),
            PortKind::Queuing { .. } => None,
        };
        self.channels.iter().map(most).collect()
    }

    /// The most messages that each receiver had waiting.
    pub(super) fn depths(&self) -> Vec<Vec<Option<Most>>> {
        // What the forwarder holds counts as waiting too: that is no depth.
        let most = |queue: &Queue| queue.depths.most().filter(|_| queue.depths.has_limit());
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
                (none, PortKind::Sampling { ages: Tally::new(Rule::Age, limit), older: None })
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
                    Queue { waiting: None, holds: depth.value, depths, order: Order::default(), read: None }
                };
                let receivers = channel.destinations.iter().map(|_| queue()).collect();
                (limit, PortKind::Queuing { takes: *read, receivers })
            }
        };
        Self { last_write: None, intervals: Tally::new(Rule::WriteInterval, interval), kind }
    }

    fn findings(&self, name: &str) -> Vec<Finding> {
        match &self.kind {
            PortKind::Sampling { ages, .. } => {
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

    /// What is judged of messages waiting or read.
    fn tallies(&mut self) -> Vec<&mut Tally> {
        match &mut self.kind {
            PortKind::Sampling { ages, .. } => vec![ages],
            PortKind::Queuing { receivers, .. } => receivers.iter_mut().map(|queue| &mut queue.depths).collect(),
        }
    }

    fn writes(&mut self, at: Moment) {
        let before = self.last_write.replace(at);
        if let Some(before) = before {
            let apart = at.since(before);
            self.intervals
                .note(apart, at.at_ns, || format!("a message was written {} ns after the one before", apart.value));
        }
        match &mut self.kind {
            PortKind::Sampling { ages, older } => {
                ages.turn(at);
                *older = before;
            }
            PortKind::Queuing { receivers, .. } => receivers.iter_mut().for_each(|queue| queue.writes(at)),
        }
    }

    fn reads(&mut self, at: Moment, receiver: usize) {
        match &mut self.kind {
            PortKind::Sampling { ages, older } => {
                let Some(written) = self.last_write else { return };
                let age = age_of(at, written, *older);
                ages.settle(at.at_ns);
                ages.note_unless_turned(age, at, last_ns(at, written.clock), || {
                    format!("a message {} ns old was read", age.value)
                });
            }
            PortKind::Queuing { takes, receivers } => {
                let Some(queue) = receivers.get_mut(receiver) else { return };
                queue.depths.turn(at);
                queue.read = Some(at);
                if queue.loses_count(at) {
                    return;
                }
                queue.waiting = match takes {
                    QueueRead::All => Some(0),
                    QueueRead::AtMost(most) => queue.waiting.map(|waiting| waiting.saturating_sub(*most)),
                };
            }
        }
    }

    fn overflows(&mut self, at: Moment, receiver: usize) {
        if let PortKind::Queuing { receivers, .. } = &mut self.kind
            && let Some(queue) = receivers.get_mut(receiver)
        {
            // The message that found no room was counted as written, and does not wait.
            let full = queue.waiting.unwrap_or(queue.holds.saturating_add(1));
            queue.depths.note(full, at.at_ns, || "a message found no room".to_owned());
            queue.waiting = queue.waiting.map(|waiting| waiting.saturating_sub(1));
        }
    }

    fn lose(&mut self) {
        self.last_write = None;
        self.tallies().into_iter().for_each(Tally::lose);
        if let PortKind::Queuing { receivers, .. } = &mut self.kind {
            receivers.iter_mut().for_each(|queue| queue.waiting = None);
        }
    }
}

impl Queue {
    fn writes(&mut self, at: Moment) {
        self.depths.settle(at.at_ns);
        if self.loses_count(at) {
            return;
        }
        if let Some(waiting) = &mut self.waiting {
            *waiting += 1;
            let (waiting, by) = (*waiting, self.read.map_or(at.clock, |read| read.clock));
            self.depths.note_unless_turned(waiting.into(), at, last_ns(at, by), || format!("{waiting} messages wait"));
        }
    }

    /// Whether what is told now may have come before what was told last, so that a read found what it seems not to have found, or
    /// the other way round. Then it is not known how many wait.
    fn loses_count(&mut self, at: Moment) -> bool {
        let Some((_, error_ns)) = self.order.take(at) else { return false };
        self.waiting = None;
        self.depths.note_undecided(error_ns);
        true
    }
}

/// The last instant at which something of another clock may be told that came before.
fn last_ns(at: Moment, by: Clock) -> u64 {
    at.at_ns.saturating_add(at.clock.error_to_ns(by))
}

/// How old the message is that is read. Where the last write may have come after the read, it may be the one before.
fn age_of(read: Moment, written: Moment, older: Option<Moment>) -> Reading {
    let age = read.since(written);
    match read.may_swap_with(written) {
        None => age,
        Some(_) => Reading { most: older.map_or(u64::MAX, |older| read.since(older).most), ..age },
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
        let at = seen.moment();
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
