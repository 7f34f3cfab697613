//! Memory separation.
//!
//! Computes: for every range that the system asks for, how many bytes of the planned range are in fault: shared
//! with another range, outside the placeable memory of the board, or missing against the size asked for; how many of the
//! declared guards on its sides others have; and whether it begins and ends on the granule of access rights.
//! Source: comparison of intervals, common practice; the need for separation is IEC 61508-3:2010 annex F.2 (spatial domain).
//! Assumptions: the hardware enforces the map.
//! Symbols: a range is `[base, base + size)` in bytes; ends are kept in 128 bits, so that nothing wraps.
//! Invariants and why it ends: every range is compared once with every other; both count from the other's side alike.
//! Differs from the source: not at all.
//! Checked by: small boards byte by byte, random maps by a library for ranges; the survey vessel's map and its one-MiB overlap.

use crate::names::placed_name;
use crate::range::Range;
use crate::tree::reserved_for_nobody;
use claim::{Assumption, Basis, Kind, Status, Unit, Verdict, Witness};
use model::System;
use model::system::Memory;
use plan::{Placed, Placement, Plan};
use quantity::Bytes;

pub(crate) fn basis() -> Basis {
    Basis {
        analysis: "memory",
        source: "comparison of intervals, common practice; IEC 61508-3:2010 annex F.2",
        assumptions: vec![Assumption::MapEnforced],
    }
}

/// What one owner asks for: a partition's RAM or a region.
struct Asked {
    what: Placed,
    name: String,
    size: Option<Bytes>,
    guard: Option<Bytes>,
    place: diagnostic::Span,
}

/// One way in which a range is in fault.
struct Fault {
    bytes: u64,
    text: String,
}

/// One verdict for every range asked for.
pub(crate) fn check(system: &System, plan: &Plan) -> Vec<Verdict> {
    asked(system).iter().map(|ask| verdict(system, plan, ask)).collect()
}

fn asked(system: &System) -> Vec<Asked> {
    let partitions = system.partition_ids().map(|id| {
        let partition = system.partition(id);
        Asked {
            what: Placed::Partition(id),
            name: partition.name.value.clone(),
            size: partition.ram.map(|ram| ram.value),
            guard: partition.guard.map(|guard| guard.value),
            place: partition.name.span,
        }
    });
    let regions = system.regions.iter().enumerate().map(|(index, region)| Asked {
        what: Placed::Region(index),
        name: region.name.value.clone(),
        size: Some(region.size.value),
        guard: region.guard.map(|guard| guard.value),
        place: region.name.span,
    });
    partitions.chain(regions).collect()
}

fn verdict(system: &System, plan: &Plan, ask: &Asked) -> Verdict {
    let Some(size) = ask.size else {
        return unknown(ask, format!("`{}` does not declare its `ram`", ask.name));
    };
    let mut mine = plan.memory.iter().filter(|p| p.what == ask.what);
    let Some(placement) = mine.next() else {
        return unknown(ask, format!("the plan places nothing for `{}`; it asks for {size}", ask.name));
    };
    let mut faults = placement_faults(system, placement, size);
    faults.extend(overlaps(system, plan, placement));
    faults.extend(ask.guard.into_iter().flat_map(|guard| guard_faults(system, plan, placement, guard)));
    faults.extend(
        mine.map(|again| Fault { bytes: again.size.get(), text: format!("placed a second time at {}", again.base) }),
    );
    judged(ask, placement, faults)
}

fn unknown(ask: &Asked, reason: String) -> Verdict {
    let verdict = Verdict::not_analysed(Kind::Memory, ask.name.clone(), basis(), reason);
    Verdict { unit: Unit::Bytes, limit: Some(0), place: Some(ask.place), ..verdict }
}

fn judged(ask: &Asked, placement: &Placement, faults: Vec<Fault>) -> Verdict {
    let bytes = faults.iter().fold(0u64, |sum, fault| sum.saturating_add(fault.bytes)).min(quantity::LIMIT);
    let text = faults.iter().map(|fault| fault.text.as_str()).collect::<Vec<_>>().join("; ");
    let sound = faults.is_empty();
    Verdict {
        status: if sound { Status::Shown } else { Status::Violated },
        bound: Some(bytes),
        exact: true,
        reason: (!sound).then(|| text.clone()),
        place: placement.span.or(Some(ask.place)),
        witness: (!sound).then(|| {
            let fact = format!("`{}` at {}, {}: {text}", ask.name, placement.base, placement.size);
            Witness::of_fact(fact)
        }),
        ..unknown(ask, String::new())
    }
}

/// Faults of the range alone: size, place, alignment.
fn placement_faults(system: &System, placement: &Placement, asked: Bytes) -> Vec<Fault> {
    let mut faults = Vec::new();
    if placement.size < asked {
        let missing = asked.get() - placement.size.get();
        faults.push(Fault { bytes: missing, text: format!("asks for {asked}, is given {}", placement.size) });
    }
    let mine = Range::new(placement.base, placement.size);
    let memories = system.board.memories.iter().filter(|m| m.placeable);
    let home = memories.max_by_key(|m| mine.shared_bytes(Range::new(m.base.value, m.size.value)));
    match home {
        None => faults
            .push(Fault { bytes: placement.size.get(), text: "the board declares no placeable memory".to_owned() }),
        Some(memory) => faults.extend(faults_at_home(system, placement, mine, memory)),
    }
    faults
}

fn faults_at_home(system: &System, placement: &Placement, mine: Range, memory: &Memory) -> Vec<Fault> {
    let mut faults = Vec::new();
    let inside = mine.shared_bytes(Range::new(memory.base.value, memory.size.value));
    let outside = placement.size.get() - inside;
    if outside > 0 {
        let beyond = beyond_addresses(system.board.address_bits, mine).unwrap_or_default();
        let text = format!("{} lie outside `{}`{beyond}", Bytes::new(outside), memory.name.value);
        faults.push(Fault { bytes: outside, text });
    }
    let granule = memory.granule.get().max(1);
    for (edge, at) in [("begins", mine.start), ("ends", mine.end)] {
        let off = at % u128::from(granule);
        if off != 0 {
            let off = Bytes::new(u64::try_from(off).unwrap_or(u64::MAX));
            let text = format!("{edge} {off} past a granule of {} of `{}`", memory.granule, memory.name.value);
            faults.push(Fault { bytes: off.get(), text });
        }
    }
    faults
}

/// What of a range nothing on the board can address; all memory lies below.
fn beyond_addresses(bits: u32, mine: Range) -> Option<String> {
    let beyond = Range { start: 1u128.checked_shl(bits)?, end: u128::MAX };
    let words = |range: Range| format!(", {} of them above what addresses of {bits} bits reach", range.size());
    mine.shared(beyond).map(words)
}

/// Every other planned range that shares bytes with this one.
fn overlaps(system: &System, plan: &Plan, placement: &Placement) -> Vec<Fault> {
    let shares = |other: &str, range: Range| format!("shares {} with `{other}` from {}", range.size(), range.base());
    met(system, plan, placement, Range::from(placement), shares)
}

/// Everything planned or reserved for somebody else that lies in the guard before or behind this range.
fn guard_faults(system: &System, plan: &Plan, placement: &Placement, guard: Bytes) -> Vec<Fault> {
    let (mine, wide) = (Range::from(placement), u128::from(guard.get()));
    let before = Range { start: mine.start.saturating_sub(wide), end: mine.start };
    let behind = Range { start: mine.end, end: mine.end + wide };
    let sides = [(before, "before"), (behind, "behind")];
    let side = |(side, word)| {
        let lies = move |other: &str, range: Range| {
            format!("`{other}` has {} from {} of the guard of {guard} {word} it", range.size(), range.base())
        };
        let planned = met(system, plan, placement, side, lies);
        planned.into_iter().chain(faults_by_address(reserved_for_nobody(system), side, lies))
    };
    sides.into_iter().flat_map(side).collect()
}

/// What other planned ranges hold of a range, by address.
fn met(
    system: &System,
    plan: &Plan,
    placement: &Placement,
    range: Range,
    words: impl Fn(&str, Range) -> String,
) -> Vec<Fault> {
    let others = plan.memory.iter().filter(|other| other.what != placement.what);
    faults_by_address(others.map(|other| (placed_name(system, &other.what), Range::from(other))), range, words)
}

/// What others hold of a range, by address.
fn faults_by_address(
    others: impl Iterator<Item = (String, Range)>,
    range: Range,
    words: impl Fn(&str, Range) -> String,
) -> Vec<Fault> {
    let shared = others.filter_map(|(name, other)| Some((other.start, name, range.shared(other)?)));
    let mut found: Vec<_> = shared.collect();
    found.sort_by(|one, other| (one.0, &one.1).cmp(&(other.0, &other.1)));
    found
        .into_iter()
        .map(|(_, name, shared)| Fault { bytes: shared.size().get(), text: words(&name, shared) })
        .collect()
}
