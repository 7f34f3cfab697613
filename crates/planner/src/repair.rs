//! An allocation by repair: units move and change places until no core has more than it bears.
//!
//! Computes: a core for every unit within the limits of the search by `allocation`, where one is met.
//! Source: min-conflicts repair: Minton, Johnston, Philips & Laird 1992.
//! Assumptions: those of `allocation`; the sum of peaks is looked at last.
//! Symbols: the excess of a core is what its loads pass its capacity by, in ns, over all schedules.
//! Invariants and why it ends: every unit is on a core that it may have; the steps are counted.
//! Differs from the source: units change places too, and the chooser sees one core at a time.
//! Checked by: its use in the planner's tests; every result is checked again before it is used.

use crate::allocation::{Cores, Unit};
use crate::answer::Clock;
use crate::random::Random;

/// Looks for an allocation by repair for at most `steps` steps.
pub(crate) fn repair(
    units: &[Unit],
    cores: &Cores,
    random: &mut Random,
    clock: &mut Clock<'_>,
    steps: u64,
) -> Option<Vec<usize>> {
    let mut state = State::spread(units, cores)?;
    for _ in 0..steps {
        let Some(worst) = state.a_core_in_excess(random) else { return state.keeps_peaks().then_some(state.core_of) };
        if !clock.step() {
            return None;
        }
        state.relieve(worst, random);
    }
    None
}

/// What a unit that is not apart as it must be counts as, in ns: more than any load.
const CLASH_NS: u128 = 1 << 70;

struct State<'a> {
    units: &'a [Unit],
    cores: &'a Cores,
    core_of: Vec<usize>,
    on_core: Vec<Vec<usize>>,
}

/// A unit goes to another core, or changes places with a unit there.
#[derive(Clone, Copy)]
struct Change {
    unit: usize,
    to: usize,
    against: Option<usize>,
}

impl<'a> State<'a> {
    /// The largest units first, each where the excess grows least.
    fn spread(units: &'a [Unit], cores: &'a Cores) -> Option<Self> {
        let on_core = vec![Vec::new(); cores.capacity_ns.len()];
        let mut state = Self { units, cores, core_of: vec![0; units.len()], on_core };
        for unit in crate::allocation::largest_first(units) {
            let open = (0..state.on_core.len()).filter(|core| state.may(unit, *core));
            let core = open.min_by_key(|core| {
                let with: Vec<usize> = state.on_core[*core].iter().copied().chain([unit]).collect();
                (state.excess(*core, &with), state.total_ns(&with))
            })?;
            state.put(unit, core);
        }
        Some(state)
    }

    fn may(&self, unit: usize, core: usize) -> bool {
        self.cores.capacity_ns[core].is_some() && self.units[unit].allowed[core]
    }

    fn put(&mut self, unit: usize, core: usize) {
        self.core_of[unit] = core;
        self.on_core[core].push(unit);
    }

    fn take(&mut self, unit: usize) {
        let core = self.core_of[unit];
        self.on_core[core].retain(|other| *other != unit);
    }

    fn total_ns(&self, on: &[usize]) -> u128 {
        on.iter().flat_map(|unit| &self.units[*unit].load_ns).map(|load| u128::from(*load)).sum()
    }

    /// What the core would bear too much with these units on it.
    fn excess(&self, core: usize, on: &[usize]) -> u128 {
        let Some(capacity) = &self.cores.capacity_ns[core] else { return 0 };
        let over = capacity.iter().enumerate().map(|(schedule, capacity)| {
            let sum: u128 = on.iter().map(|unit| u128::from(self.units[*unit].load_ns[schedule])).sum();
            sum.saturating_sub(u128::from(*capacity))
        });
        let clashes = on.iter().map(|unit| on.iter().filter(|other| self.units[*unit].apart.contains(other)).count());
        over.sum::<u128>() + clashes.sum::<usize>() as u128 * CLASH_NS
    }

    fn a_core_in_excess(&self, random: &mut Random) -> Option<usize> {
        let over: Vec<usize> =
            (0..self.on_core.len()).filter(|core| self.excess(*core, &self.on_core[*core]) > 0).collect();
        over.get(random.below(over.len())).copied()
    }

    /// Makes the change that leaves the least excess on the cores it touches; now and then any change, to leave a dead end.
    fn relieve(&mut self, core: usize, random: &mut Random) {
        let changes = self.changes(core);
        if changes.is_empty() {
            return;
        }
        let first = random.below(changes.len());
        let chosen = if random.below(20) == 0 {
            changes[first]
        } else {
            // Of equal ones another each time, so that the search does not walk in a circle.
            let in_turn = changes[first..].iter().chain(&changes[..first]);
            let least = in_turn.min_by_key(|change| self.excess_after(core, change));
            least.copied().unwrap_or(changes[first])
        };
        self.make(core, chosen);
    }

    fn changes(&self, core: usize) -> Vec<Change> {
        let mut changes = Vec::new();
        for unit in &self.on_core[core] {
            for to in (0..self.on_core.len()).filter(|to| *to != core && self.may(*unit, *to)) {
                changes.push(Change { unit: *unit, to, against: None });
                let back = self.on_core[to].iter().filter(|other| self.may(**other, core));
                changes.extend(back.map(|other| Change { unit: *unit, to, against: Some(*other) }));
            }
        }
        changes
    }

    /// The growth of the excess on both cores, counted from what the other core has: less is better.
    fn excess_after(&self, core: usize, change: &Change) -> i128 {
        let without = |core: usize, gone: Option<usize>, come: Option<usize>| {
            let kept = self.on_core[core].iter().copied().filter(|unit| Some(*unit) != gone);
            kept.chain(come).collect::<Vec<usize>>()
        };
        let here = self.excess(core, &without(core, Some(change.unit), change.against));
        let there = self.excess(change.to, &without(change.to, change.against, Some(change.unit)));
        let before = self.excess(change.to, &self.on_core[change.to]);
        // Clashes and loads stay far below 2^100.
        (here + there) as i128 - before as i128
    }

    fn make(&mut self, core: usize, change: Change) {
        self.take(change.unit);
        self.put(change.unit, change.to);
        if let Some(other) = change.against {
            self.take(other);
            self.put(other, core);
        }
    }

    fn keeps_peaks(&self) -> bool {
        let Some(limit) = self.cores.peak_limit else { return true };
        let peak = |units: &Vec<usize>| u128::from(units.iter().map(|unit| self.units[*unit].peak).max().unwrap_or(0));
        self.on_core.iter().map(peak).sum::<u128>() <= u128::from(limit)
    }
}
