//! What lies in a memory, by address: placements, and between them guards, what the devicetree reserves, and what is free.

use crate::html::names::{placed, shade};
use crate::svg::{Owned, Range, Strip, What};
use model::System;
use model::system::{Memory, RegionOwner, ReservedPlace};
use plan::{ColourGrant, Coloured, Placed, Placement, Plan};
use quantity::Bytes;

/// What must lie free on both sides of what is placed.
pub(super) fn guard(system: &System, what: &Placed) -> Option<Bytes> {
    match what {
        Placed::Partition(id) => system.partition(*id).guard,
        Placed::Region(at) => system.regions.get(*at)?.guard,
    }
    .map(|guard| guard.value)
}

/// The page colours and banks of what is placed, in words.
pub(super) fn colours(system: &System, plan: &Plan, placement: &Placement) -> Vec<Strip> {
    let own = plan.colours.iter().filter(|grant| placement.what == Placed::Partition(grant.partition));
    own.filter_map(|grant| strip(system, placement, grant)).collect()
}

fn strip(system: &System, placement: &Placement, grant: &ColourGrant) -> Option<Strip> {
    let (number, noun, name) = match grant.of {
        Coloured::Cache(id) => {
            let cache = system.board.caches.get(id.index())?;
            let page = system.board.memories.iter().find(|memory| inside(memory, placement))?.granule;
            let number = separation::page_colours(cache.size.value, cache.slices.unwrap_or(1), cache.ways.value, page);
            (number, "colours", &cache.name)
        }
        Coloured::Banks(id) => {
            let memory = system.board.memories.get(id.index())?;
            (memory.banks(), "banks", &memory.name)
        }
    };
    let words = format!("{noun} {} of {number} in {}", grant.words(), name.value);
    Some(Strip { runs: grant.runs().collect(), number, words })
}

pub(super) fn inside(memory: &Memory, placement: &Placement) -> bool {
    let end = memory.base.get().saturating_add(memory.size.get());
    (memory.base.get()..end).contains(&placement.base.get())
}

/// A stretch of addresses with whose it is.
struct Stretch {
    start: u64,
    end: u64,
    name: String,
}

impl Stretch {
    fn holds(&self, address: u64) -> bool {
        (self.start..self.end).contains(&address)
    }
}

/// The names of the stretches that hold an address; nothing where none does.
fn holders(stretches: &[Stretch], address: u64) -> Option<String> {
    let names: Vec<&str> =
        stretches.iter().filter(|stretch| stretch.holds(address)).map(|stretch| stretch.name.as_str()).collect();
    (!names.is_empty()).then(|| names.join(" and "))
}

/// What is drawn of a memory.
pub(super) fn ranges(system: &System, plan: &Plan, memory: &Memory, placements: &[&Placement]) -> Vec<Range> {
    let (guards, reserved) = (guards(system, placements), reserved(system));
    let mut ranges = Vec::new();
    let mut free_from = memory.base.get();
    for placement in placements.iter().filter(|placement| inside(memory, placement)) {
        let (base, size) = (placement.base.get(), placement.size.get());
        ranges.extend(between((free_from, base), &guards, &reserved));
        let end = base.saturating_add(size);
        let owned = Owned {
            name: placed(system, &placement.what),
            overlaps: base < free_from,
            shade: shade_of(system, &placement.what),
            is_reserved: reserved.iter().any(|stretch| stretch.start < end && base < stretch.end),
            colours: colours(system, plan, placement),
        };
        ranges.push(Range { what: What::Placed(owned), base, size });
        free_from = free_from.max(end);
    }
    let end = memory.base.get().saturating_add(memory.size.get());
    ranges.extend(between((free_from, end), &guards, &reserved));
    ranges
}

/// What nobody has, cut where guards and reservations begin and end.
fn between((from, to): (u64, u64), guards: &[Stretch], reserved: &[Stretch]) -> Vec<Range> {
    let edges = guards.iter().chain(reserved).flat_map(|stretch| [stretch.start, stretch.end]);
    let mut cuts: Vec<u64> = edges.filter(|cut| from < *cut && *cut < to).chain([from, to]).collect();
    cuts.sort_unstable();
    cuts.dedup();
    let what = |at: u64| match (holders(reserved, at), holders(guards, at)) {
        (Some(node), _) => What::Reserved(node),
        (None, Some(whose)) => What::Guard(whose),
        (None, None) => What::Free,
    };
    let mut ranges: Vec<Range> = Vec::new();
    for pair in cuts.windows(2).filter(|pair| from < to && pair[0] < pair[1]) {
        let (what, size) = (what(pair[0]), pair[1] - pair[0]);
        match ranges.last_mut().filter(|last| last.what == what) {
            Some(last) => last.size += size,
            None => ranges.push(Range { what, base: pair[0], size }),
        }
    }
    ranges
}

/// The guards before and behind everything that has some.
fn guards(system: &System, placements: &[&Placement]) -> Vec<Stretch> {
    let of = |placement: &&Placement| {
        let guard = guard(system, &placement.what)?.get();
        let (start, name) = (placement.base.get(), placed(system, &placement.what));
        let end = start.saturating_add(placement.size.get());
        let before = Stretch { start: start.saturating_sub(guard), end: start, name: name.clone() };
        Some([before, Stretch { start: end, end: end.saturating_add(guard), name }])
    };
    placements.iter().filter_map(of).flatten().collect()
}

/// What the devicetree reserves at addresses that it gives.
fn reserved(system: &System) -> Vec<Stretch> {
    let nodes = system.board.devicetree.iter().flat_map(|tree| &tree.reserved);
    let of = |node: &model::system::ReservedMemory| {
        let ranges = match &node.place {
            ReservedPlace::Fixed(ranges) => ranges.as_slice(),
            ReservedPlace::Chosen { .. } => &[],
        };
        let stretch = |range: &model::system::AddressRange| Stretch {
            start: range.base.get(),
            end: range.base.get().saturating_add(range.size.get()),
            name: node.name.value.clone(),
        };
        ranges.iter().map(stretch).collect::<Vec<_>>()
    };
    nodes.flat_map(of).collect()
}

fn shade_of(system: &System, what: &Placed) -> usize {
    match what {
        Placed::Partition(id) => shade(system, *id),
        Placed::Region(at) => match system.regions.get(*at).map(|region| region.owner) {
            Some(RegionOwner::Partition(id)) => shade(system, id),
            _ => 0,
        },
    }
}
