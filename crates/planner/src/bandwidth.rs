//! Bandwidth budgets of the interconnect's masters.
//!
//! Computes: for every core the peak of its tasks' memory traffic, for a DMA master the sum of its devices' rates, and
//! what the guaranteed rate leaves spread over them in proportion.
//! Source: regulation by a budget for each master in every period: Yun and others, RTAS 2013 (from memory). Peak of a
//! task with even requests: requests x line / execution time.
//! Assumptions: one task of a core asks for memory at a time, so the largest peak counts, not the sum.
//! Symbols: rates in bytes per second.
//! Invariants and why it ends: one pass over the masters.
//! Checked by: the survey vessel's published table and the tests below.

use crate::answer::Report;
use crate::problem::growth_ppm;
use crate::text::list;
use model::System;
use model::system::{GrowthSubject, PeakRate};
use plan::BandwidthBudget;
use quantity::{CoreId, PartitionId, Rate, TaskId};

/// Budgets are whole megabytes a second where the sum allows it and the regulation declares no step.
const READABLE_STEP: u64 = 1_000_000;
const NS_PER_S: u128 = 1_000_000_000;

/// The rate that a task may reach while it executes, in bytes per second, rounded up; `None` where unknown.
pub(crate) fn peak(system: &System, id: TaskId) -> Option<u64> {
    let task = system.task(id);
    if let Some(PeakRate::AtMost(rate)) = task.peak_rate.map(|p| p.value) {
        return Some(rate.bytes_per_s());
    }
    if task.line_requests.is_some_and(|requests| requests.value == 0) {
        return Some(0);
    }
    let line = system.board.interconnect.as_ref()?.line.get();
    let bytes = u128::from(task.line_requests?.value) * u128::from(line);
    let wcet = u128::from(task.wcet?.ns());
    (wcet > 0).then(|| u64::try_from(bytes.saturating_mul(NS_PER_S).div_ceil(wcet)).unwrap_or(u64::MAX))
}

/// The largest known peak of the tasks on one virtual core of a partition.
pub(crate) fn peak_of_item(system: &System, id: PartitionId, virtual_core: u32) -> u64 {
    let tasks = system.partition(id).tasks.iter();
    let here = tasks.filter(|t| system.task(**t).virtual_core.map_or(0, |v| v.value) == virtual_core);
    here.filter_map(|t| peak(system, *t)).max().unwrap_or(0)
}

/// What is left for the cores' peaks where the platform regulates; `None` where nothing limits them.
pub(crate) fn limit_for_cores(system: &System) -> Option<u64> {
    system.platform.regulation.as_ref()?;
    let dma: u64 = system.board.devices.iter().filter_map(|d| d.dma_rate).map(|rate| rate.bytes_per_s()).sum();
    Some(usable_rate(system)?.saturating_sub(dma))
}

/// The guaranteed rate without what a growth rule keeps free, in bytes per second.
fn usable_rate(system: &System) -> Option<u64> {
    let guaranteed = system.board.interconnect.as_ref()?.guaranteed.bytes_per_s();
    let kept = (u128::from(guaranteed) * u128::from(growth_ppm(system, GrowthSubject::Bandwidth))).div_ceil(1_000_000);
    Some(guaranteed.saturating_sub(u64::try_from(kept).unwrap_or(u64::MAX)))
}

/// The budgets; `on_core` lists partitions with their virtual core, by core id.
pub(crate) fn budgets(
    system: &System,
    on_core: &[Vec<(PartitionId, u32)>],
    report: &mut Report,
) -> Vec<BandwidthBudget> {
    let (Some(path), Some(regulation)) = (&system.board.interconnect, &system.platform.regulation) else {
        report.note("The platform declares no bandwidth regulation: no bandwidth budgets are planned.");
        return Vec::new();
    };
    let step = regulation.granule.map_or(READABLE_STEP, |granule| {
        let rate = (u128::from(granule.get()) * NS_PER_S).div_ceil(u128::from(regulation.period.ns().max(1)));
        u64::try_from(rate).unwrap_or(u64::MAX).max(1)
    });
    let mut needs: Vec<(usize, u64)> = Vec::new();
    for (index, master) in path.masters.iter().enumerate() {
        let need = match master.core {
            Some(core) => need_of_core(system, core, on_core, report),
            None => need_of_devices(system, &master.name.value, report),
        };
        needs.extend(need.filter(|need| *need > 0).map(|need| (index, need)));
    }
    let usable = usable_rate(system).unwrap_or(0);
    spread(&mut needs, usable, step, report);
    let budget =
        |(master, rate): (usize, u64)| BandwidthBudget { master, budget: Rate::from_bytes_per_s(rate), span: None };
    needs.into_iter().map(budget).collect()
}

fn need_of_core(
    system: &System,
    core: CoreId,
    on_core: &[Vec<(PartitionId, u32)>],
    report: &mut Report,
) -> Option<u64> {
    let here = on_core.get(core.index())?;
    let tasks = |(id, virtual_core): &(PartitionId, u32)| {
        let all = system.partition(*id).tasks.iter().copied();
        let virtual_core = *virtual_core;
        all.filter(move |t| system.task(*t).virtual_core.map_or(0, |v| v.value) == virtual_core)
    };
    let tasks: Vec<TaskId> = here.iter().flat_map(tasks).collect();
    let name = &system.core(core).name.value;
    let labels = |keep: &dyn Fn(&TaskId) -> bool| -> Vec<String> {
        tasks.iter().filter(|t| keep(t)).map(|t| system.task_label(*t)).collect()
    };
    let unknown = labels(&|t| peak(system, *t).is_none());
    if !unknown.is_empty() {
        report.note(format!(
            "The memory traffic of {} is unknown: core {name} gets no bandwidth budget.",
            list(&unknown)
        ));
        return None;
    }
    let bursty = labels(&|t| system.task(*t).peak_rate.is_none());
    if !bursty.is_empty() {
        report.note(format!(
            "{} declare no peak rate: the budget of core {name} takes their requests as spread evenly, which is not shown.",
            list(&bursty)
        ));
    }
    tasks.iter().filter_map(|t| peak(system, *t)).max()
}

/// A master that is no core carries the devices that move memory by themselves: all, or the one of its name.
fn need_of_devices(system: &System, master: &str, report: &mut Report) -> Option<u64> {
    let path = system.board.interconnect.as_ref()?;
    let alone = path.masters.iter().filter(|m| m.core.is_none()).count() == 1;
    let moves = system.board.devices.iter().filter(|d| d.dma_stream.is_some() || d.dma_rate.is_some());
    let mine: Vec<_> = moves.filter(|d| alone || d.name.value == master).collect();
    if mine.is_empty() {
        report.note(format!("No device is known to use master {master}: it gets no bandwidth budget."));
        return None;
    }
    let unknown: Vec<String> = mine.iter().filter(|d| d.dma_rate.is_none()).map(|d| d.name.value.clone()).collect();
    if !unknown.is_empty() {
        report.note(format!(
            "The rate of {} is unknown: the budget of master {master} counts the others only.",
            list(&unknown)
        ));
    }
    let known: u64 = mine.iter().filter_map(|d| d.dma_rate).map(|rate| rate.bytes_per_s()).sum();
    (known > 0).then_some(known)
}

/// Raises every need to a multiple of `step` and spreads what is left in proportion; exact where steps are too coarse.
fn spread(needs: &mut [(usize, u64)], usable: u64, step: u64, report: &mut Report) {
    let exact: u128 = needs.iter().map(|(_, need)| u128::from(*need)).sum();
    if exact > u128::from(usable) {
        let total = Rate::from_bytes_per_s(u64::try_from(exact).unwrap_or(u64::MAX));
        let usable = Rate::from_bytes_per_s(usable);
        report.open(format!("the peaks of memory traffic sum to {total}, the interconnect has {usable} to give"));
    }
    let stepped: u128 = needs.iter().map(|(_, need)| u128::from(need.div_ceil(step)) * u128::from(step)).sum();
    if stepped > u128::from(usable) {
        return;
    }
    let spare = u128::from(usable) - stepped;
    for (_, need) in needs.iter_mut() {
        let more = (spare * u128::from(*need)).checked_div(exact).unwrap_or(0) / u128::from(step) * u128::from(step);
        // The shares sum to at most the spare, and with the needs to at most the usable rate.
        *need = need.div_ceil(step) * step + u64::try_from(more).unwrap_or(0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spread_of(needs: &[u64], usable: u64, step: u64) -> Vec<u64> {
        let mut needs: Vec<(usize, u64)> = needs.iter().copied().enumerate().collect();
        let mut report = Report::default();
        spread(&mut needs, usable, step, &mut report);
        needs.into_iter().map(|(_, need)| need).collect()
    }

    #[test]
    fn spare_is_spread_in_proportion_and_never_passes_the_whole() {
        assert_eq!(spread_of(&[10, 30], 80, 10), [20, 60]);
        assert_eq!(spread_of(&[11, 30], 80, 10), [20, 50]);
        assert_eq!(spread_of(&[15, 15], 30, 10), [15, 15]);
        assert_eq!(spread_of(&[0], 30, 10), [0]);
    }
}
