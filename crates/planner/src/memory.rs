//! Where regions and partitions lie in memory.
//!
//! Computes: a place for every region and for every partition's RAM: first fit, what must lie low first.
//! Assumptions: a device moves memory of its owner only, at the addresses that it can form.
//! Checked by: the planner's tests, by an independent reader of the plan.

use crate::answer::Report;
use crate::problem::growth_ppm;
use crate::text::share;
use model::System;
use model::system::{GrowthSubject, Memory};
use plan::{Placed, Placement, Plan};
use quantity::{Address, Bytes, PartitionId};

/// Blocks as large as this begin at a multiple of it, so that one entry of a translation table maps much
/// (common practice, no source).
const BLOCK: u64 = 2 << 20;

/// Something to place.
struct Wish {
    what: Placed,
    name: String,
    size: u64,
    /// One past the last address that it may have.
    end: u128,
}

/// The placements, pinned ones first as they are.
pub(crate) fn placements(system: &System, keep: Option<&Plan>, report: &mut Report) -> Vec<Placement> {
    let pinned: Vec<Placement> =
        keep.into_iter().flat_map(|plan| &plan.memory).filter(|place| place.pinned).cloned().collect();
    let mut wishes = wishes(system, report);
    wishes.retain(|wish| pinned.iter().all(|place| place.what != wish.what));
    let memories: Vec<&Memory> = system.board.memories.iter().filter(|memory| memory.placeable).collect();
    if memories.is_empty() {
        if !wishes.is_empty() {
            report.note("The board declares no memory that partitions may be placed in: no memory map is planned.");
        }
        return pinned;
    }
    if !sums_fit(system, &memories, &wishes, &pinned, report) {
        return pinned;
    }
    let in_file_order = |places: Vec<Placement>| in_order(system, places);
    let place = |block| place_all(system, &memories, &wishes, &pinned, block);
    match place(BLOCK).or_else(|_| place(1)) {
        Ok(places) => in_file_order(places),
        Err(name) => {
            report.open(format!("no free range of memory was found for {name}"));
            in_file_order(pinned)
        }
    }
}

fn wishes(system: &System, report: &mut Report) -> Vec<Wish> {
    let board_end = 1u128 << system.board.address_bits.min(64);
    let region = |(index, region): (usize, &model::system::Region)| Wish {
        what: Placed::Region(index),
        name: region.name.value.clone(),
        size: region.size.get(),
        end: board_end,
    };
    let mut wishes: Vec<Wish> = system.regions.iter().enumerate().map(region).collect();
    for id in system.partition_ids() {
        let partition = system.partition(id);
        let name = partition.name.value.clone();
        match partition.ram {
            Some(ram) => wishes.push(Wish {
                what: Placed::Partition(id),
                name,
                size: ram.get(),
                end: board_end.min(reach(system, id)),
            }),
            None => report.note(format!("{name} declares no RAM: it gets no place in memory.")),
        }
    }
    wishes.retain(|wish| wish.size > 0);
    wishes
}

/// One past the last address that every device of the partition can form.
fn reach(system: &System, id: PartitionId) -> u128 {
    let own = system.board.devices.iter().filter(|d| d.owner.is_some_and(|owner| owner.value == id));
    let bits = own.filter_map(|d| d.dma_address_bits).min().unwrap_or(64);
    1u128 << bits.min(64)
}

/// Whether the sums leave room, the growth rule's share included.
fn sums_fit(system: &System, memories: &[&Memory], wishes: &[Wish], pinned: &[Placement], report: &mut Report) -> bool {
    let total: u128 = memories.iter().map(|m| u128::from(m.size.get())).sum();
    let asked: u128 = wishes.iter().map(|w| u128::from(w.size)).sum::<u128>()
        + pinned.iter().map(|p| u128::from(p.size.get())).sum::<u128>();
    let kept_ppm = growth_ppm(system, GrowthSubject::Ram);
    let kept = (total * u128::from(kept_ppm)).div_ceil(1_000_000);
    let bytes = |size: u128| Bytes::new(u64::try_from(size).unwrap_or(u64::MAX));
    if asked > total.saturating_sub(kept) {
        let rule = match kept_ppm {
            0 => String::new(),
            _ => format!(", of which the growth rule keeps {} free", bytes(kept)),
        };
        report.impossible(format!(
            "partitions and regions ask for {} of RAM ({}), the board has {}{rule}",
            bytes(asked),
            share(bytes(asked).get(), bytes(total).get()),
            bytes(total)
        ));
        return false;
    }
    let before = report.obstacles.len();
    for wish in wishes {
        let largest = memories.iter().map(|m| u128::from(m.size.get()).min(below(m, wish.end))).max().unwrap_or(0);
        if u128::from(wish.size) > largest {
            report.impossible(format!(
                "{} asks for {} in one piece, the largest memory that it may lie in has {}",
                wish.name,
                Bytes::new(wish.size),
                bytes(largest)
            ));
        }
    }
    report.obstacles.len() == before
}

/// The size of a memory's part below an address.
fn below(memory: &Memory, end: u128) -> u128 {
    end.saturating_sub(u128::from(memory.base.get()))
}

/// First fit, what has the lowest limit first; an error names what found no room.
fn place_all(
    system: &System,
    memories: &[&Memory],
    wishes: &[Wish],
    pinned: &[Placement],
    block: u64,
) -> Result<Vec<Placement>, String> {
    let range = |p: &Placement| (u128::from(p.base.get()), u128::from(p.base.get()) + u128::from(p.size.get()));
    let mut places = pinned.to_vec();
    let mut order: Vec<&Wish> = wishes.iter().collect();
    order.sort_by_key(|wish| wish.end);
    for wish in order {
        // Both keep the wider one of their guards between them.
        let kept = |place: &Placement| {
            let ((start, end), guard) = (range(place), guard(system, place.what).max(guard(system, wish.what)));
            (start.saturating_sub(guard), end + guard)
        };
        let taken: Vec<(u128, u128)> = places.iter().map(kept).collect();
        let (base, size) = first_fit(memories, &taken, wish, block).ok_or_else(|| wish.name.clone())?;
        let (base, size) = (Address::new(base), Bytes::new(size));
        places.push(Placement { what: wish.what, base, size, pinned: false, span: None });
    }
    Ok(places)
}

/// What must lie free on both sides of what is placed.
fn guard(system: &System, what: Placed) -> u128 {
    let guard = match what {
        Placed::Partition(id) => system.partition(id).guard,
        Placed::Region(index) => system.regions[index].guard,
    };
    guard.map_or(0, |guard| guard.get().into())
}

fn first_fit(memories: &[&Memory], taken: &[(u128, u128)], wish: &Wish, block: u64) -> Option<(u64, u64)> {
    let mut by_base: Vec<&&Memory> = memories.iter().collect();
    by_base.sort_by_key(|memory| memory.base.get());
    by_base.into_iter().find_map(|memory| {
        let granule = memory.granule.get().max(1);
        let size = wish.size.checked_next_multiple_of(granule)?;
        let align = u128::from(if size >= block { block.max(granule).next_multiple_of(granule) } else { granule });
        let start = u128::from(memory.base.get());
        let end = (start + u128::from(memory.size.get())).min(wish.end);
        let mut candidates: Vec<u128> =
            std::iter::once(start).chain(taken.iter().map(|range| range.1)).filter(|base| *base >= start).collect();
        candidates.sort_unstable();
        let aligned = candidates.into_iter().map(|base| base.next_multiple_of(align));
        let free = |base: &u128| {
            let to = base + u128::from(size);
            to <= end && taken.iter().all(|range| range.1 <= *base || to <= range.0)
        };
        let base = aligned.into_iter().find(free)?;
        Some((u64::try_from(base).ok()?, size))
    })
}

/// Regions, then partitions, each in file order.
fn in_order(system: &System, mut places: Vec<Placement>) -> Vec<Placement> {
    places.sort_by_key(|place| match place.what {
        Placed::Region(index) => index,
        Placed::Partition(id) => system.regions.len() + id.index(),
    });
    places
}
