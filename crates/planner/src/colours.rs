//! Page colours of the partitions that share a cache.
//!
//! Computes: for the caches that are declared coloured, disjoint runs of colours: one for all partitions of a core, which take
//! turns, and one for each partition of several cores; at least one colour and what the largest declared working set fills, the
//! others by line requests, by largest remainder. Caches that a partition has in common are shared out together: in the colours of
//! the one with fewest, of which each is several neighbours' worth of a larger one. With them, how large a range must be of which
//! only the pages of these colours are used.
//! Source: Liedtke, Haertig, Hohmuth, RTAS 1997; for several caches common practice, no source.
//! Assumptions: a partition with windows runs where these are, another one wherever its core set or the board lets it.
//! Invariants: whose colours of the smallest cache differ has no colour in common with others in any cache, since a page's colour
//! there is its colour in every larger one, modulo their number.
//! Checked by: the planner's tests, which let the checks judge the plan and look at every page.

use crate::answer::Report;
use crate::cache::{apportion, weight};
use model::System;
use model::system::Cache;
use plan::{ColourGrant, Coloured, Plan};
use quantity::{Bytes, CacheId, CoreId, PartitionId};
use separation::{homes, page_colours};

/// A plan numbers no more colours than this.
const MOST: u64 = 65_536;

/// A partition with colours or banks: of `number` neighbouring pages it uses `own`.
pub(crate) struct Spread {
    pub(crate) partition: PartitionId,
    pub(crate) own: u64,
    pub(crate) number: u64,
    /// The pages before the first such neighbours, at most, where these begin at a multiple of their number only.
    pub(crate) before: u64,
    pub(crate) page: Bytes,
}

impl Spread {
    /// The size of a range with as many pages of its own as its RAM takes, wherever the range begins.
    pub(crate) fn range(&self, ram: Bytes) -> Bytes {
        let rounds = ram.get().div_ceil(self.own.saturating_mul(self.page.get()).max(1));
        let pages = rounds.saturating_mul(self.number).saturating_add(self.before);
        Bytes::new(pages.saturating_mul(self.page.get()))
    }
}

/// Partitions that may have colours in common, since they take turns on one core.
pub(crate) struct Group {
    pub(crate) partitions: Vec<PartitionId>,
    /// Each with the virtual core that runs here.
    pub(crate) here: Vec<(PartitionId, u32)>,
}

/// Coloured caches that are shared out together, with how many colours each has.
struct Level<'a> {
    caches: Vec<(CacheId, &'a Cache, u64)>,
    page: Bytes,
    /// The colours of the cache with fewest, in which all are shared out.
    number: u64,
}

/// The colours of all partitions on cores of coloured caches; `plan` holds the windows, `on_core` is as in the bandwidth budgets.
pub(crate) fn colour_grants(
    system: &System,
    plan: &Plan,
    on_core: &[Vec<(PartitionId, u32)>],
    report: &mut Report,
) -> (Vec<ColourGrant>, Vec<Spread>) {
    let (mut grants, mut coloured): (Vec<ColourGrant>, Vec<Spread>) = (Vec::new(), Vec::new());
    for caches in together(system, plan) {
        let Some(level) = level(system, &caches, report) else { continue };
        let cores: Vec<CoreId> = caches.iter().flat_map(|(_, cache)| &cache.cores).copied().collect();
        let groups = groups(system, plan, on_core, &cores);
        let Some(shares) = shares(system, plan, &level, &groups, report) else { continue };
        let mut first = 0;
        for (group, own) in groups.iter().zip(shares) {
            for (cache, at, number) in &level.caches {
                let users = group.partitions.iter().filter(|id| uses(system, plan, at, **id));
                let is_own = |colour: &u64| (first..first + own).contains(&(colour % level.number));
                // Below `MOST`, as seen to in `level`.
                let colours: Vec<u32> = (0..*number).filter(is_own).map(|colour| colour as u32).collect();
                let grant = |id: &PartitionId| ColourGrant {
                    of: Coloured::Cache(*cache),
                    partition: *id,
                    colours: colours.clone(),
                    span: None,
                };
                grants.extend(users.map(grant));
            }
            let of =
                |id: &PartitionId| Spread { partition: *id, own, number: level.number, before: 0, page: level.page };
            coloured.extend(group.partitions.iter().map(of));
            first += own;
        }
    }
    grants.sort_by_key(|grant| grant.of);
    (grants, coloured)
}

/// Whether a partition runs on a core of a cache.
fn uses(system: &System, plan: &Plan, cache: &Cache, id: PartitionId) -> bool {
    homes(system, plan, id).iter().any(|core| cache.cores.contains(core))
}

/// The coloured caches, those together that some partition has in common, directly or through others.
fn together<'a>(system: &'a System, plan: &Plan) -> Vec<Vec<(CacheId, &'a Cache)>> {
    let coloured = system.board.caches.iter().enumerate().filter(|(_, cache)| cache.coloured == Some(true));
    let mut found: Vec<Vec<(CacheId, &Cache)>> = Vec::new();
    for (index, cache) in coloured {
        let meets = |of: &[(CacheId, &Cache)]| {
            let both = |id| uses(system, plan, cache, id) && of.iter().any(|(_, other)| uses(system, plan, other, id));
            system.partition_ids().any(both)
        };
        let (met, apart): (Vec<_>, Vec<_>) = found.into_iter().partition(|of| meets(of));
        found = apart;
        found.push(met.into_iter().flatten().chain([(CacheId::new(index), cache)]).collect());
    }
    found
}

/// The partitions that run on some cores: those whose windows lie on one and the same core together, any other one by itself.
pub(crate) fn groups(
    system: &System,
    plan: &Plan,
    on_core: &[Vec<(PartitionId, u32)>],
    cores: &[CoreId],
) -> Vec<Group> {
    let mut by_core: Vec<(CoreId, Group)> = Vec::new();
    let mut alone = Vec::new();
    for id in system.partition_ids() {
        let homes = homes(system, plan, id);
        if !homes.iter().any(|core| cores.contains(core)) {
            continue;
        }
        let virtual_cores = on_core.iter().flatten().filter(|(who, _)| *who == id).copied();
        let has_windows =
            plan.schedules.iter().flat_map(|t| &t.cores).any(|c| c.windows.iter().any(|w| w.partition == id));
        match homes[..] {
            [core] if has_windows => {
                let at = by_core.iter().position(|(other, _)| *other == core).unwrap_or(by_core.len());
                if at == by_core.len() {
                    by_core.push((core, Group { partitions: Vec::new(), here: Vec::new() }));
                }
                by_core[at].1.partitions.push(id);
                by_core[at].1.here.extend(virtual_cores);
            }
            _ => alone.push(Group { partitions: vec![id], here: virtual_cores.collect() }),
        }
    }
    by_core.sort_by_key(|(core, _)| *core);
    by_core.into_iter().map(|(_, group)| group).chain(alone).collect()
}

/// How many colours the caches have, and in which they are shared out.
fn level<'a>(system: &System, caches: &[(CacheId, &'a Cache)], report: &mut Report) -> Option<Level<'a>> {
    let mut counted = Vec::new();
    let mut page = None;
    for (id, cache) in caches {
        let (size, number) = number_of(system, cache, report)?;
        page = Some(size);
        counted.push((*id, *cache, number));
    }
    let number = counted.iter().map(|(.., number)| *number).min()?;
    if let Some((_, at_odds, other)) = counted.iter().find(|(.., other)| other % number != 0) {
        report.open(format!(
            "cache {} has {other} page colours, not so many times the {number} of another one that its partitions have too: choose \
             them by hand",
            at_odds.name.value
        ));
        return None;
    }
    Some(Level { caches: counted, page: page?, number })
}

/// The page and the number of colours of a cache.
fn number_of(system: &System, cache: &Cache, report: &mut Report) -> Option<(Bytes, u64)> {
    let name = &cache.name.value;
    let mut pages = system.board.memories.iter().filter(|memory| memory.placeable).map(|memory| memory.granule);
    let Some(page) = pages.next() else {
        report.open(format!("cache {name} is shared out by page colours, and no memory is declared that has pages"));
        return None;
    };
    if pages.any(|other| other != page) {
        report.open(format!("memories of different granules have pages without common colours of cache {name}"));
        return None;
    }
    let number = page_colours(cache.size.value, cache.slices.unwrap_or(1), cache.ways.value, page);
    if number < 2 {
        report.impossible(format!(
            "cache {name} is to be shared out by page colours, and at pages of {page} it has none"
        ));
    } else if number > MOST {
        report.open(format!("cache {name} has {number} colours, and a plan numbers at most {MOST}"));
    }
    (2..=MOST).contains(&number).then_some((page, number))
}

/// How many colours each group gets.
fn shares(system: &System, plan: &Plan, level: &Level<'_>, groups: &[Group], report: &mut Report) -> Option<Vec<u64>> {
    let least: Vec<u64> = groups.iter().map(|group| least(system, plan, level, group)).collect();
    let needed = least.iter().fold(0, |sum: u64, colours| sum.saturating_add(*colours));
    if needed > level.number {
        let names: Vec<&str> = level.caches.iter().map(|(_, cache, _)| &*cache.name.value).collect();
        report.open(format!(
            "the working sets of those who may run at once ask for {needed} page colours of cache {}, it has {}",
            names.join(" with "),
            level.number
        ));
        return None;
    }
    let weights: Vec<u128> = groups.iter().map(|group| weight(system, &group.here)).collect();
    Some(apportion(level.number - needed, &least, &weights))
}

/// At least one colour, and what the largest declared working set fills in each cache that its partition uses.
fn least(system: &System, plan: &Plan, level: &Level<'_>, group: &Group) -> u64 {
    let fills = |set: u64, cache: &Cache| {
        (u128::from(set) * u128::from(level.number)).div_ceil(u128::from(cache.size.get().max(1)))
    };
    let of = |id: &PartitionId| {
        let set = system.partition(*id).working_set?;
        let caches = level.caches.iter().filter(|(_, cache, _)| uses(system, plan, cache, *id));
        caches.map(|(_, cache, _)| fills(set.get(), cache)).max()
    };
    let most = group.partitions.iter().filter_map(of).max().unwrap_or(0).max(1);
    u64::try_from(most).unwrap_or(u64::MAX)
}
