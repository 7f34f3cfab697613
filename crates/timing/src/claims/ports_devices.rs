//! What a device has to carry, against what it can.
//!
//! Computes: for each device with a declared capacity the sum of the rates of the channels from and to it and of the rate
//! at which it moves memory by itself, as a share of the capacity.
//! Source: demand within the capacity of a resource: AMC 20-193, MCP_Resource_Usage_4 (from memory).
//! Assumptions: rates as declared.
//! Symbols: `size * batch / distance` in bytes/ns, summed as exact fractions; the share in parts per million, rounded up.
//! Invariants and why it ends: one pass over the channels.
//! Differs from the source: nothing.
//! Checked by: a case by hand, exactly full and one byte over.

use super::ports::{self, is_used};
use super::scope::Scope;
use crate::network_calculus::fluid::{Number, ratio, whole};
use claim::{Assumption, Basis, Kind, Status, Unit, Verdict, Witness};
use model::system::{Channel, ChannelKind, Device, PortEnd};
use quantity::{DeviceId, Ppm, Rate};

const NS_PER_S: u64 = 1_000_000_000;

/// What moves through a device, in bytes per second.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Moved {
    at_most: Number,
    surely: Number,
}

/// One verdict for each device with a capacity.
pub(super) fn check(scope: &Scope<'_>) -> Vec<Verdict> {
    let devices = scope.system.board.devices.iter().enumerate();
    let with_capacity =
        devices.filter_map(|(index, device)| Some((DeviceId::new(index), device, device.capacity?.value)));
    with_capacity.map(|(id, device, capacity)| verdict(scope, id, device, capacity)).collect()
}

fn verdict(scope: &Scope<'_>, id: DeviceId, device: &Device, capacity: Rate) -> Verdict {
    let basis = Basis {
        analysis: "device-bandwidth",
        source: "AMC 20-193, MCP_Resource_Usage_4 (from memory)",
        assumptions: vec![Assumption::InputsValid],
    };
    let name = &device.name.value;
    let place = device.capacity.map_or(device.name.span, |capacity| capacity.span);
    let base = Verdict {
        unit: Unit::Ppm,
        limit: Some(Ppm::ONE.get()),
        ..scope.claim(Kind::Bandwidth, name.clone(), basis, place, String::new())
    };
    match moved(scope, id, device) {
        Err(reason) => Verdict { reason: Some(reason), ..base },
        Ok(moved) => judge(name, capacity, &moved, base),
    }
}

fn judge(name: &str, capacity: Rate, moved: &Moved, base: Verdict) -> Verdict {
    let carries = whole(capacity.bytes_per_s());
    if moved.at_most <= carries {
        // A device of capacity zero that moves nothing is not loaded.
        let load = if carries > whole(0) { &moved.at_most / &carries } else { whole(0) };
        return Verdict {
            status: Status::Shown,
            bound: Some(rounded_up(&(load * whole(Ppm::ONE.get())))),
            reason: None,
            ..base
        };
    }
    let is_sure = moved.surely > carries;
    let asked = if is_sure { &moved.surely } else { &moved.at_most };
    let (asked, may) = (Rate::from_bytes_per_s(rounded_up(asked)), if is_sure { "" } else { "may " });
    let ask = if is_sure { "asks" } else { "ask" };
    let reason = format!("what moves through `{name}` {may}{ask} for {asked} of its {capacity}");
    let witness = is_sure.then(|| Witness::of_fact(&*reason));
    let status = if is_sure { Status::Violated } else { Status::NotShown };
    let bound = (carries > whole(0)).then(|| rounded_up(&(&moved.at_most / &carries * whole(Ppm::ONE.get()))));
    Verdict { status, bound, reason: Some(reason), witness, ..base }
}

fn rounded_up(number: &Number) -> u64 {
    u64::try_from(number.ceil().to_integer()).unwrap_or(u64::MAX)
}

fn moved(scope: &Scope<'_>, id: DeviceId, device: &Device) -> Result<Moved, String> {
    let name = &device.name.value;
    if device.dma_stream.is_some() && device.dma_rate.is_none() {
        return Err(format!("`dma_rate` of `{name}` is not given"));
    }
    let here =
        |channel: &&Channel| ports::ends(channel).any(|end| end == PortEnd::Device(id)) && is_used(scope, channel);
    let rates = scope.system.channels.iter().filter(here).map(|channel| rate(scope, channel));
    let rates: Vec<(Number, bool)> = rates.collect::<Result<_, String>>()?;
    if device.dma_rate.is_none() && rates.is_empty() {
        return Err(format!("what moves through `{name}` is not given: it has neither a `dma_rate` nor a channel"));
    }
    let own = device.dma_rate.map_or(0, |rate| rate.value.bytes_per_s());
    let mut moved = Moved { at_most: whole(own), surely: whole(own) };
    for (rate, is_sure) in rates {
        if is_sure {
            moved.surely += &rate;
        }
        moved.at_most += rate;
    }
    Ok(moved)
}

/// The bytes per second of a channel, and whether so many surely come.
fn rate(scope: &Scope<'_>, channel: &Channel) -> Result<(Number, bool), String> {
    let (declared, batch) = match &channel.kind {
        ChannelKind::Sampling { .. } => (None, 1),
        ChannelKind::Queuing { min_interarrival, batch, .. } => {
            (min_interarrival.map(|least| least.value.ns()), batch.value)
        }
    };
    let (distance_ns, is_sure) = match (channel.source.value, declared) {
        (PortEnd::Task(id), declared) => {
            let task = scope.system.task(id);
            let period_ns = task.period.value.ns();
            let distance_ns = declared.unwrap_or(period_ns);
            (distance_ns, !task.sporadic && distance_ns == period_ns)
        }
        (_, Some(distance_ns)) => (distance_ns, false),
        (end, None) => return Err(ports::task_at(scope, end, "writes").err().unwrap_or_default()),
    };
    let bytes = whole(channel.size.value.get()) * whole(batch) * whole(NS_PER_S);
    Ok((bytes * ratio(1, distance_ns.into()), is_sure))
}
