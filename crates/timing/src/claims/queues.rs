//! How many messages a queue must hold, against its depth.
//!
//! Computes: for each queuing channel the messages that may wait for each destination's reader, the longest time that one
//! waits, and, where the depth is too small, the earliest instant at which a message may find the queue full.
//! Source: message counts of queuing ports: ARINC 653 part 1 (from memory); backlog and delay: Le Boudec & Thiran,
//! Network Calculus, LNCS 2050, 2001, as `crate::network_calculus` has them.
//! Assumptions: those of the writer's and the reader's response; frames forwarded as declared.
//! Symbols: `T`, `R`, `BCET` of writer (w) and reader (r) in ns; `J = R_w - BCET_w`, through the forwarder more by the
//! spread of its delay; `S = R_r - BCET_r`. Read whole: `ceil((T_r + S + J) / T_w)` batches.
//! Invariants and why it ends: `crate::network_calculus`.
//! Differs from the source: every destination has a queue of its own, and the worst one is the claim's.
//! Checked by: the survey vessel's seven depths, runs of writer, reader and queue.

use super::ports::{self, Open, Sent, is_used, joined, label};
use super::results::Results;
use super::scope::Scope;
use super::{network, ports_growth};
use crate::network_calculus::{Arrivals, Reads};
use claim::{Assumption, Basis, Kind, Status, Unit, Verdict, Witness};
use model::system::{Channel, ChannelKind, PortEnd, QueueRead};
use quantity::{Bytes, ChannelId, Duration};

/// What one destination's queue needs.
struct Need {
    reader: String,
    /// None where no number of messages is enough.
    depth: Option<u64>,
    waiting_ns: Option<u64>,
    /// When a message may first find the queue full, after the first message; none where none does.
    full_ns: Option<u64>,
    /// How surely more comes than can be taken, where it does.
    surely_full: Option<String>,
    caveat: Option<String>,
}

/// The queue of a channel as the file declares it.
#[derive(Clone, Copy)]
struct Queue {
    depth: u64,
    read: QueueRead,
}

impl Queue {
    fn of(channel: &Channel) -> Option<Self> {
        match channel.kind {
            ChannelKind::Queuing { depth, read, .. } => Some(Self { depth: depth.value, read }),
            ChannelKind::Sampling { .. } => None,
        }
    }
}

/// The verdicts about each queuing channel that the schedule uses: its depth, and what growth it leaves.
pub(super) fn check(scope: &Scope<'_>, results: &Results) -> Vec<Verdict> {
    let channels = (0..scope.system.channels.len()).map(ChannelId::new);
    channels.flat_map(|id| verdicts(scope, results, id)).collect()
}

fn verdicts(scope: &Scope<'_>, results: &Results, id: ChannelId) -> Vec<Verdict> {
    let channel = scope.system.channel(id);
    let Some(queue) = Queue::of(channel).filter(|_| is_used(scope, channel)) else { return Vec::new() };
    let basis = basis(scope, results, channel);
    let name = channel.name.value.clone();
    let base = Verdict {
        limit: Some(queue.depth),
        unit: Unit::Messages,
        ..scope.claim(Kind::QueueDepth, name, basis, channel.name.span, String::new())
    };
    let needs = needs(scope, results, id, queue);
    let verdict = judge(channel, queue, needs, base);
    ports_growth::verdict(scope, &verdict).into_iter().chain([verdict]).collect()
}

fn basis(scope: &Scope<'_>, results: &Results, channel: &Channel) -> Basis {
    let mut assumptions = ports::assumptions(scope, results, ports::ends(channel));
    assumptions.extend(channel.forwarded.then_some(Assumption::ForwardedAsDeclared));
    let source = "Le Boudec and Thiran, Network Calculus, LNCS 2050, 2001; ARINC 653 part 1 (from memory)";
    Basis { analysis: "queuing-ports", source, assumptions }
}

/// What the queue of every destination that runs needs.
fn needs(scope: &Scope<'_>, results: &Results, id: ChannelId, queue: Queue) -> Vec<Result<Need, Open>> {
    let destinations = scope.system.channel(id).destinations.iter().enumerate();
    let running = destinations.filter(|(_, end)| ports::runs(scope, end.value));
    running.map(|(index, end)| need(scope, results, id, queue, index, end.value)).collect()
}

fn need(
    scope: &Scope<'_>,
    results: &Results,
    id: ChannelId,
    queue: Queue,
    index: usize,
    end: PortEnd,
) -> Result<Need, Open> {
    let (arrivals, sent, caveat) = arrivals(scope, results, id, index)?;
    let (reads, times) = ports::reads(scope, results, end, queue.read)?;
    Ok(Need {
        reader: label(scope, end),
        depth: reads.depth(&arrivals),
        waiting_ns: reads.waiting_ns(&arrivals),
        full_ns: reads.overflow_ns(&arrivals, queue.depth),
        surely_full: surely_full(&sent, &reads, queue.depth),
        caveat: joined([caveat, times.caveat]),
    })
}

/// What arrives at one destination's queue.
pub(super) fn arrivals(
    scope: &Scope<'_>,
    results: &Results,
    id: ChannelId,
    index: usize,
) -> Result<(Arrivals, Sent, Option<String>), Open> {
    let channel = scope.system.channel(id);
    let mut sent = ports::sent(scope, results, channel)?;
    if !channel.forwarded {
        let caveat = sent.caveat.clone();
        return Ok((sent.arrivals, sent, caveat));
    }
    let through = network::through(scope, results, id, index)?;
    let spread_ns = through.delay_ns.saturating_sub(through.least_ns);
    // What may be lost on the way does not surely arrive.
    sent.surely_every_ns = sent.surely_every_ns.filter(|_| through.caveat.is_none());
    let caveat = joined([sent.caveat.clone(), through.caveat]);
    Ok((sent.arrivals.delayed(spread_ns), sent, caveat))
}

/// Why some message surely finds the queue full: so much comes in the long run that reads of a full queue cannot keep up.
fn surely_full(sent: &Sent, reads: &Reads, depth: u64) -> Option<String> {
    let every_ns = sent.surely_every_ns?;
    let taken = reads.most.map_or(depth, |most| most.get().min(depth));
    let comes = u128::from(sent.arrivals.batch) * u128::from(reads.period_ns.get());
    let goes = u128::from(taken) * u128::from(every_ns);
    (comes > goes).then(|| {
        let (every, period) = (Duration::from_ns(every_ns), Duration::from_ns(reads.period_ns.get()));
        format!("{} in each {every}, and a read takes at most {taken} in each {period}", come(sent.arrivals.batch))
    })
}

fn come(count: u64) -> String {
    if count == 1 { "1 message comes".to_owned() } else { format!("{count} messages come") }
}

fn judge(channel: &Channel, queue: Queue, needs: Vec<Result<Need, Open>>, base: Verdict) -> Verdict {
    let surely = |need: &Result<Need, Open>| {
        let need = need.as_ref().ok()?;
        let why = need.surely_full.as_ref()?;
        Some((need.depth, format!("messages are lost before `{}`: {why}", need.reader)))
    };
    if let Some((bound, reason)) = needs.iter().find_map(surely) {
        let witness = Some(Witness::of_fact(&*reason));
        return Verdict { status: Status::Violated, bound, reason: Some(reason), witness, ..base };
    }
    let needs: Vec<Need> = match needs.into_iter().collect() {
        Ok(needs) => needs,
        Err(open) => return open.on(base),
    };
    let worst = needs.iter().max_by_key(|need| need.depth.unwrap_or(u64::MAX));
    let Some(need) = worst else { return base };
    let base = Verdict { bound: need.depth, ..base };
    if need.depth.is_none_or(|depth| depth > queue.depth) {
        let reason = joined([Some(overflow(need, queue)), need.caveat.clone()]);
        return Verdict { status: Status::NotShown, reason, ..base };
    }
    match needs.iter().find_map(|need| need.caveat.clone()) {
        Some(caveat) => Verdict { status: Status::NotShown, reason: Some(caveat), ..base },
        None => Verdict { status: Status::Shown, reason: Some(storage(channel, queue, &needs)), ..base },
    }
}

fn overflow(need: &Need, queue: Queue) -> String {
    let needed = match need.depth {
        Some(depth) => format!("{depth} messages may wait for `{}`", need.reader),
        None => format!("more may come than `{}` takes", need.reader),
    };
    let holds = queue.depth;
    match need.full_ns {
        Some(full_ns) => format!(
            "overflow possible: {needed}, and the queue holds {holds}; the first may be lost {} after the first message",
            Duration::from_ns(full_ns)
        ),
        None => format!("overflow possible: {needed}, and the queue holds {holds}"),
    }
}

/// The memory that the queues take, and how long a message waits in them.
fn storage(channel: &Channel, queue: Queue, needs: &[Need]) -> String {
    let queues = channel.destinations.len() as u64;
    let bytes = channel.size.value.get().saturating_mul(queue.depth).saturating_mul(queues);
    let count = if queues == 1 { String::new() } else { format!("{queues} queues of ") };
    let messages = if queue.depth == 1 { "1 message".to_owned() } else { format!("{} messages", queue.depth) };
    let waiting = needs.iter().filter_map(|need| need.waiting_ns).max();
    let waits = waiting.map(|ns| format!("; a message waits at most {}", Duration::from_ns(ns))).unwrap_or_default();
    format!("{count}{messages} of {} take {}{waits}", channel.size.value, Bytes::new(bytes))
}

/// What the queue before one destination of a channel, by its index, may hold at once.
pub(super) struct Held {
    /// The most messages; none where no number is enough.
    pub(super) messages: Option<u64>,
    /// What keeps that from being shown.
    pub(super) caveat: Option<String>,
}

/// What the queue before the destination of that index may hold at once; none of a channel that is no queue.
///
/// # Errors
/// Which datum is missing.
pub(super) fn held(
    scope: &Scope<'_>,
    results: &Results,
    id: ChannelId,
    destination: usize,
) -> Option<Result<Held, String>> {
    let channel = scope.system.channel(id);
    let (queue, end) = (Queue::of(channel)?, channel.destinations.get(destination)?);
    let need = need(scope, results, id, queue, destination, end.value);
    Some(need.map(|need| Held { messages: need.depth, caveat: need.caveat }).map_err(|open| open.reason))
}
