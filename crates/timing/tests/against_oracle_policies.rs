//! Earliest deadline first, cooperative guests and budget servers against the brute-force oracle, over all systems
//! that it enumerates for them and some larger ones: a bound is never below the truth, and equal to it wherever it
//! claims to be exact. A tick of the oracle is one ns here.

use testkit::enumerate::{ServerSystem, cooperative_systems, edf_server_systems, edf_systems, server_systems};
use testkit::oracle::{self, Oracle, SmallSystem, SmallTask, Worst};
use testkit::{random_server_systems, random_systems_without_blocking};
use timing::demand_bound::{UnderSupply, under_supply};
use timing::response::{Response, worst_in_any_phase};
use timing::supply::{Interval, Supply};
use timing::{Policy, Release, Task, TaskSet};

fn table(system: &SmallSystem) -> Supply {
    let interval = |&(start, end): &(u32, u32)| Interval { start_ns: start.into(), end_ns: end.into() };
    let intervals: Vec<_> = system.windows.iter().map(interval).collect();
    Supply::new(system.frame.into(), &intervals).expect("the oracle's tables are well-formed")
}

fn budget_server(system: &ServerSystem) -> Supply {
    let oracle::SmallServer { period, budget, deadline } = system.server;
    Supply::budget_server(budget.into(), period.into(), deadline.into()).expect("the oracle's servers are well-formed")
}

fn task_set(tasks: &[SmallTask], policy: Policy) -> TaskSet {
    let task = |task: &SmallTask| Task {
        priority: task.priority.into(),
        period_ns: task.period.into(),
        deadline_ns: task.deadline.into(),
        charged_ns: task.wcet.into(),
        jitter_ns: task.jitter.into(),
        blocking_ns: task.blocking.into(),
        release: Release::FreeRunning,
    };
    let tasks: Vec<_> = tasks.iter().map(task).collect();
    TaskSet::with_policy(&tasks, policy).expect("the oracle's tasks are well-formed")
}

/// What the oracle calls the policy.
fn of_oracle(policy: Policy) -> oracle::Policy {
    match policy {
        Policy::FixedPriority => oracle::Policy::FixedPriority,
        Policy::EarliestDeadline => oracle::Policy::EarliestDeadline,
        Policy::Cooperative => oracle::Policy::Cooperative,
    }
}

#[derive(Debug, Default)]
struct Tally {
    systems: usize,
    bounded: usize,
    unbounded: usize,
    exact: usize,
    tight_without_claim: usize,
    wrong: Vec<String>,
}

impl Tally {
    fn compare(&mut self, what: &dyn std::fmt::Debug, found: &[Response], truth: &[Worst]) {
        self.systems += 1;
        for (position, (found, truth)) in found.iter().zip(truth).enumerate() {
            match (found, truth) {
                (Response::Unbounded(_), Worst::Unbounded) => self.unbounded += 1,
                (Response::Bounded(bound), Worst::Response(truth)) => {
                    let truth = u64::from(*truth);
                    self.bounded += 1;
                    let exact = bound.exactness.is_exact();
                    self.exact += usize::from(exact);
                    self.tight_without_claim += usize::from(!exact && bound.response_ns == truth);
                    if bound.response_ns < truth || exact && bound.response_ns != truth {
                        self.wrong.push(format!("task {position} is {truth}: {bound:?} of {what:?}"));
                    }
                }
                (found, truth) => self.wrong.push(format!("task {position} is {truth:?}: {found:?} of {what:?}")),
            }
        }
    }

    /// Nothing wrong, and exact at least so often.
    fn holds(&self, exact: usize) {
        let first: Vec<_> = self.wrong.iter().take(5).collect();
        assert!(self.wrong.is_empty(), "{} wrong, first {first:#?}", self.wrong.len());
        assert!(self.exact >= exact, "{self:?}");
    }
}

fn under_tables(systems: impl Iterator<Item = SmallSystem>, policy: Policy) -> Tally {
    let mut oracle = Oracle::under(of_oracle(policy));
    let mut tally = Tally::default();
    for system in systems {
        let found = worst_in_any_phase(&table(&system), &task_set(&system.tasks, policy));
        tally.compare(&system, &found, &oracle.free_running(&system));
    }
    tally
}

fn on_servers(systems: impl Iterator<Item = ServerSystem>, policy: Policy) -> Tally {
    let mut oracle = Oracle::under(of_oracle(policy));
    let mut tally = Tally::default();
    for system in systems {
        let found = worst_in_any_phase(&budget_server(&system), &task_set(&system.tasks, policy));
        tally.compare(&system, &found, &oracle.on_server(&system.server, &system.tasks));
    }
    tally
}

fn without_blocking(mut system: ServerSystem) -> ServerSystem {
    system.tasks.iter_mut().for_each(|task| task.blocking = 0);
    system
}

#[test]
fn earliest_deadline_first() {
    under_tables(edf_systems().chain(random_systems_without_blocking(81, 60)), Policy::EarliestDeadline).holds(59_000);
}

#[test]
fn cooperative_guests() {
    under_tables(cooperative_systems().chain(random_systems_without_blocking(82, 60)), Policy::Cooperative)
        .holds(24_000);
}

#[test]
fn budget_servers_under_fixed_priority() {
    // Where the budget lies is not known, so nothing is called exact; most bounds are the truth all the same.
    let tally = on_servers(server_systems().chain(random_server_systems(83, 60)), Policy::FixedPriority);
    tally.holds(0);
    assert!(tally.tight_without_claim > 18_000, "{tally:?}");
}

#[test]
fn budget_servers_under_the_earliest_deadline() {
    let random = random_server_systems(85, 60).map(without_blocking);
    let tally = on_servers(edf_server_systems().chain(random), Policy::EarliestDeadline);
    tally.holds(0);
    assert!(tally.tight_without_claim > 16_000, "{tally:?}");
}

#[test]
fn budget_servers_of_cooperative_guests() {
    let systems = server_systems().step_by(3).chain(random_server_systems(86, 60)).map(without_blocking);
    let tally = on_servers(systems, Policy::Cooperative);
    tally.holds(0);
    assert!(tally.tight_without_claim > 6_000, "{tally:?}");
}

/// A supply bears the demand exactly where the oracle finds every response within its deadline.
#[test]
fn demand_is_borne_exactly_where_deadlines_are_met() {
    let mut oracle = Oracle::under(oracle::Policy::EarliestDeadline);
    let mut counts = [0, 0];
    for system in edf_systems().step_by(2).chain(random_systems_without_blocking(84, 40)) {
        let worst = oracle.free_running(&system);
        let met = system.tasks.iter().zip(&worst).all(|(task, worst)| *worst <= Worst::Response(task.deadline));
        let borne = under_supply(&table(&system), &task_set(&system.tasks, Policy::EarliestDeadline));
        assert_eq!(borne == UnderSupply::Borne, met, "{borne:?} of {worst:?} of {system:?}");
        counts[usize::from(met)] += 1;
    }
    for system in edf_server_systems().step_by(2) {
        let worst = oracle.on_server(&system.server, &system.tasks);
        let met = system.tasks.iter().zip(&worst).all(|(task, worst)| *worst <= Worst::Response(task.deadline));
        let borne = under_supply(&budget_server(&system), &task_set(&system.tasks, Policy::EarliestDeadline));
        assert_eq!(borne == UnderSupply::Borne, met, "{borne:?} of {worst:?} of {system:?}");
        counts[usize::from(met)] += 1;
    }
    assert!(counts.iter().all(|&count| count > 5_000), "{counts:?}");
}
