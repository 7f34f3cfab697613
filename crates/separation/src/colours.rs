//! Page colours.
//!
//! Computes: for every cache whose sets are shared out by the colours of pages, the number of colours, and the faults of the
//! planned ones: none to share out, colours that the cache does not have, colours that two partitions have who run on different
//! cores, partitions without colours beside such with, colours too few for a declared working set, and a range of which the pages
//! of these colours are fewer than the RAM asked for; with what of the range is lost.
//! Source: Liedtke, Haertig, Hohmuth, RTAS 1997; Kim, Kandhalu, Rajkumar, ECRTS 2013: colours = size / (slices x ways x page).
//! Assumptions: the hypervisor gives a partition pages of its colours only, and neighbouring pages have neighbouring colours.
//! Symbols: `n` colours of the cache, of which a partition has `k`; a colour's sets hold `size / n` bytes. Page `p` of the address
//! map has colour `p mod n`, in every cache by its own `n`; a partition with colours of several has the pages that have one of each.
//! Invariants and why it ends: as in `shares`, which it has in common with the banks of memories.
//! Differs from the source: it has one coloured cache; with hashed slices only what is within one slice carries colours; the hash
//! itself is not modelled.
//! Checked by: the published 32 and 16 colours; colours by hand; ranges page by page, in one cache and in several.

use crate::facts::{Claim, Found, basis};
use crate::shares::{Holder, Shares, are_planned};
use claim::{Assumption, Kind, Verdict};
use model::System;
use model::system::Cache;
use plan::{Coloured, Plan};
use quantity::{Bytes, CacheId};

/// The colours of a cache: how many different pages can lie beside each other in one way of a slice; 1 where it has none to share
/// out, since all sets are chosen within a page.
pub fn page_colours(size: Bytes, slices: u32, ways: u32, page: Bytes) -> u64 {
    let together = u128::from(slices) * u128::from(ways) * u128::from(page.get());
    let colours = u128::from(size.get()).checked_div(together).unwrap_or(1);
    u64::try_from(colours).unwrap_or(u64::MAX).max(1)
}

/// One verdict for every cache that is shared out by colours, or of which colours are planned.
pub(crate) fn check(system: &System, plan: &Plan) -> Vec<Verdict> {
    let caches = system.board.caches.iter().enumerate().map(|(index, cache)| (CacheId::new(index), cache));
    let due = caches.filter(|(id, cache)| cache.coloured == Some(true) || are_planned(plan, Coloured::Cache(*id)));
    due.map(|(id, _)| of_cache(system, plan, id)).collect()
}

/// The verdict of one cache.
pub(crate) fn of_cache(system: &System, plan: &Plan, id: CacheId) -> Verdict {
    let cache = &system.board.caches[id.index()];
    claim(cache).verdict(Shares::of(system, plan, Coloured::Cache(id)).map(|all| found(cache, &all)))
}

fn claim(cache: &Cache) -> Claim {
    let source = "Liedtke, Haertig, Hohmuth, RTAS 1997; Kim, Kandhalu, Rajkumar, ECRTS 2013";
    Claim {
        kind: Kind::Cache,
        subject: format!("{}/colours", cache.name.value),
        place: cache.name.span,
        basis: basis("page-colours", source, vec![Assumption::MapEnforced]),
    }
}

fn found(cache: &Cache, all: &Shares<'_>) -> Found {
    if all.number <= 1 {
        let none = format!("its sets are chosen within a page of {}: it has no colours to share out", all.page);
        return Found { faults: vec![none], remarks: Vec::new() };
    }
    let mut found = Found { faults: all.faults(), remarks: all.remarks() };
    found.faults.extend(all.holders.iter().filter_map(|holder| working_set(cache, all, holder)));
    found
}

/// A working set that is larger than the sets of its colours.
fn working_set(cache: &Cache, all: &Shares<'_>, holder: &Holder<'_>) -> Option<String> {
    let set = all.system.partition(holder.id).working_set?.value;
    let capacity = u128::from(cache.size.value.get()) * holder.held.len() as u128 / u128::from(all.number);
    let capacity = Bytes::new(u64::try_from(capacity).unwrap_or(u64::MAX));
    (set > capacity && !holder.held.is_empty())
        .then(|| format!("the working set of `{}`, {set}, passes its colours, {capacity}", all.name(holder)))
}
