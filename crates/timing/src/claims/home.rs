//! Where the virtual cores of a partition run: its core set, and the cores in it.

use super::scope::Scope;
use model::system::{CorePolicy, CoreSet, RunGrant};
use quantity::{CoreId, PartitionId};

impl<'a> Scope<'a> {
    /// The core set in which a virtual core of the partition runs: the one named, that of the core it is pinned to, or the
    /// only one.
    pub(super) fn home_set(&self, partition: PartitionId, virtual_core: u32) -> Option<&'a CoreSet> {
        let sets = &self.system.core_sets;
        let found = self.system.partition(partition);
        if let Some(set) = &found.core_set {
            return Some(&sets[set.value.index()]);
        }
        match found.cores.get(virtual_core as usize) {
            Some(pinned) => sets.iter().find(|set| set.cores.contains(&pinned.value)),
            None => {
                if sets.len() == 1 {
                    sets.first()
                } else {
                    None
                }
            }
        }
    }

    /// The cores on which a virtual core of the partition can run: those of its windows, else the one that it is pinned to,
    /// else all of its set.
    pub(super) fn home_cores(&self, partition: PartitionId, virtual_core: u32) -> Vec<CoreId> {
        let set = self.home_set(partition, virtual_core);
        let with_windows = || self.tables_of(partition, virtual_core).iter().map(|table| table.core).collect();
        if set.is_none_or(|set| matches!(set.policy, CorePolicy::WindowTable { .. })) {
            return with_windows();
        }
        match self.system.partition(partition).cores.get(virtual_core as usize) {
            Some(pinned) => vec![pinned.value],
            None => set.map_or_else(Vec::new, |set| set.cores.clone()),
        }
    }

    /// The partitions that can run on a core: those that have windows there, or whose set gives it to them.
    pub(super) fn partitions_on(&self, core: CoreId) -> Vec<PartitionId> {
        let with_windows = self.windows_on(core).iter().map(|window| window.partition);
        let by_set = self.running_partitions().filter(|&partition| {
            let virtual_cores = 0..self.system.partition(partition).virtual_cores.value;
            virtual_cores.into_iter().any(|virtual_core| self.home_cores(partition, virtual_core).contains(&core))
        });
        let mut partitions: Vec<_> = with_windows.chain(by_set).collect();
        partitions.sort_unstable();
        partitions.dedup();
        partitions
    }

    /// The virtual cores that run in a core set, in order.
    pub(super) fn members(&self, set: &CoreSet) -> Vec<Member<'a>> {
        let mut members = Vec::new();
        for partition in self.running_partitions() {
            for virtual_core in 0..self.system.partition(partition).virtual_cores.value {
                let home = self.home_set(partition, virtual_core);
                if home.is_some_and(|home| home.name.value == set.name.value) {
                    let pinned = self.system.partition(partition).cores.get(virtual_core as usize);
                    let grant = self.grant(partition);
                    members.push(Member { partition, grant, pinned: pinned.map(|core| core.value) });
                }
            }
        }
        members
    }
}

/// A virtual core that runs in a core set.
pub(super) struct Member<'a> {
    pub(super) partition: PartitionId,
    pub(super) grant: Option<&'a RunGrant>,
    pub(super) pinned: Option<CoreId>,
}
