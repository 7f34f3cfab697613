//! Banks of a memory, given out by the choice of pages.
//!
//! Computes: for every memory whose banks are given out, the faults of the planned ones: banks that it does not have, banks that two
//! partitions have who run on different cores, partitions without, banks of a memory that one does not lie in, and a range of which
//! the pages in these banks, and of the given colours of caches, are fewer than the RAM asked for; with what of the range is lost.
//! Source: Kim, Kandhalu, Rajkumar, ECRTS 2013; Yun, Mancuso, Wu, Pellizzoni, RTAS 2014 (both from memory). That a bit of the bank's
//! number is the exclusive-or of address bits is common practice of memory controllers.
//! Assumptions: the hypervisor gives a partition pages in its banks only; the controller chooses banks by the declared bits alone, and
//! no two memories of the board share a bank.
//! Symbols: bit `i` of the bank's number is the parity of the address bits under mask `i`; no mask has a bit within pages.
//! Invariants and why it ends: as in `shares`, which it has in common with page colours.
//! Differs from the source: it has address bits that each choose alone; here several choose together, as declared.
//! Checked by: an address map worked by hand; ranges page by page, with and without colours of caches (`tests/banks.rs`).

use crate::facts::{Claim, Found, basis};
use crate::shares::{Shares, are_planned, home_of, place_of};
use claim::{Assumption, Kind, Verdict};
use model::System;
use model::system::Device;
use plan::{Coloured, Placed, Plan};
use quantity::{MemoryId, PartitionId};

/// One verdict for every memory of which banks are to be given out, or are.
pub(crate) fn check(system: &System, plan: &Plan) -> Vec<Verdict> {
    let memories = system.board.memories.iter().enumerate().map(|(index, memory)| (MemoryId::new(index), memory));
    let due = memories.filter(|(id, memory)| memory.coloured == Some(true) || are_planned(plan, Coloured::Banks(*id)));
    due.map(|(id, _)| of_memory(system, plan, id)).collect()
}

/// The verdict of one memory.
pub(crate) fn of_memory(system: &System, plan: &Plan, id: MemoryId) -> Verdict {
    let memory = &system.board.memories[id.index()];
    let claim = Claim {
        kind: Kind::Memory,
        subject: format!("banks/{}", memory.name.value),
        place: memory.name.span,
        basis: basis(
            "memory-banks",
            "Kim, Kandhalu, Rajkumar, ECRTS 2013; Yun, Mancuso, Wu, Pellizzoni, RTAS 2014 (from memory)",
            vec![Assumption::MapEnforced, Assumption::BanksAsDeclared],
        ),
    };
    if memory.bank_masks.is_empty() {
        return claim
            .unknown(format!("no `bank_bits` of `{}` say which address lies in which bank", memory.name.value));
    }
    claim.verdict(Shares::of(system, plan, Coloured::Banks(id)).map(|all| found(system, plan, id, &all)))
}

fn found(system: &System, plan: &Plan, id: MemoryId, all: &Shares<'_>) -> Found {
    let mut found = Found { faults: all.faults(), remarks: all.remarks() };
    let elsewhere = plan.colours.iter().filter(|grant| {
        grant.of == Coloured::Banks(id) && all.holders.iter().all(|holder| holder.id != grant.partition)
    });
    let words =
        |who: PartitionId| format!("`{}` is given banks and lies in another memory", system.partition(who).name.value);
    found.faults.extend(elsewhere.map(|grant| words(grant.partition)));
    found.remarks.extend(across(system, plan, id, all));
    found
}

/// What goes on in the banks of a partition beside what runs on cores at the same time: banks of one's own do not keep it away.
pub(crate) fn disturbers(system: &System, plan: &Plan, id: MemoryId) -> Vec<String> {
    Shares::of(system, plan, Coloured::Banks(id)).map_or_else(|_| Vec::new(), |all| across(system, plan, id, &all))
}

fn across(system: &System, plan: &Plan, id: MemoryId, all: &Shares<'_>) -> Vec<String> {
    let regions = plan.memory.iter().filter(|place| home_of(system, place) == Some(id));
    let regions = regions.filter_map(|place| match place.what {
        Placed::Region(index) => Some(format!("region `{}` lies in any banks", system.regions[index].name.value)),
        Placed::Partition(_) => None,
    });
    let devices = system.board.devices.iter().filter(|device| device.moves_memory());
    let told = regions.chain(devices.flat_map(|device| of_device(system, plan, id, device, all)));
    told.chain(unknown_masters(system)).collect()
}

/// What a device does in banks beside those that its owner has alone. It moves memory at any time, not only while its owner runs.
fn of_device(system: &System, plan: &Plan, id: MemoryId, device: &Device, all: &Shares<'_>) -> Vec<String> {
    let name = &device.name.value;
    if device.memory == Some(id) {
        return vec![format!("the stream of device `{name}` reaches the memory whole")];
    }
    if device.memory.is_none() && device.reaches.is_empty() {
        return vec![format!("what the stream of device `{name}` reaches is not declared")];
    }
    let lies_here = |who: &PartitionId| place_of(plan, *who).and_then(|place| home_of(system, place)) == Some(id);
    let reached = device.reaches.iter().filter_map(|what| match what.value {
        Placed::Partition(who) => Some(who).filter(lies_here),
        Placed::Region(_) => None,
    });
    let owner = device.owner.as_ref().map(|owner| owner.value);
    reached
        .flat_map(|who| if Some(who) == owner { beside(all, who, name) } else { vec![foreign(system, who, name)] })
        .collect()
}

fn foreign(system: &System, who: PartitionId, device: &str) -> String {
    format!("device `{device}` moves memory of `{}`, which does not own it", system.partition(who).name.value)
}

/// Those who have banks in common with the owner of a device, on whichever core they run.
fn beside(all: &Shares<'_>, owner: PartitionId, device: &str) -> Vec<String> {
    let Some(own) = all.holders.iter().find(|holder| holder.id == owner) else { return Vec::new() };
    let others = all.holders.iter().filter(|other| other.id != owner && own.shares_with(other) > 0);
    let words =
        |other| format!("device `{device}` moves memory of `{}` in banks of `{}` too", all.name(own), all.name(other));
    others.map(words).collect()
}

/// Masters that are no cores and of which no device says what they reach: one alone may stand for all devices, and one among
/// several for that of its name.
fn unknown_masters(system: &System) -> Vec<String> {
    let devices: Vec<&Device> = system.board.devices.iter().filter(|device| device.moves_memory()).collect();
    let path = system.board.interconnect.iter().flat_map(|path| &path.masters);
    let masters: Vec<&str> = path.filter(|master| master.core.is_none()).map(|master| &*master.name.value).collect();
    let is_known = |master: &str| match masters.len() {
        1 => !devices.is_empty(),
        _ => devices.iter().any(|device| device.name.value == master),
    };
    let unknown = masters.iter().filter(|master| !is_known(master));
    unknown.map(|master| format!("what master `{master}` reaches is not declared")).collect()
}
