//! What moves inside the board through the forwarder: how long it takes, what waits, what is lost.
//!
//! Computes: the load of the forwarder, the longest time from a message's write until its last frame is through, the
//! frames that wait in each sender's queue, and what finds that queue full while the forwarder restarts.
//! Source: Le Boudec & Thiran, Network Calculus, LNCS 2050, 2001: leftover service under blind multiplexing, first in,
//! first out within a sender; as `crate::network_calculus` has it.
//! Assumptions: those of the senders' and the forwarder's responses; frames forwarded as declared.
//! Symbols: times in ns; `C` cost of a frame, rounded up once; a broadcast is one frame for each receiver.
//! Invariants and why it ends: `crate::network_calculus`.
//! Differs from the source: the service is that of the forwarding task's jobs by their response, or the whole supply of a
//! partition without tasks.
//! Checked by: runs of senders, forwarder and frames on random small systems, boundary cases by hand.

use super::network_flows::{Carried, Work, carried, channels, network, no_delay};
use super::network_restart;
use super::ports::{self, Open, joined};
use super::results::Results;
use super::scope::Scope;
use crate::network_calculus::NoDelay;
use crate::network_calculus::fluid::{Number, ratio, whole};
use claim::{Assumption, Basis, Kind, Status, Unit, Verdict, Witness};
use model::system::{ChannelKind, Network, PortEnd};
use quantity::{ChannelId, Duration, Ppm};

/// The way of a message through the forwarder.
pub(super) struct Through {
    /// The longest time, in ns.
    pub(super) delay_ns: u64,
    /// The shortest time, in ns: that of its own frame.
    pub(super) least_ns: u64,
    /// What keeps it from being shown: the numbers that it rests on, or a queue that may lose frames.
    pub(super) caveat: Option<String>,
}

/// The verdicts about the forwarder of a schedule: its load, each channel, each sender's queue.
pub(super) fn check(scope: &Scope<'_>, results: &Results) -> Vec<Verdict> {
    let Some(network) = network(scope) else { return Vec::new() };
    let found = carried(scope, results);
    let queues = found.as_ref().map_or_else(|_| Vec::new(), |carried| queues(scope, results, network, carried));
    let mut verdicts = vec![load(scope, results, network, found)];
    verdicts.extend(channels(scope).map(|(id, _)| way(scope, results, network, id)));
    verdicts.extend(queues);
    verdicts
}

fn basis(scope: &Scope<'_>, results: &Results, network: &Network) -> Basis {
    let sources = channels(scope).map(|(_, channel)| channel.source.value);
    let ends = sources.chain([PortEnd::Partition(network.forwarder.value)]);
    let mut assumptions = ports::assumptions(scope, results, ends);
    assumptions.push(Assumption::ForwardedAsDeclared);
    Basis {
        analysis: "internal-network",
        source: "Le Boudec and Thiran, Network Calculus, LNCS 2050, 2001 (from memory)",
        assumptions,
    }
}

/// The frames' work against what the forwarder moves.
fn load(scope: &Scope<'_>, results: &Results, network: &Network, found: Result<Carried, Open>) -> Verdict {
    let name = scope.partition_name(network.forwarder.value);
    let basis = basis(scope, results, network);
    let base = Verdict {
        unit: Unit::Ppm,
        limit: Some(Ppm::ONE.get()),
        ..scope.claim(Kind::Forwarding, format!("{name}/load"), basis, network.forwarder.span, String::new())
    };
    let carried = match found {
        Ok(carried) => carried,
        Err(open) => return open.on(base),
    };
    if let Some((id, cost_ns, budget_ns)) = carried.never_fits() {
        let channel = &scope.system.channel(id).name.value;
        let (cost, budget) = (Duration::from_ns(cost_ns), Duration::from_ns(budget_ns));
        return violated(
            base,
            format!("a frame of `{channel}` takes {cost} and no job of `{name}` has more than {budget}"),
        );
    }
    let load = carried.forwarder(scope).ok().and_then(|forwarder| forwarder.load());
    match load {
        None => violated(base, format!("`{name}` moves no frame")),
        Some(load) => judge_load(scope, &carried, &load, base),
    }
}

fn violated(base: Verdict, reason: String) -> Verdict {
    let witness = Some(Witness::of_fact(&*reason));
    Verdict { status: Status::Violated, reason: Some(reason), witness, ..base }
}

fn judge_load(scope: &Scope<'_>, carried: &Carried, load: &Number, base: Verdict) -> Verdict {
    let name = scope.partition_name(carried.forwarder);
    let bound = u64::try_from((load * whole(Ppm::ONE.get())).ceil().to_integer()).unwrap_or(u64::MAX);
    let base = Verdict { bound: Some(bound), ..base };
    if *load <= whole(1) {
        let status = if carried.caveat.is_some() { Status::NotShown } else { Status::Shown };
        let reason = joined([carried.caveat.clone(), Some(common_failure(scope, carried))]);
        return Verdict { status, reason, ..base };
    }
    let excess = surely_comes(carried) - at_most_served(carried);
    if excess > whole(0) {
        let per_second = (excess * whole(1_000_000_000)).ceil().to_integer();
        let short = Duration::from_ns(u64::try_from(per_second).unwrap_or(u64::MAX));
        return violated(base, format!("the frames ask for {short} more in each second than `{name}` has for them"));
    }
    let reason = format!("the frames may ask for {} of what `{name}` surely moves", Ppm::new(bound));
    Verdict { status: Status::NotShown, reason: Some(reason), ..base }
}

/// The work that comes at the least, per unit of time.
fn surely_comes(carried: &Carried) -> Number {
    let flows = carried.channels.iter().zip(&carried.surely_every_ns);
    let rates = flows.filter_map(|((_, flow), every_ns)| {
        let work = whole(flow.cost_ns) * whole(flow.frames) * whole(flow.arrivals.batch);
        Some(work * ratio(1, u128::from((*every_ns)?)))
    });
    rates.fold(whole(0), |sum, rate| sum + rate)
}

/// The work that can be served at the most, per unit of time.
fn at_most_served(carried: &Carried) -> Number {
    match &carried.work {
        Work::Task { period_ns, budget_ns, .. } => ratio((*budget_ns).into(), period_ns.get().into()),
        Work::Partition { at_most, .. } => ratio(at_most.per_frame_ns().into(), at_most.frame_ns().into()),
    }
}

/// That all channels fail with the one forwarder.
fn common_failure(scope: &Scope<'_>, carried: &Carried) -> String {
    let names = carried.channels.iter().map(|(id, _)| scope.system.channel(*id).name.value.as_str());
    let names: Vec<&str> = names.collect();
    let name = scope.partition_name(carried.forwarder);
    match names.as_slice() {
        [one] => format!("`{one}` fails with `{name}`"),
        all => format!("one point of common failure: {} all pass through `{name}`", all.join(", ")),
    }
}

/// The way of one channel's messages. A sampled message that takes longer than its refresh period arrives invalid; for
/// messages in queues no limit is declared, and a bound is what is claimed.
fn way(scope: &Scope<'_>, results: &Results, network: &Network, id: ChannelId) -> Verdict {
    let channel = scope.system.channel(id);
    let limit = match &channel.kind {
        ChannelKind::Sampling { refresh } => refresh.map(|refresh| refresh.value.ns()),
        ChannelKind::Queuing { .. } => None,
    };
    let name = channel.name.value.clone();
    let basis = basis(scope, results, network);
    let base = Verdict { limit, ..scope.claim(Kind::Forwarding, name, basis, channel.name.span, String::new()) };
    match slowest_way(scope, results, id) {
        Err(open) => open.on(base),
        Ok(Through { delay_ns, caveat, .. }) => {
            let over = limit.and_then(|limit_ns| delay_ns.checked_sub(limit_ns)).filter(|over_ns| *over_ns > 0);
            let late = over
                .map(|over_ns| format!("a message may arrive {} after its refresh period", Duration::from_ns(over_ns)));
            let reason = joined([late, caveat]);
            let status = if reason.is_some() { Status::NotShown } else { Status::Shown };
            Verdict { status, bound: Some(delay_ns), reason, ..base }
        }
    }
}

/// The frames that wait in the queue of each sender, against its depth.
fn queues(scope: &Scope<'_>, results: &Results, network: &Network, carried: &Carried) -> Vec<Verdict> {
    let name = scope.partition_name(network.forwarder.value);
    let place = network.depth.map_or(network.forwarder.span, |depth| depth.span);
    let senders = carried.senders.iter().enumerate();
    let verdict = |(sender, sender_name): (usize, &String)| {
        let basis = basis(scope, results, network);
        let base = Verdict {
            unit: Unit::Messages,
            limit: network.depth.map(|depth| depth.value),
            ..scope.claim(Kind::QueueDepth, format!("{name}/{sender_name}"), basis, place, String::new())
        };
        judge_queue(scope, results, carried, sender, base)
    };
    senders.map(verdict).collect()
}

fn judge_queue(scope: &Scope<'_>, results: &Results, carried: &Carried, sender: usize, base: Verdict) -> Verdict {
    let Some(depth) = base.limit else {
        return Verdict { reason: Some("`network.depth` is not given".to_owned()), ..base };
    };
    if let Some(reason) = too_many_at_once(scope, carried, sender, depth) {
        return violated(base, reason);
    }
    let name = scope.partition_name(carried.forwarder);
    let needed = carried.forwarder(scope).and_then(|forwarder| {
        let needed = forwarder.depth(sender);
        needed.map_err(|why| no_delay(name, why)).map(|needed| (needed, forwarder))
    });
    let (needed, forwarder) = match needed {
        Ok(found) => found,
        Err(open) => return open.on(base),
    };
    let base = Verdict { bound: Some(needed), ..base };
    if needed > depth {
        let reason = format!("{needed} frames may wait for `{name}`, and the queue holds {depth}: frames may be lost");
        return Verdict { status: Status::NotShown, reason: Some(reason), ..base };
    }
    let status = if carried.caveat.is_some() { Status::NotShown } else { Status::Shown };
    let losses =
        network_restart::losses(scope, results, carried, |outage_ns| forwarder.frames_of(sender, outage_ns), depth);
    Verdict { status, reason: joined([carried.caveat.clone(), losses]), ..base }
}

/// Why some frame surely finds its sender's queue full: the frames of one batch do not fit.
fn too_many_at_once(scope: &Scope<'_>, carried: &Carried, sender: usize, depth: u64) -> Option<String> {
    let flows = carried.channels.iter().filter(|(_, flow)| flow.sender == sender);
    let at_once = flows.map(|(id, flow)| (*id, flow.arrivals.batch.saturating_mul(flow.frames)));
    let (id, frames) = at_once.max_by_key(|(_, frames)| *frames).filter(|(_, frames)| *frames > depth)?;
    let channel = &scope.system.channel(id).name.value;
    Some(format!("{frames} frames of `{channel}` come at once, and the queue holds {depth}"))
}

/// The way of a channel's messages to the receiver of that index.
///
/// # Errors
/// Which datum is missing, or that nothing bounds it.
pub(super) fn through(scope: &Scope<'_>, results: &Results, id: ChannelId, receiver: usize) -> Result<Through, Open> {
    let carried = carried(scope, results)?;
    let forwarder = carried.forwarder(scope)?;
    let name = &scope.system.channel(id).name.value;
    let position = carried.position(id).ok_or_else(|| format!("`{name}` is not forwarded"))?;
    let (_, flow) = carried.channels[position];
    let forwarder_name = scope.partition_name(carried.forwarder);
    let delay_ns = forwarder.delay_ns(position, receiver as u64).map_err(|why| no_delay(forwarder_name, why))?;
    let holds = scope.system.network.as_ref().and_then(|network| network.depth);
    let loss =
        loss(&carried.senders[flow.sender], forwarder_name, forwarder.depth(flow.sender), holds.map(|d| d.value));
    Ok(Through { delay_ns, least_ns: flow.cost_ns.min(delay_ns), caveat: joined([carried.caveat.clone(), loss]) })
}

fn loss(sender: &str, forwarder: &str, needed: Result<u64, NoDelay>, holds: Option<u64>) -> Option<String> {
    match (needed, holds) {
        (Ok(needed), Some(holds)) if needed <= holds => None,
        (_, None) => Some(format!("whether frames of `{sender}` are lost is not known: `network.depth` is not given")),
        _ => Some(format!("frames of `{sender}` may find its queue at `{forwarder}` full")),
    }
}

/// The way to the last receiver.
///
/// # Errors
/// Which datum is missing, or that nothing bounds it.
pub(super) fn slowest_way(scope: &Scope<'_>, results: &Results, id: ChannelId) -> Result<Through, Open> {
    through(scope, results, id, scope.system.channel(id).destinations.len().saturating_sub(1))
}
