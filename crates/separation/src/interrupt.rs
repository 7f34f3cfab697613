//! Interrupts take no time from others, or no more than is counted with.
//!
//! Computes: for every interrupt line whether it can take time from the window of somebody else than its owner, and how much
//! at the most.
//! Source: partitions must not lose time to interrupts of others, ARINC 653 part 1 (from memory); common practice.
//! Assumptions: a pended line is kept until a window of its owner.
//! Invariants and why it ends: one look at each line.
//! Differs from the source: a line that is handled at once is not forbidden outright: what it takes is told, and responses
//! are charged with it; only one that can take a whole window is a fault.
//! Checked by: hand-made tables.

use crate::facts::{Claim, Found, basis};
use claim::{Assumption, Kind, Verdict};
use model::System;
use model::system::{Device, Interrupt, InterruptPolicy};
use plan::Plan;
use quantity::{CoreId, Duration, PartitionId};
use std::collections::BTreeMap;

/// One verdict for every line.
pub(crate) fn check(system: &System, plan: &Plan) -> Vec<Verdict> {
    let lines = system.board.devices.iter().flat_map(|device| device.interrupts.iter().map(move |line| (device, line)));
    lines.map(|(device, line)| claim(line).verdict(found(system, plan, device, line))).collect()
}

fn claim(line: &Interrupt) -> Claim {
    let source = "ARINC 653 part 1: a partition loses no time to others (from memory); common practice";
    Claim {
        kind: Kind::Interrupt,
        subject: line.line.value.clone(),
        place: line.line.span,
        basis: basis("interrupts", source, vec![Assumption::InterruptsPended]),
    }
}

fn found(system: &System, plan: &Plan, device: &Device, line: &Interrupt) -> Result<Found, String> {
    let owner = device.owner.as_ref().ok_or_else(|| format!("`{}` has no declared owner", device.name.value))?.value;
    let core = line.core.as_ref().ok_or("the core that it is routed to is not given")?.value;
    let policy = line.policy.as_ref().ok_or("what happens outside its owner's windows is not given")?.value;
    let mut found = Found::default();
    found.faults.extend(elsewhere(system, plan, owner, core));
    match policy {
        InterruptPolicy::Pended => found.remarks.push("it is kept until a window of its owner".to_owned()),
        InterruptPolicy::Immediate => stolen(system, plan, (owner, core), line)?.into_iter().for_each(|taken| {
            let list = if taken.whole { &mut found.faults } else { &mut found.remarks };
            list.push(taken.words);
        }),
    }
    Ok(found)
}

/// A line that is routed where its owner has no window is never handled there in its owner's time.
fn elsewhere(system: &System, plan: &Plan, owner: PartitionId, core: CoreId) -> Option<String> {
    let windows = || plan.schedules.iter().flat_map(|table| &table.cores).filter(|table| table.core == core);
    let has_window = windows().flat_map(|table| &table.windows).any(|window| window.partition == owner);
    let is_pinned = system.partition(owner).cores.iter().any(|pinned| pinned.value == core);
    let words = || {
        let (owner, core) = (&system.partition(owner).name.value, &system.core(core).name.value);
        format!("it is routed to core {core}, on which its owner `{owner}` never runs")
    };
    (windows().next().is_some() && !has_window && !is_pinned).then(words)
}

/// What a line takes from the windows of one partition.
struct Taken {
    /// Whether it can take all of one.
    whole: bool,
    words: String,
}

/// The time that a line takes at most from the longest window of each other partition on its core.
fn stolen(
    system: &System,
    plan: &Plan,
    (owner, core): (PartitionId, CoreId),
    line: &Interrupt,
) -> Result<Vec<Taken>, String> {
    let apart =
        line.min_interarrival.as_ref().ok_or("it is handled at once, and how often it may come is not given")?;
    let handler = line.handler.as_ref().ok_or("it is handled at once, and the time of its handler is not given")?;
    let (apart_ns, handler_ns) = (apart.value.ns(), handler.value.ns());
    let mut longest: BTreeMap<PartitionId, u64> = BTreeMap::new();
    let tables = plan.schedules.iter().flat_map(|table| &table.cores).filter(|table| table.core == core);
    for window in tables.flat_map(|table| &table.windows).filter(|window| window.partition != owner) {
        let length = longest.entry(window.partition).or_default();
        *length = (*length).max(window.length.ns());
    }
    let words = |(partition, length_ns): (PartitionId, u64)| {
        // One may have come just before the window and be handled inside, then one at each least distance.
        let often = (length_ns.saturating_add(handler_ns) / apart_ns.max(1)).saturating_add(1);
        let stolen_ns = often.saturating_mul(handler_ns).min(length_ns);
        let (name, length) = (&system.partition(partition).name.value, Duration::from_ns(length_ns));
        let words = format!("it takes up to {} out of a window of {length} of `{name}`", Duration::from_ns(stolen_ns));
        Taken { whole: stolen_ns == length_ns, words }
    };
    Ok(longest.into_iter().map(words).collect())
}
