//! Partitions and the memory that they ask for.

use super::{ChangeAction, DeadlinePhase, Protection};
use diagnostic::Located;
use quantity::{Bytes, CoreId, CoreSetId, Duration, PartitionId, Ppm, TaskId, ZoneId};
use serde::Serialize;

/// One partition.
#[derive(Debug, Clone, Serialize)]
pub struct Partition {
    /// The partition's name, unique in the system.
    pub name: Located<String>,
    /// What it is for.
    pub function: Option<String>,
    /// Who delivers it.
    pub supplier: Option<String>,
    /// Its level: an index into the system's level scale, larger is more critical.
    pub level: Option<Located<usize>>,
    /// Its zone.
    pub zone: Option<Located<ZoneId>>,
    /// What it does for the others.
    pub role: Role,
    /// How its tasks are scheduled inside.
    pub guest: Located<Guest>,
    /// The number of virtual cores; one unless declared.
    pub virtual_cores: Located<u32>,
    /// The time that it asks for.
    pub grant: Option<RunGrant>,
    /// The set of cores that it runs in, where declared.
    pub core_set: Option<Located<CoreSetId>>,
    /// The cores that it is pinned to, one for each virtual core; empty where the planner is free.
    pub cores: Vec<Located<CoreId>>,
    /// Partitions that must not share a core with it.
    pub apart_from: Vec<Located<PartitionId>>,
    /// Partitions that must share its core.
    pub together_with: Vec<Located<PartitionId>>,
    /// The phase in which its deadlines must hold, where it differs from the system's.
    pub deadline_phase: Option<DeadlinePhase>,
    /// The RAM that it asks for.
    pub ram: Option<Located<Bytes>>,
    /// What the devicetree reserves for it: an index into the reserved memory.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reserved_as: Option<Located<usize>>,
    /// The size of its image in storage.
    pub image: Option<Located<Bytes>>,
    /// The heap within its RAM; nothing is said where not declared.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub heap: Option<Located<Bytes>>,
    /// The share of its RAM that image, heap and stacks must leave.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ram_margin: Option<Located<Ppm>>,
    /// What must lie free on both sides of its RAM.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub guard: Option<Located<Bytes>>,
    /// The working set that its cache ways must hold.
    pub working_set: Option<Located<Bytes>>,
    /// The cache lines that it may use again after a pause.
    pub useful_lines: Option<Located<u64>>,
    /// The cache lines that it touches at the most while it runs.
    pub evicting_lines: Option<Located<u64>>,
    /// Initialisation times and outage needs.
    pub restart: Option<Restart>,
    /// What it does when the module schedule changes.
    pub schedule_change: Option<Located<ChangeAction>>,
    /// Whether every module schedule must hold it.
    pub never_stops: bool,
    /// Whether it may fail in any way whatever.
    pub untrusted: bool,
    /// The partition that builds it at boot, where one does.
    pub built_by: Option<Located<PartitionId>>,
    /// The execution time that the builder needs to build it, in the builder's own time; given only beside `built_by`.
    pub build_time: Option<Located<Duration>>,
    /// How the named resources of its tasks are protected; unknown where not declared.
    pub locking: Option<Located<Locking>>,
    /// Its tasks in file order.
    pub tasks: Vec<TaskId>,
}

/// What a partition does for the others.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Role {
    /// Nothing: a guest.
    Guest,
    /// It builds the other partitions at boot.
    Control,
    /// It forwards the others' messages.
    Forwarder,
}

/// How the tasks of a partition are scheduled inside it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub enum Guest {
    /// Preemptive fixed priority.
    FixedPriority,
    /// Earliest deadline first.
    Edf,
    /// Fixed priority in which a begun job is not displaced by its own partition.
    Cooperative,
    /// Nothing is known but what it needs in all.
    Opaque(OpaqueNeed),
}

/// How the named resources that tasks of one partition share are protected.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Locking {
    /// Immediate priority ceiling: who holds a resource runs at the highest priority of all its users, at once.
    Ceiling,
    /// Priority inheritance: who holds a resource runs at the highest priority of those who wait for it.
    Inheritance,
}

/// What an opaque guest needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum OpaqueNeed {
    /// An amount of time in every period.
    Periodic {
        /// The time.
        budget: Duration,
        /// The period.
        period: Duration,
    },
    /// A share of a core that comes at most `delay` late.
    Rate {
        /// The share.
        rate: Ppm,
        /// The delay.
        delay: Duration,
    },
}

/// The time that a partition asks its core set for, each virtual core alike.
#[derive(Debug, Clone, Serialize)]
pub enum RunGrant {
    /// Windows: a budget, head included, in every period of the partition.
    Windows {
        /// The partition's period; it divides the frame.
        period: Located<Duration>,
        /// The budget in each period, heads of windows included; `None` where the planner is to find it.
        budget: Option<Located<Duration>>,
    },
    /// A budget server.
    Server {
        /// The budget.
        budget: Located<Duration>,
        /// The period.
        period: Located<Duration>,
        /// The deadline, the period where not declared.
        deadline: Located<Duration>,
    },
    /// A proportional share.
    Share {
        /// The weight against the others of the set.
        share: Located<u32>,
        /// The most it may take, as a share of a core.
        ceiling: Option<Located<Ppm>>,
    },
}

/// Initialisation and outage of a partition.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Restart {
    /// Execution time of the initialisation after a cold start.
    pub cold_init: Option<Located<Duration>>,
    /// Execution time of the initialisation after a warm start.
    pub warm_init: Option<Located<Duration>>,
    /// The longest time until a fault is noticed.
    pub detection: Option<Located<Duration>>,
    /// The time that the action itself takes.
    pub action: Option<Located<Duration>>,
    /// The longest outage allowed after a warm start.
    pub warm_need: Option<Located<Duration>>,
    /// The longest outage allowed after a cold start.
    pub cold_need: Option<Located<Duration>>,
    /// The task whose first output ends the outage.
    pub ends_with: Option<Located<TaskId>>,
    /// What a warm start keeps, in words.
    pub keeps: Option<String>,
}

/// Memory that a plan places.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Placed {
    /// The RAM of a partition.
    Partition(PartitionId),
    /// A region of the system: an index into its regions.
    Region(usize),
}

/// Memory asked for beyond the partitions' own RAM.
#[derive(Debug, Clone, Serialize)]
pub struct Region {
    /// The region's name, unique among regions and partitions.
    pub name: Located<String>,
    /// Its size.
    pub size: Located<Bytes>,
    /// Whose it is.
    pub owner: RegionOwner,
    /// What its owner may do with it; anything where not declared.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub owner_rights: Option<Rights>,
    /// Who else may do what with it.
    pub access: Vec<(Located<PartitionId>, Rights)>,
    /// Why what is written there may be executed, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub writable_code: Option<Located<String>>,
    /// How several writers keep out of each other's way, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub protocol: Option<Located<String>>,
    /// What stands against faults of what is exchanged there, where something is declared.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub measures: Option<Located<Protection>>,
    /// What must lie free on both sides of it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub guard: Option<Located<Bytes>>,
    /// What the devicetree reserves for it: an index into the reserved memory.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reserved_as: Option<Located<usize>>,
}

/// Whose memory a region is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum RegionOwner {
    /// The hypervisor's.
    Hypervisor,
    /// A partition's.
    Partition(PartitionId),
    /// Nobody's own: a declared shared object.
    Shared,
}

/// Access rights to memory.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct Rights {
    /// May read.
    pub read: bool,
    /// May write.
    pub write: bool,
    /// May execute.
    pub execute: bool,
}
