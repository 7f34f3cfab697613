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
//! Invariants and why it ends: each pair of holders is compared once; how many pages `pages` looks at is bounded.
//! Differs from the source: it has one coloured cache; with hashed slices only what is within one slice carries colours; the hash
//! itself is not modelled.
//! Checked by: the published 32 and 16 colours; colours by hand; ranges page by page, in one cache and in several.

mod pages;

use crate::cache::may_meet;
use crate::facts::{Claim, Found, basis};
use crate::homes::homes;
use crate::names::counted;
use claim::{Assumption, Kind, Verdict};
use model::System;
use model::system::{Cache, Memory};
use pages::Pages;
use plan::{ColourGrant, Placed, Placement, Plan, WayHolder};
use quantity::{Bytes, CacheId, PartitionId};

/// The colours of a cache: how many different pages can lie beside each other in one way of a slice; 1 where it has none to share
/// out, since all sets are chosen within a page.
pub fn page_colours(size: Bytes, slices: u32, ways: u32, page: Bytes) -> u64 {
    let together = u128::from(slices) * u128::from(ways) * u128::from(page.get());
    let colours = u128::from(size.get()).checked_div(together).unwrap_or(1);
    u64::try_from(colours).unwrap_or(u64::MAX).max(1)
}

/// What a partition has of the colours of a cache.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ColourShare {
    /// Whose share it is.
    pub partition: PartitionId,
    /// The colours that the plan gives it; none where it keeps to some by those of other caches alone.
    pub given: Vec<u32>,
    /// The colours that its pages have, in rising order.
    pub held: Vec<u64>,
}

/// How many colours a cache has, and who has which; `None` where that cannot be told, for which its claim says the reason.
pub fn colour_shares(system: &System, plan: &Plan, id: CacheId) -> Option<(u64, Vec<ColourShare>)> {
    let all = Colours::of(system, plan, id, system.board.caches.get(id.index())?).ok()?;
    let share = |holder: Holder<'_>| ColourShare {
        partition: holder.id,
        given: holder.given.map_or_else(Vec::new, |grant| grant.colours.clone()),
        held: holder.held,
    };
    Some((all.number, all.holders.into_iter().map(share).collect()))
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
    holders: Vec<Holder<'a>>,
}

/// A partition whose pages have some of the cache's colours only.
struct Holder<'a> {
    id: PartitionId,
    place: &'a Placement,
    /// Its colours of this cache; others alone, of which each keeps to some of these too, where it is given none.
    given: Option<&'a ColourGrant>,
    /// The pages that it can use: those that have its colours of every cache.
    pages: Pages,
    /// The colours of this cache that they have.
    held: Vec<u64>,
}

impl<'a> Colours<'a> {
    /// Who has which colours of a cache, or which datum about them is missing.
    fn of(system: &'a System, plan: &'a Plan, id: CacheId, cache: &'a Cache) -> Result<Self, String> {
        let is_given = |who: PartitionId| plan.colours.iter().any(|grant| grant.cache == id && grant.partition == who);
        let by_others = |who| has_any(plan, who) && uses(system, plan, cache, who);
        let ids = system.partition_ids().filter(|who| is_given(*who) || by_others(*who));
        let placed = ids.map(|who| {
            let place = plan.memory.iter().find(|place| place.what == Placed::Partition(who));
            let missing = || format!("the plan places nothing for `{}`", system.partition(who).name.value);
            let place = place.ok_or_else(missing)?;
            Ok((who, place, page_of(system, place)?))
        });
        let placed: Vec<_> = placed.collect::<Result<_, String>>()?;
        let page = placed.first().map(|(.., page)| *page).ok_or("the plan gives none of its colours")?;
        if placed.iter().any(|(.., other)| *other != page) {
            return Err("its partitions lie in memories of different granules, so their pages have no common colours"
                .to_owned());
        }
        let number = colours_of(cache, page);
        let holders = placed.into_iter().map(|(who, place, _)| {
            let given = plan.colours.iter().find(|grant| grant.cache == id && grant.partition == who);
            let counted = pages_of(system, plan, who, page).and_then(|pages| Some((pages.colours(number)?, pages)));
            let (held, pages) = counted.ok_or_else(|| too_many(system, plan, who))?;
            Ok(Holder { id: who, place, given, pages, held })
        });
        let holders = holders.collect::<Result<_, String>>()?;
        Ok(Self { system, plan, cache, page, number, holders })
    }

    fn found(&self) -> Found {
        let mut found = Found::default();
        if self.number <= 1 {
            found
                .faults
                .push(format!("its sets are chosen within a page of {}: it has no colours to share out", self.page));
            return found;
        }
        found.faults.extend(self.holders.iter().filter_map(|holder| self.beyond(holder)));
        for (index, holder) in self.holders.iter().enumerate() {
            let later = self.holders.iter().skip(index + 1);
            found.faults.extend(later.filter_map(|other| self.overlap(holder, other)));
        }
        found.faults.extend(self.without_colours());
        found.remarks.push(format!("{} at pages of {}", counted(self.number, "colour"), self.page));
        for holder in &self.holders {
            if holder.pages.is_empty() {
                let caches = given_of(self.system, self.plan, holder.id);
                found.faults.push(format!("no page has the colours of `{}` in {caches} at once", self.name(holder)));
                continue;
            }
            found.faults.extend(self.working_set(holder));
            found.remarks.extend(self.by_others(holder));
            match self.memory(holder) {
                Ok(lost) => found.remarks.extend(lost),
                Err(fault) => found.faults.push(fault),
            }
        }
        found
    }

    fn name(&self, holder: &Holder<'_>) -> &str {
        &self.system.partition(holder.id).name.value
    }

    /// Colours that the cache has not.
    fn beyond(&self, holder: &Holder<'_>) -> Option<String> {
        let highest = holder.given?.colours.last().copied().filter(|colour| u64::from(*colour) >= self.number)?;
        Some(format!("`{}` is given colour {highest}, and they count from 0 to {}", self.name(holder), self.number - 1))
    }

    /// Colours that two partitions have who may run at the same time.
    fn overlap(&self, one: &Holder<'_>, other: &Holder<'_>) -> Option<String> {
        let shared = one.held.iter().filter(|colour| other.held.binary_search(colour).is_ok()).count();
        let holders = [one, other].map(|holder| WayHolder::Partition(holder.id));
        let words =
            || format!("`{}` and `{}` share {}", self.name(one), self.name(other), counted(shared as u64, "colour"));
        (shared > 0 && may_meet(self.system, self.plan, holders[0], holders[1])).then(words)
    }

    /// Partitions that run on a core of the cache and whose pages have any colour.
    fn without_colours(&self) -> Vec<String> {
        let bare = self.system.partition_ids().filter(|id| {
            self.holders.iter().all(|holder| holder.id != *id) && uses(self.system, self.plan, self.cache, *id)
        });
        bare.map(|id| {
            format!("`{}` runs on a core of the cache and has no colours", self.system.partition(id).name.value)
        })
        .collect()
    }

    /// What colours of other caches leave of this one.
    fn by_others(&self, holder: &Holder<'_>) -> Option<String> {
        let (name, held) = (self.name(holder), counted(holder.held.len() as u64, "colour"));
        let Some(given) = holder.given else {
            let caches = given_of(self.system, self.plan, holder.id);
            return Some(format!("`{name}` keeps to {held} by those that it has of {caches}"));
        };
        let given = given.colours.len();
        (holder.held.len() < given).then(|| {
            format!(
                "of the {given} colours of `{name}` its pages have {}, for those of other caches",
                holder.held.len()
            )
        })
    }

    /// A working set that is larger than the sets of its colours.
    fn working_set(&self, holder: &Holder<'_>) -> Option<String> {
        let set = self.system.partition(holder.id).working_set?.value;
        let capacity = u128::from(self.cache.size.value.get()) * holder.held.len() as u128 / u128::from(self.number);
        let capacity = Bytes::new(u64::try_from(capacity).unwrap_or(u64::MAX));
        (set > capacity)
            .then(|| format!("the working set of `{}`, {set}, passes its colours, {capacity}", self.name(holder)))
    }

    /// The whole pages of a range that have the colours of its partition.
    fn usable(&self, holder: &Holder<'_>) -> Bytes {
        let page = u128::from(self.page.get().max(1));
        let base = u128::from(holder.place.base.get());
        let first = base.div_ceil(page);
        let end = ((base + u128::from(holder.place.size.get())) / page).max(first);
        let number = |page: u128| u64::try_from(page).unwrap_or(u64::MAX);
        let pages = holder.pages.within(number(first)..number(end));
        Bytes::new(number(u128::from(pages) * page))
    }

    /// What of a range is lost to pages of other colours; a fault where too little is left.
    fn memory(&self, holder: &Holder<'_>) -> Result<Option<String>, String> {
        let (usable, size) = (self.usable(holder), holder.place.size);
        let lost = Bytes::new(size.get() - usable.get());
        let name = self.name(holder);
        match self.system.partition(holder.id).ram.map(|ram| ram.value).filter(|ram| *ram > usable) {
            Some(ram) => {
                Err(format!("`{name}` asks for {ram}, and of its range of {size} only {usable} have its colours"))
            }
            None => Ok((lost.get() > 0).then(|| format!("`{name}` loses {lost} of its range to other colours"))),
        }
    }
}

/// The colours of a cache at pages of a size.
fn colours_of(cache: &Cache, page: Bytes) -> u64 {
    page_colours(cache.size.value, cache.slices.unwrap_or(1), cache.ways.value, page)
}

/// Whether a partition has colours of any cache.
fn has_any(plan: &Plan, id: PartitionId) -> bool {
    plan.colours.iter().any(|grant| grant.partition == id)
}

/// Whether a partition runs on a core of a cache.
fn uses(system: &System, plan: &Plan, cache: &Cache, id: PartitionId) -> bool {
    homes(system, plan, id).iter().any(|core| cache.cores.contains(core))
}

/// The pages that have the colours of a partition in every cache of which it has some; `None` where they are too many to count.
fn pages_of(system: &System, plan: &Plan, id: PartitionId, page: Bytes) -> Option<Pages> {
    let grants = plan.colours.iter().filter(|grant| grant.partition == id);
    let of =
        |grant: &ColourGrant| Pages::of(colours_of(&system.board.caches[grant.cache.index()], page), &grant.colours);
    grants.map(of).try_fold(Pages::all(), |all, of| all.both(&of))
}

/// The caches of which a partition has colours, in words.
fn given_of(system: &System, plan: &Plan, id: PartitionId) -> String {
    let grants = plan.colours.iter().filter(|grant| grant.partition == id);
    let names: Vec<&str> = grants.map(|grant| &*system.board.caches[grant.cache.index()].name.value).collect();
    names.join(" and ")
}

fn too_many(system: &System, plan: &Plan, id: PartitionId) -> String {
    format!(
        "the colours of `{}` in {} turn at odds with each other, and its pages are too many to count",
        system.partition(id).name.value,
        given_of(system, plan, id)
    )
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
