//! Partitions and their tasks.

use super::Missing;
use super::charge::{Charge, charge, least_ns};
use crate::event::Start;
use crate::machine::{Arrivals, Guest, Indices, Lane, Partition, Recovery, Task};
use model::System;
use model::system::{self, ChangeAction, Exchange, OpaqueNeed, PortEnd, Release};
use quantity::{Duration, PartitionId, TaskId};

pub(super) fn partitions(system: &System, lanes: &[Lane], missing: &mut Missing) -> Vec<Partition> {
    system.partition_ids().map(|id| partition(system, id, lanes, missing)).collect()
}

fn partition(system: &System, id: PartitionId, lanes: &[Lane], missing: &mut Missing) -> Partition {
    let declared = system.partition(id);
    Partition {
        name: declared.name.value.clone(),
        guest: guest(&declared.guest.value),
        lanes: where_all(lanes, |lane| lane.partition == id.index()),
        tasks: where_all(&system.tasks, |task| task.partition == id),
        recovery: recovery(declared),
        at_change: declared.schedule_change.and_then(|action| start(action.value)),
        built_by: built_by(declared, id, missing),
        untrusted: declared.untrusted,
    }
}

/// The range of a list for which something holds, where those lie together.
fn where_all<T>(list: &[T], holds: impl Fn(&T) -> bool) -> Indices {
    let first = list.iter().position(&holds).unwrap_or(0);
    first..first + list[first..].iter().take_while(|&one| holds(one)).count()
}

fn guest(declared: &system::Guest) -> Guest {
    let budget = |budget: Option<Duration>, span: Option<Duration>| Guest::Opaque {
        budget_ns: budget.map(Duration::ns),
        span_ns: span.map(Duration::ns),
    };
    match declared {
        system::Guest::FixedPriority => Guest::FixedPriority,
        system::Guest::Edf => Guest::Edf,
        system::Guest::Cooperative => Guest::Cooperative,
        system::Guest::Opaque(OpaqueNeed::Periodic { budget: most, period }) => budget(Some(*most), Some(*period)),
        system::Guest::Opaque(OpaqueNeed::Rate { .. }) => budget(None, None),
    }
}

fn start(action: ChangeAction) -> Option<Start> {
    match action {
        ChangeAction::None => None,
        ChangeAction::Warm => Some(Start::Warm),
        ChangeAction::Cold => Some(Start::Cold),
    }
}

fn built_by(declared: &system::Partition, id: PartitionId, missing: &mut Missing) -> Option<(usize, u64)> {
    let builder = declared.built_by?;
    let reason = || format!("`build_time` of partition {} is not declared", declared.name.value);
    let time = missing.need(declared.build_time, id, reason)?;
    Some((builder.value.index(), time.ns()))
}

fn recovery(declared: &system::Partition) -> Recovery {
    let Some(restart) = &declared.restart else { return Recovery::default() };
    Recovery {
        cold_init_ns: restart.cold_init.map(|time| time.ns()),
        warm_init_ns: restart.warm_init.map(|time| time.ns()),
        detection_ns: restart.detection.map(|time| time.ns()),
        action_ns: restart.action.map(|time| time.ns()),
        ends_with: restart.ends_with.map(|task| task.value.index()),
    }
}

pub(super) fn tasks(system: &System, lanes: &[Lane], missing: &mut Missing) -> Vec<Task> {
    system.task_ids().map(|id| task(system, id, lanes, missing)).collect()
}

fn task(system: &System, id: TaskId, lanes: &[Lane], missing: &mut Missing) -> Task {
    let declared = system.task(id);
    let Charge { charged_ns, interference_ns, line_requests } = charge(system, id, missing).unwrap_or_default();
    let lacks = |what: &str| format!("{what} of task {} is not declared", system.task_label(id));
    let jitter = missing.need(system.jitter(id), declared.partition, || lacks("`jitter`"));
    let blocking = missing.need(blocking_ns(system, id), declared.partition, || lacks("`blocking`"));
    Task {
        label: system.task_label(id),
        partition: declared.partition.index(),
        lane: lane_of(declared, lanes),
        period_ns: declared.period.ns().max(1),
        deadline_ns: declared.deadline.ns(),
        arrivals: arrivals(declared),
        jitter_ns: jitter.map_or(0, Duration::ns),
        least_ns: least_ns(declared, charged_ns),
        charged_ns: charged_ns.max(1),
        interference_ns,
        line_requests,
        priority: declared.priority.map_or(0, |priority| priority.value),
        blocking_ns: blocking.unwrap_or(0),
        logical: declared.exchange == Exchange::Logical,
        reads: inputs_of(system, id),
        writes: ends_at(system.channels.iter().map(|channel| channel.source.value), id),
    }
}

fn lane_of(declared: &system::Task, lanes: &[Lane]) -> Option<usize> {
    let number = declared.virtual_core?.value;
    lanes.iter().position(|lane| lane.partition == declared.partition.index() && lane.number == number)
}

fn arrivals(declared: &system::Task) -> Arrivals {
    match declared.release.value {
        _ if declared.sporadic => Arrivals::Sporadic,
        Release::FreeRunning => Arrivals::Free,
        Release::FrameAligned { offset } => Arrivals::Aligned { offset_ns: offset.ns() },
    }
}

fn ends_at(ends: impl Iterator<Item = PortEnd>, id: TaskId) -> Vec<usize> {
    ends.enumerate().filter(|(_, end)| *end == PortEnd::Task(id)).map(|(index, _)| index).collect()
}

fn inputs_of(system: &System, id: TaskId) -> Vec<usize> {
    ends_at(system.channels.iter().flat_map(|channel| &channel.destinations).map(|end| end.value), id)
}

/// How long less urgent jobs may keep a job waiting; zero with nothing below, `None` where it is not declared.
fn blocking_ns(system: &System, id: TaskId) -> Option<u64> {
    let declared = system.task(id);
    let below = || system.tasks.iter().filter(|other| is_below(system, other, declared));
    if below().next().is_none() || system.partition(declared.partition).guest.value == system::Guest::Cooperative {
        return Some(0);
    }
    let plain = system.blocking(id)?.ns();
    if declared.blocking.is_some() {
        return Some(plain);
    }
    let urgent = |other: &&system::Task| !is_below(system, other, declared) && other.partition == declared.partition;
    let used = |resource: &str| {
        system
            .tasks
            .iter()
            .filter(urgent)
            .flat_map(|task| &task.sections)
            .any(|section| section.resource.value == resource)
    };
    let sections = below().flat_map(|other| &other.sections).filter(|section| used(&section.resource.value));
    let longest = sections.map(|section| section.length.ns()).max().unwrap_or(0);
    // One begun job goes on at a time: the longest section, under inheritance too, where bounds take more.
    let locks = system.partition(declared.partition).locking.is_some();
    Some(if locks { longest.max(plain) } else { plain })
}

fn is_below(system: &System, other: &system::Task, task: &system::Task) -> bool {
    let edf = system.partition(task.partition).guest.value == system::Guest::Edf;
    let urgency = |task: &system::Task| task.priority.as_ref().map_or(0, |priority| priority.value);
    let below = if edf { other.deadline.value > task.deadline.value } else { urgency(other) < urgency(task) };
    other.partition == task.partition && below
}
