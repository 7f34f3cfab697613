//! Items to cores.
//!
//! Computes: an allocation in which every core bears its items in every schedule, partitions kept apart are apart, ones
//! kept together share their core, and the peaks of memory traffic fit the guaranteed rate; or the proof that none exists.
//! Source: branch and bound on bin packing with conflicts: best-fit decreasing order, symmetry among equal cores
//! (Martello & Toth 1990, chapter 8).
//! Assumptions: what a core costs beyond the sum of its loads is told by the caller, core by core.
//! Symbols: a unit is a set of items that share a core; load in ns a frame.
//! Invariants and why it ends: every level gives one unit a core for good; a limit on steps ends the rest.
//! Checked by: a comparison with all allocations of small cases, in `tests/`.

use crate::answer::Clock;
use crate::problem::Problem;

/// Items that share one core.
#[derive(Debug, Clone)]
pub(crate) struct Unit {
    pub(crate) items: Vec<usize>,
    /// By core id.
    pub(crate) allowed: Vec<bool>,
    /// By schedule.
    pub(crate) load_ns: Vec<u64>,
    /// The highest rate of memory traffic of any of its tasks, in bytes per second.
    pub(crate) peak: u64,
    /// Units that must be on other cores.
    pub(crate) apart: Vec<usize>,
}

/// The cores and the limits that units share.
pub(crate) struct Cores {
    /// By core id, then by schedule; none where the core takes no windows.
    pub(crate) capacity_ns: Vec<Option<Vec<u64>>>,
    /// What the sum of the cores' peaks may reach, where it is limited.
    pub(crate) peak_limit: Option<u64>,
}

impl Cores {
    pub(crate) fn of(problem: &Problem<'_>, peak_limit: Option<u64>) -> Self {
        Self { capacity_ns: problem.capacity_ns.clone(), peak_limit }
    }
}

/// How a search ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Ending {
    /// The core of each unit given, and the cost of all cores, for the cheapest allocation found.
    pub(crate) best: Option<(Vec<usize>, u64)>,
    /// Whether nothing was left untried.
    pub(crate) complete: bool,
}

/// What a core with some units costs; `None` where it cannot hold them.
pub(crate) type Cost<'c> = dyn FnMut(usize, &[usize]) -> Option<u64> + 'c;

/// A search over the units listed; the others do not exist for it.
pub(crate) struct Search<'s, 'c, 'k> {
    units: &'s [Unit],
    cores: &'s Cores,
    cost: &'s mut Cost<'c>,
    clock: &'s mut Clock<'k>,
    order: Vec<usize>,
    /// The core of each unit that is tried first.
    first: Option<&'s [usize]>,
    /// Steps of this search alone.
    steps_left: u64,
    on_core: Vec<Vec<usize>>,
    load_ns: Vec<Vec<u64>>,
    cost_of_core: Vec<u64>,
    ending: Ending,
    /// Steps that are still spent on a cheaper allocation once one was found.
    better_for: u64,
}

impl<'s, 'c, 'k> Search<'s, 'c, 'k> {
    /// A search that places units in `order`, each on the core of `first` before any other.
    pub(crate) fn new(
        units: &'s [Unit],
        order: Vec<usize>,
        cores: &'s Cores,
        first: Option<&'s [usize]>,
        cost: &'s mut Cost<'c>,
        clock: &'s mut Clock<'k>,
        steps: u64,
    ) -> Self {
        let schedules = units.first().map_or(0, |unit| unit.load_ns.len());
        let count = cores.capacity_ns.len();
        Self {
            units,
            cores,
            cost,
            clock,
            order,
            first,
            steps_left: steps,
            on_core: vec![Vec::new(); count],
            load_ns: vec![vec![0; schedules]; count],
            cost_of_core: vec![0; count],
            ending: Ending { best: None, complete: true },
            better_for: steps / 4,
        }
    }

    /// Runs to the end or to the limit; it also ends at a cost of 0, below which there is none.
    pub(crate) fn run(mut self) -> Ending {
        self.descend(0);
        self.ending
    }

    fn is_done(&self) -> bool {
        !self.ending.complete || self.ending.best.as_ref().is_some_and(|(_, cost)| *cost == 0)
    }

    fn descend(&mut self, depth: usize) {
        if self.is_done() {
            return;
        }
        let cost: u64 = self.cost_of_core.iter().sum();
        if self.ending.best.as_ref().is_some_and(|(_, best)| cost >= *best) {
            return;
        }
        let Some(&unit) = self.order.get(depth) else {
            self.keep(cost);
            return;
        };
        if !self.rest_fits(depth) {
            return;
        }
        for core in self.choices(unit) {
            let before = self.cost_of_core[core];
            // A choice was costed when it was listed; the caller remembers it.
            let Some(cost) = self.put(core, unit) else { continue };
            self.cost_of_core[core] = cost;
            self.descend(depth + 1);
            self.cost_of_core[core] = before;
            self.take_back(core, unit);
            if self.is_done() {
                return;
            }
        }
    }

    fn keep(&mut self, cost: u64) {
        let mut core_of = vec![0; self.units.len()];
        for (core, units) in self.on_core.iter().enumerate() {
            units.iter().for_each(|unit| core_of[*unit] = core);
        }
        self.ending.best = Some((core_of, cost));
        self.clock.extra_windows = Some(cost);
        self.steps_left = self.steps_left.min(self.better_for);
    }

    /// Whether the sums alone leave room for the units still to place.
    fn rest_fits(&self, depth: usize) -> bool {
        let schedules = self.load_ns.first().map_or(0, Vec::len);
        (0..schedules).all(|schedule| {
            let free = |(core, capacity): (usize, &Option<Vec<u64>>)| {
                capacity.as_ref().map_or(0, |c| u128::from(c[schedule].saturating_sub(self.load_ns[core][schedule])))
            };
            let room: u128 = self.cores.capacity_ns.iter().enumerate().map(free).sum();
            let rest = self.order[depth..].iter().map(|unit| u128::from(self.units[*unit].load_ns[schedule]));
            rest.sum::<u128>() <= room
        })
    }

    /// The cores that may take the unit: the one to try first, then the cheapest, then the fullest.
    fn choices(&mut self, unit: usize) -> Vec<usize> {
        let mut choices = Vec::new();
        for core in 0..self.on_core.len() {
            let wanted = self.first.is_some_and(|first| first[unit] == core);
            if !self.may_hold(core, unit) || (!wanted && self.is_like_an_earlier_empty_one(core)) {
                continue;
            }
            if !self.step() {
                return Vec::new();
            }
            if let Some(cost) = self.put(core, unit) {
                choices.push((!wanted, cost.saturating_sub(self.cost_of_core[core]), self.room(core), core));
                self.take_back(core, unit);
            }
        }
        choices.sort_unstable();
        choices.into_iter().map(|choice| choice.3).collect()
    }

    fn step(&mut self) -> bool {
        if self.steps_left == 0 || !self.clock.step() {
            self.ending.complete = false;
            return false;
        }
        self.steps_left -= 1;
        true
    }

    /// Puts the unit on the core and tells what the core now costs; takes it back where the core cannot hold it.
    fn put(&mut self, core: usize, unit: usize) -> Option<u64> {
        self.on_core[core].push(unit);
        let load = &self.units[unit].load_ns;
        self.load_ns[core].iter_mut().zip(load).for_each(|(sum, load)| *sum = sum.saturating_add(*load));
        let cost = (self.cost)(core, &self.on_core[core]);
        if cost.is_none() {
            self.take_back(core, unit);
        }
        cost
    }

    fn take_back(&mut self, core: usize, unit: usize) {
        self.on_core[core].pop();
        let load = &self.units[unit].load_ns;
        self.load_ns[core].iter_mut().zip(load).for_each(|(sum, load)| *sum = sum.saturating_sub(*load));
    }

    fn may_hold(&self, core: usize, unit: usize) -> bool {
        let new = &self.units[unit];
        let Some(capacity) = &self.cores.capacity_ns[core] else { return false };
        let loads = self.load_ns[core].iter().zip(&new.load_ns).zip(capacity);
        new.allowed[core]
            && self.on_core[core].iter().all(|other| !new.apart.contains(other))
            && loads.into_iter().all(|((sum, load), capacity)| sum.saturating_add(*load) <= *capacity)
            && self.peaks_fit(core, new.peak)
    }

    fn peaks_fit(&self, core: usize, peak: u64) -> bool {
        let Some(limit) = self.cores.peak_limit else { return true };
        let peak_of = |(index, units): (usize, &Vec<usize>)| {
            let own = units.iter().map(|unit| self.units[*unit].peak).max().unwrap_or(0);
            u128::from(if index == core { own.max(peak) } else { own })
        };
        self.on_core.iter().enumerate().map(peak_of).sum::<u128>() <= u128::from(limit)
    }

    fn room(&self, core: usize) -> u64 {
        let Some(capacity) = &self.cores.capacity_ns[core] else { return 0 };
        capacity.iter().zip(&self.load_ns[core]).map(|(c, load)| c.saturating_sub(*load)).min().unwrap_or(0)
    }

    /// Of equal empty cores only the first is worth a try.
    fn is_like_an_earlier_empty_one(&self, core: usize) -> bool {
        let equal = |other: usize| {
            self.on_core[other].is_empty()
                && self.cores.capacity_ns[other] == self.cores.capacity_ns[core]
                && self.order.iter().all(|unit| self.units[*unit].allowed[other] == self.units[*unit].allowed[core])
        };
        self.on_core[core].is_empty() && (0..core).any(equal)
    }
}

/// The order in which units are placed: those with one core first, then the largest, then as in the file.
pub(crate) fn largest_first(units: &[Unit]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..units.len()).collect();
    let freedom = |unit: &Unit| unit.allowed.iter().filter(|allowed| **allowed).count() > 1;
    order.sort_by_key(|unit| {
        let load = units[*unit].load_ns.iter().copied().max().unwrap_or(0);
        (freedom(&units[*unit]), std::cmp::Reverse(load), *unit)
    });
    order
}
