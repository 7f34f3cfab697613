//! Cache ways.
//!
//! Computes: for every cache whose ways can be given apart, the faults of the planned masks: ways that the cache does not have,
//! masks that are empty or have holes, ways that two holders on different cores have, a holder without ways, and ways too few
//! for the declared working set.
//! Source: contiguous masks and their overlap as general-purpose kernels document them for cache allocation; common practice.
//! Assumptions: the hardware allocates lines only in the ways of the mask.
//! Symbols: a mask has bit `n` for way `n`; capacity is ways times the size of a way.
//! Invariants and why it ends: each pair of masks is compared once.
//! Differs from the source: ways never given to anybody are told, and are no fault.
//! Checked by: hand-made masks below; the survey vessel's four disjoint sets.

use crate::facts::{Claim, Found, basis};
use crate::homes::homes;
use crate::names::counted;
use crate::shares::are_planned;
use claim::{Assumption, Kind, Verdict};
use model::System;
use model::system::Cache;
use plan::{Coloured, Plan, WayGrant, WayHolder};
use quantity::{Bytes, CacheId, CoreId, PartitionId};

/// One verdict for every cache that can be shared out.
pub(crate) fn check(system: &System, plan: &Plan) -> Vec<Verdict> {
    // A cache that is shared out by colours alone needs no ways.
    let by_colours = |id, cache: &Cache| cache.coloured == Some(true) || are_planned(plan, Coloured::Cache(id));
    let by_ways = |id, cache| plan.cache.iter().any(|grant| grant.cache == id) || !by_colours(id, cache);
    let caches = system.board.caches.iter().enumerate();
    let caches = caches.filter(|(index, cache)| cache.partitionable && by_ways(CacheId::new(*index), cache));
    let claim = |cache: &Cache| Claim {
        kind: Kind::Cache,
        subject: cache.name.value.clone(),
        place: cache.name.span,
        basis: basis("cache-ways", "comparison of masks, common practice", vec![Assumption::WaysEnforced]),
    };
    caches.map(|(index, cache)| claim(cache).verdict(found(system, plan, CacheId::new(index), cache))).collect()
}

fn found(system: &System, plan: &Plan, id: CacheId, cache: &Cache) -> Result<Found, String> {
    let grants: Vec<&WayGrant> = plan.cache.iter().filter(|grant| grant.cache == id).collect();
    if grants.is_empty() {
        return Err("the plan gives none of its ways".to_owned());
    }
    let mut found = Found::default();
    found.faults.extend(grants.iter().flat_map(|grant| mask_faults(system, cache, grant)));
    found.faults.extend(not_apart(system, plan, cache, &grants));
    let (faults, unknown) = working_sets(system, plan, cache, &grants);
    found.faults.extend(faults);
    found.remarks.extend(free_ways(cache, &grants));
    if !unknown.is_empty() {
        found
            .remarks
            .push(format!("no working set is declared of {}, so whether theirs fits is not said", unknown.join(", ")));
    }
    Ok(found)
}

/// Why ways do not keep those apart who may run at the same time; `None` where the plan gives none of them.
pub(crate) fn why_not_apart(system: &System, plan: &Plan, id: CacheId) -> Option<Vec<String>> {
    let grants: Vec<&WayGrant> = plan.cache.iter().filter(|grant| grant.cache == id).collect();
    (!grants.is_empty()).then(|| not_apart(system, plan, &system.board.caches[id.index()], &grants))
}

/// Ways that are shared across cores, and cores that have none of their own.
fn not_apart(system: &System, plan: &Plan, cache: &Cache, grants: &[&WayGrant]) -> Vec<String> {
    let mut faults = Vec::new();
    for (index, grant) in grants.iter().enumerate() {
        let later = grants.iter().skip(index + 1);
        faults.extend(later.filter_map(|other| overlap(system, plan, grant, other)));
    }
    faults.extend(without_ways(system, plan, cache, grants));
    faults
}

fn mask_faults(system: &System, cache: &Cache, grant: &WayGrant) -> Vec<String> {
    let holder = holder_name(system, grant.holder);
    let mut faults = Vec::new();
    if grant.mask == 0 {
        faults.push(format!("{holder} has no way at all"));
    } else if holes(grant.mask) {
        faults.push(format!("the ways of {holder} are not contiguous"));
    }
    let beyond = 1u64.checked_shl(cache.ways.value).map_or(0, |limit| grant.mask & !(limit - 1));
    if beyond != 0 {
        faults.push(format!(
            "{holder} is given {} ways beyond the {} of the cache",
            beyond.count_ones(),
            cache.ways.value
        ));
    }
    faults
}

/// Whether a mask has an empty way between two that it holds.
const fn holes(mask: u64) -> bool {
    mask.count_ones() != u64::BITS - mask.leading_zeros() - mask.trailing_zeros()
}

/// Ways that two holders have who may run at the same time.
fn overlap(system: &System, plan: &Plan, one: &WayGrant, other: &WayGrant) -> Option<String> {
    let shared = (one.mask & other.mask).count_ones();
    let words = || {
        let (one, other) = (holder_name(system, one.holder), holder_name(system, other.holder));
        format!("{one} and {other} share {}", counted(shared.into(), "way"))
    };
    (shared > 0 && may_meet(system, plan, one.holder, other.holder)).then(words)
}

/// Whether two holders run on different cores at some time. On one core they take turns, and what the one displaces is in the
/// refill at the head of the other's window.
pub(crate) fn may_meet(system: &System, plan: &Plan, one: WayHolder, other: WayHolder) -> bool {
    let cores = |holder| match holder {
        WayHolder::Core(core) => vec![core],
        WayHolder::Partition(id) => homes(system, plan, id),
    };
    let (one, other) = (cores(one), cores(other));
    one.len() != 1 || one != other
}

/// The cores that use the cache and have no ways, nor has every partition on them.
fn without_ways(system: &System, plan: &Plan, cache: &Cache, grants: &[&WayGrant]) -> Vec<String> {
    let is_given = |holder: WayHolder| grants.iter().any(|grant| grant.holder == holder);
    let by_partition = grants.iter().any(|grant| matches!(grant.holder, WayHolder::Partition(_)));
    let lacks = |core: CoreId| {
        let name = &system.core(core).name.value;
        if !by_partition {
            return Some(format!("core {name} uses the cache and has no ways of its own"));
        }
        let lacks = |id: &PartitionId| !is_given(WayHolder::Partition(*id)) && homes(system, plan, *id).contains(&core);
        let partition = &system.partition(system.partition_ids().find(lacks)?).name.value;
        Some(format!("`{partition}` uses the cache from core {name}, and neither has ways"))
    };
    let cores = cache.cores.iter().copied().filter(|core| system.core(*core).active);
    cores.filter(|core| !is_given(WayHolder::Core(*core))).filter_map(lacks).collect()
}

/// Working sets that are larger than the ways that hold them, and who declares none.
fn working_sets(system: &System, plan: &Plan, cache: &Cache, grants: &[&WayGrant]) -> (Vec<String>, Vec<String>) {
    let way = cache.size.value.get() / u64::from(cache.ways.value.max(1));
    let (mut faults, mut unknown) = (Vec::new(), Vec::new());
    for id in system.partition_ids() {
        let partition = system.partition(id);
        let Some(set) = &partition.working_set else {
            unknown.push(partition.name.value.clone());
            continue;
        };
        let capacity = capacity(system, plan, grants, id, way);
        if capacity < set.value.get() {
            let (set, capacity) = (set.value, Bytes::new(capacity));
            faults.push(format!("the working set of `{}`, {set}, passes its ways, {capacity}", partition.name.value));
        }
    }
    (faults, unknown)
}

/// The bytes of the ways in which a partition's lines may lie: its own, or else those of the core with fewest.
fn capacity(system: &System, plan: &Plan, grants: &[&WayGrant], id: PartitionId, way: u64) -> u64 {
    let of =
        |holder: WayHolder| grants.iter().find(|grant| grant.holder == holder).map(|grant| grant.mask.count_ones());
    let of_cores = || homes(system, plan, id).into_iter().map(|core| of(WayHolder::Core(core)).unwrap_or(0)).min();
    u64::from(of(WayHolder::Partition(id)).or_else(of_cores).unwrap_or(0)).saturating_mul(way)
}

/// The cores on which a partition has windows in any schedule, or is pinned.
pub(crate) fn cores_of(system: &System, plan: &Plan, id: PartitionId) -> Vec<CoreId> {
    let tables = plan.schedules.iter().flat_map(|table| &table.cores);
    let with = tables.filter(|table| table.windows.iter().any(|window| window.partition == id)).map(|table| table.core);
    let mut cores: Vec<CoreId> = with.chain(system.partition(id).cores.iter().map(|core| core.value)).collect();
    cores.sort_unstable();
    cores.dedup();
    cores
}

/// The ways that nobody has.
fn free_ways(cache: &Cache, grants: &[&WayGrant]) -> Option<String> {
    let taken = grants.iter().fold(0u64, |taken, grant| taken | grant.mask).count_ones();
    let free = cache.ways.value.saturating_sub(taken);
    (free > 0).then(|| format!("nobody has {}", counted(free.into(), "way")))
}

fn holder_name(system: &System, holder: WayHolder) -> String {
    match holder {
        WayHolder::Core(core) => format!("core {}", system.core(core).name.value),
        WayHolder::Partition(id) => format!("`{}`", system.partition(id).name.value),
    }
}

#[cfg(test)]
mod tests {
    use super::holes;

    #[test]
    fn a_mask_with_a_hole_is_told() {
        // 0x5 is the example of a mask that general-purpose kernels refuse (common practice).
        assert!(holes(0x5) && holes(0x8001) && holes(1 << 63 | 1));
        assert!(!holes(0x1) && !holes(0xF0) && !holes(u64::MAX) && !holes(1 << 63));
    }
}
