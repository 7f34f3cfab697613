//! Page colours of the partitions that share a cache.
//!
//! Computes: for every cache that is declared coloured, disjoint runs of colours: one for all partitions of a core, which take turns,
//! and one for each partition of several cores; at least one colour and what the largest declared working set fills, the others by line
//! requests, by largest remainder. With them, how large a range must be of which only the pages of these colours are used.
//! Source: Liedtke, Haertig, Hohmuth, RTAS 1997.
//! Assumptions: a partition with windows runs where these are, another one wherever its core set or the board lets it.
//! Checked by: the planner's tests, which let the checks judge the plan and look at every page.

use crate::answer::Report;
use crate::cache::{apportion, weight};
use model::System;
use model::system::Cache;
use plan::{ColourGrant, Plan};
use quantity::{Bytes, CacheId, CoreId, PartitionId};
use separation::{homes, page_colours};

/// A plan numbers no more colours than this.
const MOST: u64 = 65_536;

/// A partition with colours: of `number` neighbouring pages it uses `own`.
pub(crate) struct Coloured {
    pub(crate) partition: PartitionId,
    own: u64,
    number: u64,
    page: Bytes,
}

impl Coloured {
    /// The size of a range with as many pages of its colours as its RAM takes, wherever the range begins.
    pub(crate) fn spread(&self, ram: Bytes) -> Bytes {
        let rounds = ram.get().div_ceil(self.own.saturating_mul(self.page.get()).max(1));
        Bytes::new(rounds.saturating_mul(self.number).saturating_mul(self.page.get()))
    }
}

/// Partitions that may have colours in common, since they take turns on one core.
struct Group {
    partitions: Vec<PartitionId>,
    /// Each with the virtual core that runs here.
    here: Vec<(PartitionId, u32)>,
}

/// The colours of all partitions on cores of coloured caches; `plan` holds the windows, `on_core` is as in the bandwidth budgets.
pub(crate) fn colour_grants(
    system: &System,
    plan: &Plan,
    on_core: &[Vec<(PartitionId, u32)>],
    report: &mut Report,
) -> (Vec<ColourGrant>, Vec<Coloured>) {
    let caches = system.board.caches.iter().enumerate().filter(|(_, cache)| cache.coloured == Some(true));
    let (mut grants, mut coloured): (Vec<ColourGrant>, Vec<Coloured>) = (Vec::new(), Vec::new());
    for (index, cache) in caches {
        let groups = groups(system, plan, on_core, cache);
        let twice = |group: &Group| group.partitions.iter().any(|id| coloured.iter().any(|of| of.partition == *id));
        if groups.iter().any(twice) {
            report.open(format!(
                "cache {} is one more that is shared out by page colours, of partitions that have some in \
                                 another one already: choose them by hand",
                cache.name.value
            ));
            continue;
        }
        let Some((page, number)) = number_of(system, cache, report) else { continue };
        let Some(shares) = shares(system, cache, &groups, number, report) else { continue };
        let mut first = 0;
        for (group, own) in groups.iter().zip(shares) {
            // Below `MOST`, as seen to above.
            let colours: Vec<u32> = (first as u32..(first + own) as u32).collect();
            first += own;
            let grant = |id: &PartitionId| ColourGrant {
                cache: CacheId::new(index),
                partition: *id,
                colours: colours.clone(),
                span: None,
            };
            grants.extend(group.partitions.iter().map(grant));
            coloured.extend(group.partitions.iter().map(|id| Coloured { partition: *id, own, number, page }));
        }
    }
    (grants, coloured)
}

/// The partitions that use a cache: those whose windows lie on one and the same core together, any other one by itself.
fn groups(system: &System, plan: &Plan, on_core: &[Vec<(PartitionId, u32)>], cache: &Cache) -> Vec<Group> {
    let mut by_core: Vec<(CoreId, Group)> = Vec::new();
    let mut alone = Vec::new();
    for id in system.partition_ids() {
        let homes = homes(system, plan, id);
        if !homes.iter().any(|core| cache.cores.contains(core)) {
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
fn shares(system: &System, cache: &Cache, groups: &[Group], number: u64, report: &mut Report) -> Option<Vec<u64>> {
    let least: Vec<u64> = groups.iter().map(|group| least(system, cache, group, number)).collect();
    let needed = least.iter().fold(0, |sum: u64, colours| sum.saturating_add(*colours));
    if needed > number {
        report.open(format!(
            "the working sets of those who may run at once ask for {needed} page colours of cache {}, it has {number}",
            cache.name.value
        ));
        return None;
    }
    let weights: Vec<u128> = groups.iter().map(|group| weight(system, &group.here)).collect();
    Some(apportion(number - needed, &least, &weights))
}

/// At least one colour, and what the largest declared working set fills.
fn least(system: &System, cache: &Cache, group: &Group, number: u64) -> u64 {
    let size = u128::from(cache.size.get().max(1));
    let fills = |set: u64| (u128::from(set) * u128::from(number)).div_ceil(size);
    let sets = group.partitions.iter().filter_map(|id| system.partition(*id).working_set);
    let most = sets.map(|set| fills(set.get())).max().unwrap_or(0).max(1);
    u64::try_from(most).unwrap_or(u64::MAX)
}
