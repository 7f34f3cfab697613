//! Devices, the path to memory, the time from reset to the first frame.

use crate::machine::{Bus, Device, Interrupt, Master};
use model::System;
use model::system::{BootStage, Interconnect, InterruptPolicy};
use plan::Plan;

pub(super) fn devices(system: &System) -> Vec<Device> {
    let device = |device: &model::system::Device| Device {
        name: device.name.value.clone(),
        owner: device.owner.map(|owner| owner.index()),
        moves_memory: device.dma_stream.is_some() || device.dma_rate.is_some(),
        interrupts: device.interrupts.iter().map(interrupt).collect(),
    };
    system.board.devices.iter().map(device).collect()
}

fn interrupt(line: &model::system::Interrupt) -> Interrupt {
    Interrupt {
        core: line.core.map(|core| core.index()),
        immediate: line.policy.is_some_and(|policy| policy.value == InterruptPolicy::Immediate),
        least_gap_ns: line.min_interarrival.map(|gap| gap.ns()),
        handler_ns: line.handler.map(|handler| handler.ns()),
    }
}

pub(super) fn bus(system: &System, plan: &Plan) -> Option<Bus> {
    let path = system.board.interconnect.as_ref()?;
    let regulation_ns = system.platform.regulation.as_ref().map(|regulation| regulation.period.ns());
    Some(Bus {
        bytes_per_s: path.guaranteed.bytes_per_s(),
        line_bytes: path.line.get(),
        masters: (0..path.masters.len()).map(|index| master((system, path), plan, index, regulation_ns)).collect(),
        regulation_ns,
        working_set_lines: working_sets(system, path),
    })
}

fn master((system, path): (&System, &Interconnect), plan: &Plan, index: usize, regulation_ns: Option<u64>) -> Master {
    let rate = plan.bandwidth.iter().find(|grant| grant.master == index).map(|grant| grant.budget.bytes_per_s());
    let lines = |(rate, period): (u64, u64)| {
        let bytes = u128::from(rate) * u128::from(period) / 1_000_000_000;
        u64::try_from(bytes / u128::from(path.line.get().max(1))).unwrap_or(u64::MAX)
    };
    let core = path.masters[index].core.map(|core| core.index());
    let own = if core.is_none() { rate_beside_cores(system, path) } else { None };
    Master { core, budget_lines: rate.zip(regulation_ns).map(lines), rate: own }
}

/// What each master that is no core moves: as much of what devices move by themselves as every other such one, since nothing
/// says which device asks through which.
fn rate_beside_cores(system: &System, path: &Interconnect) -> Option<u64> {
    let devices = system.board.devices.iter().filter(|device| device.moves_memory());
    let rates: Option<Vec<u64>> = devices.map(|device| Some(device.dma_rate?.bytes_per_s())).collect();
    let sum = rates.filter(|rates| !rates.is_empty())?.into_iter().fold(0, u64::saturating_add);
    let masters = path.masters.iter().filter(|master| master.core.is_none()).count() as u64;
    sum.checked_div(masters)
}

fn working_sets(system: &System, path: &Interconnect) -> Vec<u64> {
    let lines = |bytes: u64| bytes.div_ceil(path.line.get().max(1));
    let of = |partition: &model::system::Partition| partition.working_set.map_or(0, |set| lines(set.get()));
    system.partitions.iter().map(of).collect()
}

/// The longest path through the boot stages; `None` where a stage has no time or waits for itself.
pub(super) fn until_first_frame(system: &System) -> Option<u64> {
    let stages = &system.boot.as_ref()?.stages;
    let mut ends: Vec<Option<u64>> = vec![None; stages.len()];
    // Each round settles at least one stage more, or none ever will.
    for _ in 0..stages.len() {
        for index in 0..stages.len() {
            let begin = stages[index].after.iter().try_fold(0, |latest, before| Some(latest.max(ends[before.value]?)));
            ends[index] = begin.and_then(|begin: u64| begin.checked_add(stage_ns(&stages[index])?));
        }
    }
    ends.into_iter().try_fold(0, |latest, end| Some(latest.max(end?)))
}

fn stage_ns(stage: &BootStage) -> Option<u64> {
    let load = match &stage.load {
        Some((size, rate)) => Some(rate.time_for(size.value)?.ns()),
        None => None,
    };
    match (stage.time.map(|time| time.ns()), load) {
        (None, None) => None,
        (time, load) => time.unwrap_or(0).checked_add(load.unwrap_or(0)),
    }
}
