//! What was seen, by the ids of the claims that say how large it may be.

use claim::Kind;
use model::System;
use model::system::BootNeed;
use quantity::PartitionId;
use simulator::machine::{Guest, Input, Port};
use simulator::seen::TaskSeen;
use simulator::{Machine, Seen};

/// The id of a claim about `subject` in a module schedule.
pub(super) fn id(machine: &Machine, schedule: usize, kind: Kind, subject: &str) -> String {
    match machine.schedules.get(schedule).filter(|_| machine.schedules.len() > 1) {
        Some(tables) => format!("{}/{subject}@{}", kind.key(), tables.name),
        None => format!("{}/{subject}", kind.key()),
    }
}

/// What runs without faults, all under one module schedule and everything up, saw of the subject of each claim, in the unit of
/// the claim.
pub fn observed(machine: &Machine, schedule: usize, seen: &Seen) -> Vec<(String, u64)> {
    let of =
        [tasks(machine, seen), chains(machine, seen), channels(machine, schedule, seen), partitions(machine, seen)];
    of.into_iter().flatten().map(|(kind, subject, value)| (id(machine, schedule, kind, &subject), value)).collect()
}

type Value = (Kind, String, u64);

fn tasks(machine: &Machine, seen: &Seen) -> Vec<Value> {
    let all = machine.tasks.iter().zip(&seen.tasks).filter(|(_, seen)| seen.jobs > 0 || seen.missed > 0);
    let of_task = |(task, seen): (&simulator::machine::Task, &TaskSeen)| {
        let jitter = seen.output_shift_ns.map(|(least, most)| least.unsigned_abs().max(most.unsigned_abs()));
        let jitter = jitter.filter(|_| task.arrivals != simulator::machine::Arrivals::Sporadic);
        let jitter = jitter.map(|ns| (Kind::OutputJitter, task.label.clone(), ns));
        // A job that passed its deadline takes longer than that, though the run may end before it does.
        let late_ns = if seen.missed > 0 { task.deadline_ns.saturating_add(1) } else { 0 };
        [Some((Kind::Response, task.label.clone(), seen.most_ns.max(late_ns))), jitter].into_iter().flatten()
    };
    all.flat_map(of_task).collect()
}

fn chains(machine: &Machine, seen: &Seen) -> Vec<Value> {
    let of_chain = |(chain, seen): (&simulator::machine::Chain, &simulator::seen::ChainSeen)| {
        let both = [(Kind::Reaction, seen.reaction_ns), (Kind::DataAge, seen.age_ns)];
        both.map(|(kind, ns)| Some((kind, chain.name.clone(), ns?))).into_iter().flatten()
    };
    machine.chains.iter().zip(&seen.chains).flat_map(of_chain).collect()
}

/// Whether somebody reads an input in a module schedule: what a reader that rests leaves in its queue has no bound.
pub(super) fn is_read(machine: &Machine, schedule: usize, input: &Input) -> bool {
    input.task.is_none_or(|task| machine.is_active(schedule, task))
}

fn channels(machine: &Machine, schedule: usize, seen: &Seen) -> Vec<Value> {
    let of_channel = |(channel, source): (&simulator::machine::Channel, &simulator::seen::ChannelSeen)| {
        let inputs = channel.inputs.clone().filter(|index| is_read(machine, schedule, &machine.inputs[*index]));
        let inputs: Vec<_> = inputs.map(|index| &seen.inputs[index]).collect();
        let held = inputs.iter().map(|input| input.most_held).max().unwrap_or(0);
        let way = inputs.iter().map(|input| input.most_delay_ns).max().unwrap_or(0);
        // The bound of a refresh period is the longest time between two writes, and above every age at which one is read.
        let age = inputs.iter().map(|input| input.most_age_ns).max().unwrap_or(0);
        let (kind, value) = match channel.port {
            Port::Sampling { .. } => (Kind::Refresh, source.longest_gap_ns.max(age)),
            Port::Queuing { .. } => (Kind::QueueDepth, held),
        };
        [(kind, value), (Kind::Forwarding, way)].map(|(kind, value)| (kind, channel.name.clone(), value))
    };
    let all = machine.channels.iter().zip(&seen.channels).flat_map(of_channel);
    all.filter(|&(_, _, value)| value > 0).collect()
}

fn partitions(machine: &Machine, seen: &Seen) -> Vec<Value> {
    let forwarder = machine.network.map(|network| machine.partitions[network.forwarder].name.as_str());
    let of_partition = |(partition, seen): (&simulator::machine::Partition, &simulator::seen::PartitionSeen)| {
        let waiting = forwarder.filter(|_| seen.most_waiting > 0);
        let waiting = waiting.map(|by| (Kind::QueueDepth, format!("{by}/{}", partition.name), seen.most_waiting));
        let opaque = seen.longest_for_budget_ns.filter(|_| matches!(partition.guest, Guest::Opaque { .. }));
        [waiting, opaque.map(|ns| (Kind::Response, partition.name.clone(), ns))].into_iter().flatten()
    };
    machine.partitions.iter().zip(&seen.partitions).flat_map(of_partition).collect()
}

/// When partitions were operational, as their claims count it; nothing of one that never was.
///
/// Who is not operational by the run's end takes longer than that: `ended_ns`, where it is to count.
pub(super) fn boots(system: &System, machine: &Machine, seen: &Seen, ended_ns: Option<u64>) -> Vec<(usize, u64)> {
    let all = seen.partitions.iter().enumerate();
    let at = all.filter_map(|(partition, seen)| {
        let at_ns = seen.operational_ns.or(ended_ns)?;
        Some((partition, at_ns.saturating_add(before_first_frame_ns(system, machine, partition)?)))
    });
    at.collect()
}

/// The id of the claim about the boot of a partition.
pub(super) fn boot_id(machine: &Machine, partition: usize) -> String {
    format!("{}/{}", Kind::Boot.key(), machine.partitions[partition].name)
}

/// What the claim about the boot of a partition counts before the first frame's begin: all from reset, unless the tightest
/// of its needs counts from there. `None` where that time is not declared.
fn before_first_frame_ns(system: &System, machine: &Machine, partition: usize) -> Option<u64> {
    let before_ns = machine.until_first_frame_ns;
    let names = |need: &&BootNeed| need.partitions.iter().any(|one| one.value == PartitionId::new(partition));
    let needs = system.boot.iter().flat_map(|boot| &boot.needs).filter(names);
    let by_the_clock = |need: &&BootNeed| {
        need.within.value.ns().saturating_add(if need.from_reset { 0 } else { before_ns.unwrap_or(0) })
    };
    match needs.min_by_key(by_the_clock) {
        Some(tightest) if !tightest.from_reset => Some(0),
        _ => before_ns,
    }
}
