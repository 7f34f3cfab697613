//! What can be told of what partitions share, who may change it, who may tell, and how fast.

use super::capacity::{levels, of_levels};
use super::{Access, Capacity, Resource, servers};
use crate::channels::{self, InterferenceChannel, State};
use crate::edges::{Carrier, edges};
use crate::homes::{active_cores, homes};
use model::System;
use model::system::{Channel, ChannelKind, CorePolicy, CoreSet, PortEnd, SharedKind};
use plan::{Plan, Window};
use quantity::{CoreId, CoreSetId, PartitionId};
use std::collections::BTreeSet;

/// Every row of the matrix.
pub(super) fn all(system: &System, plan: &Plan) -> Vec<Resource> {
    let where_run: Vec<Vec<CoreId>> = system.partition_ids().map(|id| homes(system, plan, id)).collect();
    let mut rows = Vec::new();
    for core in active_cores(system) {
        rows.extend(starts(system, plan, core));
        rows.extend(residue(system, core, &where_run));
    }
    let sets = system.core_sets.iter().enumerate();
    rows.extend(sets.filter_map(|(index, set)| turns(system, CoreSetId::new(index), set)));
    rows.extend(channels::list(system, plan).iter().map(|channel| of_channel(system, channel, &where_run)));
    rows.extend(system.channels.iter().filter_map(|channel| of_port(system, channel)));
    rows.extend(of_regions(system));
    rows.extend(of_forwarder(system));
    rows
}

/// A row whose accesses are filled from those who modify and those who read, and whose ways lead from any to any other of them.
fn row(
    system: &System,
    name: String,
    why: String,
    (modify, read): (&BTreeSet<PartitionId>, &BTreeSet<PartitionId>),
    carries: impl Fn(PartitionId, PartitionId) -> Option<Capacity>,
) -> Resource {
    let access = |id| Access { read: read.contains(&id), modify: modify.contains(&id) };
    let pairs = modify.iter().flat_map(|from| read.iter().map(move |to| (*from, *to))).filter(|(from, to)| from != to);
    let carries = pairs.filter_map(|(from, to)| Some((from, to, carries(from, to)?))).collect();
    Resource { name, why, access: system.partition_ids().map(access).collect(), donates: false, carries }
}

/// When windows of a core begin. A call that cannot be cut at a window's end shifts the next one, nothing else does.
fn starts(system: &System, plan: &Plan, core: CoreId) -> Option<Resource> {
    let slip_ns = system.platform.boundary_slip.as_ref().map_or(0, |slip| slip.value.ns());
    let tables: Vec<&[Window]> = plan
        .schedules
        .iter()
        .flat_map(|table| &table.cores)
        .filter(|table| table.core == core)
        .map(|table| table.windows.as_slice())
        .collect();
    let read: BTreeSet<PartitionId> = tables.iter().flat_map(|windows| windows.iter().map(|w| w.partition)).collect();
    let frame_ns = system.frame.value.ns();
    // How often in a frame a window of the second begins before a slip of the first has passed, in the schedule with most.
    let uses =
        |from, to| tables.iter().map(|windows| followed(windows, from, to, slip_ns, frame_ns)).max().unwrap_or(0);
    let modify = if slip_ns > 0 { read.clone() } else { BTreeSet::new() };
    let name = format!("core {}: when windows begin", system.core(core).name.value);
    let why = if slip_ns > 0 {
        "a call that is not cut at a window's end lets the next one begin later"
    } else {
        "windows are fixed, and what one leaves unused is given to nobody"
    };
    let levels = levels(slip_ns, system.core(core).clock_hz);
    let carries =
        |from, to| Some(uses(from, to)).filter(|uses| *uses > 0).map(|uses| of_levels(levels, uses, frame_ns));
    (read.len() > 1).then(|| row(system, name, why.to_owned(), (&modify, &read), carries))
}

/// How many windows of `to` begin less than a slip after the end of the last window before them, which is one of `from`.
fn followed(windows: &[Window], from: PartitionId, to: PartitionId, slip_ns: u64, frame_ns: u64) -> u64 {
    let mut sorted: Vec<&Window> = windows.iter().collect();
    sorted.sort_by_key(|window| window.start);
    let count = sorted.len();
    let follows = |index: &usize| {
        let (window, before) = (sorted[*index], sorted[(index + count - 1) % count]);
        let ended_ns = before.end().ns();
        let begins_ns = window.start.ns() + if *index == 0 { frame_ns } else { 0 };
        let is_near = begins_ns.saturating_sub(ended_ns) < slip_ns;
        window.partition == to && before.partition == from && is_near
    };
    (0..count).filter(follows).count() as u64
}

/// What partitions of one core leave in its caches.
fn residue(system: &System, core: CoreId, where_run: &[Vec<CoreId>]) -> Option<Resource> {
    let here: BTreeSet<PartitionId> =
        system.partition_ids().filter(|id| where_run[id.index()].contains(&core)).collect();
    let has_cache = system.board.caches.iter().any(|cache| cache.cores.contains(&core));
    let name = format!("core {}: lines left in its caches", system.core(core).name.value);
    let why = "the next partition can tell by its own speed what was displaced; no datum says that anything is cleared"
        .to_owned();
    (has_cache && here.len() > 1).then(|| row(system, name, why, (&here, &here), |_, _| Some(Capacity::NotComputed)))
}

/// When servers and shares of a set are served: what others do not use moves it. A turn of a share ends whenever its guest has nothing
/// to do, and the next begins, so no datum bounds how many turns there are, nor what they carry.
fn turns(system: &System, id: CoreSetId, set: &CoreSet) -> Option<Resource> {
    let (why, of_servers) = match set.policy {
        CorePolicy::BudgetServer => {
            ("what others use moves a server within its period: told by each instant at which it is served again", true)
        }
        CorePolicy::ProportionalShare { .. } => (
            "what others leave unused goes to whoever has work; no datum bounds how many turns there are in a second",
            false,
        ),
        CorePolicy::WindowTable { .. } | CorePolicy::Dedicated => return None,
    };
    let members: BTreeSet<PartitionId> = servers::members(system, id).collect();
    let name = format!("core set {}: when each is served", set.name.value);
    let carries = |from, to| match of_servers {
        true => servers::may_move(system, id, from, to).then(|| servers::told_to(system, id, set, to)),
        false => Some(Capacity::NotComputed),
    };
    let row = || Resource { donates: true, ..row(system, name, why.to_owned(), (&members, &members), carries) };
    (members.len() > 1).then(row)
}

/// A resource of the board. What is mitigated carries nothing; what is only bounded, or open, can be told.
fn of_channel(system: &System, channel: &InterferenceChannel, where_run: &[Vec<CoreId>]) -> Resource {
    let reach: BTreeSet<PartitionId> = channel.partitions.iter().copied().collect();
    let is_apart = channel.state == State::Mitigated && channel.kind != SharedKind::Device;
    let nobody = BTreeSet::new();
    let (name, why) = (format!("{}: how long it takes", channel.subject), channel_words(channel, is_apart));
    // Partitions of one core never ask at the same time, unless their devices do.
    let of_devices = matches!(channel.kind, SharedKind::Device | SharedKind::Translation);
    let at_once = |from: PartitionId, to: PartitionId| {
        let (from, to) = (&where_run[from.index()], &where_run[to.index()]);
        of_devices || from.iter().any(|core| to.iter().any(|other| other != core))
    };
    let carries = |from, to| at_once(from, to).then_some(Capacity::NotComputed);
    row(system, name, why, (if is_apart { &nobody } else { &reach }, &reach), carries)
}

fn channel_words(channel: &InterferenceChannel, is_apart: bool) -> String {
    match (is_apart, channel.state) {
        (true, _) => format!("mitigated: {}", channel.why),
        (false, State::Bounded) => "its bound limits the wait and not what the wait tells".to_owned(),
        (false, _) => "how long one waits for others can be told".to_owned(),
    }
}

/// A port: what a writer can tell of it goes against the flow that is declared. A sampling port tells the writer nothing.
fn of_port(system: &System, channel: &Channel) -> Option<Resource> {
    let writer = system.partition_of(channel.source.value)?;
    let readers: BTreeSet<PartitionId> = channel
        .destinations
        .iter()
        .filter_map(|end| system.partition_of(end.value))
        .filter(|id| *id != writer)
        .collect();
    let name = &channel.name.value;
    let only_writer = BTreeSet::from([writer]);
    if readers.is_empty() {
        return None;
    }
    match &channel.kind {
        ChannelKind::Sampling { .. } => {
            let why =
                "the reader tells whether it is valid, as the channel permits; the writer tells nothing".to_owned();
            Some(row(system, format!("port {name}: value and validity"), why, (&only_writer, &readers), |_, _| None))
        }
        ChannelKind::Queuing { min_interarrival, batch, .. } => {
            let apart = min_interarrival.map(|apart| apart.value.ns()).or_else(|| source_period(system, channel));
            let full = match apart {
                Some(apart_ns) => of_levels(2, batch.value, apart_ns),
                None => Capacity::NotComputed,
            };
            let why = "a sender is told that a queue is full: a bit for each message that it may send".to_owned();
            let carries = |_, to| (to == writer).then_some(full);
            Some(row(system, format!("port {name}: whether the queue is full"), why, (&readers, &only_writer), carries))
        }
    }
}

fn source_period(system: &System, channel: &Channel) -> Option<u64> {
    match channel.source.value {
        PortEnd::Task(task) => Some(system.task(task).period.value.ns()),
        PortEnd::Partition(_) | PortEnd::Device(_) => None,
    }
}

/// Memory that several may touch: what flows there is declared, and judged as flow.
fn of_regions(system: &System) -> Vec<Resource> {
    let edges = edges(system);
    let of = |index: usize| {
        let of_region = || edges.iter().filter(move |edge| edge.carrier == Carrier::Region(index));
        let (from, to): (BTreeSet<_>, BTreeSet<_>) =
            (of_region().map(|edge| edge.from).collect(), of_region().map(|edge| edge.to).collect());
        let name = format!("region {}: what is in it", system.regions[index].name.value);
        let why = "declared, and judged as information flow".to_owned();
        (!from.is_empty()).then(|| row(system, name, why, (&from, &to), |_, _| None))
    };
    (0..system.regions.len()).filter_map(of).collect()
}

/// The forwarder's time: frames of one sender wait for those of others.
fn of_forwarder(system: &System) -> Option<Resource> {
    let network = system.network.as_ref()?;
    let carried = || system.channels.iter().filter(|channel| channel.forwarded);
    let senders: BTreeSet<PartitionId> =
        carried().filter_map(|channel| system.partition_of(channel.source.value)).collect();
    let receivers =
        carried().flat_map(|channel| &channel.destinations).filter_map(|end| system.partition_of(end.value));
    let receivers: BTreeSet<PartitionId> = receivers.collect();
    let name = format!("forwarder {}: how long a frame takes", system.partition(network.forwarder.value).name.value);
    let why = "frames of one sender wait for those of the others".to_owned();
    (senders.len() > 1).then(|| row(system, name, why, (&senders, &receivers), |_, _| Some(Capacity::NotComputed)))
}
