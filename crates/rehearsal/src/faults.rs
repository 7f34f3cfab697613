//! Faults of a scenario as something that really happens to processes; what cannot is refused with the reason.

use crate::orders::{Does, Fault, Subject};
use crate::prepare::{LanePlan, Names, counted_tasks};
use model::system::HealthError;
use simulator::event::Start;
use simulator::fault::{Kind, Target, fault_text};
use simulator::machine::{Action, Port};
use simulator::{Fault as Asked, Machine};

/// The most times that a partition is killed in one rehearsal: each life has memory of its own.
const MOST_CRASHES: u64 = 100;

/// What happens from outside of the processes.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Outside {
    /// Partitions that are killed.
    pub crashes: Vec<Crash>,
    /// When faults begin and end that processes do not tell of themselves, from the first frame.
    pub marks: Vec<(u64, Mark, Subject)>,
}

/// What is said of a fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// It begins.
    Begins,
    /// It has ended.
    Ends,
}

/// A partition that is killed, and how it starts again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Crash {
    /// The fault.
    pub fault: Subject,
    /// The partition, as an index.
    pub partition: usize,
    /// When, from the first frame.
    pub at_ns: u64,
    /// How it starts again; `None`: it does not.
    pub again: Option<Again>,
}

/// How a partition starts again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Again {
    /// Warm or cold.
    pub start: Start,
    /// The declared time until the fault is noticed; 0 where none is.
    pub detection_ns: u64,
    /// The declared time of the action; 0 where none is.
    pub action_ns: u64,
    /// The declared load of its initialisation; 0 where none is.
    pub load_ns: u64,
    /// Whether this is the last crash of its fault, which ends with the initialisation.
    pub is_last: bool,
}

/// Gives each fault to whom it happens.
///
/// # Errors
/// Each fault that cannot happen here, with the reason.
pub fn share_out(
    faults: &[Asked],
    machine: &Machine,
    lanes: &mut [LanePlan],
    names: &mut Names,
) -> Result<Outside, Vec<String>> {
    let mut outside = Outside::default();
    let mut refused = Vec::new();
    for asked in faults {
        let text = fault_text(asked, machine);
        let who = names.subject(&text);
        if let Err(why) = give(asked, who, machine, lanes, &mut outside) {
            refused.push(format!("{text}: {why}"));
        }
    }
    outside.crashes.sort_by_key(|crash| crash.at_ns);
    if refused.is_empty() { Ok(outside) } else { Err(refused) }
}

fn give(
    asked: &Asked,
    who: Subject,
    machine: &Machine,
    lanes: &mut [LanePlan],
    outside: &mut Outside,
) -> Result<(), String> {
    let at_ns = asked.at_ns;
    match asked.kind {
        Kind::Crash { start } => crash(asked.target, who, (at_ns, 0, 1), start, machine, lanes, outside)?,
        Kind::RestartStorm { count, every_ns, start } => {
            crash(asked.target, who, (at_ns, every_ns, count), start, machine, lanes, outside)?;
        }
        kind => {
            let (does, lasts) = inside(kind)?;
            let mut reached = 0;
            for lane in lanes.iter_mut() {
                if let Some(does) = narrowed(&does, kind, asked.target, lane, machine) {
                    lane.faults.push(Fault { who, at_ns, does });
                    reached += 1;
                }
            }
            if reached == 0 {
                return Err("nothing that is rehearsed would do it; name a partition or task that is".to_owned());
            }
            outside.marks.extend(lasts.map(|lasts| (at_ns.saturating_add(lasts), Mark::Ends, who)));
        }
    }
    outside.marks.push((at_ns, Mark::Begins, who));
    outside.marks.sort_by_key(|(at_ns, _, _)| *at_ns);
    Ok(())
}

/// What a kind does inside a process, before it is said to whom, and how long it lasts where the process does not say when it
/// ends.
fn inside(kind: Kind) -> Result<(Does, Option<u64>), String> {
    let (tasks, channels) = (Vec::new(), Vec::new());
    Ok(match kind {
        Kind::Overrun { extra_ns, jobs } => (Does::Overrun { tasks, extra_ns, jobs }, None),
        Kind::EndlessLoop => (Does::Loop { task: 0 }, None),
        Kind::Babble { every_ns, for_ns } => {
            (Does::Flood { channels, messages: for_ns / every_ns.max(1) + 1, every_ns: every_ns.max(1) }, None)
        }
        Kind::QueueFlood { messages } => (Does::Flood { channels, messages, every_ns: 0 }, None),
        Kind::Silence { for_ns } => (Does::Silence { channels, for_ns }, Some(for_ns)),
        Kind::MemoryBurst { for_ns, .. } => (Does::Hog { for_ns }, Some(for_ns)),
        Kind::LostTick { for_ns } => (Does::LostTick { for_ns }, Some(for_ns)),
        Kind::DmaBurst { .. } => return Err("no device of this machine may be told to move memory so".to_owned()),
        Kind::InterruptStorm { .. } => return Err("no device of this machine may be told to interrupt so".to_owned()),
        Kind::LateWindow { .. } => {
            return Err(
                "windows are begun here by this program and not by the target's core software: a late one would \
                        say nothing"
                    .to_owned(),
            );
        }
        Kind::CoreStop { .. } => return Err("a cpu of this machine cannot be made to stand".to_owned()),
        Kind::Crash { .. } | Kind::RestartStorm { .. } => return Err("it happens from outside".to_owned()),
    })
}

/// The same for one process; `None` where nothing of it is reached.
fn narrowed(does: &Does, kind: Kind, target: Target, lane: &LanePlan, machine: &Machine) -> Option<Does> {
    let partition = target.partition(machine)?;
    if partition != lane.partition {
        return None;
    }
    let tasks = || -> Vec<usize> {
        counted_tasks(lane).filter(|(_, task)| is_target(target, *task, machine)).map(|(own, _)| own).collect()
    };
    let wanted = |channel: usize| {
        let is_queue = matches!(machine.channels.get(channel).map(|channel| channel.port), Some(Port::Queuing { .. }));
        let named = if let Target::Channel(named) = target { channel == named } else { true };
        named && (is_queue || !matches!(kind, Kind::QueueFlood { .. }))
    };
    let channels = || -> Vec<(usize, usize)> {
        let of_task = |(own, task): (usize, usize)| {
            let writes = machine.tasks.get(task).map(|task| task.writes.as_slice()).unwrap_or_default();
            let outputs = writes.iter().enumerate().filter(|(_, channel)| wanted(**channel));
            outputs.map(move |(output, _)| (own, output)).collect::<Vec<_>>()
        };
        counted_tasks(lane).filter(|(_, task)| is_target(target, *task, machine)).flat_map(of_task).collect()
    };
    let some = |list: Vec<(usize, usize)>| (!list.is_empty()).then_some(list);
    Some(match does.clone() {
        Does::Overrun { extra_ns, jobs, .. } => {
            Does::Overrun { tasks: Some(tasks()).filter(|tasks| !tasks.is_empty())?, extra_ns, jobs }
        }
        Does::Loop { .. } => Does::Loop { task: most_urgent(lane, &tasks(), machine)? },
        Does::Flood { messages, every_ns, .. } => Does::Flood { channels: some(channels())?, messages, every_ns },
        Does::Silence { for_ns, .. } => Does::Silence { channels: some(channels())?, for_ns },
        Does::Hog { for_ns } => Does::Hog { for_ns },
        Does::LostTick { for_ns } => Does::LostTick { for_ns },
    })
}

/// Whether a task is, is of, or writes the target.
fn is_target(target: Target, task: usize, machine: &Machine) -> bool {
    let Some(declared) = machine.tasks.get(task) else { return false };
    match target {
        Target::Partition(partition) => declared.partition == partition,
        Target::Task(named) => task == named,
        Target::Channel(channel) => declared.writes.contains(&channel),
        Target::Device(_) | Target::Core(_) => false,
    }
}

/// Of some of a process's tasks the most urgent one.
fn most_urgent(lane: &LanePlan, own: &[usize], machine: &Machine) -> Option<usize> {
    let urgency =
        |own: &usize| lane.tasks.get(*own).and_then(|task| machine.tasks.get(*task)).map(|task| task.priority);
    own.iter().copied().max_by_key(|own| (urgency(own), std::cmp::Reverse(*own)))
}

fn crash(
    target: Target,
    fault: Subject,
    (at_ns, every_ns, count): (u64, u64, u64),
    start: Option<Start>,
    machine: &Machine,
    lanes: &[LanePlan],
    outside: &mut Outside,
) -> Result<(), String> {
    let partition = target.partition(machine).filter(|partition| lanes.iter().any(|lane| lane.partition == *partition));
    let partition = partition.ok_or("the partition is not rehearsed")?;
    if count > MOST_CRASHES {
        return Err(format!("a process is killed {MOST_CRASHES} times at most; write for example `count=10`"));
    }
    let again = again(partition, start, machine);
    outside.crashes.extend((0..count).map(|number| Crash {
        fault,
        partition,
        at_ns: at_ns.saturating_add(every_ns.saturating_mul(number)),
        again: again.map(|again| Again { is_last: number + 1 == count, ..again }),
    }));
    Ok(())
}

/// How a partition starts again: as the fault says, else as the health-monitor table answers a memory violation.
fn again(partition: usize, start: Option<Start>, machine: &Machine) -> Option<Again> {
    let by_monitor = || {
        let rules = &machine.monitor.as_ref()?.rules;
        let rule =
            rules.iter().find(|rule| rule.partition == partition && rule.error == HealthError::MemoryViolation)?;
        match rule.action {
            Action::WarmStart => Some(Start::Warm),
            Action::ColdStart => Some(Start::Cold),
            _ => None,
        }
    };
    let start = start.or_else(by_monitor)?;
    let recovery = machine.partitions.get(partition)?.recovery;
    let load = match start {
        Start::Warm => recovery.warm_init_ns,
        Start::Cold => recovery.cold_init_ns,
    };
    Some(Again {
        start,
        detection_ns: recovery.detection_ns.unwrap_or(0),
        action_ns: recovery.action_ns.unwrap_or(0),
        load_ns: load.unwrap_or(0),
        is_last: true,
    })
}
