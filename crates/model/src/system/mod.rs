//! The resolved system: every name looked up, every element with its place.
//!
//! A datum that the file does not give is `None`: unknown, never zero. What needs it is then *not analysed*.

mod board;
mod boot;
mod chain;
mod channel;
mod containment;
mod devicetree;
mod flow;
mod growth;
mod health;
mod partition;
mod platform;
mod protection;
mod schedule;
mod shared;
mod task;

pub use board::{
    Arbitration, Board, Cache, Core, Device, Interconnect, Interrupt, InterruptPolicy, Master, Memory, Waiting,
};
pub use boot::{Boot, BootNeed, BootStage};
pub use chain::{Chain, ChainStep, Need};
pub use channel::{Channel, ChannelKind, FlowCheck, PortEnd, QueueRead};
pub use containment::Containment;
pub use devicetree::{AddressRange, Devicetree, ReservedMemory, ReservedPlace, TreeMemory};
pub use flow::{FlowException, FlowPolicy, FlowRule, Zone};
pub use growth::{Accepted, GrowthRule, GrowthSubject};
pub use health::{Escalation, Health, HealthAction, HealthEntry, HealthError, HealthLevel};
pub use partition::{
    Guest, Locking, OpaqueNeed, Partition, Placed, Region, RegionOwner, Restart, Rights, Role, RunGrant,
};
pub use platform::{Platform, PortCost, Regulation};
pub use protection::{ExchangeFault, FaultAnswer, Protection};
pub use schedule::{ChangeAction, CorePolicy, CoreSet, ModuleSchedule, Network, ScheduledPartition};
pub use shared::{Checked, Closure, Setting, Shared, SharedKind};
pub use task::{CriticalSection, Exchange, PeakRate, Provenance, ProvenanceClass, Release, Task};

use crate::Digest;
use diagnostic::Located;
use quantity::{ChainId, ChannelId, CoreId, Duration, PartitionId, TaskId};
use serde::Serialize;

/// Against which phase of the frame deadlines must hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum DeadlinePhase {
    /// In any phase: every task counts as free-running.
    Any,
    /// In the phase of the frame: frame-aligned tasks are analysed as aligned.
    Frame,
}

/// A whole system, resolved.
#[derive(Debug, Clone, Serialize)]
pub struct System {
    /// The system's name.
    pub name: Located<String>,
    /// What it is, in a sentence or two.
    pub description: Option<String>,
    /// The plan that `check` takes by default, relative to the system file. No part of the digest.
    #[serde(skip)]
    pub plan: Option<Located<String>>,
    /// The major time frame of every window table; above zero.
    pub frame: Located<Duration>,
    /// The phase in which deadlines must hold.
    pub deadline_phase: DeadlinePhase,
    /// The level scale, lowest first, in the user's own words. Empty where none is declared.
    pub levels: Vec<Located<String>>,
    /// The board.
    pub board: Board,
    /// The overheads and rules of the hypervisor on this board.
    pub platform: Platform,
    /// Sets of cores, each scheduled by one policy. Every active core is in exactly one set, any other in none.
    pub core_sets: Vec<CoreSet>,
    /// The zones of the flow policy.
    pub zones: Vec<Zone>,
    /// The partitions in file order.
    pub partitions: Vec<Partition>,
    /// The tasks of all partitions: in partition order, and within one in file order.
    pub tasks: Vec<Task>,
    /// Memory asked for beyond each partition's own RAM: the hypervisor's, buffers, shared objects.
    pub regions: Vec<Region>,
    /// The channels in file order.
    pub channels: Vec<Channel>,
    /// The cause-effect chains in file order.
    pub chains: Vec<Chain>,
    /// The module schedules; at least one, the first is current after boot.
    pub schedules: Vec<ModuleSchedule>,
    /// The internal network, where one partition forwards the others' messages.
    pub network: Option<Network>,
    /// The permitted flows.
    pub flow: Option<FlowPolicy>,
    /// Boot stages and needs.
    pub boot: Option<Boot>,
    /// The health-monitor table.
    pub health: Option<Health>,
    /// The review at which the growth rules are judged.
    pub milestone: Option<Located<String>>,
    /// Whether robust time and resource partitioning are claimed of every partition.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub robust_partitioning: Option<Located<bool>>,
    /// The growth rules.
    pub growth_rules: Vec<GrowthRule>,
    /// Whom faults may reach; judged by a campaign.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub containments: Vec<Containment>,
    /// Accepted deviations. They excuse, they change no result: no part of the digest.
    #[serde(skip)]
    pub accepted: Vec<Accepted>,
}

impl System {
    /// What identifies the system: equal for equal content, however it is laid out in files.
    pub fn digest(&self) -> Digest {
        Digest::of_value(self)
    }

    /// The core behind an id of this system.
    pub fn core(&self, id: CoreId) -> &Core {
        &self.board.cores[id.index()]
    }

    /// The partition behind an id of this system.
    pub fn partition(&self, id: PartitionId) -> &Partition {
        &self.partitions[id.index()]
    }

    /// The task behind an id of this system.
    pub fn task(&self, id: TaskId) -> &Task {
        &self.tasks[id.index()]
    }

    /// The channel behind an id of this system.
    pub fn channel(&self, id: ChannelId) -> &Channel {
        &self.channels[id.index()]
    }

    /// The chain behind an id of this system.
    pub fn chain(&self, id: ChainId) -> &Chain {
        &self.chains[id.index()]
    }

    /// The ids of all partitions in file order.
    pub fn partition_ids(&self) -> impl Iterator<Item = PartitionId> + use<> {
        (0..self.partitions.len()).map(PartitionId::new)
    }

    /// The ids of all tasks in order.
    pub fn task_ids(&self) -> impl Iterator<Item = TaskId> + use<> {
        (0..self.tasks.len()).map(TaskId::new)
    }

    /// The partition of that name.
    pub fn partition_named(&self, name: &str) -> Option<PartitionId> {
        self.partitions.iter().position(|p| p.name.value == name).map(PartitionId::new)
    }

    /// A task as people and claims name it: `PARTITION.task`.
    pub fn task_label(&self, id: TaskId) -> String {
        let task = self.task(id);
        format!("{}.{}", self.partition(task.partition).name.value, task.name.value)
    }

    /// The partition behind an end of a channel; a device speaks for its owner, where it has one.
    pub fn partition_of(&self, end: PortEnd) -> Option<PartitionId> {
        match end {
            PortEnd::Task(task) => Some(self.task(task).partition),
            PortEnd::Partition(partition) => Some(partition),
            PortEnd::Device(device) => self.board.devices[device.index()].owner.map(|owner| owner.value),
        }
    }

    /// The release jitter of a task: its own, or else the platform's; `None` where neither is given.
    pub fn jitter(&self, id: TaskId) -> Option<Duration> {
        self.task(id).jitter.map(|j| j.value).or(self.platform.release_jitter.map(|j| j.value))
    }

    /// The blocking time of a task: its own, or else the platform's longest section that cannot be preempted;
    /// `None` where neither is given. It counts only for tasks that have a less urgent one in their partition.
    pub fn blocking(&self, id: TaskId) -> Option<Duration> {
        self.task(id).blocking.map(|b| b.value).or(self.platform.nonpreemptable.map(|b| b.value))
    }

    /// The phase in which the deadlines of a partition must hold.
    pub fn deadline_phase(&self, id: PartitionId) -> DeadlinePhase {
        self.partition(id).deadline_phase.unwrap_or(self.deadline_phase)
    }

    /// The growth rule for a subject that asks for most among those judged now: rules without a milestone, and
    /// rules for the milestone of the file.
    pub fn growth_rule(&self, subject: GrowthSubject) -> Option<&GrowthRule> {
        let now = self.milestone.as_ref().map(|m| m.value.as_str());
        let applies = |rule: &&GrowthRule| rule.milestone.as_ref().is_none_or(|m| Some(m.value.as_str()) == now);
        let rules = self.growth_rules.iter().filter(|rule| rule.subject.value == subject);
        rules.filter(applies).max_by_key(|rule| rule.at_least.value)
    }
}
