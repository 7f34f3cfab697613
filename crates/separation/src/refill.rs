//! What a partition fetches anew behind a switch.
//!
//! Computes: for every partition that declares how many of its lines it may use again after a pause, the time to fetch those
//! that others on its core can have evicted meanwhile, against the refill that every window is charged.
//! Source: useful cache blocks: Lee and others, IEEE Transactions on Computers 47(6), 1998; evicting cache blocks: Busquets-Mataix
//! and others, RTAS 1996; that under least recently used one line can push out a whole set: Burguiere, Reineke & Altmeyer, WCET
//! workshop 2009. All from memory.
//! Assumptions: inputs valid; least recently used; round-robin among listed masters.
//! Symbols: `U` useful lines; `E` the sum of the evicting lines of the others that have windows on its cores; `k` the most ways of a
//! cache there; `L` the time of a line at the guaranteed rate, `M` masters. Refill: `min(U, k E) M L`, rounded up once: each line
//! waits for one of every other master.
//! Invariants and why it ends: one sum for each partition.
//! Differs from the source: sets are not told apart.
//! Checked by: hand-made boards.

use crate::cache::cores_of;
use crate::facts::basis;
use crate::names::counted;
use claim::{Assumption, Kind, Status, Unit, Verdict};
use model::System;
use plan::Plan;
use quantity::{Bytes, CoreId, Duration, PartitionId};

const SOURCE: &str =
    "Lee and others 1998; Busquets-Mataix and others 1996; Burguiere, Reineke and Altmeyer 2009 (from memory)";

/// One verdict for every partition with declared useful lines.
pub(crate) fn check(system: &System, plan: &Plan) -> Vec<Verdict> {
    system.partition_ids().filter_map(|id| verdict(system, plan, id)).collect()
}

fn verdict(system: &System, plan: &Plan, id: PartitionId) -> Option<Verdict> {
    let partition = system.partition(id);
    let useful = partition.useful_lines.as_ref()?;
    let assumptions = vec![Assumption::InputsValid, Assumption::RoundRobin, Assumption::MastersListed];
    let subject = format!("refill/{}", partition.name.value);
    let base = Verdict::not_analysed(Kind::Cache, subject, basis("refill", SOURCE, assumptions), String::new());
    let base = Verdict { unit: Unit::Nanoseconds, place: Some(useful.span), ..base };
    let missing = |reason: &str| Verdict { reason: Some(reason.to_owned()), ..base.clone() };
    let Some(charged) = &system.platform.refill else { return Some(missing("`platform.refill` is not given")) };
    let base = Verdict { limit: Some(charged.value.ns()), ..base.clone() };
    Some(match refill(system, plan, id, useful.value) {
        Err(missing) => Verdict { reason: Some(missing), ..base },
        Ok(refill) => judged(base, &refill, charged.value),
    })
}

/// What is fetched anew at the most.
struct Refill {
    lines: u64,
    time: Duration,
    why: String,
}

fn judged(base: Verdict, refill: &Refill, charged: Duration) -> Verdict {
    let Refill { lines, time, why } = refill;
    let fetched = format!("{} are fetched anew in {time}, {why}", counted(*lines, "line"));
    let base = Verdict { bound: Some(time.ns()), ..base };
    if *time <= charged {
        return Verdict { status: Status::Shown, reason: Some(fetched), ..base };
    }
    let reason = format!("up to {fetched}; a window is charged {charged}");
    Verdict { status: Status::NotShown, reason: Some(reason), ..base }
}

/// # Errors
/// Which datum is missing.
fn refill(system: &System, plan: &Plan, id: PartitionId, useful: u64) -> Result<Refill, String> {
    let cores = cores_of(system, plan, id);
    let (lines, why) = match evicted(system, plan, id, &cores) {
        Some(evicted) if evicted < useful => (evicted, "which is all that the others on its cores can evict"),
        _ => (useful, "all that it may use again"),
    };
    let interconnect = system.board.interconnect.as_ref().ok_or("`board.interconnect` is not given")?;
    let masters = interconnect.masters.len().max(1) as u64;
    let bytes = lines.checked_mul(masters).and_then(|all| all.checked_mul(interconnect.line.value.get()));
    let time = bytes.and_then(|bytes| interconnect.guaranteed.value.time_for(Bytes::new(bytes)));
    let time = time.ok_or("the time of the refill is too large, or the guaranteed rate is zero")?;
    Ok(Refill { lines, time, why: why.to_owned() })
}

/// How many lines the others on these cores can evict; none where one of them does not say.
fn evicted(system: &System, plan: &Plan, id: PartitionId, cores: &[CoreId]) -> Option<u64> {
    let tables = plan.schedules.iter().flat_map(|table| &table.cores).filter(|table| cores.contains(&table.core));
    let mut others: Vec<PartitionId> = tables.flat_map(|table| &table.windows).map(|window| window.partition).collect();
    others.sort_unstable();
    others.dedup();
    let evicting = |other: PartitionId| Some(system.partition(other).evicting_lines.as_ref()?.value);
    let others = others.into_iter().filter(|&other| other != id);
    let sum = others.map(evicting).try_fold(0u64, |sum, lines| Some(sum.saturating_add(lines?)))?;
    let caches = system.board.caches.iter().filter(|cache| cache.cores.iter().any(|core| cores.contains(core)));
    let ways = caches.map(|cache| cache.ways.value).fold(1, u32::max);
    Some(sum.saturating_mul(ways.into()))
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    /// A set of `ways` lines under least recently used: the misses of a sequence, and what it leaves.
    fn misses(ways: usize, held: &mut Vec<u8>, sequence: &[u8]) -> usize {
        let mut misses = 0;
        for line in sequence {
            let place = held.iter().position(|other| other == line);
            misses += usize::from(place.is_none());
            if let Some(place) = place {
                held.remove(place);
            }
            held.push(*line);
            if held.len() > ways {
                held.remove(0);
            }
        }
        misses
    }

    /// Every sequence of `length` lines below `lines`, beginning with `first`.
    fn sequences(first: u8, lines: u8, length: u32) -> impl Iterator<Item = Vec<u8>> {
        let digit =
            move |number: u32, place: u32| first + ((number / u32::from(lines).pow(place)) % u32::from(lines)) as u8;
        (0..u32::from(lines).pow(length)).map(move |number| (0..length).map(|place| digit(number, place)).collect())
    }

    #[test]
    fn no_pause_costs_more_misses_than_is_counted_and_some_as_many() {
        for ways in [1, 2, 3] {
            let mut closest = usize::MAX;
            for before in sequences(0, 3, 3) {
                for evicting in sequences(10, 2, 1).chain(sequences(10, 2, 2)) {
                    for after in sequences(0, 3, 3) {
                        let mut held = Vec::new();
                        misses(ways, &mut held, &before);
                        let alone = misses(ways, &mut held.clone(), &after);
                        misses(ways, &mut held, &evicting);
                        let paused = misses(ways, &mut held, &after);
                        let (before, after): (BTreeSet<_>, BTreeSet<_>) =
                            (before.iter().collect(), after.iter().collect());
                        let useful = before.intersection(&after).count();
                        let evicted = ways * evicting.iter().collect::<BTreeSet<_>>().len();
                        let bound = useful.min(evicted);
                        assert!(
                            paused <= alone + bound,
                            "{ways} ways: {paused} after a pause, {alone} without, {bound}"
                        );
                        closest = closest.min(if useful > 0 { alone + bound - paused } else { usize::MAX });
                    }
                }
            }
            assert_eq!(closest, 0, "{ways} ways");
        }
    }
}
