//! What the port calls of a task cost it.
//!
//! Computes: the time that a job spends in port calls, where the platform sheet says that execution times do not hold it.
//! Source: platform sheet: `fixed` and `per_kib` of a call; common practice, no source.
//! Assumptions: a job writes each of its channels once, batch and all; it reads each sampling port once and takes from each
//! queue what is there, at most its depth or what it may take, by one call a message and at least one call.
//! Symbols: times in ns; the bytes' part of a call is rounded up once.
//! Invariants and why it ends: one pass over the channels.
//! Differs from the source: nothing.
//! Checked by: a case by hand.

use model::System;
use model::system::{Channel, ChannelKind, PortEnd, QueueRead};
use quantity::{Duration, TaskId};

const BYTES_PER_KIB: u128 = 1 << 10;

/// The time of all port calls of one job of a task that its execution time does not hold. Zero where the platform sheet
/// includes them, or says nothing of them: an execution time is then that of the whole job.
///
/// # Errors
/// That the sum is too large.
pub(super) fn port_cost_ns(system: &System, id: TaskId) -> Result<u64, String> {
    let Some(cost) = system.platform.port_cost.as_ref().filter(|cost| !cost.included.value) else { return Ok(0) };
    let of_channel =
        |channel: &Channel| calls(system, channel, id) * call_ns(channel, cost.fixed.value, cost.per_kib.value);
    let sum_ns = system.channels.iter().map(of_channel).fold(0, u128::saturating_add);
    u64::try_from(sum_ns).map_err(|_| format!("the port calls of `{}` take too long", system.task_label(id)))
}

/// The time of one call for a message of the channel. Every factor is at most 2^53.
fn call_ns(channel: &Channel, fixed: Duration, per_kib: Duration) -> u128 {
    let bytes_ns = u128::from(channel.size.value.get()) * u128::from(per_kib.ns());
    u128::from(fixed.ns()) + bytes_ns.div_ceil(BYTES_PER_KIB)
}

/// The calls of one job for a channel.
fn calls(system: &System, channel: &Channel, id: TaskId) -> u128 {
    let is_own = |end: PortEnd| match end {
        PortEnd::Task(task) => task == id,
        PortEnd::Partition(partition) => system.task(id).partition == partition,
        PortEnd::Device(_) => false,
    };
    let (written, read) = match channel.kind {
        ChannelKind::Sampling { .. } => (1, 1),
        ChannelKind::Queuing { depth, batch, read, .. } => (batch.value, taken(depth.value, read)),
    };
    let writes = if is_own(channel.source.value) { written } else { 0 };
    let reads = if channel.destinations.iter().any(|end| is_own(end.value)) { read } else { 0 };
    u128::from(writes) + u128::from(reads)
}

fn taken(depth: u64, read: QueueRead) -> u64 {
    match read {
        QueueRead::All => depth.max(1),
        QueueRead::AtMost(most) => most.min(depth).max(1),
    }
}
