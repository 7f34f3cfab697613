//! Where the fast engine does not apply, and why.

use crate::machine::{Channel, Grant, Guest, Input, Policy, Task};
use crate::scenario::{Begin, Contention, Times};
use crate::{Machine, Scenario};
use std::fmt;

/// Why a machine, or one scenario of it, needs the general engine. Indices are those of the [`Machine`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unfit {
    /// There is no module schedule of that index, or the frame has no length.
    Schedule,
    /// Chains are watched. A caller who does not need them takes a machine without.
    Chains,
    /// Messages go through the internal network.
    Network,
    /// The core is not shared by a synchronised window table without slips.
    Core(usize),
    /// The windows of the core are not in order inside the frame, or another core serves one of its partitions too.
    Windows(usize),
    /// The partition has several virtual cores, tasks beyond 64, or another guest than preemptive fixed priority.
    Partition(usize),
    /// The task shares its priority, is too long, may be kept waiting by a less urgent one, or exchanges messages at arrival and deadline.
    Task(usize),
    /// The channel is written by several tasks.
    Channel(usize),
    /// The input is read by several tasks.
    Input(usize),
    /// The scenario boots, changes the module schedule, is of another schedule, or has its jobs given.
    Scenario,
    /// The fault, by its index in the scenario, is one of several, or reaches beyond one partition.
    Fault(usize),
    /// A deadline of the partition is missed, and the health monitor may answer that.
    Answered(usize),
    /// The run has too many jobs or windows to list them.
    Long,
}

impl fmt::Display for Unfit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Schedule => f.write_str("there is no such module schedule"),
            Self::Chains => f.write_str("chains are watched"),
            Self::Network => f.write_str("messages go through the internal network"),
            Self::Core(core) => write!(f, "core {core} has no synchronised window table without slips"),
            Self::Windows(core) => {
                write!(f, "the windows of core {core} are not in order inside the frame, or not the only ones")
            }
            Self::Partition(partition) => {
                write!(
                    f,
                    "partition {partition} is not one virtual core with up to 64 tasks by preemptive fixed priority"
                )
            }
            Self::Task(task) => {
                write!(f, "task {task} shares its priority, blocks, or exchanges at arrival and deadline")
            }
            Self::Channel(channel) => write!(f, "channel {channel} is written by several tasks"),
            Self::Input(input) => write!(f, "input {input} is read by several tasks"),
            Self::Scenario => f.write_str("the scenario boots, changes the module schedule or gives its jobs"),
            Self::Fault(fault) => write!(f, "fault {fault} is one of several or reaches beyond one partition"),
            Self::Answered(partition) => {
                write!(f, "a deadline of partition {partition} is missed, and the health monitor may answer")
            }
            Self::Long => f.write_str("the run has too many jobs or windows to list"),
        }
    }
}

impl std::error::Error for Unfit {}

/// More jobs or windows of one partition than this are not listed.
pub(super) const MOST_LISTED: u64 = 1 << 24;
/// No run lasts longer, so that no sum of instants overflows: about nine years.
const LONGEST_NS: u64 = 1 << 58;

/// # Errors
/// [`Unfit`] where the machine under that module schedule needs the general engine.
pub(super) fn check_machine(machine: &Machine, schedule: usize) -> Result<(), Unfit> {
    let tables = machine.schedules.get(schedule).filter(|_| machine.frame_ns > 0).ok_or(Unfit::Schedule)?;
    if !machine.chains.is_empty() {
        return Err(Unfit::Chains);
    }
    if machine.network.is_some() || machine.channels.iter().any(|channel| channel.frame_cost_ns.is_some()) {
        return Err(Unfit::Network);
    }
    first(&machine.cores, Unfit::Core, |core| has_table(core.policy))?;
    let mut served_on = vec![None; machine.lanes.len()];
    for core in 0..machine.cores.len() {
        let windows = tables.cores.get(core).ok_or(Unfit::Windows(core))?;
        let mut end_ns = 0;
        for window in windows {
            let ordered = end_ns <= window.start_ns && window.start_ns <= window.end_ns;
            let served = served_on.get_mut(window.lane).map(|on: &mut Option<usize>| *on.get_or_insert(core));
            if !ordered || window.end_ns > machine.frame_ns || served != Some(core) {
                return Err(Unfit::Windows(core));
            }
            end_ns = window.end_ns;
        }
    }
    check_partitions(machine, schedule)?;
    check_messages(machine)
}

fn has_table(policy: Policy) -> bool {
    matches!(policy, Policy::Table { synchronised: true, slip_ns: 0 } | Policy::Off)
}

/// The first of a list that does not hold, as an error.
fn first<T>(list: &[T], unfit: fn(usize) -> Unfit, holds: impl Fn(&T) -> bool) -> Result<(), Unfit> {
    list.iter().position(|one| !holds(one)).map_or(Ok(()), |index| Err(unfit(index)))
}

fn check_partitions(machine: &Machine, schedule: usize) -> Result<(), Unfit> {
    let grants = &machine.schedules[schedule].grants;
    let granted = |lane: usize| *grants.get(lane).unwrap_or(&machine.lanes[lane].grant);
    first(&machine.partitions, Unfit::Partition, |partition| {
        let fixed = matches!(partition.guest, Guest::FixedPriority | Guest::Opaque { budget_ns: None | Some(0), .. });
        let lanes = partition.lanes.clone();
        let table = lanes.clone().all(|lane| matches!(granted(lane), Grant::Windows | Grant::Nothing));
        fixed && table && lanes.len() <= 1 && partition.tasks.len() <= 64
    })?;
    first(&machine.tasks, Unfit::Task, |task| {
        let equals = machine.partitions[task.partition].tasks.clone().map(|other| &machine.tasks[other]);
        let alone = equals.filter(|other| other.priority == task.priority).count() == 1;
        alone && task.blocking_ns == 0 && !task.logical && task.charged_ns.max(task.least_ns) < LONGEST_NS
    })
}

fn check_messages(machine: &Machine) -> Result<(), Unfit> {
    let times = |of: fn(&Task) -> &Vec<usize>, index: usize| {
        machine.tasks.iter().flat_map(of).filter(|one| **one == index).count()
    };
    let channels = |index: usize, _: &Channel| times(|task| &task.writes, index) <= 1;
    let inputs = |index: usize, _: &Input| times(|task| &task.reads, index) <= 1;
    let channel = machine.channels.iter().enumerate().find(|(index, channel)| !channels(*index, channel));
    let input = machine.inputs.iter().enumerate().find(|(index, input)| !inputs(*index, input));
    match (channel, input) {
        (Some((index, _)), _) => Err(Unfit::Channel(index)),
        (_, Some((index, _))) => Err(Unfit::Input(index)),
        (None, None) => Ok(()),
    }
}

/// # Errors
/// [`Unfit`] where the scenario, its faults aside, needs the general engine.
pub(super) fn check_scenario(scenario: &Scenario, schedule: usize) -> Result<(), Unfit> {
    let plain = scenario.begin == Begin::Running
        && scenario.schedule == schedule
        && scenario.changes.is_empty()
        && scenario.contention == Contention::Full
        && matches!(scenario.times, Times::Drawn(_));
    match (plain, scenario.span_ns > LONGEST_NS) {
        (false, _) => Err(Unfit::Scenario),
        (true, true) => Err(Unfit::Long),
        (true, false) => Ok(()),
    }
}
