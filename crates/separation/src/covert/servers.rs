//! How much the instants at which budget servers are served may tell.
//!
//! Computes: of every reader in a set of budget servers, how many instants of its own it can tell apart in a second that others may
//! have moved: the begins of the stretches in which a server of its own is served.
//! Source: derived here from earliest deadline first: a server is cut only where a period of another one begins whose deadline is no
//! later than its own, so it is served in no more stretches than such begins and one; what a reader is told by an instant of so many
//! is their logarithm, as in the module above.
//! Assumptions: servers go by the earliest deadline, and periods begin by the clock, whatever anybody does; a server whose guest has
//! nothing to do gives its core away, and comes back with its next period only. One that may come back within its period may cut
//! the others as often as it likes.
//! Symbols: in ns, `P` a period and `D` a deadline of another server, `d` the deadline of the one that is cut. Behind the begin of
//! its period, at most `ceil((d - D) / P)` periods of the other begin that are due no later.
//! Invariants and why it ends: one look at each pair of servers.
//! Differs from the source: that stretches come one after the other, and that a budget is whole, leave fewer patterns than are counted.
//! Checked by: every use of every budget of small sets of servers, run tick by tick, below.

use super::Capacity;
use super::capacity::{levels, of_levels};
use model::System;
use model::system::{CoreSet, RunGrant};
use quantity::{BitRate, CoreId, CoreSetId, PartitionId};

/// The server of one virtual core.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Server {
    partition: PartitionId,
    /// The core that it is pinned to, or the only one.
    core: Option<CoreId>,
    period_ns: u64,
    deadline_ns: u64,
}

/// How much a member of a set can tell by when it is served; not computed where some server of the set is not declared, or where
/// some are pinned and some are not: one may then be moved to another core whenever a third has done its work.
pub(super) fn told_to(system: &System, id: CoreSetId, set: &CoreSet, reader: PartitionId) -> Capacity {
    // A core of which the clock is not given counts in ns.
    let clocks: Option<Vec<u64>> = set.cores.iter().map(|core| system.core(*core).clock_hz).collect();
    let clock_hz = clocks.and_then(|clocks| clocks.into_iter().max());
    let Some(servers) = servers(system, id, set) else { return Capacity::NotComputed };
    if servers.iter().any(|server| server.core.is_some() != servers[0].core.is_some()) {
        return Capacity::NotComputed;
    }
    let own = servers.iter().filter(|server| server.partition == reader);
    let rate =
        |own: &Server| of_levels(levels(own.deadline_ns, clock_hz), stretches(&servers, own), own.period_ns).known();
    Capacity::AtMost(own.map(rate).fold(BitRate::default(), BitRate::plus))
}

/// Whether one member can move when another is served: they share a core, or some server may go to any.
pub(super) fn may_move(system: &System, id: CoreSetId, from: PartitionId, to: PartitionId) -> bool {
    let pins = |of: PartitionId| system.partition(of).cores.iter().map(|core| core.value).collect::<Vec<_>>();
    let others = pins(to);
    members(system, id).any(|of| pins(of).is_empty()) || pins(from).iter().any(|core| others.contains(core))
}

/// The partitions of a core set.
pub(super) fn members(system: &System, id: CoreSetId) -> impl Iterator<Item = PartitionId> + '_ {
    let is_member = move |of: &PartitionId| system.partition(*of).core_set.as_ref().is_some_and(|set| set.value == id);
    system.partition_ids().filter(is_member)
}

/// The servers of a set, one for each virtual core; none at all where one is not declared.
fn servers(system: &System, id: CoreSetId, set: &CoreSet) -> Option<Vec<Server>> {
    let mut servers = Vec::new();
    let only = (set.cores.len() == 1).then(|| set.cores[0]);
    for id in members(system, id) {
        let partition = system.partition(id);
        let Some(RunGrant::Server { period, deadline, .. }) = &partition.grant else { return None };
        servers.extend((0..partition.virtual_cores.value as usize).map(|virtual_core| Server {
            partition: id,
            core: only.or_else(|| partition.cores.get(virtual_core).map(|core| core.value)),
            period_ns: period.value.ns(),
            deadline_ns: deadline.value.ns(),
        }));
    }
    Some(servers)
}

/// The most stretches in which a server is served in a period of its own: one, and one more for each period of another that may cut
/// it. Where all are pinned, those of other cores cut nothing; it does not cut itself, as its own deadline is not below its own.
fn stretches(servers: &[Server], own: &Server) -> u64 {
    let is_pinned = servers.iter().all(|server| server.core.is_some());
    let meets = |other: &&Server| !is_pinned || other.core == own.core;
    let cuts = |other: &Server| own.deadline_ns.saturating_sub(other.deadline_ns).div_ceil(other.period_ns.max(1));
    servers.iter().filter(meets).map(cuts).fold(1, u64::saturating_add)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    /// A server of so many ticks in a period that begins at `first`.
    #[derive(Clone, Copy)]
    struct Ticks {
        budget: u64,
        period: u64,
        first: u64,
    }

    /// When the first server is served, where each of the others uses so much of its budgets; the first always uses all of its own.
    fn served(servers: &[Ticks], uses: &[Vec<u64>], until: u64) -> Vec<u64> {
        let mut left = vec![0; servers.len()];
        let mut running = None;
        let mut instants = Vec::new();
        for now in 0..until {
            for (index, server) in servers.iter().enumerate().filter(|(_, server)| now >= server.first) {
                if (now - server.first).is_multiple_of(server.period) {
                    let turn = ((now - server.first) / server.period) as usize;
                    left[index] = if index == 0 { server.budget } else { uses[index - 1][turn] };
                }
            }
            let due = |index: usize| now + servers[index].period - (now - servers[index].first) % servers[index].period;
            let ready = (0..servers.len()).filter(|index| left[*index] > 0);
            running = ready.min_by_key(|index| (due(*index), running != Some(*index), *index));
            if let Some(index) = running {
                left[index] -= 1;
                if index == 0 {
                    instants.push(now);
                }
            }
        }
        instants
    }

    /// Every way to use budgets of up to `most` ticks in so many periods.
    fn ways(most: u64, periods: usize) -> Vec<Vec<u64>> {
        (0..periods).fold(vec![Vec::new()], |ways, _| {
            let longer =
                |way: &Vec<u64>| (0..=most).map(|use_of| [way.clone(), vec![use_of]].concat()).collect::<Vec<_>>();
            ways.iter().flat_map(longer).collect()
        })
    }

    /// What the first server sees of one of its periods in all ways that the others may take: no more stretches, and no more
    /// patterns, than are counted.
    #[test]
    fn no_use_of_budgets_makes_more_patterns_than_are_counted() {
        let mut tight = false;
        for (own, others) in [
            ((2, 6), vec![(2, 4, 0), (1, 3, 0)]),
            ((3, 8), vec![(2, 8, 0), (1, 4, 1)]),
            ((2, 4), vec![(1, 4, 2)]),
            ((4, 12), vec![(1, 3, 1), (1, 6, 2)]),
            ((2, 5), vec![(3, 7, 3)]),
        ] {
            let own = Ticks { budget: own.0, period: own.1, first: 0 };
            let others: Vec<Ticks> =
                others.into_iter().map(|(budget, period, first)| Ticks { budget, period, first }).collect();
            let all = [&[own][..], &others].concat();
            let server = |ticks: &Ticks| Server {
                partition: PartitionId::new(0),
                core: None,
                period_ns: ticks.period,
                deadline_ns: ticks.period,
            };
            let stretches = stretches(&all.iter().map(server).collect::<Vec<_>>(), &server(&own));
            let until = 2 * own.period;
            let of_others = others.iter().map(|other| ways(other.budget, (until / other.period + 1) as usize));
            let uses = of_others.fold(vec![Vec::new()], |all: Vec<Vec<Vec<u64>>>, ways| {
                let with = |of: &Vec<Vec<u64>>| {
                    ways.iter().map(|way| [of.clone(), vec![way.clone()]].concat()).collect::<Vec<_>>()
                };
                all.iter().flat_map(with).collect()
            });
            // The second period: what was done before may reach into it.
            let seen = |uses: &Vec<Vec<u64>>| -> Vec<u64> {
                served(&all, uses, until).into_iter().filter(|now| *now >= own.period).collect()
            };
            let patterns: BTreeSet<Vec<u64>> = uses.iter().map(seen).collect();
            assert!(patterns.iter().all(|pattern| pattern.len() as u64 == own.budget), "a server gets its budget");
            let runs = |pattern: &Vec<u64>| pattern.chunk_by(|one, next| one + 1 == *next).count() as u64;
            let most = patterns.iter().map(runs).max().expect("a pattern");
            assert!(most <= stretches, "{most} stretches, {stretches} counted");
            tight |= most == stretches && patterns.len() > 1;
            let counted = levels(own.period, None).pow(stretches as u32);
            assert!(patterns.len() as u64 <= counted, "{} of {counted}", patterns.len());
        }
        assert!(tight, "somewhere a server is cut as often as is counted");
    }
}
