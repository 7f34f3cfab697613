//! The claims in space that no analysis answers yet: listed, so that nothing passes by being forgotten.

use claim::{Kind, Verdict};
use model::System;
use model::system::PortEnd;
use quantity::PartitionId;
use std::collections::BTreeMap;

/// One *not analysed* verdict for every subject.
pub(crate) fn check(system: &System) -> Vec<Verdict> {
    let mut verdicts = of_board(system);
    verdicts.extend(flows(system));
    verdicts.extend(upward_flows(system));
    verdicts
}

fn of_board(system: &System) -> Vec<Verdict> {
    let mut verdicts = Vec::new();
    for device in &system.board.devices {
        let name = &device.name;
        verdicts.push(Verdict::pending(Kind::Device, name.value.clone(), name.span, "device separation"));
        let lines = device.interrupts.iter().map(|interrupt| &interrupt.line);
        verdicts.extend(
            lines.map(|line| Verdict::pending(Kind::Interrupt, line.value.clone(), line.span, "interrupt routing")),
        );
    }
    for cache in system.board.caches.iter().filter(|cache| cache.partitionable) {
        verdicts.push(Verdict::pending(Kind::Cache, cache.name.value.clone(), cache.name.span, "the cache partition"));
    }
    if let Some(regulation) = &system.platform.regulation {
        let place = regulation.period.span;
        verdicts.push(Verdict::pending(Kind::Bandwidth, "memory".to_owned(), place, "the sum of bandwidth budgets"));
    }
    verdicts
}

/// One flow for each pair of partitions that a channel joins, at the first such channel.
fn flows(system: &System) -> Vec<Verdict> {
    let mut pairs = BTreeMap::new();
    for channel in &system.channels {
        let Some(from) = partition_of(system, channel.source.value) else { continue };
        let readers = channel.destinations.iter().filter_map(|end| partition_of(system, end.value));
        for to in readers.filter(|to| *to != from) {
            pairs.entry((from, to)).or_insert(channel.name.span);
        }
    }
    let name = |id: PartitionId| system.partition(id).name.value.as_str();
    let subject = |(from, to)| format!("{}/{}", name(from), name(to));
    pairs
        .into_iter()
        .map(|(pair, place)| Verdict::pending(Kind::Flow, subject(pair), place, "information flow"))
        .collect()
}

/// One claim for each channel whose reader is more critical than its writer.
fn upward_flows(system: &System) -> Vec<Verdict> {
    let level = |end| partition_of(system, end).and_then(|id| system.partition(id).level.map(|level| level.value));
    let rises = |channel: &&model::system::Channel| {
        let from = level(channel.source.value);
        channel.destinations.iter().any(|end| level(end.value) > from)
    };
    let channels = system.channels.iter().filter(rises);
    channels
        .map(|c| Verdict::pending(Kind::Criticality, c.name.value.clone(), c.name.span, "the criticality direction"))
        .collect()
}

fn partition_of(system: &System, end: PortEnd) -> Option<PartitionId> {
    match end {
        PortEnd::Task(task) => Some(system.task(task).partition),
        PortEnd::Partition(partition) => Some(partition),
        PortEnd::Device(device) => system.board.devices[device.index()].owner.map(|owner| owner.value),
    }
}
