//! Runs of the simulator in words, numbers and pictures. A simulation is not a bound, and nothing here says that it is.

mod longest;
mod observed;
mod picture;
mod record;
mod words;

pub use longest::{CampaignFound, RunDrawn};
pub use observed::{ChainSeen, Observation, Observed, PortSeen, TaskSeen};
pub use picture::picture;
pub use record::Recording;
pub(crate) use words::stall_words;
pub use words::{event_words, scenario_words};

use simulator::{Machine, Scenario, Timeline, What};

/// What every answer about runs says of itself.
pub const CAUTION: &str = "A simulation is not a bound: it shows what happened in the runs that were made, and nothing of \
                           others. Inputs are taken as valid. Results support an engineering argument; acceptance rests \
                           with the certification authority or the assessor. The tool is not qualified.";

/// One run, as it is told.
#[derive(Debug, Clone, Copy)]
pub struct Told<'r> {
    /// The machine.
    pub machine: &'r Machine,
    /// The scenario.
    pub scenario: &'r Scenario,
    /// What happened, or the part of it that is wanted.
    pub timeline: &'r Timeline,
    /// The shade of each partition, from 0 to 4: the more critical, the darker. Those that are missing are 0.
    pub shades: &'r [usize],
}

/// The shade of each partition of a system.
pub fn shades(system: &model::System) -> Vec<usize> {
    (0..system.partitions.len()).map(|at| crate::html::shade(system, quantity::PartitionId::new(at))).collect()
}

impl Told<'_> {
    /// The marks of the part: remarkable events that are no task's own, each with a letter.
    pub(crate) fn marks(&self) -> Vec<(char, simulator::Event)> {
        let line = self.timeline;
        let inside = line.remarkable.iter().filter(|event| (line.from_ns..line.to_ns).contains(&event.at_ns));
        ('A'..='Z').zip(inside.filter(|event| is_mark(event.what)).copied()).collect()
    }

    /// The core on which a task is at home: the first that serves a lane on which it may execute.
    pub(crate) fn home(&self, task: usize) -> Option<usize> {
        let task = self.machine.tasks.get(task)?;
        let mine = |lane: usize| task.lane.is_none_or(|pinned| pinned == lane);
        let lanes = self.machine.partitions.get(task.partition)?.lanes.clone();
        lanes.filter(|lane| mine(*lane)).find_map(|lane| self.core_of(lane))
    }

    /// The first core that serves a lane in the part; where none does, the first that may.
    pub(crate) fn core_of(&self, lane: usize) -> Option<usize> {
        let serves = |core: &simulator::timeline::CoreLine| core.served.iter().any(|served| served.lane == lane);
        let may = || self.machine.lanes.get(lane)?.cores.first().copied();
        self.timeline.cores.iter().position(serves).or_else(may)
    }

    /// The name of a partition.
    pub(crate) fn partition(&self, partition: usize) -> &str {
        self.machine.partitions.get(partition).map_or("?", |partition| &partition.name)
    }

    /// The partition of a lane.
    pub(crate) fn partition_of(&self, lane: usize) -> usize {
        self.machine.lanes.get(lane).map_or(usize::MAX, |lane| lane.partition)
    }

    /// A lane in words: its partition, with its number where the partition has several.
    pub(crate) fn lane(&self, lane: usize) -> String {
        let Some(found) = self.machine.lanes.get(lane) else { return "?".to_owned() };
        let name = self.partition(found.partition);
        let several = self.machine.partitions.get(found.partition).is_some_and(|one| one.lanes.len() > 1);
        if several { format!("{name}/{}", found.number) } else { name.to_owned() }
    }

    /// The label of a task.
    pub(crate) fn task(&self, task: usize) -> &str {
        self.machine.tasks.get(task).map_or("?", |task| &task.label)
    }
}

/// Events of one port or of one task's misses as one, with how many there are; in the order of the first of each.
pub(crate) fn grouped<'e>(events: impl IntoIterator<Item = &'e simulator::Event>) -> Vec<(simulator::Event, u64)> {
    let mut places: std::collections::BTreeMap<(u8, usize), usize> = std::collections::BTreeMap::new();
    let mut groups: Vec<(simulator::Event, u64)> = Vec::new();
    for event in events {
        let key = match event.what {
            What::Lost { input } => Some((0, input)),
            What::Reads { input, .. } => Some((1, input)),
            What::Misses { task, .. } => Some((2, task)),
            What::Dropped { task, .. } => Some((3, task)),
            _ => None,
        };
        match key.and_then(|key| places.get(&key)) {
            Some(&place) => groups[place].1 += 1,
            None => {
                key.map(|key| places.insert(key, groups.len()));
                groups.push((*event, 1));
            }
        }
    }
    groups
}

/// How often more, in words; nothing for once.
pub(crate) fn times_more(count: u64) -> String {
    match count {
        0 | 1 => String::new(),
        2 => " (and once more)".to_owned(),
        _ => format!(" (and {} times more)", count - 1),
    }
}

/// Whether an event is marked with a letter: it is no task's or port's own.
const fn is_mark(what: What) -> bool {
    !matches!(what, What::Misses { .. } | What::Dropped { .. } | What::Lost { .. } | What::Reads { .. })
}
