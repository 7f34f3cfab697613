//! Cache ways of the cores that share a cache.
//!
//! Computes: contiguous, disjoint ranges of ways, at least one a core and what its largest declared working set fills;
//! the others by the line requests of the core's tasks, by largest remainder.
//! Assumptions: a core's partitions use its ways in turn, so the largest working set counts, not the sum.
//! Checked by: the tests below.

use crate::answer::Report;
use model::System;
use model::system::Cache;
use plan::{WayGrant, WayHolder};
use quantity::{CacheId, CoreId, PartitionId};

/// The grants for every cache that can be given out in ways; `on_core` as in the bandwidth budgets.
pub(crate) fn way_grants(system: &System, on_core: &[Vec<(PartitionId, u32)>], report: &mut Report) -> Vec<WayGrant> {
    let mut grants = Vec::new();
    for (index, cache) in system.board.caches.iter().enumerate() {
        let users: Vec<CoreId> = cache.cores.iter().copied().filter(|c| !on_core[c.index()].is_empty()).collect();
        if cache.partitionable && cache.coloured != Some(true) && users.len() > 1 {
            grants.extend(share_out(system, CacheId::new(index), cache, &users, on_core, report));
        }
    }
    grants
}

fn share_out(
    system: &System,
    id: CacheId,
    cache: &Cache,
    users: &[CoreId],
    on_core: &[Vec<(PartitionId, u32)>],
    report: &mut Report,
) -> Vec<WayGrant> {
    let (name, ways) = (&cache.name.value, u64::from(cache.ways.value));
    let least: Vec<u64> = users.iter().map(|core| least_ways(system, cache, &on_core[core.index()])).collect();
    let needed = least.iter().fold(0, |sum: u64, ways| sum.saturating_add(*ways));
    if needed > ways || ways > 64 {
        report.open(format!("the working sets and cores ask for {needed} ways of cache {name}, it has {ways}"));
        return Vec::new();
    }
    let weights: Vec<u128> = users.iter().map(|core| weight(system, &on_core[core.index()])).collect();
    let mut first = 0;
    let grant = |(core, ways): (&CoreId, u64)| {
        let mask = ((1u128 << ways) - 1) << first;
        first += ways;
        // At most 64 ways in all, as checked above.
        WayGrant { cache: id, holder: WayHolder::Core(*core), mask: mask as u64, span: None }
    };
    users.iter().zip(apportion(ways - needed, &least, &weights)).map(grant).collect()
}

/// At least one way, and what the largest declared working set fills.
fn least_ways(system: &System, cache: &Cache, here: &[(PartitionId, u32)]) -> u64 {
    let way_size = (cache.size.get() / u64::from(cache.ways.value.max(1))).max(1);
    let sets = here.iter().filter_map(|(id, _)| system.partition(*id).working_set);
    sets.map(|set| set.get().div_ceil(way_size)).max().unwrap_or(0).max(1)
}

/// Line requests a second of the tasks here, in millionths, so that slow tasks count too.
pub(crate) fn weight(system: &System, here: &[(PartitionId, u32)]) -> u128 {
    let tasks = here.iter().flat_map(|(id, virtual_core)| {
        let tasks = system.partition(*id).tasks.iter().map(|t| system.task(*t));
        tasks.filter(|t| t.virtual_core.map_or(0, |v| v.value) == *virtual_core)
    });
    let rate = |t: &model::system::Task| {
        let requests = t.line_requests.map_or(0, |n| n.value);
        (u128::from(requests) * 1_000_000_000_000_000).checked_div(u128::from(t.period.ns())).unwrap_or(0)
    };
    // Far below 2^64 each, and weights are only compared.
    tasks.map(|t| rate(t).min(u128::from(u64::MAX))).sum::<u128>()
}

/// Spreads `spare` over the shares in proportion to the weights; the largest remainders, then the first, get what is left.
pub(crate) fn apportion(spare: u64, least: &[u64], weights: &[u128]) -> Vec<u64> {
    let total: u128 = weights.iter().sum();
    let weights: Vec<u128> = if total == 0 { vec![1; weights.len()] } else { weights.to_vec() };
    let total: u128 = weights.iter().sum();
    let mut shares: Vec<u64> = Vec::new();
    let mut remainders: Vec<(std::cmp::Reverse<u128>, usize)> = Vec::new();
    for (index, weight) in weights.iter().enumerate() {
        let scaled = u128::from(spare) * weight;
        shares.push(least[index] + (scaled / total) as u64);
        remainders.push((std::cmp::Reverse(scaled % total), index));
    }
    remainders.sort_unstable();
    let given: u64 = shares.iter().sum::<u64>() - least.iter().sum::<u64>();
    for (_, index) in remainders.into_iter().take((spare - given) as usize) {
        shares[index] += 1;
    }
    shares
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_way_is_given_out_by_weight() {
        assert_eq!(apportion(12, &[1, 1, 1, 1], &[1, 1, 1, 1]), [4, 4, 4, 4]);
        assert_eq!(apportion(3, &[1, 2], &[3, 1]), [3, 3]);
        assert_eq!(apportion(2, &[1, 1, 1], &[0, 0, 0]), [2, 2, 1]);
        assert_eq!(apportion(0, &[5], &[7]), [5]);
    }
}
