//! An independent reader of plans: it shares no code with the planner and goes through time in plain loops.

use model::System;
use model::system::RunGrant;
use plan::{Placed, Plan};
use quantity::{CoreId, PartitionId, ScheduleId};

/// What one partition must have in one schedule: period and budget of each of its virtual cores in ns.
pub type Demand = (PartitionId, u32, u64, u64);

/// The declared demands of a system in its first schedule.
pub fn declared(system: &System) -> Vec<Demand> {
    let mut demands = Vec::new();
    for id in system.partition_ids() {
        let partition = system.partition(id);
        if let Some(RunGrant::Windows { period, budget: Some(budget) }) = &partition.grant {
            demands.extend((0..partition.virtual_cores.value).map(|v| (id, v, period.ns(), budget.ns())));
        }
    }
    demands
}

/// Asserts that the windows of a schedule are inside the frame and free of overlaps, and give every demand what it asks
/// for in every period: its length, and its length without one head as usable time. Nobody else has windows.
pub fn assert_windows(system: &System, plan: &Plan, schedule: usize, demands: &[Demand], head: u64) {
    let frame = system.frame.ns();
    let table = plan.schedules.iter().find(|table| table.schedule == ScheduleId::new(schedule));
    let mut all = Vec::new();
    for core in table.into_iter().flat_map(|table| &table.cores) {
        let mut end_before = 0;
        for window in &core.windows {
            assert!(window.start.ns() >= end_before, "windows overlap or are out of order on core {:?}", core.core);
            end_before = window.start.ns() + window.length.ns();
            assert!(end_before <= frame && window.length.ns() > 0, "a window lies outside the frame");
            all.push((core.core, window.partition, window.virtual_core, window.start.ns(), end_before));
        }
    }
    for (id, virtual_core, period, budget) in demands {
        let mine: Vec<_> = all.iter().filter(|w| (w.1, w.2) == (*id, *virtual_core)).collect();
        let name = &system.partition(*id).name.value;
        assert!(mine.windows(2).all(|pair| pair[0].0 == pair[1].0), "{name} has windows on two cores");
        for begin in (0..frame).step_by(*period as usize) {
            let inside = |from: u64, to: u64| to.min(begin + period).saturating_sub(from.max(begin));
            let length: u64 = mine.iter().map(|w| inside(w.3, w.4)).sum();
            let usable: u64 = mine.iter().map(|w| inside(w.3 + usable_from(&mine, w.3, frame, head), w.4)).sum();
            assert!(length >= *budget, "{name} has {length} ns of {budget} ns in the period from {begin} ns");
            assert!(usable >= budget - head, "{name} can use {usable} ns of {budget} ns in the period from {begin} ns");
        }
    }
    for window in &all {
        assert!(demands.iter().any(|d| (d.0, d.1) == (window.1, window.2)), "a window of nobody who asks for one");
    }
}

/// The head of a window that begins at `start`: none where another one of the same holder ends there.
fn usable_from(mine: &[&(CoreId, PartitionId, u32, u64, u64)], start: u64, frame: u64, head: u64) -> u64 {
    let touches = |w: &&&(CoreId, PartitionId, u32, u64, u64)| w.4 == start || (start == 0 && w.4 == frame);
    if mine.iter().any(|w| touches(&w)) { 0 } else { head }
}

/// The time of a frame that windows take on each core.
pub fn loads(system: &System, plan: &Plan, schedule: usize) -> Vec<u64> {
    let mut loads = vec![0; system.board.cores.len()];
    for table in plan.schedules.iter().filter(|table| table.schedule == ScheduleId::new(schedule)) {
        for core in &table.cores {
            loads[core.core.index()] += core.windows.iter().map(|w| w.length.ns()).sum::<u64>();
        }
    }
    loads
}

/// The core of a virtual core in the first schedule.
pub fn core_of(plan: &Plan, partition: PartitionId, virtual_core: u32) -> Option<usize> {
    let holds = |core: &&plan::CoreTable| {
        core.windows.iter().any(|w| (w.partition, w.virtual_core) == (partition, virtual_core))
    };
    plan.schedules.first()?.cores.iter().find(holds).map(|core| core.core.index())
}

/// Asserts that every partition with RAM and every region has one place, aligned, in memory, overlapping no other.
pub fn assert_memory(system: &System, plan: &Plan) {
    let mut ranges: Vec<(u64, u64)> = Vec::new();
    for place in &plan.memory {
        let (base, size) = (place.base.get(), place.size.get());
        let home = system
            .board
            .memories
            .iter()
            .find(|m| m.placeable && base >= m.base.get() && base + size <= m.base.get() + m.size.get());
        let granule = home.expect("a place lies in placeable memory").granule.get();
        assert!(base % granule == 0 && size % granule == 0, "a place keeps to granules");
        assert!(ranges.iter().all(|(from, to)| base >= *to || base + size <= *from), "two places overlap");
        ranges.push((base, base + size));
    }
    for id in system.partition_ids() {
        let places = plan.memory.iter().filter(|place| place.what == Placed::Partition(id));
        let asked = system.partition(id).ram.map_or(0, |ram| ram.get());
        assert!(places.map(|place| place.size.get()).sum::<u64>() >= asked, "a partition has its RAM");
    }
    for (index, region) in system.regions.iter().enumerate() {
        let places = plan.memory.iter().filter(|place| place.what == Placed::Region(index));
        assert_eq!(places.map(|place| place.size.get()).sum::<u64>(), region.size.get(), "a region has its place");
    }
}
