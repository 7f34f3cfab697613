//! Device separation.
//!
//! Computes: for every device, in how many ways it reaches beyond its owner: memory of others that its stream is mapped to,
//! and memory that its addresses are too short for. Registers that overlap are refused when the file is read.
//! Source: causal factors of interference, IEC 61508-3:2010 annex F.3; comparison of intervals, common practice.
//! Assumptions: the I/O memory unit confines each stream to what is declared.
//! Symbols: a stream reaches the placed ranges of `reaches` and the memory named by `memory`.
//! Invariants and why it ends: each reached range is compared once with each placement.
//! Differs from the source: not at all.
//! Checked by: hand-made tables; the survey vessel's seeded stream into the memory of another.

use crate::facts::{Claim, Found, basis};
use crate::names::placed_name;
use crate::range::Range;
use claim::{Assumption, Kind, Verdict};
use model::System;
use model::system::{Device, RegionOwner, Rights};
use plan::{Placed, Placement, Plan};
use quantity::{Bytes, PartitionId};

/// One verdict for every device.
pub(crate) fn check(system: &System, plan: &Plan) -> Vec<Verdict> {
    let source = "IEC 61508-3:2010 annex F.3 (causal factors); comparison of intervals, common practice";
    let claim = |device: &Device| Claim {
        kind: Kind::Device,
        subject: device.name.value.clone(),
        place: device.name.span,
        basis: basis("devices", source, vec![Assumption::StreamsConfined, Assumption::MapEnforced]),
    };
    system.board.devices.iter().map(|device| claim(device).verdict(found(system, plan, device))).collect()
}

fn found(system: &System, plan: &Plan, device: &Device) -> Result<Found, String> {
    let owner = device.owner.as_ref().ok_or("no owner is declared, so whose it may touch is not known")?.value;
    let mut found = Found::default();
    if device.registers.is_none() {
        found.remarks.push("its registers are not declared, and nothing is said of them".to_owned());
    }
    if device.moves_memory() {
        found.faults.extend(stream_faults(system, plan, device, owner)?);
        if device.dma_address_bits.is_none() {
            found.remarks.push(
                "the width of its addresses is not declared, so whether they reach as far is not said".to_owned(),
            );
        }
    }
    Ok(found)
}

/// What the stream of a device reaches that it must not, or cannot.
fn stream_faults(system: &System, plan: &Plan, device: &Device, owner: PartitionId) -> Result<Vec<String>, String> {
    let ranges = reached(system, plan, device)?;
    let foreign = device.reaches.iter().filter(|reached| !may_write(system, owner, &reached.value));
    let foreign = foreign.map(|reached| {
        let (name, owner) = (placed_name(system, &reached.value), &system.partition(owner).name.value);
        format!("its stream reaches `{name}`, which its owner `{owner}` may not write")
    });
    let mut faults: Vec<String> = foreign.collect();
    if let Some(memory) = device.memory.map(|id| &system.board.memories[id.index()]) {
        let range = Range::new(memory.base.value, memory.size.value);
        let others = plan.memory.iter().filter(|placement| !may_write(system, owner, &placement.what));
        faults.extend(others.filter_map(|placement| inside(system, placement, &memory.name.value, range)));
    }
    let beyond = ranges.iter().filter_map(|(name, range)| beyond_addresses(name, *range, device.dma_address_bits?));
    faults.extend(beyond);
    Ok(faults)
}

/// The ranges that the stream of a device reaches, by name; or which of them are not known.
pub(crate) fn reached(system: &System, plan: &Plan, device: &Device) -> Result<Vec<(String, Range)>, String> {
    if device.reaches.is_empty() && device.memory.is_none() {
        let name = &device.name.value;
        return Err(format!(
            "`{name}` moves memory by itself, and `reaches` does not say which its stream is mapped to"
        ));
    }
    let placed = device.reaches.iter().map(|reached| {
        let name = placed_name(system, &reached.value);
        let placement = plan.memory.iter().find(|placement| placement.what == reached.value);
        placement
            .map(|place| (name.clone(), Range::from(place)))
            .ok_or_else(|| format!("the plan places nothing for `{name}`"))
    });
    let memory = device.memory.map(|id| &system.board.memories[id.index()]);
    let whole = memory.map(|memory| Ok((memory.name.value.clone(), Range::new(memory.base.value, memory.size.value))));
    placed.chain(whole).collect()
}

/// What of somebody else lies in a memory that the stream reaches whole.
fn inside(system: &System, placement: &Placement, memory: &str, range: Range) -> Option<String> {
    let shared = range.shared_bytes(Range::new(placement.base, placement.size));
    let words = || {
        let name = placed_name(system, &placement.what);
        format!("its stream reaches the whole of `{memory}`, in which {} of `{name}` lie", Bytes::new(shared))
    };
    (shared > 0).then(words)
}

/// What of a range lies beyond the widest address: a transfer there ends somewhere else.
fn beyond_addresses(name: &str, range: Range, bits: u32) -> Option<String> {
    let widest = 1u128.checked_shl(bits).filter(|_| bits < 64)?;
    let beyond = range.end.saturating_sub(range.start.max(widest));
    let words = || {
        let bytes = Bytes::new(u64::try_from(beyond).unwrap_or(u64::MAX));
        format!("{bytes} of `{name}` lie above what addresses of {bits} bits reach: a transfer there would wrap round")
    };
    (beyond > 0).then(words)
}

/// Whether a partition may write what is placed.
pub(crate) fn may_write(system: &System, partition: PartitionId, what: &Placed) -> bool {
    match what {
        Placed::Partition(owner) => *owner == partition,
        Placed::Region(index) => {
            let region = &system.regions[*index];
            let own = matches!(region.owner, RegionOwner::Partition(owner) if owner == partition);
            let given =
                |(who, rights): &(diagnostic::Located<PartitionId>, Rights)| who.value == partition && rights.write;
            own || region.access.iter().any(given)
        }
    }
}
