//! Waiting for memory, where line requests wait for what other masters ask for at the same time.
//!
//! **Computes** for each core the part of the time in which it does not wait.
//! **The model.** A job asks for its lines evenly over its execution. Masters take turns: each request waits for one request of
//! each other master, and each request of another master keeps it waiting once. So of two masters that ask `y` and `z` of the
//! memory's time, each waits the smaller of the two for the other. A core that asks `b` of the memory's time while it executes
//! asks `y = b (1 - sum over others of min(y, z))`.
//! **How.** The smallest `y` is `b (1 - s) / (1 + m b)`, where `s` is what smaller ones ask for together and `m` counts the larger
//! ones; so they are found one after the other. A master that is not slowed down takes its place among them.
//! **Source.** The words of `docs/semantics.md`; the solution is derived here.
//! **Invariants.** Shares are rounded down, and what is executed up: each request waits for no more than one of each other master,
//! and nobody waits for another longer than that one's requests are served.
//! **Checked by** cases worked by hand, below and in the tests of the engine; the bounds, in those of the baseline.

use super::Conduct;
use super::regulation::Regulation;
use crate::engine::{Doing, Run, WHOLE};
use crate::machine::{Bus, Guest, Machine, Master, Task};
use crate::protection::Protection;
use crate::scenario::Contention as Wanted;
use crate::{Recorder, Scenario};

/// What a master asks for, in parts of the memory's time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Asks {
    Nothing,
    /// That much, however long it waits.
    Steadily(u64),
    /// That much of the time in which it executes.
    Executing(u64),
}

/// Who asks for memory in a run.
#[derive(Debug, Default)]
pub(super) struct Contention {
    is_on: bool,
    /// What each task asks for while it executes.
    of_tasks: Vec<u64>,
    /// What each core may ask for beside its jobs; nothing where it is no master.
    beside_jobs: Vec<u64>,
    /// What masters ask for that are no cores.
    beside: Vec<u64>,
    /// What each core asks for.
    asks: Vec<Asks>,
    shares: Shares,
}

impl Contention {
    /// A run begins.
    fn clear(&mut self, machine: &Machine, scenario: &Scenario, regulation: &Regulation) {
        let bus = machine.bus.as_ref().filter(|_| scenario.contention == Wanted::Concurrent);
        self.is_on = bus.is_some();
        let Some(bus) = bus else { return };
        let of_task = |task: &Task| bus.part_for(task.line_requests, task.most_ns(Wanted::Concurrent));
        self.of_tasks.clear();
        self.of_tasks.extend(machine.tasks.iter().map(of_task));
        let regulated = scenario.protections.has(Protection::Regulation);
        let budget = |master: &Master| bus.budget(master).filter(|_| regulated).unwrap_or(WHOLE);
        let beside_jobs = |core| match bus.masters.iter().find(|master| master.core == Some(core)) {
            // What its jobs may use of its budget is not left to anything else.
            Some(_) if regulation.watches_core(core) => 0,
            listed => listed.map_or(0, budget),
        };
        self.beside_jobs.clear();
        self.beside_jobs.extend((0..machine.cores.len()).map(beside_jobs));
        self.beside.clear();
        let no_cores = bus.masters.iter().filter(|master| master.core.is_none());
        let rate = |master: &Master| master.rate.map_or(WHOLE, |rate| bus.part_of(rate));
        self.beside.extend(no_cores.map(|master| rate(master).min(budget(master))));
        self.asks.clear();
        self.asks.resize(machine.cores.len(), Asks::Nothing);
    }

    /// Whether it must be told what cores execute.
    pub(super) fn is_on(&self) -> bool {
        self.is_on
    }
}

impl Bus {
    /// What the budget of a master lets it ask for on the average.
    fn budget(&self, master: &Master) -> Option<u64> {
        let period_ns = self.regulation_ns.filter(|period_ns| *period_ns > 0)?;
        Some(self.part_for(master.budget_lines?, period_ns))
    }

    /// The part of the memory's time that so many lines take in so long a time, rounded down; no more than all.
    fn part_for(&self, lines: u64, ns: u64) -> u64 {
        let (bytes, per_s) = (u128::from(lines) * u128::from(self.line_bytes), u128::from(self.bytes_per_s));
        let part = bytes.saturating_mul(u128::from(WHOLE) * 1_000_000_000) / (per_s * u128::from(ns)).max(1);
        u64::try_from(part).unwrap_or(WHOLE).min(WHOLE)
    }

    /// The same of a rate, in bytes per second.
    fn part_of(&self, bytes_per_s: u64) -> u64 {
        let part = u128::from(bytes_per_s) * u128::from(WHOLE) / u128::from(self.bytes_per_s).max(1);
        u64::try_from(part).unwrap_or(WHOLE).min(WHOLE)
    }
}

impl Conduct {
    /// A run begins, with cores that ask for nothing.
    pub(super) fn begin_contention<R: Recorder>(&mut self, run: &mut Run<'_, '_, R>) {
        self.contention.clear(run.machine, run.scenario, &self.regulation);
        if self.contention.is_on {
            for core in 0..run.machine.cores.len() {
                run.pace_core(core, WHOLE);
            }
        }
    }

    /// A core does something else from now on: every core may wait for more or less.
    pub(super) fn contend<R: Recorder>(&mut self, core: usize, run: &mut Run<'_, '_, R>) {
        if !self.contention.is_on {
            return;
        }
        let asks = self.asks_of(core, run);
        let before = std::mem::replace(&mut self.contention.asks[core], asks);
        if asks == before {
            return;
        }
        let Contention { shares, asks, beside, .. } = &mut self.contention;
        shares.solve(asks, beside);
        for core in 0..asks.len() {
            if run.pace_core(core, self.contention.shares.executes[core]) {
                self.watch_budget(core, run);
            }
        }
    }

    /// What a core asks for now. What has no declared lines asks for as many as it can.
    fn asks_of<R: Recorder>(&self, core: usize, run: &Run<'_, '_, R>) -> Asks {
        let all = match self.contention.beside_jobs[core] {
            0 => Asks::Nothing,
            part => Asks::Steadily(part),
        };
        match run.doing(core) {
            Doing::Nothing => Asks::Nothing,
            Doing::Head | Doing::Duty => all,
            Doing::Job(task) => match self.contention.of_tasks[task] {
                0 => Asks::Nothing,
                part => Asks::Executing(part),
            },
            Doing::Idles(partition) => {
                let opaque = matches!(run.machine.partitions[partition].guest, Guest::Opaque { .. });
                if opaque && self.lives[partition].is_up() { all } else { Asks::Nothing }
            }
        }
    }
}

/// How the memory's time is shared.
#[derive(Debug, Default)]
struct Shares {
    /// The part of the time in which each core does not wait.
    executes: Vec<u64>,
    /// Cores by what they ask for, and what others do; the least last.
    cores: Vec<(u64, usize)>,
    steady: Vec<u64>,
}

impl Shares {
    fn solve(&mut self, asks: &[Asks], beside: &[u64]) {
        self.executes.clear();
        self.executes.resize(asks.len(), WHOLE);
        self.cores.clear();
        self.steady.clear();
        self.steady.extend(beside.iter().filter(|part| **part > 0));
        for (core, asks) in asks.iter().enumerate() {
            match *asks {
                Asks::Nothing => {}
                Asks::Steadily(part) => self.steady.push(part),
                Asks::Executing(part) => self.cores.push((part, core)),
            }
        }
        self.cores.sort_unstable_by(|one, other| other.cmp(one));
        self.steady.sort_unstable_by(|one, other| other.cmp(one));
        self.settle();
    }

    /// One master after the other, the one that asks for least first.
    fn settle(&mut self) {
        let mut smaller = 0;
        while let Some(&(part, core)) = self.cores.last() {
            let larger = (self.cores.len() + self.steady.len() - 1) as u64;
            // Below 2^31 times 2^31, and 2^31 times as many as there are masters.
            let asks = part * (WHOLE - smaller) / (WHOLE + larger * part);
            if self.steady.last().is_some_and(|&steady| steady <= asks) {
                smaller += self.steady.pop().unwrap_or(0);
                continue;
            }
            self.executes[core] = WHOLE - smaller - larger * asks;
            smaller += asks;
            self.cores.pop();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn solved(asks: &[Asks], beside: &[u64]) -> Vec<u64> {
        let mut shares = Shares::default();
        shares.solve(asks, beside);
        shares.executes
    }

    /// A part of the memory's time, in thousandths; shares are rounded to them.
    fn part(thousandths: u64) -> u64 {
        WHOLE / 1000 * thousandths
    }

    fn thousandths(executes: Vec<u64>) -> Vec<u64> {
        executes.into_iter().map(|part| (part + WHOLE / 2000) / (WHOLE / 1000)).collect()
    }

    #[test]
    fn those_who_ask_for_all_the_time_share_it() {
        use Asks::{Executing, Nothing};
        assert_eq!(thousandths(solved(&[Executing(WHOLE), Nothing], &[])), [1000, 1000]);
        assert_eq!(thousandths(solved(&[Executing(WHOLE); 2], &[])), [500, 500]);
        assert_eq!(
            thousandths(solved(&[Executing(WHOLE), Nothing, Executing(WHOLE), Executing(WHOLE)], &[])),
            [333, 1000, 333, 333]
        );
    }

    #[test]
    fn nobody_waits_for_more_than_others_ask_for() {
        use Asks::{Executing, Steadily};
        // y = 0.2 (1 - y): y = 1/6, so the first executes 5/6 of the time, and the other waits 1/6 for it.
        assert_eq!(thousandths(solved(&[Executing(part(200)), Executing(WHOLE)], &[])), [833, 833]);
        // A steady tenth: the other one waits that long.
        assert_eq!(thousandths(solved(&[Executing(WHOLE), Steadily(part(100))], &[])), [900, 1000]);
        assert_eq!(thousandths(solved(&[Executing(WHOLE)], &[part(100)])), [900]);
        // A steady tenth and one that asks for half: 0.9 / (1 + 1/2) * 1/2 = 0.3 each waits for the other at most; then 0.9 - 0.3.
        assert_eq!(thousandths(solved(&[Executing(part(500)), Executing(WHOLE)], &[part(100)])), [600, 600]);
        // One that asks for less than that tenth waits for each other once: 0.05 / 1.1 for either.
        assert_eq!(thousandths(solved(&[Executing(part(50)), Executing(WHOLE)], &[part(100)])), [909, 855]);
    }

    #[test]
    fn a_request_waits_once_for_each_other_master() {
        // 1 / (1 + 3 b): with b = 0.1 and three others that never stop.
        assert_eq!(thousandths(solved(&[Asks::Executing(part(100))], &[WHOLE; 3])), [769]);
    }
}
