//! Information flow.
//!
//! Computes: for every pair of partitions that something is carried between, whether the policy permits each carrier; for every
//! pair of zones of which the policy permits no flow, the shortest way by which something still gets from one into the other
//! without passing a declared filter.
//! Source: only explicitly provided channels, Rushby, "Design and verification of secure systems", SOSP 1981; flows through
//! trusted intermediaries, Rushby, "Noninterference, transitivity, and channel-control security policies", SRI CSL-92-02, 1992.
//! Assumptions: nothing is carried but by declared channels, regions and shared devices; a filter lets through only what it
//! checks; the forwarder keeps the messages of different channels apart.
//! Symbols: zones are permitted to influence each other along chains of rules; an exception permits its own channel alone.
//! Invariants and why it ends: a breadth-first search visits each partition at most twice.
//! Differs from the source: whatever reaches a partition may leave it by every port of it, as nothing is known of its inside.
//! Checked by: a general-purpose graph library on random systems (`tests/flows.rs`); the survey vessel's policy, and what it
//! becomes without its filters.

use crate::edges::{Carrier, Edge};
use crate::facts::{Claim, Found, basis};
use claim::{Assumption, Basis, Kind, Verdict};
use model::System;
use model::system::FlowPolicy;
use quantity::{PartitionId, TaskId, ZoneId};
use std::collections::{BTreeMap, VecDeque};

/// One verdict for each pair of partitions that something is carried between, then one for each forbidden pair of zones.
pub(crate) fn check(system: &System, edges: &[Edge]) -> Vec<Verdict> {
    let mut verdicts = direct(system, edges);
    if let Some(policy) = &system.flow {
        verdicts
            .extend(forbidden_pairs(system, policy).into_iter().map(|pair| transitive(system, policy, edges, pair)));
    }
    verdicts
}

fn flow_basis() -> Basis {
    basis("information-flow", "Rushby 1981; Rushby 1992", vec![Assumption::FlowsDeclared, Assumption::FiltersHold])
}

fn direct(system: &System, edges: &[Edge]) -> Vec<Verdict> {
    let mut pairs: BTreeMap<(PartitionId, PartitionId), Vec<&Edge>> = BTreeMap::new();
    for edge in edges {
        pairs.entry((edge.from, edge.to)).or_default().push(edge);
    }
    let name = |id: PartitionId| system.partition(id).name.value.as_str();
    let verdict = |((from, to), carriers): ((PartitionId, PartitionId), Vec<&Edge>)| {
        let (subject, place) = (format!("{}/{}", name(from), name(to)), carriers[0].place);
        let claim = Claim { kind: Kind::Flow, subject, place, basis: flow_basis() };
        let Some(policy) = &system.flow else { return claim.unknown("no flow policy is declared") };
        let faults = carriers.iter().filter_map(|edge| forbidden(system, policy, edge)).collect();
        claim.judged(Found { faults, remarks: Vec::new() })
    };
    pairs.into_iter().map(verdict).collect()
}

/// Why the policy does not permit a carrier; `None` where it does.
fn forbidden(system: &System, policy: &FlowPolicy, edge: &Edge) -> Option<String> {
    if is_permitted(system, policy, edge) {
        return None;
    }
    let zone = |id| zone_of(system, id).map_or("no zone", |zone| system.zones[zone.index()].name.value.as_str());
    Some(format!(
        "{} flows from {} to {}, which no rule and no exception permits",
        edge.carrier.words(system),
        zone(edge.from),
        zone(edge.to)
    ))
}

/// What is served is permitted by its service, as an exception is by its reason.
fn is_permitted(system: &System, policy: &FlowPolicy, edge: &Edge) -> bool {
    is_exception(policy, edge) || edge.carrier.service(system).is_some() || is_by_rule(system, policy, edge)
}

fn is_by_rule(system: &System, policy: &FlowPolicy, edge: &Edge) -> bool {
    let (Some(from), Some(to)) = (zone_of(system, edge.from), zone_of(system, edge.to)) else { return false };
    let permits = |rule: &&model::system::FlowRule| {
        let via = rule.via.as_ref().map(|via| via.value);
        rule.from.value == from && rule.to.value == to && via.is_none_or(|via| edge.out_of == Some(via))
    };
    from == to || policy.rules.iter().any(|rule| permits(&rule))
}

fn is_exception(policy: &FlowPolicy, edge: &Edge) -> bool {
    let Carrier::Channel(channel) = edge.carrier else { return false };
    policy.exceptions.iter().any(|exception| exception.channel.value == channel)
}

fn zone_of(system: &System, id: PartitionId) -> Option<ZoneId> {
    system.partition(id).zone.as_ref().map(|zone| zone.value)
}

/// The pairs of zones of which no chain of rules permits the first to influence the second.
pub(crate) fn forbidden_pairs(system: &System, policy: &FlowPolicy) -> Vec<(ZoneId, ZoneId)> {
    let count = system.zones.len();
    let mut reach: Vec<Vec<bool>> = (0..count).map(|zone| (0..count).map(|other| zone == other).collect()).collect();
    for rule in &policy.rules {
        reach[rule.from.value.index()][rule.to.value.index()] = true;
    }
    for via in 0..count {
        let onward = reach[via].clone();
        for row in reach.iter_mut().filter(|row| row[via]) {
            row.iter_mut().zip(&onward).for_each(|(has, more)| *has |= more);
        }
    }
    let pairs = (0..count).flat_map(|from| (0..count).map(move |to| (from, to)));
    pairs.filter(|(from, to)| !reach[*from][*to]).map(|(from, to)| (ZoneId::new(from), ZoneId::new(to))).collect()
}

fn transitive(system: &System, policy: &FlowPolicy, edges: &[Edge], (from, to): (ZoneId, ZoneId)) -> Verdict {
    let (from_name, to_name) = (&system.zones[from.index()].name, &system.zones[to.index()].name);
    let subject = format!("zone/{}/{}", from_name.value, to_name.value);
    let claim = Claim { kind: Kind::Flow, subject, place: from_name.span, basis: flow_basis() };
    let faults = shortest(system, policy, edges, (from, to)).map(|way| way_words(system, &way));
    claim.judged(Found { faults: faults.into_iter().collect(), remarks: Vec::new() })
}

/// Where a search is: in a partition, with its zone left once or not yet.
type Place = (PartitionId, bool);

/// The shortest way from any partition of one zone into any of the other that passes no filter. A channel that is an exception is
/// permitted for what its sender's zone sends, so that alone is no way.
fn shortest<'e>(
    system: &System,
    policy: &FlowPolicy,
    edges: &'e [Edge],
    (from, to): (ZoneId, ZoneId),
) -> Option<Vec<&'e Edge>> {
    let is_filter = |task: Option<TaskId>| policy.filters.iter().any(|(filter, _)| Some(filter.value) == task);
    let is_open = |edge: &&Edge| !is_filter(edge.into) && edge.carrier.service(system).is_none();
    let open: Vec<&Edge> = edges.iter().filter(is_open).collect();
    let mut came_by: BTreeMap<Place, Option<(Place, &Edge)>> = BTreeMap::new();
    let starts = system.partition_ids().filter(|id| zone_of(system, *id) == Some(from)).map(|id| (id, false));
    let mut queue: VecDeque<Place> = starts.collect();
    came_by.extend(queue.iter().map(|start| (*start, None)));
    while let Some(place) = queue.pop_front() {
        let (at, has_left) = place;
        if zone_of(system, at) == Some(to) {
            return Some(way_to(&came_by, place));
        }
        for edge in open.iter().filter(|edge| edge.from == at) {
            let zone = zone_of(system, edge.to);
            if !has_left && zone == Some(to) && is_exception(policy, edge) {
                continue;
            }
            let next = (edge.to, has_left || zone != Some(from));
            came_by.entry(next).or_insert_with(|| {
                queue.push_back(next);
                Some((place, edge))
            });
        }
    }
    None
}

fn way_to<'e>(came_by: &BTreeMap<Place, Option<(Place, &'e Edge)>>, end: Place) -> Vec<&'e Edge> {
    let mut way = Vec::new();
    let mut place = end;
    while let Some((before, edge)) = came_by.get(&place).copied().flatten() {
        way.push(edge);
        place = before;
    }
    way.reverse();
    way
}

fn way_words(system: &System, way: &[&Edge]) -> String {
    let name = |id: PartitionId| system.partition(id).name.value.as_str();
    let first = way.first().map_or("", |edge| name(edge.from));
    let steps = way.iter().map(|edge| format!(" by {} to {}", edge.carrier.words(system), name(edge.to)));
    format!(
        "what is in {first} gets{}: no filter stands on this way, the shortest; declare one where it is checked, or cut the way",
        steps.collect::<Vec<_>>().join(", then")
    )
}
