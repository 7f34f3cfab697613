//! The criticality direction.
//!
//! Computes: for every channel, shared region and served device that carries from a lower level to a higher, how many of its
//! consumers declare no check of what comes; for every chain whose data pass through a level below both ends, where.
//! Source: freedom from interference, ISO 26262-1:2018 3.65 and 26262-6:2018 annex D; segregation of items of different
//! criticality, IEC 62304:2006 5.3.5 (both from memory).
//! Assumptions: a declared check refuses what its words say.
//! Symbols: levels are places in the scale of the file, compared with each other and with no other scale.
//! Invariants and why it ends: one look at each carrier, one pass along each chain.
//! Differs from the source: none of them asks for the pass along chains; common practice.
//! Checked by: the survey vessel's eleven upward flows, and its planted demand of SIL 2 through a partition of SIL 1.

use crate::edges::{Carrier, Edge, level};
use crate::facts::{Claim, Found, basis};
use claim::{Assumption, Kind, Verdict};
use diagnostic::Span;
use model::System;
use model::system::{Chain, PortEnd};
use quantity::{PartitionId, TaskId};

/// One verdict for each carrier that rises and for each chain that falls and rises again.
pub(crate) fn check(system: &System, edges: &[Edge]) -> Vec<Verdict> {
    let may_rise: Vec<&Edge> = edges.iter().filter(|edge| may_rise(system, edge)).collect();
    // Those of one carrier follow each other.
    let of_carriers = may_rise.chunk_by(|one, other| one.carrier == other.carrier).map(|edges| rising(system, edges));
    of_carriers.chain(system.chains.iter().filter_map(|chain| of_chain(system, chain))).collect()
}

fn claim(subject: String, place: Span) -> Claim {
    let source = "ISO 26262-6:2018 annex D, IEC 62304:2006 5.3.5 (from memory)";
    let basis = basis("criticality-direction", source, vec![Assumption::FlowsDeclared, Assumption::ChecksHold]);
    Claim { kind: Kind::Criticality, subject, place, basis }
}

/// Whether it goes to a higher level, or to or from a level that nobody knows.
fn may_rise(system: &System, edge: &Edge) -> bool {
    let known = level(system, edge.from).zip(level(system, edge.to));
    !system.levels.is_empty() && known.is_none_or(|(from, to)| from < to)
}

/// Of edges of one carrier, at least one.
fn rising(system: &System, edges: &[&Edge]) -> Verdict {
    let claim = claim(edges[0].carrier.subject(system), edges[0].place);
    let ends = edges.iter().flat_map(|edge| [edge.from, edge.to]);
    if let Some(unknown) = ends.into_iter().find(|id| level(system, *id).is_none()) {
        return claim.unknown(format!("`{}` declares no level", system.partition(unknown).name.value));
    }
    let mut found = Found::default();
    for edge in edges {
        match check_of(system, edge) {
            Some(what) => found.remarks.push(format!("{} checks: {what}", reader(system, edge))),
            None => found.faults.push(unchecked(system, edge)),
        }
    }
    found.remarks.dedup();
    claim.judged(found)
}

/// What the consumer declares to check.
fn check_of<'s>(system: &'s System, edge: &Edge) -> Option<&'s str> {
    let Carrier::Channel(id) = edge.carrier else { return edge.carrier.service(system) };
    let own = edge.into.map_or(PortEnd::Partition(edge.to), PortEnd::Task);
    let is_own = |consumer: PortEnd| consumer == own || consumer == PortEnd::Partition(edge.to);
    let mut checks = system.channel(id).checks.iter();
    let check = checks.find(|check| check.consumer.as_ref().is_none_or(|consumer| is_own(consumer.value)))?;
    Some(&check.what.value)
}

fn reader(system: &System, edge: &Edge) -> String {
    edge.into.map_or_else(|| system.partition(edge.to).name.value.clone(), |task| system.task_label(task))
}

fn unchecked(system: &System, edge: &Edge) -> String {
    let mend = match edge.carrier {
        Carrier::Channel(_) => "declare in `checks` what the consumer checks",
        Carrier::Region(_) => "carry it by a channel whose consumer checks what comes",
        Carrier::Device(_) => "declare in `service` what the owner lets through",
    };
    format!(
        "{} goes from {} to {} unchecked: {mend}, or raise the sender",
        edge.carrier.words(system),
        with_level(system, edge.from),
        with_level(system, edge.to)
    )
}

fn with_level(system: &System, id: PartitionId) -> String {
    let level = level(system, id).map_or("no level", |level| system.levels[level].value.as_str());
    format!("{} ({level})", system.partition(id).name.value)
}

/// A chain whose data pass through a level that is below a level before and a level after it.
fn of_chain(system: &System, chain: &Chain) -> Option<Verdict> {
    let tasks: Vec<TaskId> = chain.steps.iter().map(|step| step.task.value).collect();
    let levels: Option<Vec<usize>> = tasks.iter().map(|task| level(system, system.task(*task).partition)).collect();
    let claim = claim(format!("chain/{}", chain.name.value), chain.name.span);
    if system.levels.is_empty() {
        return None;
    }
    let Some(levels) = levels else { return Some(claim.unknown("some partition of the chain declares no level")) };
    let faults: Vec<String> = dips(&levels).iter().map(|dip| dip_words(system, &tasks, &levels, dip)).collect();
    let crosses = levels.windows(2).any(|pair| pair[0] != pair[1]);
    crosses.then(|| claim.judged(Found { faults, remarks: Vec::new() }))
}

/// A stretch of a chain that is below what comes before and after it.
#[derive(Debug, PartialEq, Eq)]
struct Dip {
    /// The last place before it that is as high as what is needed in it.
    before: usize,
    /// Where it begins.
    first: usize,
    /// The first place behind it that is as high.
    after: usize,
    /// The level that it would need: the lower one of the highest before and the highest behind it.
    needed: usize,
}

/// The longest stretches of places each of which has a higher level before and behind it.
fn dips(levels: &[usize]) -> Vec<Dip> {
    let highest = |places: &[usize]| places.iter().max().copied().unwrap_or(0);
    let needed = |place: usize| highest(&levels[..place]).min(highest(&levels[place + 1..]));
    let is_low = |place: &usize| needed(*place) > levels[*place];
    let begins = |place: &usize| is_low(place) && !place.checked_sub(1).is_some_and(|before| is_low(&before));
    let dip = |first: usize| {
        let end = (first..levels.len()).find(|place| !is_low(place)).unwrap_or(levels.len());
        let needed = highest(&levels[..first]).min(highest(&levels[end..]));
        let before = levels[..first].iter().rposition(|level| *level >= needed)?;
        let after = end + levels[end..].iter().position(|level| *level >= needed)?;
        Some(Dip { before, first, after, needed })
    };
    (0..levels.len()).filter(begins).filter_map(dip).collect()
}

fn dip_words(system: &System, tasks: &[TaskId], levels: &[usize], dip: &Dip) -> String {
    let label = |place: usize| system.task_label(tasks[place]);
    let word = |level: usize| system.levels[level].value.as_str();
    let through = &system.partition(system.task(tasks[dip.first]).partition).name.value;
    let (before, after) = (label(dip.before), label(dip.after));
    format!(
        "what {before} ({}) sends passes through {through} ({}) on its way to {after} ({}): raise {through} to {}, or carry it from \
         {before} to {after} directly",
        word(levels[dip.before]),
        word(levels[dip.first]),
        word(levels[dip.after]),
        word(dip.needed)
    )
}

#[cfg(test)]
mod tests {
    use super::{Dip, dips};

    #[test]
    fn a_dip_lies_below_what_is_before_and_behind_it() {
        let dip = |before, first, after, needed| Dip { before, first, after, needed };
        assert_eq!(dips(&[1, 1, 2, 2, 1, 2, 2]), [dip(3, 4, 5, 2)]);
        assert_eq!(dips(&[2, 2, 1, 2, 2]), [dip(1, 2, 3, 2)]);
        assert_eq!(dips(&[3, 1, 0, 2]), [dip(0, 1, 3, 2)], "one stretch, whatever its levels");
        assert_eq!(dips(&[2, 0, 1, 0, 2]), [dip(0, 1, 4, 2)]);
        assert_eq!(dips(&[2, 1, 2, 0, 1]), [dip(0, 1, 2, 2), dip(2, 3, 4, 1)]);
        for none in [&[0, 1, 2, 3][..], &[3, 2, 1, 0], &[], &[1], &[0, 0, 1, 1, 2, 2]] {
            assert!(dips(none).is_empty(), "{none:?}");
        }
    }
}
