//! What the board's devicetree reserves, as far as it binds a place in memory.

use super::range;
use model::System;
use model::system::{Devicetree, Placed, ReservedMemory, ReservedPlace};
use quantity::{Address, Bytes};
use rangemap::RangeSet;
use separation::reserved_for;
use std::ops::Range;

/// Where the devicetree wants somebody's memory.
pub(super) enum Wanted {
    /// It reserves nothing for it.
    Anywhere,
    /// It reserves this for it, on that line.
    At { base: Address, size: Bytes, line: u32 },
    /// What it reserves for it is no place that a plan could give.
    Nowhere(String),
}

/// Where the devicetree wants what is to be placed.
pub(super) fn wanted(system: &System, what: Placed) -> Wanted {
    let Some(tree) = &system.board.devicetree else { return Wanted::Anywhere };
    let own: Vec<&ReservedMemory> = own(system, tree, what).map(|index| &tree.reserved[index]).collect();
    let Some(first) = own.first() else { return Wanted::Anywhere };
    if let Some(chosen) = own.iter().find(|reserved| matches!(reserved.place, ReservedPlace::Chosen { .. })) {
        let line = chosen.line;
        return Wanted::Nowhere(format!("the devicetree (line {line}) lets its place be chosen at boot"));
    }
    let wanted: Vec<RangeSet<u128>> = own.iter().map(|reserved| ranges(reserved).collect()).collect();
    let pieces: Vec<&Range<u128>> = wanted[0].iter().collect();
    match pieces[..] {
        [piece] if wanted.iter().all(|other| *other == wanted[0]) => {
            let number = |value: u128| u64::try_from(value).unwrap_or(u64::MAX);
            let (base, size) = (Address::new(number(piece.start)), Bytes::new(number(piece.end - piece.start)));
            Wanted::At { base, size, line: first.line }
        }
        _ => Wanted::Nowhere(format!(
            "the devicetree (line {}) reserves more than one range for it, and a plan places it in one piece",
            first.line
        )),
    }
}

/// Where the devicetree lets nothing of it lie: what is reserved for others or may be chosen for them at boot, and what a
/// partition whose system is given the tree takes for its own.
pub(super) fn barred(system: &System, what: Placed) -> RangeSet<u128> {
    let Some(tree) = &system.board.devicetree else { return RangeSet::new() };
    let is_own = |index: usize| reserved_for(system, tree, index) == Some(what);
    let others = tree.reserved.iter().enumerate().filter(|(index, _)| !is_own(*index)).map(|(_, reserved)| reserved);
    let fixed = || tree.reserved.iter().flat_map(ranges);
    let mut barred: RangeSet<u128> = others.clone().flat_map(ranges).collect();
    // A guard is free of what nobody in the plan has, too; whoever has the rest keeps guards between placements.
    let guard = super::guard(system, what);
    let nobodys = (0..tree.reserved.len()).filter(|index| reserved_for(system, tree, *index).is_none());
    let nobodys = nobodys.flat_map(|index| ranges(&tree.reserved[index]));
    barred.extend(nobodys.map(|range| range.start.saturating_sub(guard)..range.end + guard));
    for within in others.filter_map(chosen_within) {
        let whole = if within.is_empty() { memory(tree) } else { within };
        barred.extend(without(whole, fixed()));
    }
    let is_users = tree.user.as_ref().is_none_or(|user| what == Placed::Partition(user.value));
    if !is_users {
        let kept = tree.reserved.iter().filter(|reserved| !reserved.reusable).flat_map(ranges);
        barred.extend(without(memory(tree), kept));
    }
    barred
}

fn own<'a>(system: &'a System, tree: &'a Devicetree, what: Placed) -> impl Iterator<Item = usize> + 'a {
    (0..tree.reserved.len()).filter(move |index| reserved_for(system, tree, *index) == Some(what))
}

/// The addresses of what is reserved at addresses that are given.
fn ranges(reserved: &ReservedMemory) -> impl Iterator<Item = Range<u128>> + '_ {
    let given = match &reserved.place {
        ReservedPlace::Fixed(given) => given.as_slice(),
        ReservedPlace::Chosen { .. } => &[],
    };
    given.iter().map(|given| range(given.base, given.size)).filter(|range| !range.is_empty())
}

/// What a place is chosen in at boot, where it is.
fn chosen_within(reserved: &ReservedMemory) -> Option<RangeSet<u128>> {
    let ReservedPlace::Chosen { within, .. } = &reserved.place else { return None };
    Some(within.iter().map(|given| range(given.base, given.size)).filter(|range| !range.is_empty()).collect())
}

fn memory(tree: &Devicetree) -> RangeSet<u128> {
    let told = tree.memories.iter().flat_map(|memory| &memory.ranges).map(|told| range(told.base, told.size));
    told.filter(|range| !range.is_empty()).collect()
}

fn without(mut whole: RangeSet<u128>, taken: impl Iterator<Item = Range<u128>>) -> RangeSet<u128> {
    taken.for_each(|range| whole.remove(range));
    whole
}
