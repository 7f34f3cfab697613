//! What is shared out by choosing pages: the sets of a cache by colours, and the banks of a memory.
//!
//! Computes: who has which pages by everything that the plan gives him of caches and of the memory that he lies in, what his pages
//! have of one of them, and the faults that claims of both kinds have in common.
//! Assumptions: the hypervisor gives a partition such pages only.
//! Symbols: page `p` of the address map has colour `p mod n` in a cache of `n`; its bank is that of its first address.
//! Invariants and why it ends: each pair of holders is compared once; how many pages `pages` looks at is bounded.
//! Checked by: the tests of `colours` and `banks`, page by page.

mod pages;

use crate::cache::may_meet;
use crate::colours::page_colours;
use crate::homes::homes;
use crate::names::counted;
use model::System;
use model::system::Memory;
use pages::Pages;
use plan::{ColourGrant, Coloured, Placed, Placement, Plan, WayHolder};
use quantity::{Bytes, MemoryId, PartitionId};

/// What a partition has of the colours of a cache, or of the banks of a memory.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ColourShare {
    /// Whose share it is.
    pub partition: PartitionId,
    /// Those that the plan gives it; none where it keeps to some by what it is given of others alone.
    pub given: Vec<u32>,
    /// Those that its pages have, in rising order.
    pub held: Vec<u64>,
}

/// How many colours a cache has or banks a memory, and who has which; `None` where that cannot be told, for which its claim says
/// the reason.
pub fn colour_shares(system: &System, plan: &Plan, of: Coloured) -> Option<(u64, Vec<ColourShare>)> {
    let all = Shares::of(system, plan, of).ok()?;
    let share = |holder: Holder<'_>| ColourShare {
        partition: holder.id,
        given: holder.given.map_or_else(Vec::new, |grant| grant.colours.clone()),
        held: holder.held,
    };
    Some((all.number, all.holders.into_iter().map(share).collect()))
}

/// Whether a plan gives out colours of a cache or banks of a memory.
pub(crate) fn are_planned(plan: &Plan, of: Coloured) -> bool {
    plan.colours.iter().any(|grant| grant.of == of)
}

/// All that is told of how a cache or a memory is shared out.
pub(crate) struct Shares<'a> {
    pub system: &'a System,
    plan: &'a Plan,
    of: Coloured,
    pub page: Bytes,
    pub number: u64,
    pub holders: Vec<Holder<'a>>,
}

/// A partition whose pages have some of the colours or banks only.
pub(crate) struct Holder<'a> {
    pub id: PartitionId,
    place: &'a Placement,
    /// What it is given of this; of others alone, by which it keeps to some of this too, where it is given none.
    given: Option<&'a ColourGrant>,
    /// The pages that it can use: those that have everything that it is given.
    pages: Pages,
    /// What they have of this.
    pub held: Vec<u64>,
}

impl<'a> Shares<'a> {
    /// Who has which, or which datum about that is missing.
    pub fn of(system: &'a System, plan: &'a Plan, of: Coloured) -> Result<Self, String> {
        let given = |who| plan.colours.iter().find(|grant| grant.of == of && grant.partition == who);
        let by_others = |who| !grants_of(system, plan, who).is_empty() && uses(system, plan, of, who);
        let ids = system.partition_ids().filter(|who| given(*who).is_some() || by_others(*who));
        let placed = ids.map(|who| {
            let missing = || format!("the plan places nothing for `{}`", system.partition(who).name.value);
            let place = place_of(plan, who).ok_or_else(missing)?;
            let home = home_of(system, place).ok_or_else(|| format!("no memory of the board holds {}", place.base))?;
            Ok((who, place, home))
        });
        let mut placed: Vec<_> = placed.collect::<Result<_, String>>()?;
        if placed.is_empty() {
            return Err(format!("the plan gives none of its {}s", noun(of)));
        }
        // Banks of a memory that one does not lie in are no banks of one's pages.
        placed.retain(|(.., home)| !matches!(of, Coloured::Banks(id) if id != *home));
        let page = page(system, of, placed.iter().map(|(.., home)| *home))?;
        let number = number(system, of, page);
        let holders = placed.into_iter().map(|(id, place, _)| {
            let had = pages_of(system, plan, id, page).and_then(|pages| Some((had(system, of, page, &pages)?, pages)));
            let (held, pages) = had.ok_or_else(|| too_many(system, plan, id))?;
            Ok(Holder { id, place, given: given(id), pages, held })
        });
        let holders = holders.collect::<Result<_, String>>()?;
        Ok(Self { system, plan, of, page, number, holders })
    }

    /// The faults: numbers that there are not, what two share who may run at once, partitions without, and ranges with too few of
    /// such pages.
    pub fn faults(&self) -> Vec<String> {
        let mut faults: Vec<String> = self.holders.iter().filter_map(|holder| self.beyond(holder)).collect();
        for (index, holder) in self.holders.iter().enumerate() {
            let later = self.holders.iter().skip(index + 1);
            faults.extend(later.filter_map(|other| self.overlap(holder, other)));
        }
        faults.extend(self.without());
        faults.extend(self.holders.iter().filter_map(|holder| self.too_little(holder)));
        faults
    }

    /// How many there are, what of them everybody has by what he is given of others, and what memory is lost to that.
    pub fn remarks(&self) -> Vec<String> {
        let mut remarks = vec![format!("{} at pages of {}", counted(self.number, noun(self.of)), self.page)];
        for holder in &self.holders {
            remarks.extend(self.by_others(holder));
            remarks.extend(self.lost(holder));
        }
        remarks
    }

    pub fn name(&self, holder: &Holder<'_>) -> &str {
        &self.system.partition(holder.id).name.value
    }

    /// Numbers that there are not.
    fn beyond(&self, holder: &Holder<'_>) -> Option<String> {
        let highest = holder.given?.colours.last().copied().filter(|colour| u64::from(*colour) >= self.number)?;
        let (name, noun) = (self.name(holder), noun(self.of));
        Some(format!("`{name}` is given {noun} {highest}, and they count from 0 to {}", self.number - 1))
    }

    /// What two partitions share who may run at the same time.
    fn overlap(&self, one: &Holder<'_>, other: &Holder<'_>) -> Option<String> {
        let shared = one.shares_with(other);
        let holders = [one, other].map(|holder| WayHolder::Partition(holder.id));
        let words =
            || format!("`{}` and `{}` share {}", self.name(one), self.name(other), counted(shared, noun(self.of)));
        (shared > 0 && may_meet(self.system, self.plan, holders[0], holders[1])).then(words)
    }

    /// Partitions that use it and whose pages may be any.
    fn without(&self) -> Vec<String> {
        let is_holder = |id: PartitionId| self.holders.iter().any(|holder| holder.id == id);
        let all = self.system.partition_ids();
        let bare = all.filter(|id| !is_holder(*id) && uses(self.system, self.plan, self.of, *id));
        let how = match self.of {
            Coloured::Cache(_) => "runs on a core of the cache",
            Coloured::Banks(_) => "lies in the memory",
        };
        bare.map(|id| format!("`{}` {how} and has no {}s", self.system.partition(id).name.value, noun(self.of)))
            .collect()
    }

    /// What that which is given of others leaves of this one.
    fn by_others(&self, holder: &Holder<'_>) -> Option<String> {
        let (name, held) = (self.name(holder), holder.held.len() as u64);
        let others = grants_of(self.system, self.plan, holder.id).into_iter().filter(|grant| grant.of != self.of);
        let others = grants_words(self.system, others);
        let Some(given) = holder.given else {
            return Some(format!("`{name}` keeps to {} by its {others}", counted(held, noun(self.of))));
        };
        let given = given.colours.len() as u64;
        let words =
            || format!("of the {given} {}s of `{name}` its pages have {held}, beside its {others}", noun(self.of));
        (held < given).then(words)
    }

    /// A range with too few pages that its partition can use.
    fn too_little(&self, holder: &Holder<'_>) -> Option<String> {
        let name = self.name(holder);
        let given = grants_of(self.system, self.plan, holder.id);
        if holder.pages.is_empty() {
            return Some(format!(
                "no page of `{name}` has its {} at once",
                grants_words(self.system, given.into_iter())
            ));
        }
        let (usable, size) = (self.usable(holder), holder.place.size);
        let ram = self.system.partition(holder.id).ram.map(|ram| ram.value).filter(|ram| *ram > usable)?;
        let nouns = nouns(&given);
        Some(format!("`{name}` asks for {ram}, and of its range of {size} only {usable} are of its {nouns}"))
    }

    /// What of a range is lost to pages that its partition cannot use.
    fn lost(&self, holder: &Holder<'_>) -> Option<String> {
        let lost = Bytes::new(holder.place.size.get() - self.usable(holder).get());
        let nouns = nouns(&grants_of(self.system, self.plan, holder.id));
        (lost.get() > 0).then(|| format!("`{}` loses {lost} of its range to other {nouns}", self.name(holder)))
    }

    /// The whole pages of a range that its partition can use.
    fn usable(&self, holder: &Holder<'_>) -> Bytes {
        let page = u128::from(self.page.get().max(1));
        let base = u128::from(holder.place.base.get());
        let first = base.div_ceil(page);
        let end = ((base + u128::from(holder.place.size.get())) / page).max(first);
        let number = |page: u128| u64::try_from(page).unwrap_or(u64::MAX);
        let pages = holder.pages.within(number(first)..number(end));
        Bytes::new(number(u128::from(pages) * page))
    }
}

impl Holder<'_> {
    /// How much of what the pages of two partitions have is the same.
    pub fn shares_with(&self, other: &Self) -> u64 {
        self.held.iter().filter(|colour| other.held.binary_search(colour).is_ok()).count() as u64
    }
}

const fn noun(of: Coloured) -> &'static str {
    match of {
        Coloured::Cache(_) => "colour",
        Coloured::Banks(_) => "bank",
    }
}

/// What a partition is given of caches, and of the memory that it lies in.
fn grants_of<'a>(system: &System, plan: &'a Plan, id: PartitionId) -> Vec<&'a ColourGrant> {
    let home = place_of(plan, id).and_then(|place| home_of(system, place));
    let holds = |of: Coloured| !matches!(of, Coloured::Banks(memory) if Some(memory) != home);
    plan.colours.iter().filter(|grant| grant.partition == id && holds(grant.of)).collect()
}

/// Grants in words, such as `colours of L2 and banks of RAM`.
fn grants_words<'a>(system: &System, grants: impl Iterator<Item = &'a ColourGrant>) -> String {
    let name = |of| match of {
        Coloured::Cache(id) => &*system.board.caches[id.index()].name.value,
        Coloured::Banks(id) => &*system.board.memories[id.index()].name.value,
    };
    grants.map(|grant| format!("{}s of {}", noun(grant.of), name(grant.of))).collect::<Vec<_>>().join(" and ")
}

/// What it is that they give.
fn nouns(grants: &[&ColourGrant]) -> &'static str {
    let has = |wanted: fn(&&&ColourGrant) -> bool| grants.iter().any(|grant| wanted(&grant));
    match (has(|grant| noun(grant.of) == "colour"), has(|grant| noun(grant.of) == "bank")) {
        (true, true) => "colours and banks",
        (false, true) => "banks",
        (_, false) => "colours",
    }
}

/// Whether a partition runs on a core of the cache, or lies in the memory.
fn uses(system: &System, plan: &Plan, of: Coloured, id: PartitionId) -> bool {
    match of {
        Coloured::Cache(cache) => {
            let cores = &system.board.caches[cache.index()].cores;
            homes(system, plan, id).iter().any(|core| cores.contains(core))
        }
        Coloured::Banks(memory) => place_of(plan, id).and_then(|place| home_of(system, place)) == Some(memory),
    }
}

/// Where the plan puts the RAM of a partition.
pub(crate) fn place_of(plan: &Plan, id: PartitionId) -> Option<&Placement> {
    plan.memory.iter().find(|place| place.what == Placed::Partition(id))
}

/// The memory that a placement begins in.
pub(crate) fn home_of(system: &System, place: &Placement) -> Option<MemoryId> {
    let holds = |memory: &Memory| {
        let end = u128::from(memory.base.get()) + u128::from(memory.size.get());
        memory.base.value <= place.base && u128::from(place.base.get()) < end
    };
    system.board.memories.iter().position(holds).map(MemoryId::new)
}

/// The pages in which all these memories are shared out.
fn page(system: &System, of: Coloured, mut homes: impl Iterator<Item = MemoryId>) -> Result<Bytes, String> {
    let granule = |home: MemoryId| system.board.memories[home.index()].granule;
    if let Coloured::Banks(id) = of {
        return Ok(granule(id));
    }
    let first = homes.next().map(granule).ok_or("the plan gives none of its colours")?;
    if homes.any(|home| granule(home) != first) {
        let why = "its partitions lie in memories of different granules, so their pages have no common colours";
        return Err(why.to_owned());
    }
    Ok(first)
}

/// How many colours a cache has, or banks a memory.
fn number(system: &System, of: Coloured, page: Bytes) -> u64 {
    match of {
        Coloured::Cache(id) => {
            let cache = &system.board.caches[id.index()];
            page_colours(cache.size.value, cache.slices.unwrap_or(1), cache.ways.value, page)
        }
        Coloured::Banks(id) => system.board.memories[id.index()].banks(),
    }
}

/// The pages that have everything that a partition is given; `None` where they are too many to count.
fn pages_of(system: &System, plan: &Plan, id: PartitionId, page: Bytes) -> Option<Pages> {
    let of = |grant: &ColourGrant| match grant.of {
        Coloured::Cache(_) => Some(Pages::of(number(system, grant.of, page), &grant.colours)),
        Coloured::Banks(id) => {
            let memory = &system.board.memories[id.index()];
            let is_own = |bank: u64| u32::try_from(bank).is_ok_and(|bank| grant.colours.binary_search(&bank).is_ok());
            Pages::such(bank_turn(memory, page), |at| is_own(bank_of(memory, page, at)))
        }
    };
    grants_of(system, plan, id).into_iter().try_fold(Pages::all(), |all, grant| all.both(&of(grant)?))
}

/// Which colours or banks some pages have; `None` where they are too many to name.
fn had(system: &System, of: Coloured, page: Bytes, pages: &Pages) -> Option<Vec<u64>> {
    match of {
        Coloured::Cache(_) => pages.colours(number(system, of, page)),
        Coloured::Banks(id) => {
            let memory = &system.board.memories[id.index()];
            pages.marks(bank_turn(memory, page), |at| bank_of(memory, page, at))
        }
    }
}

/// After how many pages the banks of a memory come again: no address bit above the highest one that chooses changes them.
fn bank_turn(memory: &Memory, page: Bytes) -> u64 {
    let all = memory.bank_masks.iter().fold(0, |all, mask| all | mask);
    let turn = (1u128 << (u64::BITS - all.leading_zeros())) / u128::from(page.get().max(1));
    u64::try_from(turn).unwrap_or(u64::MAX).max(1)
}

/// The bank of a page; all its addresses lie in one, since no bit within pages chooses.
fn bank_of(memory: &Memory, page: Bytes, at: u64) -> u64 {
    memory.bank_of(at.saturating_mul(page.get()))
}

fn too_many(system: &System, plan: &Plan, id: PartitionId) -> String {
    let given = grants_of(system, plan, id);
    format!(
        "the {} of `{}` turn at odds with each other or in too large turns, and its pages are too many to count",
        grants_words(system, given.into_iter()),
        system.partition(id).name.value
    )
}
