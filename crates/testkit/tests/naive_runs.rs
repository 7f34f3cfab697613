//! The oracle against single runs of a second, plain machine with explicit job lists.
//!
//! The machine keeps every job with its own arrival, release and length, and takes each choice by
//! lot. No run may show more than the oracle; and on small systems enough runs must show as
//! much, for overloaded tasks below included, whose backlog the oracle does not count out.

use testkit::enumerate::{aligned_systems, cooperative_systems, edf_systems, free_running_systems};
use testkit::oracle::Policy::{Cooperative, EarliestDeadline, FixedPriority};
use testkit::oracle::{Oracle, Policy, SmallSystem, SmallTask, Worst};
use testkit::{random_systems, random_systems_without_blocking};

/// A multiplicative congruential generator, Lehmer's of 1951 with modulus 2^31 - 1.
struct Lot(u64);

impl Lot {
    fn below(&mut self, limit: u32) -> u32 {
        self.0 = self.0 * 48_271 % 0x7FFF_FFFF;
        (self.0 % u64::from(limit)) as u32
    }

    /// An end of the range more often than what lies between: worst cases sit there.
    fn within(&mut self, low: u32, high: u32) -> u32 {
        match self.below(3) {
            0 => low,
            1 => high,
            _ => low + self.below(high - low + 1),
        }
    }
}

#[derive(Clone, Debug)]
struct Job {
    task: usize,
    arrival: u32,
    release: u32,
    length: u32,
    executed: u32,
    begun_at: Option<u32>,
}

/// A busy stretch of one level: since when, and what lower jobs executed in it.
#[derive(Clone, Copy)]
struct Stretch {
    since: u32,
    lent: u32,
}

struct Machine<'a> {
    system: &'a SmallSystem,
    policy: Policy,
    jobs: Vec<Job>,
    stretches: Vec<Option<Stretch>>,
    observed: Vec<u32>,
    /// Whether every job of this run takes its `wcet`: many worst cases need that of many jobs.
    longest: bool,
}

impl<'a> Machine<'a> {
    fn new(system: &'a SmallSystem, policy: Policy) -> Self {
        Self {
            system,
            policy,
            jobs: Vec::new(),
            stretches: vec![None; system.tasks.len()],
            observed: vec![0; system.tasks.len()],
            longest: false,
        }
    }

    fn rules(&self, job: usize) -> &SmallTask {
        &self.system.tasks[self.jobs[job].task]
    }

    /// One run of `length` ticks with the frame at `phase` and the given first arrivals.
    fn run(&mut self, firsts: &[u32], phase: u32, length: u32, lot: &mut Lot) {
        self.jobs.clear();
        self.stretches.fill(None);
        self.longest = lot.below(2) == 0;
        for now in 0..length {
            self.arrive(firsts, now, lot);
            let position = (now + phase) % self.system.frame;
            let usable = self.system.windows.iter().any(|w| w.0 <= position && position < w.1);
            let ready = self.ready(now);
            self.open_stretches(&ready, now);
            if let Some(job) = self.chosen(&ready, lot).filter(|_| usable) {
                self.execute(job, now);
            }
            let left = self.ready(now);
            self.close_stretches(&left);
        }
    }

    fn arrive(&mut self, firsts: &[u32], now: u32, lot: &mut Lot) {
        for (task, rules) in self.system.tasks.iter().enumerate() {
            if now >= firsts[task] && (now - firsts[task]).is_multiple_of(rules.period) {
                self.jobs.push(Job {
                    task,
                    arrival: now,
                    release: now + lot.within(0, rules.jitter),
                    length: lot.within(if self.longest { rules.wcet } else { rules.bcet }, rules.wcet),
                    executed: 0,
                    begun_at: None,
                });
            }
        }
    }

    /// The oldest job of each task, where it is released.
    fn ready(&self, now: u32) -> Vec<usize> {
        let oldest = |task| (0..self.jobs.len()).find(|&job| self.jobs[job].task == task);
        let heads = (0..self.system.tasks.len()).filter_map(oldest);
        heads.filter(|&job| self.jobs[job].release <= now).collect()
    }

    fn is_busy(&self, task: usize, ready: &[usize]) -> bool {
        let priority = self.system.tasks[task].priority;
        ready.iter().any(|&job| self.rules(job).priority >= priority)
    }

    fn open_stretches(&mut self, ready: &[usize], now: u32) {
        for task in 0..self.stretches.len() {
            if self.stretches[task].is_none() && self.is_busy(task, ready) {
                self.stretches[task] = Some(Stretch { since: now, lent: 0 });
            }
        }
    }

    fn close_stretches(&mut self, ready: &[usize]) {
        for task in 0..self.stretches.len() {
            if !self.is_busy(task, ready) {
                self.stretches[task] = None;
            }
        }
    }

    /// The first job, or by lot one that may go on before it.
    fn chosen(&self, ready: &[usize], lot: &mut Lot) -> Option<usize> {
        let mut first = *ready.first()?;
        for &job in &ready[1..] {
            if self.goes_before(job, first) {
                first = job;
            }
        }
        let may_go_on = |&job: &usize| job != first && self.may_go_on(job);
        let others: Vec<usize> = ready.iter().copied().filter(may_go_on).collect();
        if others.is_empty() || lot.below(4) == 0 {
            return Some(first);
        }
        Some(others[lot.below(others.len() as u32) as usize])
    }

    fn goes_before(&self, one: usize, other: usize) -> bool {
        let key = |job: usize| {
            let of_job = &self.jobs[job];
            let unbegun = of_job.begun_at.is_none();
            let kept = self.policy == Cooperative && !unbegun;
            let rank = match self.policy {
                EarliestDeadline => of_job.arrival + self.rules(job).deadline,
                FixedPriority | Cooperative => u32::MAX - self.rules(job).priority,
            };
            (!kept, rank, unbegun, of_job.arrival, of_job.task)
        };
        key(one) < key(other)
    }

    /// Begun before every stretch above it that is under way, each with blocking left.
    fn may_go_on(&self, job: usize) -> bool {
        let Some(begun_at) = self.jobs[job].begun_at.filter(|_| self.policy == FixedPriority) else {
            return false;
        };
        let priority = self.rules(job).priority;
        let mut above = 0;
        for (rules, stretch) in self.system.tasks.iter().zip(&self.stretches) {
            let Some(stretch) = stretch.filter(|_| rules.priority > priority) else {
                continue;
            };
            if begun_at >= stretch.since || stretch.lent >= rules.blocking {
                return false;
            }
            above += 1;
        }
        above > 0
    }

    fn execute(&mut self, job: usize, now: u32) {
        let priority = self.rules(job).priority;
        for (rules, stretch) in self.system.tasks.iter().zip(&mut self.stretches) {
            if let Some(stretch) = stretch.as_mut().filter(|_| rules.priority > priority) {
                stretch.lent += 1;
            }
        }
        let of_job = &mut self.jobs[job];
        of_job.begun_at.get_or_insert(now);
        of_job.executed += 1;
        if of_job.executed == of_job.length {
            let response = now + 1 - of_job.arrival;
            self.observed[of_job.task] = self.observed[of_job.task].max(response);
            self.jobs.remove(job);
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Kind {
    Free,
    Aligned,
}

/// Long enough for a backlog to build up, and aligned for some hyperperiods after the last offset.
fn run_length(system: &SmallSystem, kind: Kind) -> u32 {
    let periods = system.tasks.iter().map(|task| task.period);
    let hyperperiod = periods.fold(system.frame, lcm);
    let offset = system.tasks.iter().map(|task| task.offset).max().unwrap_or(0);
    match kind {
        Kind::Free => 48,
        Kind::Aligned => 48.max(offset + 3 * hyperperiod),
    }
}

fn lcm(one: u32, other: u32) -> u32 {
    (1..=other).map(|times| one * times).find(|multiple| multiple % other == 0).unwrap_or(one * other)
}

/// The greatest responses of some runs.
fn observe(system: &SmallSystem, policy: Policy, kind: Kind, runs: u32, lot: &mut Lot) -> Vec<u32> {
    let length = run_length(system, kind);
    let mut machine = Machine::new(system, policy);
    for _ in 0..runs {
        let first = |task: &SmallTask| match kind {
            Kind::Free => lot.below(2 * task.period + system.frame),
            Kind::Aligned => task.offset,
        };
        let firsts: Vec<u32> = system.tasks.iter().map(first).collect();
        let phase = if kind == Kind::Free { lot.below(system.frame) } else { 0 };
        machine.run(&firsts, phase, length, lot);
    }
    machine.observed
}

fn truth_of(oracle: &mut Oracle, system: &SmallSystem, kind: Kind) -> Vec<Worst> {
    match kind {
        Kind::Free => oracle.free_running(system),
        Kind::Aligned => oracle.aligned(system),
    }
}

/// What is seen must never pass the truth; gives whether it reaches it wherever there is a worst.
fn reaches(seen: &[u32], truth: &[Worst], system: &SmallSystem) -> bool {
    let mut all = true;
    for (&seen, &worst) in seen.iter().zip(truth) {
        let seen = Worst::Response(seen);
        assert!(seen <= worst, "{seen:?} above {truth:?} in {system:?}");
        all &= seen == worst || worst == Worst::Unbounded;
    }
    all
}

/// Runs batch after batch until every worst response is seen.
fn assert_attained(system: &SmallSystem, policy: Policy, kind: Kind, lot: &mut Lot) {
    let truth = truth_of(&mut Oracle::under(policy), system, kind);
    let mut best = vec![0; system.tasks.len()];
    for _ in 0..600 {
        for (best, seen) in best.iter_mut().zip(observe(system, policy, kind, 50, lot)) {
            *best = seen.max(*best);
        }
        if reaches(&best, &truth, system) {
            return;
        }
    }
    panic!("{policy:?}, {kind:?}: only {best:?} seen of {truth:?} in {system:?}");
}

/// A level within supply that has blocking to lend to an overloaded one below.
fn blocks_under_overload(system: &SmallSystem, truth: &[Worst]) -> bool {
    let lends = |(task, worst): (&SmallTask, &Worst)| task.blocking > 0 && *worst != Worst::Unbounded;
    truth.contains(&Worst::Unbounded) && system.tasks.iter().zip(truth).any(lends)
}

#[test]
fn runs_attain_the_free_running_worst_and_no_more() {
    let mut lot = Lot(20_240_229);
    for system in free_running_systems().step_by(397) {
        assert_attained(&system, FixedPriority, Kind::Free, &mut lot);
    }
}

#[test]
fn runs_attain_the_aligned_worst_and_no_more() {
    let mut lot = Lot(19_730_101);
    for system in aligned_systems().step_by(797).chain(random_systems(21, 100)) {
        assert_attained(&system, FixedPriority, Kind::Aligned, &mut lot);
    }
}

#[test]
fn runs_attain_the_blocking_by_an_overloaded_task_and_no_more() {
    let mut lot = Lot(7);
    let mut oracle = Oracle::new();
    let mut met = 0;
    for (kind, systems) in [
        (Kind::Free, free_running_systems().step_by(29).collect::<Vec<_>>()),
        (Kind::Aligned, aligned_systems().step_by(101).collect()),
    ] {
        for system in systems.iter().filter(|system| system.tasks[0].blocking > 0) {
            if blocks_under_overload(system, &truth_of(&mut oracle, system, kind)) {
                assert_attained(system, FixedPriority, kind, &mut lot);
                met += 1;
            }
        }
    }
    assert!(met >= 100, "only {met} such systems");
}

#[test]
fn runs_of_larger_systems_never_pass_the_free_running_worst() {
    let mut lot = Lot(4_711);
    let mut oracle = Oracle::new();
    for system in random_systems(22, 200) {
        let truth = oracle.free_running(&system);
        reaches(&observe(&system, FixedPriority, Kind::Free, 50, &mut lot), &truth, &system);
    }
}

#[test]
fn runs_attain_the_worst_of_the_earliest_deadline_first_and_no_more() {
    let mut lot = Lot(1_973);
    for system in edf_systems().step_by(199) {
        assert_attained(&system, EarliestDeadline, Kind::Free, &mut lot);
    }
    for system in random_systems_without_blocking(23, 60) {
        assert_attained(&system, EarliestDeadline, Kind::Aligned, &mut lot);
    }
}

#[test]
fn runs_attain_the_cooperative_worst_and_no_more() {
    let mut lot = Lot(1_991);
    for system in cooperative_systems().step_by(79) {
        assert_attained(&system, Cooperative, Kind::Free, &mut lot);
    }
    for system in random_systems_without_blocking(24, 60) {
        assert_attained(&system, Cooperative, Kind::Aligned, &mut lot);
    }
}

#[test]
fn runs_of_larger_systems_never_pass_the_worst_of_either_policy() {
    let mut lot = Lot(4_712);
    for policy in [EarliestDeadline, Cooperative] {
        let mut oracle = Oracle::under(policy);
        for system in random_systems_without_blocking(25, 100) {
            let truth = oracle.free_running(&system);
            reaches(&observe(&system, policy, Kind::Free, 50, &mut lot), &truth, &system);
        }
    }
}
