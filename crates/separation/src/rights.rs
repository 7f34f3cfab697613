//! Who may do what with the regions.
//!
//! Computes: for every region whose rights are declared, who may execute what somebody may write, and who may write beside
//! another; for every region of the hypervisor, who reaches it without being declared.
//! Source: the write-or-execute rule, common practice; ISO 26262-6:2018 annex D.2.3 and D.2.4 (memory, exchange of information;
//! from memory); IEC 61508-3:2010 annex F.
//! Assumptions: the hardware enforces the map; the I/O memory unit confines each stream to what is declared.
//! Symbols: r, w and x of each holder.
//! Invariants and why it ends: one look at each pair of holders of a region.
//! Differs from the source: a declared reason lifts the rule, and is told.
//! Checked by: rights by hand; random small maps, byte by byte.

use crate::device;
use crate::facts::{Claim, Found, basis};
use crate::names::placed_name;
use crate::range::Range;
use claim::{Assumption, Kind, Verdict};
use model::System;
use model::system::{Region, RegionOwner, Rights};
use plan::{Placed, Placement, Plan};

/// One verdict or two for every region with declared rights, and one for every region of the hypervisor.
pub(crate) fn check(system: &System, plan: &Plan) -> Vec<Verdict> {
    let declared = system.regions.iter().filter(|region| region.owner_rights.is_some() || !region.access.is_empty());
    let declared = declared.flat_map(|region| [executed(system, region), written(system, region)]);
    let own = (0..system.regions.len()).filter(|index| system.regions[*index].owner == RegionOwner::Hypervisor);
    declared.chain(own.map(|index| reached(system, plan, index))).collect()
}

fn claim(aspect: &str, region: &Region) -> Claim {
    let source = "ISO 26262-6:2018 annex D.2.3, D.2.4 (from memory); write-or-execute rule, common practice";
    Claim {
        kind: Kind::Memory,
        subject: format!("{aspect}/{}", region.name.value),
        place: region.name.span,
        basis: basis("memory-rights", source, vec![Assumption::MapEnforced, Assumption::StreamsConfined]),
    }
}

/// Everybody whose rights are declared, by name; the owner first.
fn holders(system: &System, region: &Region) -> Vec<(String, Rights)> {
    let owner = match region.owner {
        RegionOwner::Hypervisor => "the hypervisor".to_owned(),
        RegionOwner::Partition(id) => format!("`{}`", system.partition(id).name.value),
        RegionOwner::Shared => "nobody".to_owned(),
    };
    let access =
        region.access.iter().map(|(who, rights)| (format!("`{}`", system.partition(who.value).name.value), *rights));
    region.owner_rights.map(|rights| (owner, rights)).into_iter().chain(access).collect()
}

/// Nothing that somebody may write may be executed.
fn executed(system: &System, region: &Region) -> Verdict {
    let holders = holders(system, region);
    let writers = || holders.iter().filter(|(_, rights)| rights.write);
    let executers = || holders.iter().filter(|(_, rights)| rights.execute);
    let pairs = writers().flat_map(|(writer, _)| executers().map(move |(executer, _)| (writer, executer)));
    let words = |(writer, executer): (&String, &String)| match writer == executer {
        true => format!("{writer} may both write and execute it"),
        false => format!("{writer} may write what {executer} may execute"),
    };
    let breaches: Vec<String> = pairs.map(words).collect();
    let mut found = Found::default();
    match &region.writable_code {
        Some(reason) if !breaches.is_empty() => {
            found.remarks.push(format!("{}: {}", breaches.join("; "), reason.value))
        }
        _ => found.faults = breaches,
    }
    found.remarks.extend(unsaid(region));
    claim("rights", region).judged(found)
}

/// What a shown claim does not speak of.
fn unsaid(region: &Region) -> Option<String> {
    let is_unsaid = region.owner_rights.is_none() && region.owner != RegionOwner::Shared;
    is_unsaid.then(|| "`owner_rights` is not declared, so what its owner may execute is not said".to_owned())
}

/// One writer, or a protocol between them. An owner of whom nothing is said may write.
fn written(system: &System, region: &Region) -> Verdict {
    let mut writers: Vec<String> =
        holders(system, region).into_iter().filter(|(_, rights)| rights.write).map(|(name, _)| name).collect();
    if region.owner_rights.is_none() && region.owner != RegionOwner::Shared {
        writers.insert(0, "its owner".to_owned());
    }
    let mut found = Found::default();
    match (&writers[..], &region.protocol) {
        ([] | [_], _) => {}
        (_, Some(protocol)) => found.remarks.push(format!("{} write it: {}", writers.join(" and "), protocol.value)),
        (_, None) => found.faults.push(format!(
            "{} write it: declare in `protocol` how they keep out of each other's way, or leave it to one",
            writers.join(" and ")
        )),
    }
    claim("writers", region).judged(found)
}

/// Nobody reaches a region of the hypervisor who is not declared.
fn reached(system: &System, plan: &Plan, index: usize) -> Verdict {
    let region = &system.regions[index];
    let claim = claim("reach", region);
    let Some(place) = plan.memory.iter().find(|place| place.what == Placed::Region(index)) else {
        return claim.unknown(format!("the plan places nothing for `{}`", region.name.value));
    };
    claim.verdict(found(system, plan, index, place))
}

fn found(system: &System, plan: &Plan, index: usize, place: &Placement) -> Result<Found, String> {
    let mine = Range::from(place);
    let others = plan.memory.iter().filter(|other| other.what != place.what);
    let over = others.filter(|other| mine.shared_bytes(Range::from(*other)) > 0);
    let over = over.map(|other| format!("`{}` is placed over it", placed_name(system, &other.what)));
    let mut found = Found { faults: over.collect(), remarks: Vec::new() };
    for device in system.board.devices.iter().filter(|device| device.moves_memory()) {
        let reaches = device::reached(system, plan, device)?.iter().any(|(_, range)| mine.shared_bytes(*range) > 0);
        let may = device.owner.is_some_and(|owner| device::may_write(system, owner.value, &Placed::Region(index)));
        if reaches && !may {
            found.faults.push(format!("the stream of device `{}` reaches it", device.name.value));
        }
    }
    let named = system.regions[index].access.iter().map(|(who, _)| system.partition(who.value).name.value.as_str());
    let named: Vec<_> = named.collect();
    if !named.is_empty() {
        found.remarks.push(format!("declared to reach it: {}", named.join(", ")));
    }
    Ok(found)
}
