//! A machine and the faults of a scenario become what processes and dispatchers are told, and what of it cannot be kept here.

use crate::faults::{Outside, share_out};
use crate::orders::{Fault, Input, Output, Port, Subject, Task, Turns};
use model::System;
use quantity::TaskId;
use simulator::machine::{self, Arrivals, Guest, Policy};
use simulator::{Fault as Asked, Machine};
use std::collections::BTreeMap;

/// The shortest period, and the shortest window, that processes can be asked to keep.
const SHORTEST_NS: u64 = 100_000;
/// The most messages that a pipe holds without asking the kernel for more: 64 KiB of them.
const PIPE_MESSAGES: u64 = 4096;

/// Everything that is told to somebody.
#[derive(Debug, Clone)]
pub struct Prepared {
    /// The names of everybody of whom something is recorded.
    pub names: Vec<String>,
    /// What of the plan cannot be kept here, a sentence each.
    pub cannot: Vec<String>,
    pub(crate) frame_ns: u64,
    pub(crate) cores: Vec<CorePlan>,
    pub(crate) lanes: Vec<LanePlan>,
    /// The partition of each number, as a subject.
    pub(crate) partitions: Vec<Subject>,
    pub(crate) frame: Subject,
    pub(crate) slots: usize,
    /// How many bytes the pipe of each queue is asked to hold.
    pub(crate) pipes: BTreeMap<usize, u64>,
    pub(crate) outside: Outside,
}

/// A core whose windows are kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct CorePlan {
    /// Its name.
    pub(crate) name: String,
    /// The windows of a frame, by start; touching ones of one lane are one.
    pub(crate) windows: Vec<Span>,
}

/// A window: `[start, end)` in every frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Span {
    pub(crate) start_ns: u64,
    pub(crate) end_ns: u64,
    /// An index into the lanes.
    pub(crate) lane: usize,
}

/// One virtual core of a partition: one process.
#[derive(Debug, Clone)]
pub(crate) struct LanePlan {
    /// The partition, as an index.
    pub(crate) partition: usize,
    /// An index into the cores.
    pub(crate) core: usize,
    /// The name of its threads.
    pub(crate) thread: String,
    pub(crate) turns: Turns,
    /// Its tasks, as indices of the machine.
    pub(crate) tasks: Vec<usize>,
    pub(crate) told: Vec<Task>,
    pub(crate) faults: Vec<Fault>,
}

/// Names as they are first asked for.
#[derive(Debug, Default)]
pub struct Names {
    list: Vec<String>,
}

impl Names {
    /// The subject of a name.
    pub fn subject(&mut self, name: &str) -> Subject {
        let index = self.list.iter().position(|known| known == name).unwrap_or_else(|| {
            self.list.push(name.to_owned());
            self.list.len() - 1
        });
        Subject(u32::try_from(index).unwrap_or(u32::MAX))
    }
}

/// The tasks of a process: place in its orders, and index of the machine.
pub(crate) fn counted_tasks(lane: &LanePlan) -> impl Iterator<Item = (usize, usize)> {
    lane.tasks.iter().copied().enumerate()
}

/// Prepares a rehearsal of `system` under the plan that `machine` was made of.
///
/// # Errors
/// Each fault that cannot happen here, and a plan of which nothing can be rehearsed.
pub fn prepare(system: &System, machine: &Machine, faults: &[Asked]) -> Result<Prepared, Vec<String>> {
    let mut maker =
        Maker { system, machine, names: Names::default(), cannot: Vec::new(), cores: Vec::new(), lanes: Vec::new() };
    maker.cores();
    if maker.lanes.is_empty() {
        let why = maker.cannot.join("; ");
        return Err(vec![format!(
            "nothing of this plan can be rehearsed: no partition has windows here that run ({why})"
        )]);
    }
    maker.lanes();
    let pipes = maker.pipes();
    maker.say_what_is_left_out();
    let outside = share_out(faults, machine, &mut maker.lanes, &mut maker.names)?;
    maker.say_of_crashes(&outside);
    let partitions = machine.partitions.iter().map(|partition| maker.names.subject(&partition.name)).collect();
    let frame = maker.names.subject("frame");
    Ok(Prepared {
        names: maker.names.list,
        cannot: maker.cannot,
        frame_ns: machine.frame_ns,
        cores: maker.cores,
        lanes: maker.lanes,
        partitions,
        frame,
        slots: machine.channels.len(),
        pipes,
        outside,
    })
}

struct Maker<'m> {
    system: &'m System,
    machine: &'m Machine,
    names: Names,
    cannot: Vec<String>,
    cores: Vec<CorePlan>,
    lanes: Vec<LanePlan>,
}

impl Maker<'_> {
    /// The cores with a window table, and a process for each virtual core that has windows there.
    fn cores(&mut self) {
        let machine = self.machine;
        for left in &machine.left_out {
            let name = machine.partitions.get(left.partition).map_or("?", |partition| &partition.name);
            self.cannot.push(format!("{name} is not rehearsed: {}.", left.reason));
        }
        let Some(tables) = machine.schedules.first() else { return };
        // The number of each virtual core's process.
        let mut processes = BTreeMap::new();
        for (core, windows) in machine.cores.iter().zip(&tables.cores) {
            match core.policy {
                Policy::Table { .. } if !windows.is_empty() => self.core(core, windows, &mut processes),
                Policy::Table { .. } | Policy::Off => {}
                Policy::Servers | Policy::Share { .. } | Policy::Dedicated => self
                    .cannot
                    .push(format!("core {} has no window table: what runs on it is not rehearsed.", core.name)),
            }
        }
        if machine.schedules.len() > 1 {
            self.cannot.push(format!("only the module schedule `{}` is rehearsed; it does not change.", tables.name));
        }
    }

    fn core(&mut self, core: &machine::Core, windows: &[machine::Window], processes: &mut BTreeMap<usize, usize>) {
        let number = self.cores.len();
        let mut spans: Vec<Span> = Vec::new();
        for window in windows {
            let Some(lane) = self.process(window.lane, number, core, processes) else { continue };
            match spans.last_mut() {
                Some(last) if last.lane == lane && last.end_ns == window.start_ns => last.end_ns = window.end_ns,
                _ => spans.push(Span { start_ns: window.start_ns, end_ns: window.end_ns, lane }),
            }
        }
        if spans.iter().any(|span| span.end_ns - span.start_ns < SHORTEST_NS) {
            self.cannot.push(format!("core {} has windows shorter than 100 us: they are not kept well.", core.name));
        }
        if !spans.is_empty() {
            self.cores.push(CorePlan { name: core.name.clone(), windows: spans });
        }
    }

    /// The number of the process of a virtual core; a new one where it has none yet.
    fn process(
        &mut self,
        lane: usize,
        core: usize,
        on: &machine::Core,
        processes: &mut BTreeMap<usize, usize>,
    ) -> Option<usize> {
        let machine = self.machine;
        let declared = machine.lanes.get(lane).filter(|lane| machine.runs(lane.partition))?;
        if let Some(known) = processes.get(&lane).copied() {
            if self.lanes.get(known).is_some_and(|lane| lane.core == core) {
                return Some(known);
            }
            let name = machine.partitions.get(declared.partition).map_or("?", |partition| &partition.name);
            let text = format!(
                "{name} has windows of one virtual core on several cores: those on core {} pass unused.",
                on.name
            );
            if !self.cannot.contains(&text) {
                self.cannot.push(text);
            }
            return None;
        }
        processes.insert(lane, self.lanes.len());
        self.lanes.push(self.lane(lane, declared, core));
        Some(self.lanes.len() - 1)
    }

    /// A process, with the tasks that are pinned to its virtual core; those that are not are the first one's.
    fn lane(&self, lane: usize, declared: &machine::Lane, core: usize) -> LanePlan {
        let machine = self.machine;
        let is_first = self.lanes.iter().all(|other| other.partition != declared.partition);
        let mine = |task: &usize| {
            machine.tasks.get(*task).is_some_and(|task| task.lane.map_or(is_first, |pinned| pinned == lane))
        };
        let partition = machine.partitions.get(declared.partition);
        let turns = match partition.map(|partition| partition.guest) {
            Some(Guest::Edf) => Turns::Deadline,
            Some(Guest::Cooperative) => Turns::Cooperative,
            Some(Guest::Opaque { .. }) => Turns::All,
            Some(Guest::FixedPriority) | None => Turns::Priority,
        };
        LanePlan {
            partition: declared.partition,
            core,
            thread: format!("rh-{}.{}", declared.partition, declared.number),
            turns,
            tasks: partition.map(|partition| partition.tasks.clone()).unwrap_or_default().filter(mine).collect(),
            told: Vec::new(),
            faults: Vec::new(),
        }
    }

    fn lanes(&mut self) {
        for index in 0..self.lanes.len() {
            let tasks = self.lanes[index].tasks.clone();
            let (kept, short): (Vec<usize>, Vec<usize>) =
                tasks.into_iter().partition(|task| self.machine.tasks[*task].period_ns >= SHORTEST_NS);
            for task in short {
                let label = &self.machine.tasks[task].label;
                self.cannot.push(format!("{label} is not rehearsed: no process here keeps a period below 100 us."));
            }
            self.lanes[index].told = kept.iter().map(|task| self.task(*task)).collect();
            self.lanes[index].tasks = kept;
        }
    }

    fn task(&mut self, index: usize) -> Task {
        let machine = self.machine;
        let task = &machine.tasks[index];
        // What a stand-in executes is executed beside whatever this machine does: it is the time alone on the board.
        let alone = self.system.task(TaskId::new(index)).wcet.map_or(task.charged_ns, |wcet| wcet.value.ns());
        Task {
            who: self.names.subject(&task.label),
            number: index as u64,
            period_ns: task.period_ns,
            deadline_ns: task.deadline_ns,
            offset_ns: if let Arrivals::Aligned { offset_ns } = task.arrivals { Some(offset_ns) } else { None },
            sporadic: task.arrivals == Arrivals::Sporadic,
            jitter_ns: task.jitter_ns,
            execution_ns: (task.least_ns.min(alone).max(1), alone.max(1)),
            lines: task.line_requests,
            priority: task.priority,
            reads: task.reads.iter().map(|input| self.input(*input)).collect(),
            writes: task.writes.iter().map(|channel| self.output(*channel)).collect(),
        }
    }

    /// An input; where its channel has several, they are counted from 1.
    fn input(&mut self, index: usize) -> Input {
        let machine = self.machine;
        let number = machine.inputs[index].channel;
        let channel = &machine.channels[number];
        let name = match channel.inputs.len() {
            1 => channel.name.clone(),
            _ => format!("{} > {}", channel.name, index - channel.inputs.start + 1),
        };
        let port = match channel.port {
            machine::Port::Sampling { .. } => Port::Slot(number),
            machine::Port::Queuing { depth, takes } => Port::Queue { pipe: index, depth, takes },
        };
        Input { who: self.names.subject(&name), port }
    }

    fn output(&mut self, index: usize) -> Output {
        let channel = &self.machine.channels[index];
        let who = self.names.subject(&channel.name);
        let to = match channel.port {
            machine::Port::Sampling { .. } => vec![Input { who, port: Port::Slot(index) }],
            machine::Port::Queuing { .. } => channel.inputs.clone().map(|input| self.input(input)).collect(),
        };
        Output { who, batch: channel.batch, to }
    }

    /// The queues that somebody reads or writes, and what their pipes are asked to hold.
    fn pipes(&mut self) -> BTreeMap<usize, u64> {
        let tasks = self.lanes.iter().flat_map(|lane| &lane.told);
        let inputs = tasks.flat_map(|task| task.reads.iter().chain(task.writes.iter().flat_map(|output| &output.to)));
        let queues = inputs.filter_map(|input| match input.port {
            Port::Queue { pipe, depth, .. } => Some((pipe, depth)),
            Port::Slot(_) => None,
        });
        let queues: BTreeMap<usize, u64> = queues.collect();
        for (input, depth) in queues.iter().filter(|(_, depth)| **depth > PIPE_MESSAGES) {
            let channel = &self.machine.channels[self.machine.inputs[*input].channel].name;
            self.cannot.push(format!(
                "{channel} may hold {depth} messages, a pipe of this machine perhaps fewer: it then overflows earlier."
            ));
        }
        queues.into_iter().map(|(input, depth)| (input, depth.saturating_mul(crate::ports::MESSAGE as u64))).collect()
    }

    fn say_what_is_left_out(&mut self) {
        let machine = self.machine;
        let rehearsed = |task: usize| self.lanes.iter().any(|lane| lane.tasks.contains(&task));
        let silent = machine.channels.iter().filter(|channel| !channel.source_task.is_some_and(rehearsed));
        let silent: Vec<String> = silent.map(|channel| channel.name.clone()).collect();
        if !silent.is_empty() {
            self.cannot.push(format!(
                "nobody here writes to {}: their source is no task that is rehearsed.",
                silent.join(", ")
            ));
        }
        let has = |of: fn(&machine::Task) -> bool| machine.tasks.iter().any(of);
        if has(|task| task.logical) {
            self.cannot
                .push("tasks with logical execution time read at their start and write at completion here.".to_owned());
        }
        if has(|task| task.blocking_ns > 0) {
            self.cannot.push(
                "sections that cannot be displaced are not stood in for: a more urgent job never waits for one."
                    .to_owned(),
            );
        }
        if machine.network.is_some() {
            self.cannot
                .push("frames of the internal network go straight to their queues and are not forwarded.".to_owned());
        }
        if machine.bus.as_ref().is_some_and(|bus| bus.regulation_ns.is_some()) {
            self.cannot.push(
                "bandwidth budgets and cache ways are not kept: this machine has no regulator of ours.".to_owned(),
            );
        }
    }

    fn say_of_crashes(&mut self, outside: &Outside) {
        for crash in &outside.crashes {
            let Some(partition) = self.machine.partitions.get(crash.partition) else { continue };
            let text = match crash.again {
                None => format!("{} is not started again: neither fault nor health monitor says how.", partition.name),
                Some(again) if again.load_ns == 0 => {
                    format!(
                        "{} declares no initialisation time for this start: it initialises in no time.",
                        partition.name
                    )
                }
                Some(_) => continue,
            };
            if !self.cannot.contains(&text) {
                self.cannot.push(text);
            }
        }
    }
}

#[cfg(test)]
mod tests;
