//! The windows of every module schedule, with their heads.
//!
//! Touching windows of one lane are joined here, so that each window that remains pays its head once.

use super::cores::{grant, head_ns, set_of};
use crate::machine::{Grant, Lane, Tables, Window};
use model::System;
use model::system::{ModuleSchedule, ScheduledPartition};
use plan::{Plan, ScheduleTable};
use quantity::{PartitionId, ScheduleId};

pub(super) fn schedules(system: &System, plan: &Plan, lanes: &[Lane]) -> Vec<Tables> {
    let tables = |(index, schedule): (usize, &ModuleSchedule)| {
        let windows = plan.schedules.iter().find(|table| table.schedule == ScheduleId::new(index));
        Tables {
            name: schedule.name.value.clone(),
            cores: (0..system.board.cores.len()).map(|core| of_core(system, windows, lanes, core)).collect(),
            active: active(system, schedule),
            grants: grants(system, plan, schedule, lanes),
        }
    };
    system.schedules.iter().enumerate().map(tables).collect()
}

fn changed(schedule: &ModuleSchedule, partition: PartitionId) -> Option<&ScheduledPartition> {
    schedule.changes.iter().find(|change| change.partition.value == partition)
}

fn active(system: &System, schedule: &ModuleSchedule) -> Vec<bool> {
    let runs = |id: quantity::TaskId| match changed(schedule, system.task(id).partition) {
        Some(change) if change.idle => false,
        Some(change) => change.active_tasks.as_ref().is_none_or(|active| active.contains(&id)),
        None => true,
    };
    system.task_ids().map(runs).collect()
}

fn grants(system: &System, plan: &Plan, schedule: &ModuleSchedule, lanes: &[Lane]) -> Vec<Grant> {
    let of_lane = |lane: &Lane| {
        let id = PartitionId::new(lane.partition);
        match changed(schedule, id) {
            Some(change) if change.idle => Grant::Nothing,
            Some(change) if change.grant.is_some() => {
                set_of(system, plan, id).map_or(Grant::Nothing, |set| grant(system, set, change.grant.as_ref()))
            }
            _ => lane.grant,
        }
    };
    lanes.iter().map(of_lane).collect()
}

fn of_core(system: &System, tables: Option<&ScheduleTable>, lanes: &[Lane], core: usize) -> Vec<Window> {
    let frame_ns = system.frame.ns();
    let head_ns = head_ns(system).unwrap_or(0);
    let table = tables.and_then(|tables| tables.cores.iter().find(|table| table.core.index() == core));
    let mut joined: Vec<Window> = Vec::new();
    for window in table.iter().flat_map(|table| &table.windows) {
        let whose = |lane: &Lane| lane.partition == window.partition.index() && lane.number == window.virtual_core;
        let Some(lane) = lanes.iter().position(whose) else { continue };
        // A plan that overlaps is judged by its claims; here a window begins when the one before it has ended.
        let start_ns = window.start.ns().max(joined.last().map_or(0, |last| last.end_ns));
        let end_ns = window.end().ns().min(frame_ns);
        match joined.last_mut() {
            _ if start_ns >= end_ns => {}
            Some(last) if last.lane == lane && last.end_ns == start_ns => last.end_ns = end_ns,
            _ => joined.push(Window { start_ns, end_ns, lane, head_ns, continues: false }),
        }
    }
    let last = joined.last().map(|last| (last.lane, last.end_ns));
    if let Some(first) = joined.first_mut() {
        first.continues = first.start_ns == 0 && last == Some((first.lane, frame_ns));
    }
    joined
}
