//! The charged time of a task: `C' = WCET + what other masters lengthen it by + two context switches`, and its port calls
//! where the platform sheet says that execution times do not hold them.

use super::Missing;
use model::System;
use model::system::{Channel, ChannelKind, Interconnect, PortEnd, QueueRead, Task};
use quantity::{Bytes, CoreId, TaskId};

/// What one job is charged, in nanoseconds.
#[derive(Clone, Copy, Default)]
pub(super) struct Charge {
    pub charged_ns: u64,
    pub interference_ns: u64,
    pub line_requests: u64,
}

/// The charge of a task; `None` where a datum is missing, which is then said.
pub(super) fn charge(system: &System, id: TaskId, missing: &mut Missing) -> Option<Charge> {
    let task = system.task(id);
    let lacks = |what: &str| format!("{} of task {} is not declared", what, system.task_label(id));
    let wcet = missing.need(task.wcet, task.partition, || lacks("`wcet`"))?;
    let switch = missing.need(system.platform.context_switch, task.partition, || {
        "the platform's `context_switch` is not declared".to_owned()
    })?;
    let (line_requests, interference_ns) = interference(system, id, missing)?;
    let calls = port_calls(system, id);
    let parts = [wcet.ns(), interference_ns, switch.ns(), switch.ns(), calls];
    let charged_ns = parts.into_iter().fold(0, u64::saturating_add);
    Some(Charge { charged_ns, interference_ns, line_requests })
}

/// The line requests of one job, and how long they wait for other masters in all: rounded up once.
fn interference(system: &System, id: TaskId, missing: &mut Missing) -> Option<(u64, u64)> {
    let task = system.task(id);
    let label = || system.task_label(id);
    let path = system.board.interconnect.as_ref();
    let others = path.filter(|path| all_cores_listed(system, path)).map(|path| path.masters.len().saturating_sub(1));
    // A sensitivity holds what requests wait that are not counted.
    let requests = task.line_requests.map(|requests| requests.value).or(task.sensitivity.and(Some(0)));
    let each_ns = task.sensitivity.map_or(0, |each| each.ns());
    match (requests, others) {
        (Some(0), _) if each_ns == 0 => Some((0, 0)),
        (requests, Some(0)) => Some((requests.unwrap_or(0), 0)),
        (None, _) => {
            missing.need(None, task.partition, || format!("`line_requests` of task {} is not declared", label()))
        }
        (Some(_), None) => missing.need(None, task.partition, || {
            let what =
                if path.is_none() { "no interconnect is declared" } else { "an active core is no listed master" };
            format!("{what}, so the wait of the line requests of task {} is not known", label())
        }),
        (Some(requests), Some(others)) => {
            let wait = path.and_then(|path| waiting_ns(path, requests, each_ns, others));
            let wait = missing.need(wait, task.partition, || {
                format!("the line requests of task {} wait beyond all bounds", label())
            })?;
            Some((requests, wait))
        }
    }
}

fn all_cores_listed(system: &System, path: &Interconnect) -> bool {
    let listed = |core: usize| path.masters.iter().any(|master| master.core == Some(CoreId::new(core)));
    system.board.cores.iter().enumerate().all(|(index, core)| !core.active || listed(index))
}

/// How long so many requests wait for each of the others, and by how much each lengthens the job besides.
fn waiting_ns(path: &Interconnect, requests: u64, each_ns: u64, others: usize) -> Option<u64> {
    let others = u64::try_from(others).ok()?;
    let lines = requests.checked_mul(others)?;
    let lines = path.guaranteed.time_for(Bytes::new(lines.checked_mul(path.line.get())?))?;
    lines.ns().checked_add(each_ns.checked_mul(others)?)
}

/// The calls of one job's ports, where its execution time does not hold them.
fn port_calls(system: &System, id: TaskId) -> u64 {
    let Some(cost) = system.platform.port_cost.as_ref().filter(|cost| !cost.included.value) else { return 0 };
    let me = PortEnd::Task(id);
    let one = |channel: &Channel| {
        let copying = (u128::from(cost.per_kib.ns()) * u128::from(channel.size.get())).div_ceil(1024);
        cost.fixed.ns().saturating_add(u64::try_from(copying).unwrap_or(u64::MAX))
    };
    let written = |channel: &Channel| if channel.source.value == me { batch(channel) } else { 0 };
    let read = |channel: &Channel| {
        let times = channel.destinations.iter().filter(|end| end.value == me).count();
        taken(channel).saturating_mul(u64::try_from(times).unwrap_or(u64::MAX))
    };
    let calls = |channel: &Channel| written(channel).saturating_add(read(channel));
    let costs = system.channels.iter().map(|channel| one(channel).saturating_mul(calls(channel)));
    costs.fold(0, u64::saturating_add)
}

fn batch(channel: &Channel) -> u64 {
    match &channel.kind {
        ChannelKind::Sampling { .. } => 1,
        ChannelKind::Queuing { batch, .. } => batch.value,
    }
}

/// The messages that one read of the channel may take; at least one call is made.
fn taken(channel: &Channel) -> u64 {
    match &channel.kind {
        ChannelKind::Sampling { .. } => 1,
        ChannelKind::Queuing { depth, read: QueueRead::All, .. } => depth.value.max(1),
        ChannelKind::Queuing { read: QueueRead::AtMost(most), .. } => (*most).max(1),
    }
}

/// The shortest execution time: the declared one, at least 1 ns; the charged time where none is declared, since a shorter
/// one would be made up.
pub(super) fn least_ns(task: &Task, charged_ns: u64) -> u64 {
    task.bcet.map_or(charged_ns, |bcet| bcet.ns().min(charged_ns)).max(1)
}
