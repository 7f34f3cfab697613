//! Emptying bins and filling the others better by exchange.
//!
//! Computes: a packing with fewer bins than a given one, where exchanging up to two items of a bin for up to two free
//! ones leads to it.
//! Source: the local optimisation of Falkenauer 1996 (A hybrid grouping genetic algorithm for bin packing), after the
//! dominance criterion of Martello & Toth 1990.
//! Invariants and why it ends: every exchange makes its bin fuller, and the number of rounds is given.
//! Differs from the source: one packing and a walk instead of a population.
//! Checked by: the published instances in `tests/packing.rs`.

use super::descending;
use crate::random::Random;

/// Tries `rounds` times to empty some bins and to pack their items elsewhere; stops at `target` bins.
pub(super) fn exchange(bins: &mut Vec<Vec<usize>>, items: &[u64], capacity: u64, target: usize, rounds: u64) {
    let mut random = Random::new(0);
    for _ in 0..rounds {
        if bins.len() <= target || bins.len() < 2 {
            return;
        }
        let mut tried = bins.clone();
        let mut free = empty_some(&mut tried, &mut random);
        tried.iter_mut().for_each(|bin| improve(bin, &mut free, items, capacity));
        refill(&mut tried, free, items, capacity);
        if tried.len() <= bins.len() {
            *bins = tried;
        }
    }
}

/// Takes two to four bins out; their items are free.
fn empty_some(bins: &mut Vec<Vec<usize>>, random: &mut Random) -> Vec<usize> {
    let count = 2 + random.below(3);
    let mut free = Vec::new();
    for _ in 0..count.min(bins.len()) {
        free.extend(bins.swap_remove(random.below(bins.len())));
    }
    free
}

/// Exchanges items of the bin for free ones as long as that makes it fuller.
fn improve(bin: &mut Vec<usize>, free: &mut Vec<usize>, items: &[u64], capacity: u64) {
    let size_of = |set: &[usize]| set.iter().map(|index| items[*index]).sum::<u64>();
    loop {
        let load = size_of(bin);
        let swap = small_sets(bin.len()).find_map(|out| {
            let given: Vec<usize> = out.iter().map(|at| bin[*at]).collect();
            let kept = load - size_of(&given);
            let better = |taken: &Vec<usize>| (load + 1..=capacity).contains(&(kept + size_of(taken)));
            let sets = small_sets(free.len()).map(|set| set.iter().map(|at| free[*at]).collect::<Vec<_>>());
            sets.filter(better).max_by_key(|taken| size_of(taken)).map(|taken| (given, taken))
        });
        let Some((given, taken)) = swap else { return };
        bin.retain(|index| !given.contains(index));
        free.retain(|index| !taken.contains(index));
        bin.extend(taken);
        free.extend(given);
    }
}

/// The positions of no, one or two of `count` things.
fn small_sets(count: usize) -> impl Iterator<Item = Vec<usize>> {
    let pairs = (0..count).flat_map(move |a| (a + 1..count).map(move |b| vec![a, b]));
    std::iter::once(Vec::new()).chain((0..count).map(|a| vec![a])).chain(pairs)
}

/// Puts the free items, largest first, where they fit most tightly, and opens bins for the rest.
fn refill(bins: &mut Vec<Vec<usize>>, free: Vec<usize>, items: &[u64], capacity: u64) {
    let sizes: Vec<u64> = free.iter().map(|index| items[*index]).collect();
    for at in descending(&sizes) {
        let room = |bin: &Vec<usize>| capacity - bin.iter().map(|index| items[*index]).sum::<u64>();
        let tightest = bins.iter_mut().filter(|bin| room(bin) >= sizes[at]).min_by_key(|bin| room(bin));
        match tightest {
            Some(bin) => bin.push(free[at]),
            None => bins.push(vec![free[at]]),
        }
    }
}
