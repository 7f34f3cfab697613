//! Whom a word of the plan is said of, found by its name in the system.

use crate::event::Word;
use model::System;
use model::system::PortEnd;
use quantity::{ChannelId, PartitionId, ScheduleId, TaskId};

/// Whom a word is said of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Subject {
    Partition(PartitionId),
    Task(TaskId),
    /// A channel, and which of its receivers.
    Channel(ChannelId, u16),
    Schedule(ScheduleId),
}

/// What kind of subject a word takes, for messages; `None`: none, or any text.
pub(crate) fn takes(word: Word) -> Option<&'static str> {
    match word {
        Word::WindowBegins
        | Word::WindowEnds
        | Word::Noticed
        | Word::RestartsWarm
        | Word::RestartsCold
        | Word::Operational
        | Word::Stopped => Some("partition"),
        Word::Runs | Word::FaultBegins => Some("partition or task"),
        Word::Arrives | Word::Completes | Word::Dropped => Some("task"),
        Word::Writes | Word::Reads | Word::Overflows => Some("channel"),
        Word::Schedule => Some("schedule"),
        Word::Idles | Word::FaultEnds | Word::Frame => None,
    }
}

/// Whether a word says something of nobody too: somebody foreign runs, or a fault is of no one partition.
pub(crate) fn may_be_of_nobody(word: Word) -> bool {
    matches!(word, Word::Runs | Word::FaultBegins)
}

/// Finds whom `word` is said of under the name `text`: a partition, `PARTITION.task`, a schedule, a channel, or
/// `CHANNEL > RECEIVER` where it has several receivers, which are named, or counted from 1 as they are declared.
pub(super) fn find(system: &System, word: Word, text: &str) -> Option<Subject> {
    match takes(word)? {
        _ if word == Word::FaultBegins => faulty(system, target_of(text)).map(Subject::Partition),
        "partition" => system.partition_named(text).map(Subject::Partition),
        "task" => task(system, text).map(Subject::Task),
        "partition or task" => {
            task(system, text).map(Subject::Task).or_else(|| system.partition_named(text).map(Subject::Partition))
        }
        "channel" => channel(system, text),
        _ => {
            let index = system.schedules.iter().position(|schedule| schedule.name.value == text)?;
            Some(Subject::Schedule(ScheduleId::new(index)))
        }
    }
}

/// The partition whose fault one of that name is, or of a task of it.
fn faulty(system: &System, name: &str) -> Option<PartitionId> {
    system.partition_named(name).or_else(|| Some(system.task(task(system, name)?).partition))
}

/// Whom a fault hits of which a recording says `KIND:TARGET@TIME,key=value`, as the simulator does: see `docs/faults.md`.
fn target_of(text: &str) -> &str {
    let behind = text.split_once(':').map_or(text, |(_, behind)| behind);
    let target = behind.split(['@', ',']).next().unwrap_or(behind);
    target.strip_prefix("partition/").or_else(|| target.strip_prefix("task/")).unwrap_or(target)
}

/// The task of that label.
pub(super) fn task(system: &System, text: &str) -> Option<TaskId> {
    let (partition, name) = text.split_once('.')?;
    let partition = system.partition(system.partition_named(partition)?);
    partition.tasks.iter().copied().find(|task| system.task(*task).name.value == name)
}

fn channel(system: &System, text: &str) -> Option<Subject> {
    let (name, receiver) = text.split_once('>').map_or((text, None), |(name, receiver)| (name, Some(receiver.trim())));
    let index = system.channels.iter().position(|channel| channel.name.value == name.trim())?;
    let ends = &system.channels[index].destinations;
    let receiver = match receiver {
        Some(receiver) => ends
            .iter()
            .position(|end| is_called(system, end.value, receiver))
            .or_else(|| receiver.parse::<usize>().ok()?.checked_sub(1).filter(|index| *index < ends.len()))?,
        None => 0,
    };
    Some(Subject::Channel(ChannelId::new(index), u16::try_from(receiver).ok()?))
}

/// Whether a receiver is of that name; a task is also called by its partition where the end is the partition.
fn is_called(system: &System, end: PortEnd, name: &str) -> bool {
    match end {
        PortEnd::Task(task) => system.task_label(task) == name,
        PortEnd::Partition(partition) => {
            let own = &system.partition(partition).name.value;
            own == name || name.split_once('.').is_some_and(|(before, _)| before == own)
        }
        PortEnd::Device(device) => system.board.devices[device.index()].name.value == name,
    }
}
