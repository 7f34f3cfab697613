//! What may carry something from one partition to another: channels, shared regions, devices served for others.

use diagnostic::Span;
use model::System;
use model::system::{PortEnd, RegionOwner};
use quantity::{ChannelId, PartitionId, TaskId};

/// One way by which something gets from one partition into another.
#[derive(Clone)]
pub(crate) struct Edge {
    pub from: PartitionId,
    pub to: PartitionId,
    /// The task that it leaves, where one is named.
    pub out_of: Option<TaskId>,
    /// The task that it reaches, where one is named.
    pub into: Option<TaskId>,
    pub carrier: Carrier,
    /// Where the carrier is declared.
    pub place: Span,
}

/// What carries it.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Carrier {
    Channel(ChannelId),
    /// An index into the system's regions.
    Region(usize),
    /// An index into the board's devices.
    Device(usize),
}

impl Carrier {
    /// What the owner of a device lets through of what others ask of it.
    pub fn service(self, system: &System) -> Option<&str> {
        let Self::Device(index) = self else { return None };
        system.board.devices[index].service.as_ref().map(|service| service.value.as_str())
    }

    /// Its name in claims.
    pub fn subject(self, system: &System) -> String {
        match self {
            Self::Channel(id) => system.channel(id).name.value.clone(),
            Self::Region(index) => format!("region/{}", system.regions[index].name.value),
            Self::Device(index) => format!("device/{}", system.board.devices[index].name.value),
        }
    }

    /// Its name, with what it is.
    pub fn words(self, system: &System) -> String {
        match self {
            Self::Channel(id) => format!("channel {}", system.channel(id).name.value),
            Self::Region(index) => format!("region `{}`", system.regions[index].name.value),
            Self::Device(index) => format!("device `{}`", system.board.devices[index].name.value),
        }
    }
}

/// Every such way, channels first, in the order of the file.
pub(crate) fn edges(system: &System) -> Vec<Edge> {
    let channels = (0..system.channels.len()).map(ChannelId::new).flat_map(|id| of_channel(system, id));
    let regions = (0..system.regions.len()).flat_map(|index| of_region(system, index));
    let devices = (0..system.board.devices.len()).flat_map(|index| of_device(system, index));
    channels.chain(regions).chain(devices).filter(|edge| edge.from != edge.to).collect()
}

fn of_channel(system: &System, id: ChannelId) -> Vec<Edge> {
    let channel = system.channel(id);
    let source = channel.source.value;
    let Some(from) = system.partition_of(source) else { return Vec::new() };
    let edge = |end: PortEnd| {
        let to = system.partition_of(end)?;
        let place = channel.name.span;
        Some(Edge { from, to, out_of: task_of(source), into: task_of(end), carrier: Carrier::Channel(id), place })
    };
    channel.destinations.iter().filter_map(|end| edge(end.value)).collect()
}

/// From everybody who may write it to everybody who may read it.
fn of_region(system: &System, index: usize) -> Vec<Edge> {
    let region = &system.regions[index];
    let owner = match region.owner {
        RegionOwner::Partition(owner) => Some(owner),
        RegionOwner::Hypervisor | RegionOwner::Shared => None,
    };
    let given = |wanted: fn(&model::system::Rights) -> bool| {
        let list = region.access.iter().filter(move |(_, rights)| wanted(rights)).map(|(who, _)| who.value);
        owner.into_iter().chain(list).collect::<Vec<_>>()
    };
    let (writers, readers) = (given(|rights| rights.write), given(|rights| rights.read || rights.execute));
    let (carrier, place) = (Carrier::Region(index), region.name.span);
    let edge = |(from, to)| Edge { from, to, out_of: None, into: None, carrier, place };
    writers.iter().flat_map(|from| readers.iter().map(|to| (*from, *to))).map(edge).collect()
}

/// Between the owner who serves a device and everybody who shares it, both ways.
fn of_device(system: &System, index: usize) -> Vec<Edge> {
    let device = &system.board.devices[index];
    let Some(owner) = device.owner.as_ref().map(|owner| owner.value) else { return Vec::new() };
    let (carrier, place) = (Carrier::Device(index), device.name.span);
    let edge = |from, to| Edge { from, to, out_of: None, into: None, carrier, place };
    let sharers = device.shared_with.iter().map(|sharer| sharer.value);
    sharers.flat_map(|sharer| [edge(owner, sharer), edge(sharer, owner)]).collect()
}

const fn task_of(end: PortEnd) -> Option<TaskId> {
    match end {
        PortEnd::Task(task) => Some(task),
        PortEnd::Partition(_) | PortEnd::Device(_) => None,
    }
}

/// The level of a partition: its place in the scale of the file.
pub(crate) fn level(system: &System, id: PartitionId) -> Option<usize> {
    system.partition(id).level.as_ref().map(|level| level.value)
}
