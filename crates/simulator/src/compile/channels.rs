//! Channels, their destinations, chains, and the internal network.

use super::Missing;
use crate::machine::{Chain, Channel, Input, Network, Port, Step};
use model::System;
use model::system::{ChannelKind, PortEnd, QueueRead};

/// The partition at an end of a channel: of a device, its owner; beyond all partitions where nobody owns it.
fn partition_at(system: &System, end: PortEnd) -> usize {
    system.partition_of(end).map_or(usize::MAX, quantity::PartitionId::index)
}

fn task_at(end: PortEnd) -> Option<usize> {
    match end {
        PortEnd::Task(task) => Some(task.index()),
        PortEnd::Partition(_) | PortEnd::Device(_) => None,
    }
}

pub(super) fn inputs(system: &System) -> Vec<Input> {
    let of_channel = |(channel, declared): (usize, &model::system::Channel)| {
        let input = |end: PortEnd| Input { channel, partition: partition_at(system, end), task: task_at(end) };
        declared.destinations.iter().map(|end| input(end.value)).collect::<Vec<_>>()
    };
    system.channels.iter().enumerate().flat_map(of_channel).collect()
}

pub(super) fn channels(system: &System, missing: &mut Missing) -> Vec<Channel> {
    let mut first = 0;
    let mut channels = Vec::with_capacity(system.channels.len());
    for declared in &system.channels {
        let inputs = first..first + declared.destinations.len();
        first = inputs.end;
        channels.push(Channel { inputs, ..channel(system, declared, missing) });
    }
    channels
}

fn channel(system: &System, declared: &model::system::Channel, missing: &mut Missing) -> Channel {
    let (port, gap, batch) = port(&declared.kind);
    Channel {
        name: declared.name.value.clone(),
        port,
        source_task: task_at(declared.source.value),
        source: partition_at(system, declared.source.value),
        source_period_ns: gap,
        batch,
        inputs: 0..0,
        frame_cost_ns: if declared.forwarded { frame_cost(system, declared, missing) } else { None },
    }
}

fn port(kind: &ChannelKind) -> (Port, Option<u64>, u64) {
    match kind {
        ChannelKind::Sampling { refresh } => (Port::Sampling { refresh_ns: refresh.map(|age| age.ns()) }, None, 1),
        ChannelKind::Queuing { depth, min_interarrival, batch, read, .. } => {
            let takes = match read {
                QueueRead::All => None,
                QueueRead::AtMost(most) => Some(*most),
            };
            (Port::Queuing { depth: depth.value, takes }, min_interarrival.map(|gap| gap.ns()), batch.value)
        }
    }
}

/// What the forwarder executes for one frame; where that is not known, the forwarder is left out.
fn frame_cost(system: &System, declared: &model::system::Channel, missing: &mut Missing) -> Option<u64> {
    let network = system.network.as_ref()?;
    let forwarder = network.forwarder.value;
    let fixed =
        missing.need(network.fixed, forwarder, || "the cost of a frame, `fixed`, is not declared".to_owned())?;
    let rate = network.per_byte_ps;
    let rate = missing.need(rate, forwarder, || "the cost of a frame, `per_byte`, is not declared".to_owned())?;
    let picoseconds = u128::from(fixed.ns()) * 1_000 + u128::from(rate.value) * u128::from(declared.size.get());
    Some(u64::try_from(picoseconds.div_ceil(1_000)).unwrap_or(u64::MAX))
}

pub(super) fn network(system: &System) -> Option<Network> {
    let network = system.network.as_ref()?;
    Some(Network {
        forwarder: network.forwarder.value.index(),
        task: network.task.map(|task| task.value.index()),
        budget_ns: network.task.and_then(|task| system.task(task.value).wcet).map(|wcet| wcet.ns()),
        depth: network.depth.map(|depth| depth.value),
    })
}

pub(super) fn chains(system: &System, inputs: &[Input]) -> Vec<Chain> {
    let step = |step: &model::system::ChainStep| {
        let task = step.task.value;
        let partition = system.task(task).partition.index();
        let ends_here = |input: &Input| match input.task {
            Some(reader) => reader == task.index(),
            None => input.partition == partition,
        };
        let via = |channel: quantity::ChannelId| {
            inputs.iter().position(|input| input.channel == channel.index() && ends_here(input))
        };
        Step { task: task.index(), via: step.via.and_then(via) }
    };
    let outside = |chain: &model::system::Chain| {
        chain.before.map_or(0, |time| time.ns()).saturating_add(chain.after.map_or(0, |time| time.ns()))
    };
    let chain = |chain: &model::system::Chain| Chain {
        name: chain.name.value.clone(),
        steps: chain.steps.iter().map(step).collect(),
        outside_ns: outside(chain),
    };
    system.chains.iter().map(chain).collect()
}
