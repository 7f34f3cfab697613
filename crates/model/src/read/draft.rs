//! The system as far as it could be made: what has an error is missing, and all else is there to be checked.

use super::{
    Context, Document, accepted, board, boot, chain, channel, containment, core_set, flow, growth_rule, health,
    network, partition, platform, region, schedule, system, task, zone,
};
use crate::System;
use crate::system::{
    Accepted, Board, Boot, Chain, Channel, Containment, CoreSet, FlowPolicy, GrowthRule, Health, ModuleSchedule,
    Network, Partition, Platform, Region, Task, Zone,
};

/// A system of which parts may be missing. An element that others refer to by its id keeps its position as `None`.
#[derive(Debug)]
pub(crate) struct Draft {
    pub head: Option<system::Head>,
    pub board: Option<Board>,
    pub platform: Platform,
    pub core_sets: Vec<Option<CoreSet>>,
    pub zones: Vec<Option<Zone>>,
    pub partitions: Vec<Option<Partition>>,
    pub tasks: Vec<Option<Task>>,
    pub regions: Vec<Region>,
    pub channels: Vec<Option<Channel>>,
    pub chains: Vec<Option<Chain>>,
    pub schedules: Vec<ModuleSchedule>,
    pub network: Option<Network>,
    pub flow: Option<FlowPolicy>,
    pub boot: Option<Boot>,
    pub health: Option<Health>,
    pub growth_rules: Vec<GrowthRule>,
    pub containments: Vec<Containment>,
    pub accepted: Vec<Accepted>,
}

impl Draft {
    /// Reads every section.
    pub fn read(doc: &Document, cx: &mut Context) -> Self {
        Self {
            head: system::read(doc, cx),
            board: board::read(doc, cx),
            platform: platform::read(doc, cx),
            core_sets: core_set::read(doc, cx),
            zones: zone::read(doc, cx),
            partitions: partition::read(doc, cx),
            tasks: task::read(doc, cx),
            regions: region::read(doc, cx),
            channels: channel::read(doc, cx),
            chains: chain::read(doc, cx),
            schedules: schedule::read(doc, cx),
            network: network::read(doc, cx),
            flow: flow::read(doc, cx),
            boot: boot::read(doc, cx),
            health: health::read(doc, cx),
            growth_rules: growth_rule::read(doc, cx),
            containments: containment::read(doc, cx),
            accepted: accepted::read(doc, cx),
        }
    }

    /// The system, where nothing is missing.
    pub fn finish(self) -> Option<System> {
        let head = self.head?;
        Some(System {
            name: head.name,
            description: head.description,
            plan: head.plan,
            frame: head.frame,
            deadline_phase: head.deadline_phase,
            levels: head.levels,
            milestone: head.milestone,
            robust_partitioning: head.robust_partitioning,
            board: self.board?,
            platform: self.platform,
            core_sets: whole(self.core_sets)?,
            zones: whole(self.zones)?,
            partitions: whole(self.partitions)?,
            tasks: whole(self.tasks)?,
            regions: self.regions,
            channels: whole(self.channels)?,
            chains: whole(self.chains)?,
            schedules: self.schedules,
            network: self.network,
            flow: self.flow,
            boot: self.boot,
            health: self.health,
            growth_rules: self.growth_rules,
            containments: self.containments,
            accepted: self.accepted,
        })
    }
}

fn whole<T>(elements: Vec<Option<T>>) -> Option<Vec<T>> {
    elements.into_iter().collect()
}
