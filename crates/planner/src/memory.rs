//! Where regions and partitions lie in memory.
//!
//! Computes: a place for every region and for every partition's RAM, off what the board's devicetree reserves for others and at
//! what it reserves for the owner: first fit, what must lie low first, and where that fails every order along the addresses.
//! Assumptions: a device moves memory of its owner only, at the addresses that it can form.
//! Checked by: the planner's tests, by an independent reader of the plan, and on small boards by every place that there is.

mod reserved;
mod room;

use crate::answer::Report;
use crate::colours::Spread;
use crate::problem::growth_ppm;
use crate::text::share;
use model::System;
use model::system::{GrowthSubject, Memory};
use plan::{Placed, Placement, Plan};
use quantity::{Address, Bytes, PartitionId};
use reserved::Wanted;
use room::{Ending, Room, Wish};

/// Blocks as large as this begin at a multiple of it, so that one entry of a translation table maps much
/// (common practice, no source).
const BLOCK: u64 = 2 << 20;

/// The placements, pinned ones first as they are.
pub(crate) fn placements(
    system: &System,
    keep: Option<&Plan>,
    coloured: &[Spread],
    report: &mut Report,
) -> Vec<Placement> {
    let pinned: Vec<Placement> =
        keep.into_iter().flat_map(|plan| &plan.memory).filter(|place| place.pinned).cloned().collect();
    let mut wishes = wishes(system, coloured, report);
    wishes.retain(|wish| pinned.iter().all(|place| place.what != wish.what));
    let memories: Vec<&Memory> = system.board.memories.iter().filter(|memory| memory.placeable).collect();
    if memories.is_empty() {
        if !wishes.is_empty() {
            report.note("The board declares no memory that partitions may be placed in: no memory map is planned.");
        }
        return pinned;
    }
    let before = report.obstacles.len();
    let sums = Sums { system, memories: &memories, is_proof: coloured.is_empty() };
    sums.judge(&wishes, &pinned, report);
    let mut fixed = pinned.clone();
    fixed.extend(sums.at_reserved(&mut wishes, &pinned, report));
    if report.obstacles.len() > before {
        return pinned;
    }
    match (Room { system, memories: &memories, fixed: &fixed, block: BLOCK }).placed(&wishes) {
        Ending::Found(places) => return in_order(system, places),
        Ending::Impossible(reason) if sums.is_proof => report.impossible(reason),
        Ending::Impossible(reason) | Ending::GaveUp(reason) => report.open(reason),
    }
    in_order(system, pinned)
}

fn wishes(system: &System, coloured: &[Spread], report: &mut Report) -> Vec<Wish> {
    let board_end = 1u128 << system.board.address_bits.min(64);
    let wish = |what, name: &str, size: Bytes, end| Wish {
        what,
        name: name.to_owned(),
        size: size.get(),
        end,
        guard: guard(system, what),
        barred: reserved::barred(system, what),
    };
    let region = |(index, region): (usize, &model::system::Region)| {
        wish(Placed::Region(index), &region.name.value, region.size.value, board_end)
    };
    let mut wishes: Vec<Wish> = system.regions.iter().enumerate().map(region).collect();
    for id in system.partition_ids() {
        let partition = system.partition(id);
        let name = &partition.name.value;
        match partition.ram {
            Some(ram) => {
                let spread = coloured.iter().find(|of| of.partition == id).map(|of| of.range(ram.value));
                let end = board_end.min(reach(system, id));
                wishes.push(wish(Placed::Partition(id), name, spread.unwrap_or(ram.value), end));
            }
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

/// What sums and sizes tell before anything is placed.
struct Sums<'a> {
    system: &'a System,
    memories: &'a [&'a Memory],
    /// Whether what is asked for is asked for by the system alone, and not by our choice of colours or banks.
    is_proof: bool,
}

impl Sums<'_> {
    /// Whether the sums leave room, the growth rule's share included, and every piece is smaller than some memory.
    fn judge(&self, wishes: &[Wish], pinned: &[Placement], report: &mut Report) {
        let total: u128 = self.memories.iter().map(|m| u128::from(m.size.get())).sum();
        let asked: u128 = wishes.iter().map(|w| u128::from(w.size)).sum::<u128>()
            + pinned.iter().map(|p| u128::from(p.size.get())).sum::<u128>();
        let kept_ppm = growth_ppm(self.system, GrowthSubject::Ram);
        let kept = (total * u128::from(kept_ppm)).div_ceil(1_000_000);
        if asked > total.saturating_sub(kept) {
            let rule = match kept_ppm {
                0 => String::new(),
                _ => format!(", of which the growth rule keeps {} free", bytes(kept)),
            };
            let lost = if self.is_proof { "" } else { ", what is lost to other page colours or banks included" };
            let reason = format!(
                "partitions and regions ask for {} of RAM ({}){lost}, the board has {}{rule}",
                bytes(asked),
                share(bytes(asked).get(), bytes(total).get()),
                bytes(total)
            );
            return self.refuse(reason, report);
        }
        let too_large = wishes.iter().filter_map(|wish| self.too_large(wish));
        too_large.for_each(|reason| self.refuse(reason, report));
    }

    /// The placements of those for whom the devicetree reserves memory, which are wished for no more.
    fn at_reserved(&self, wishes: &mut Vec<Wish>, pinned: &[Placement], report: &mut Report) -> Vec<Placement> {
        let mut places: Vec<Placement> = Vec::new();
        wishes.retain(|wish| {
            match reserved::wanted(self.system, wish.what) {
                Wanted::Anywhere => return true,
                Wanted::Nowhere(why) => report.impossible(format!("{} has no place: {why}", wish.name)),
                Wanted::At { base, size, line } if size.get() < wish.size => {
                    let asked = Bytes::new(wish.size);
                    let reason = format!(
                        "{} asks for {asked}, and the devicetree reserves {size} from {base} for it (line {line})",
                        wish.name
                    );
                    self.refuse(reason, report);
                }
                Wanted::At { base, size, line } if wish.barred.overlaps(&range(base, size)) => {
                    report.impossible(format!(
                        "the devicetree reserves {size} from {base} for {} (line {line}), and that or its guard for others too",
                        wish.name
                    ));
                }
                Wanted::At { base, size, .. } => {
                    places.push(Placement { what: wish.what, base, size, pinned: false, span: None })
                }
            }
            false
        });
        for (index, place) in places.iter().enumerate() {
            let others = pinned.iter().chain(&places[..index]);
            let close = others.filter(|other| self.are_close(place, other));
            close.for_each(|other| report.impossible(self.why_close(place, other)));
        }
        places
    }

    /// Whether two placements lie over each other, or closer than their guards allow.
    fn are_close(&self, one: &Placement, other: &Placement) -> bool {
        let guard = guard(self.system, one.what).max(guard(self.system, other.what));
        let (one, other) = (range(one.base, one.size), range(other.base, other.size));
        one.start < other.end + guard && other.start < one.end + guard
    }

    fn why_close(&self, one: &Placement, other: &Placement) -> String {
        let name = |place: &Placement| match place.what {
            Placed::Partition(id) => self.system.partition(id).name.value.clone(),
            Placed::Region(index) => self.system.regions[index].name.value.clone(),
        };
        format!(
            "{} at {} and {} at {} lie closer than their guards allow, and the devicetree or a pin holds each there",
            name(one),
            one.base,
            name(other),
            other.base
        )
    }

    fn refuse(&self, reason: String, report: &mut Report) {
        if self.is_proof { report.impossible(reason) } else { report.open(reason) }
    }

    fn too_large(&self, wish: &Wish) -> Option<String> {
        let largest = self.memories.iter().map(|m| u128::from(m.size.get()).min(below(m, wish.end))).max().unwrap_or(0);
        (u128::from(wish.size) > largest).then(|| {
            format!(
                "{} asks for {} in one piece, the largest memory that it may lie in has {}",
                wish.name,
                Bytes::new(wish.size),
                bytes(largest)
            )
        })
    }
}

fn bytes(size: u128) -> Bytes {
    Bytes::new(u64::try_from(size).unwrap_or(u64::MAX))
}

/// The size of a memory's part below an address.
fn below(memory: &Memory, end: u128) -> u128 {
    end.saturating_sub(u128::from(memory.base.get()))
}

/// What must lie free on both sides of what is placed.
fn guard(system: &System, what: Placed) -> u128 {
    let guard = match what {
        Placed::Partition(id) => system.partition(id).guard,
        Placed::Region(index) => system.regions[index].guard,
    };
    guard.map_or(0, |guard| guard.get().into())
}

/// Regions, then partitions, each in file order.
fn in_order(system: &System, mut places: Vec<Placement>) -> Vec<Placement> {
    places.sort_by_key(|place| match place.what {
        Placed::Region(index) => index,
        Placed::Partition(id) => system.regions.len() + id.index(),
    });
    places
}

/// The addresses that are a placement's.
fn range(base: Address, size: Bytes) -> std::ops::Range<u128> {
    let start = u128::from(base.get());
    start..start + u128::from(size.get())
}
