//! Page colours.
//!
//! Computes: for every cache whose sets are shared out by the colours of pages, the number of colours, and the faults of the
//! planned ones: none to share out, colours that the cache does not have, colours that two partitions have who run on different
//! cores, partitions without colours beside such with, colours too few for a declared working set, and a range of which the pages
//! of these colours are fewer than the RAM asked for; with what of the range is lost.
//! Source: Liedtke, Haertig, Hohmuth, RTAS 1997; Kim, Kandhalu, Rajkumar, ECRTS 2013: colours = size / (slices x ways x page).
//! Assumptions: the hypervisor gives a partition pages of its colours only, and neighbouring pages have neighbouring colours.
//! Symbols: `n` colours of the cache, of which a partition has `k`; a colour's sets hold `size / n` bytes. Page `p` of the address
//! map has colour `p mod n`.
//! Invariants and why it ends: each pair of grants is compared once.
//! Differs from the source: with hashed slices only what is within one slice carries colours; the hash itself is not modelled.
//! Checked by: the published 32 and 16 colours; colours by hand, ranges page by page.

use crate::cache::may_meet;
use crate::facts::{Claim, Found, basis};
use crate::homes::homes;
use crate::names::counted;
use claim::{Assumption, Kind, Verdict};
use model::System;
use model::system::{Cache, Memory};
use plan::{ColourGrant, Placed, Placement, Plan, WayHolder};
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
    let due = caches.filter(|(id, cache)| cache.coloured == Some(true) || are_planned(plan, *id));
    due.map(|(id, _)| of_cache(system, plan, id)).collect()
}

/// The verdict of one cache.
pub(crate) fn of_cache(system: &System, plan: &Plan, id: CacheId) -> Verdict {
    let cache = &system.board.caches[id.index()];
    claim(cache).verdict(Colours::of(system, plan, id, cache).map(|all| all.found()))
}

/// Whether a plan shares out a cache by colours.
pub(crate) fn are_planned(plan: &Plan, id: CacheId) -> bool {
    plan.colours.iter().any(|grant| grant.cache == id)
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

struct Colours<'a> {
    system: &'a System,
    plan: &'a Plan,
    cache: &'a Cache,
    page: Bytes,
    number: u64,
    /// Each grant with the place of its partition.
    grants: Vec<(&'a ColourGrant, &'a Placement)>,
}

impl<'a> Colours<'a> {
    /// The grants of a cache, or which datum about them is missing.
    fn of(system: &'a System, plan: &'a Plan, id: CacheId, cache: &'a Cache) -> Result<Self, String> {
        let placed = plan.colours.iter().filter(|grant| grant.cache == id).map(|grant| {
            let placement = plan.memory.iter().find(|place| place.what == Placed::Partition(grant.partition));
            let missing = || format!("the plan places nothing for `{}`", system.partition(grant.partition).name.value);
            placement.map(|place| (grant, place)).ok_or_else(missing)
        });
        let grants: Vec<_> = placed.collect::<Result<_, String>>()?;
        if let Some((grant, _)) = grants.iter().find(|(grant, _)| has_others(plan, grant)) {
            let name = &system.partition(grant.partition).name.value;
            return Err(format!("`{name}` has colours of another cache too, and pages that have both are not counted"));
        }
        let pages: Result<Vec<Bytes>, String> = grants.iter().map(|(_, place)| page_of(system, place)).collect();
        let pages = pages?;
        let page = pages.first().copied().ok_or("the plan gives none of its colours")?;
        if pages.iter().any(|other| *other != page) {
            return Err("its partitions lie in memories of different granules, so their pages have no common colours"
                .to_owned());
        }
        let number = page_colours(cache.size.value, cache.slices.unwrap_or(1), cache.ways.value, page);
        Ok(Self { system, plan, cache, page, number, grants })
    }

    fn found(&self) -> Found {
        let mut found = Found::default();
        if self.number <= 1 {
            found
                .faults
                .push(format!("its sets are chosen within a page of {}: it has no colours to share out", self.page));
            return found;
        }
        found.faults.extend(self.grants.iter().filter_map(|(grant, _)| self.beyond(grant)));
        for (index, (grant, _)) in self.grants.iter().enumerate() {
            let later = self.grants.iter().skip(index + 1);
            found.faults.extend(later.filter_map(|(other, _)| self.overlap(grant, other)));
        }
        found.faults.extend(self.without_colours());
        found.remarks.push(format!("{} at pages of {}", counted(self.number, "colour"), self.page));
        for (grant, place) in &self.grants {
            found.faults.extend(self.working_set(grant));
            match self.memory(grant, place) {
                Ok(lost) => found.remarks.extend(lost),
                Err(fault) => found.faults.push(fault),
            }
        }
        found
    }

    fn name(&self, grant: &ColourGrant) -> &str {
        &self.system.partition(grant.partition).name.value
    }

    /// Colours that the cache has not.
    fn beyond(&self, grant: &ColourGrant) -> Option<String> {
        let highest = grant.colours.last().copied().filter(|colour| u64::from(*colour) >= self.number)?;
        Some(format!("`{}` is given colour {highest}, and they count from 0 to {}", self.name(grant), self.number - 1))
    }

    /// Colours that two partitions have who may run at the same time.
    fn overlap(&self, one: &ColourGrant, other: &ColourGrant) -> Option<String> {
        let shared = one.colours.iter().filter(|colour| other.colours.binary_search(colour).is_ok()).count();
        let holders = [one, other].map(|grant| WayHolder::Partition(grant.partition));
        let words =
            || format!("`{}` and `{}` share {}", self.name(one), self.name(other), counted(shared as u64, "colour"));
        (shared > 0 && may_meet(self.system, self.plan, holders[0], holders[1])).then(words)
    }

    /// Partitions that run on a core of the cache and whose pages have any colour.
    fn without_colours(&self) -> Vec<String> {
        let has = |id| self.grants.iter().any(|(grant, _)| grant.partition == id);
        let uses = |id| homes(self.system, self.plan, id).iter().any(|core| self.cache.cores.contains(core));
        let bare = self.system.partition_ids().filter(|id| !has(*id) && uses(*id));
        bare.map(|id| {
            format!("`{}` runs on a core of the cache and has no colours", self.system.partition(id).name.value)
        })
        .collect()
    }

    /// A working set that is larger than the sets of its colours.
    fn working_set(&self, grant: &ColourGrant) -> Option<String> {
        let set = self.system.partition(grant.partition).working_set?.value;
        let capacity = u128::from(self.cache.size.value.get()) * grant.colours.len() as u128 / u128::from(self.number);
        let capacity = Bytes::new(u64::try_from(capacity).unwrap_or(u64::MAX));
        (set > capacity)
            .then(|| format!("the working set of `{}`, {set}, passes its colours, {capacity}", self.name(grant)))
    }

    /// The whole pages of a range that have the colours of a grant.
    fn usable(&self, grant: &ColourGrant, place: &Placement) -> Bytes {
        let (page, number) = (u128::from(self.page.get().max(1)), u128::from(self.number));
        let first = u128::from(place.base.get()).div_ceil(page);
        let end = ((u128::from(place.base.get()) + u128::from(place.size.get())) / page).max(first);
        // Of all pages from the first, each colour has one in every `number`, and one more where its turn has come.
        let until = |pages: u128, colour: u32| pages / number + u128::from(pages % number > u128::from(colour));
        let known = grant.colours.iter().filter(|colour| u64::from(**colour) < self.number);
        let pages: u128 = known.map(|colour| until(end, *colour) - until(first, *colour)).sum();
        Bytes::new(u64::try_from(pages * page).unwrap_or(u64::MAX))
    }

    /// What of a range is lost to pages of other colours; a fault where too little is left.
    fn memory(&self, grant: &ColourGrant, place: &Placement) -> Result<Option<String>, String> {
        let usable = self.usable(grant, place);
        let lost = Bytes::new(place.size.get() - usable.get());
        let name = self.name(grant);
        match self.system.partition(grant.partition).ram.map(|ram| ram.value).filter(|ram| *ram > usable) {
            Some(ram) => Err(format!(
                "`{name}` asks for {ram}, and of its range of {} only {usable} have its colours",
                place.size
            )),
            None => Ok((lost.get() > 0).then(|| format!("`{name}` loses {lost} of its range to other colours"))),
        }
    }
}

/// Whether the partition of a grant has colours of another cache too.
fn has_others(plan: &Plan, grant: &ColourGrant) -> bool {
    plan.colours.iter().any(|other| other.partition == grant.partition && other.cache != grant.cache)
}

/// The pages of the memory that a placement begins in.
fn page_of(system: &System, place: &Placement) -> Result<Bytes, String> {
    let holds = |memory: &&Memory| {
        let end = u128::from(memory.base.get()) + u128::from(memory.size.get());
        memory.base.value <= place.base && u128::from(place.base.get()) < end
    };
    let memory = system.board.memories.iter().find(holds);
    memory.map(|memory| memory.granule).ok_or_else(|| format!("no memory of the board holds {}", place.base))
}
