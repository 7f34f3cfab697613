//! A system under a plan, ready to run: names are indices, charges are worked out, unknowns are left out and said.

mod bus;
mod monitor;
mod parts;
mod time;

pub use bus::{Bus, Device, Interrupt, Master, Moves};
pub use monitor::{Action, Counted, Escalation, Monitor, Rule};
pub use parts::{Chain, Channel, Input, Network, Partition, Port, Recovery, Step, Task};
pub use time::{Arrivals, Core, Grant, Guest, Indices, Lane, Policy, Tables, Window};

/// A system under a plan. Indices run over its lists; times are nanoseconds.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Machine {
    /// The frame of every window table; above zero.
    pub frame_ns: u64,
    /// The cores.
    pub cores: Vec<Core>,
    /// The module schedules; at least one.
    pub schedules: Vec<Tables>,
    /// The virtual cores of all partitions, in partition order.
    pub lanes: Vec<Lane>,
    /// The partitions.
    pub partitions: Vec<Partition>,
    /// The tasks, in partition order.
    pub tasks: Vec<Task>,
    /// The channels.
    pub channels: Vec<Channel>,
    /// The destinations of all channels, in channel order.
    pub inputs: Vec<Input>,
    /// The cause-effect chains.
    pub chains: Vec<Chain>,
    /// The internal network.
    pub network: Option<Network>,
    /// The devices.
    pub devices: Vec<Device>,
    /// The path to memory.
    pub bus: Option<Bus>,
    /// The health-monitor table.
    pub monitor: Option<Monitor>,
    /// From reset to the first frame, in nanoseconds; `None` where it is not declared.
    pub until_first_frame_ns: Option<u64>,
    /// What does not run, and which datum is missing for it.
    pub left_out: Vec<LeftOut>,
}

/// A partition that does not run, since a datum is missing. Its windows stay, and nothing comes of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftOut {
    /// The partition.
    pub partition: usize,
    /// Which datum of which of its parts is missing, in a sentence.
    pub reason: String,
}

impl Machine {
    /// Whether the partition runs at all.
    pub fn runs(&self, partition: usize) -> bool {
        self.left_out.iter().all(|left| left.partition != partition)
    }

    /// Whether jobs of a task arrive in a module schedule.
    pub fn is_active(&self, schedule: usize, task: usize) -> bool {
        self.schedules.get(schedule).and_then(|tables| tables.active.get(task)).copied().unwrap_or(true)
    }
}
