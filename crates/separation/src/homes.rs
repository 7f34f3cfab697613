//! Where partitions run.

use crate::cache::cores_of;
use model::System;
use plan::Plan;
use quantity::{CoreId, PartitionId};

/// The cores on which a partition may run: where the plan or the file puts it, or else those of its set, or else all in use.
pub fn homes(system: &System, plan: &Plan, id: PartitionId) -> Vec<CoreId> {
    let placed = cores_of(system, plan, id);
    if !placed.is_empty() {
        return placed;
    }
    let set = system.partition(id).core_set.as_ref().map(|set| &system.core_sets[set.value.index()]);
    set.map_or_else(|| active_cores(system), |set| set.cores.clone())
}

/// The cores in use.
pub(crate) fn active_cores(system: &System) -> Vec<CoreId> {
    let cores = system.board.cores.iter().enumerate().filter(|(_, core)| core.active);
    cores.map(|(index, _)| CoreId::new(index)).collect()
}
