//! Free places in memory.
//!
//! Computes: a place for every wish, or the few wishes that no arrangement places.
//! Source: first fit, common practice. In an arrangement whose pieces all lie as low as they may, each lies at the lowest place above
//! the one before it; so to try every order along the addresses is to try every arrangement. Deletion filter: Chinneck & Dravnieks 1991.
//! Invariants and why it ends: the search counts the places that it looks for and gives up at a limit.

use super::range;
use crate::text::list;
use model::System;
use model::system::Memory;
use plan::{Placed, Placement};
use quantity::{Address, Bytes};
use rangemap::RangeSet;
use std::ops::Range;

/// Places looked for in one search of all orders.
const STEPS: u32 = 20_000;

/// Something to place.
pub(super) struct Wish {
    pub what: Placed,
    pub name: String,
    pub size: u64,
    /// One past the last address that it may have.
    pub end: u128,
    /// What must lie free on both sides of it.
    pub guard: u128,
    /// Where it must not lie, with or without a guard.
    pub barred: RangeSet<u128>,
}

/// The memories, and what lies in them already.
pub(super) struct Room<'a> {
    pub system: &'a System,
    pub memories: &'a [&'a Memory],
    pub fixed: &'a [Placement],
    /// Pieces as large as this begin at a multiple of it where that can be.
    pub block: u64,
}

/// How a search ended.
pub(super) enum Ending {
    /// All places, with those that lay there already.
    Found(Vec<Placement>),
    /// No arrangement has room for all, for this reason.
    Impossible(String),
    /// None was found, and none was ruled out.
    GaveUp(String),
}

/// How a search of all orders ended.
enum Orders {
    Found(Vec<Placement>),
    None,
    TooMany,
}

impl Room<'_> {
    /// Places for all wishes.
    pub(super) fn placed(&self, wishes: &[Wish]) -> Ending {
        let plain = Room { block: 1, ..*self };
        let all: Vec<&Wish> = wishes.iter().collect();
        let first = self.first_fit(&all).or_else(|| plain.first_fit(&all));
        match first.map_or_else(|| plain.orders(&all), Orders::Found) {
            Orders::Found(places) => Ending::Found(places),
            Orders::None => Ending::Impossible(plain.conflict(all)),
            Orders::TooMany => Ending::GaveUp(format!(
                "no arrangement was found in {STEPS} steps that gives {} a place",
                list(&wishes.iter().map(|wish| wish.name.clone()).collect::<Vec<_>>())
            )),
        }
    }

    /// First fit, what has the lowest limit first.
    fn first_fit(&self, wishes: &[&Wish]) -> Option<Vec<Placement>> {
        let mut places = self.fixed.to_vec();
        let mut order = wishes.to_vec();
        order.sort_by_key(|wish| wish.end);
        for wish in order {
            places.push(self.lowest(&places, wish, 0)?);
        }
        Some(places)
    }

    /// Every order along the addresses.
    fn orders(&self, wishes: &[&Wish]) -> Orders {
        let mut search = Search { room: self, places: self.fixed.to_vec(), steps: STEPS };
        match search.place(wishes, 0) {
            true => Orders::Found(search.places),
            false if search.steps == 0 => Orders::TooMany,
            false => Orders::None,
        }
    }

    /// A set of wishes that no arrangement places and of which none can be left out, in words.
    fn conflict(&self, mut set: Vec<&Wish>) -> String {
        for index in (0..set.len()).rev() {
            let mut without = set.clone();
            without.remove(index);
            if matches!(self.orders(&without), Orders::None) {
                set = without;
            }
        }
        let mut free: RangeSet<u128> = self.memories.iter().map(|m| range(m.base.value, m.size.value)).collect();
        self.fixed.iter().for_each(|place| free.remove(range(place.base, place.size)));
        let barred_to_all = |range: &Range<u128>| set.iter().all(|wish| wish.barred.gaps(range).next().is_none());
        let barred = set.first().map(|wish| wish.barred.clone()).unwrap_or_default();
        barred.iter().filter(|range| barred_to_all(range)).for_each(|range| free.remove(range.clone()));
        let asked: Vec<String> = set.iter().map(|wish| format!("{} ({})", wish.name, Bytes::new(wish.size))).collect();
        let words =
            |range: &Range<u128>| format!("{} from {}", super::bytes(range.end - range.start), address(range.start));
        format!(
            "{} {} no room together in what is free of pinned and reserved memory, {}, with the guards and limits of each",
            list(&asked),
            if asked.len() == 1 { "has" } else { "have" },
            list(&free.iter().map(words).collect::<Vec<_>>())
        )
    }

    /// The lowest place for a wish at an address or above it.
    fn lowest(&self, places: &[Placement], wish: &Wish, from: u128) -> Option<Placement> {
        // Both keep the wider one of their guards between them.
        let kept = |place: &Placement| {
            let (taken, guard) = (range(place.base, place.size), super::guard(self.system, place.what).max(wish.guard));
            taken.start.saturating_sub(guard)..taken.end + guard
        };
        let taken: Vec<Range<u128>> = places.iter().map(kept).chain(wish.barred.iter().cloned()).collect();
        let mut by_base: Vec<&&Memory> = self.memories.iter().collect();
        by_base.sort_by_key(|memory| memory.base.get());
        let found = by_base.into_iter().find_map(|memory| self.lowest_in(memory, &taken, wish, from));
        found.map(|(base, size)| Placement { what: wish.what, base, size, pinned: false, span: None })
    }

    fn lowest_in(&self, memory: &Memory, taken: &[Range<u128>], wish: &Wish, from: u128) -> Option<(Address, Bytes)> {
        let granule = memory.granule.get().max(1);
        let size = wish.size.checked_next_multiple_of(granule)?;
        let align = if size >= self.block { self.block.max(granule).next_multiple_of(granule) } else { granule };
        let whole = range(memory.base.value, memory.size.value);
        let (start, end) = (whole.start.max(from), whole.end.min(wish.end));
        let mut candidates: Vec<u128> =
            std::iter::once(start).chain(taken.iter().map(|range| range.end)).filter(|base| *base >= start).collect();
        candidates.sort_unstable();
        let free = |base: &u128| {
            let to = base + u128::from(size);
            to <= end && taken.iter().all(|range| range.end <= *base || to <= range.start)
        };
        let base = candidates.into_iter().map(|base| base.next_multiple_of(u128::from(align))).find(free)?;
        Some((address(base), Bytes::new(size)))
    }
}

fn address(value: u128) -> Address {
    Address::new(u64::try_from(value).unwrap_or(u64::MAX))
}

struct Search<'a> {
    room: &'a Room<'a>,
    places: Vec<Placement>,
    /// The places that may still be looked for.
    steps: u32,
}

impl Search<'_> {
    /// Whether the wishes left find places at or above an address, in any order; the places are then among the others.
    fn place(&mut self, left: &[&Wish], from: u128) -> bool {
        for (index, wish) in left.iter().enumerate() {
            if left[..index].iter().any(|before| is_alike(before, wish)) {
                continue;
            }
            let Some(steps) = self.steps.checked_sub(1) else { return false };
            self.steps = steps;
            let Some(place) = self.room.lowest(&self.places, wish, from) else {
                // Above this address nothing places it any more.
                return false;
            };
            let end = range(place.base, place.size).end;
            self.places.push(place);
            let rest: Vec<&Wish> =
                left.iter().enumerate().filter(|(at, _)| *at != index).map(|(_, wish)| *wish).collect();
            if self.place(&rest, end) {
                return true;
            }
            self.places.pop();
        }
        left.is_empty()
    }
}

/// Whether two wishes may change places.
fn is_alike(one: &Wish, other: &Wish) -> bool {
    (one.size, one.end, one.guard) == (other.size, other.end, other.guard) && one.barred == other.barred
}
