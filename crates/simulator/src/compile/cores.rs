//! Cores and how each is shared; virtual cores and what each is granted.

use super::Missing;
use crate::machine::{Core, Grant, Lane, Policy};
use model::System;
use model::system::{CorePolicy, CoreSet, Partition, RunGrant};
use plan::Plan;
use quantity::{CoreId, PartitionId};

/// Switch and refill, in nanoseconds, where both are known.
pub(super) fn head_ns(system: &System) -> Option<u64> {
    let (switch, refill) = (system.platform.switch?, system.platform.refill?);
    Some(switch.ns().saturating_add(refill.ns()))
}

/// The core set of a partition: the declared one, that of its cores, that of its windows, or the only one.
pub(super) fn set_of<'s>(system: &'s System, plan: &Plan, partition: PartitionId) -> Option<&'s CoreSet> {
    let declared = system.partition(partition);
    if let Some(set) = declared.core_set {
        return system.core_sets.get(set.value.index());
    }
    let windowed = plan.schedules.iter().flat_map(|table| &table.cores);
    let has_window = |core: &&plan::CoreTable| core.windows.iter().any(|window| window.partition == partition);
    let core = declared
        .cores
        .first()
        .map(|core| core.value)
        .or_else(|| windowed.clone().find(has_window).map(|table| table.core));
    match core {
        Some(core) => system.core_sets.iter().find(|set| set.cores.contains(&core)),
        None => system.core_sets.first().filter(|_| system.core_sets.len() == 1),
    }
}

pub(super) fn cores(system: &System, missing: &mut Missing) -> Vec<Core> {
    if head_ns(system).is_none() && !system.core_sets.iter().all(|set| set.policy == CorePolicy::Dedicated) {
        let reason = || "the platform's `switch` or `refill` is not declared".to_owned();
        system.partition_ids().for_each(|partition| missing.add(partition, reason));
    }
    let core = |(index, core): (usize, &model::system::Core)| {
        let set = system.core_sets.iter().position(|set| set.cores.contains(&CoreId::new(index)));
        let policy = set.filter(|_| core.active).map_or(Policy::Off, |set| policy(system, &system.core_sets[set]));
        Core { name: core.name.value.clone(), policy, set: set.unwrap_or(system.core_sets.len()) }
    };
    system.board.cores.iter().enumerate().map(core).collect()
}

fn policy(system: &System, set: &CoreSet) -> Policy {
    match set.policy {
        CorePolicy::WindowTable { synchronised, .. } => {
            Policy::Table { synchronised, slip_ns: system.platform.boundary_slip.map_or(0, |slip| slip.ns()) }
        }
        CorePolicy::BudgetServer => Policy::Servers,
        CorePolicy::ProportionalShare { quantum } => {
            Policy::Share { quantum_ns: quantum.ns(), head_ns: head_ns(system).unwrap_or(0) }
        }
        CorePolicy::Dedicated => Policy::Dedicated,
    }
}

pub(super) fn lanes(system: &System, plan: &Plan) -> Vec<Lane> {
    let of_partition = |id: PartitionId| {
        let partition = system.partition(id);
        let set = set_of(system, plan, id);
        (0..partition.virtual_cores.value).map(move |number| Lane {
            partition: id.index(),
            number,
            cores: cores_of(partition, set, plan, id, number),
            grant: set.map_or(Grant::Nothing, |set| grant(system, set, partition.grant.as_ref())),
        })
    };
    system.partition_ids().flat_map(of_partition).collect()
}

fn cores_of(partition: &Partition, set: Option<&CoreSet>, plan: &Plan, id: PartitionId, number: u32) -> Vec<usize> {
    if let Some(core) = partition.cores.get(number as usize) {
        return vec![core.value.index()];
    }
    let tables = plan.schedules.iter().flat_map(|table| &table.cores);
    let mine = |table: &&plan::CoreTable| {
        table.windows.iter().any(|window| window.partition == id && window.virtual_core == number)
    };
    let mut cores: Vec<usize> = tables.filter(mine).map(|table| table.core.index()).collect();
    if cores.is_empty() {
        cores = set.into_iter().flat_map(|set| &set.cores).map(|core| core.index()).collect();
    }
    cores.sort_unstable();
    cores.dedup();
    cores
}

pub(super) fn grant(system: &System, set: &CoreSet, asked: Option<&RunGrant>) -> Grant {
    match (&set.policy, asked) {
        (CorePolicy::WindowTable { .. }, _) => Grant::Windows,
        (CorePolicy::BudgetServer, Some(RunGrant::Server { budget, period, deadline })) => Grant::Server {
            budget_ns: budget.ns(),
            period_ns: period.ns().max(1),
            deadline_ns: deadline.ns(),
            head_ns: head_ns(system).unwrap_or(0),
        },
        (CorePolicy::ProportionalShare { .. }, Some(RunGrant::Share { share, ceiling })) => {
            Grant::Share { weight: u64::from(share.value), ceiling_ppm: ceiling.map(|most| most.value.get()) }
        }
        (CorePolicy::Dedicated, _) => Grant::Dedicated,
        (CorePolicy::BudgetServer | CorePolicy::ProportionalShare { .. }, _) => Grant::Nothing,
    }
}
