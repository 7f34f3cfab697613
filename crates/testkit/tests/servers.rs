//! The oracle on budget servers: published supply functions, and closed forms over whole enumerations.

#![allow(clippy::disallowed_types, reason = "sets are counted here, never listed")]

use std::collections::HashSet;

use testkit::enumerate::{ServerSystem, edf_server_count, edf_server_systems, server_count, server_systems};
use testkit::oracle::Policy::{Cooperative, EarliestDeadline};
use testkit::oracle::Worst::{Response, Unbounded};
use testkit::oracle::{Oracle, Policy, SmallServer, SmallSystem, SmallTask, Worst};
use testkit::random_server_systems;

fn task(priority: u32, period: u32, wcet: u32) -> SmallTask {
    SmallTask { priority, period, deadline: period, wcet, bcet: wcet, ..SmallTask::default() }
}

fn server(period: u32, budget: u32, deadline: u32) -> SmallServer {
    SmallServer { period, budget, deadline }
}

/// The worst response of a job of `wcet` that comes once in a long while.
fn worst_alone(server: &SmallServer, wcet: u32) -> Worst {
    Oracle::new().on_server(server, &[task(1, 60, wcet)])[0]
}

#[test]
fn the_numbers_the_documentation_gives() {
    assert_eq!((server_count(), edf_server_count()), (21_870, 25_920));
    let distinct: HashSet<ServerSystem> = server_systems().map(without_deadlines).collect();
    assert_eq!(distinct.len(), server_count());
    let distinct: HashSet<ServerSystem> = edf_server_systems().collect();
    assert_eq!(distinct.len(), edf_server_count());
}

fn without_deadlines(mut system: ServerSystem) -> ServerSystem {
    for task in &mut system.tasks {
        task.deadline = 0;
    }
    system
}

/// Shin and Lee 2003: the longest time without supply is `2 (P - Q)`; Easwaran, Anand and Lee 2007: with a
/// deadline `P + D - 2 Q`.
#[test]
fn one_tick_waits_for_the_longest_time_without_supply() {
    for period in 1..=7 {
        for deadline in 1..=period {
            for budget in 1..=deadline {
                let blackout = period + deadline - 2 * budget;
                assert_eq!(worst_alone(&server(period, budget, deadline), 1), Response(blackout + 1));
            }
        }
    }
}

/// The supply bound function of the periodic resource (5, 3), Shin and Lee 2003 (formula from memory), tick by tick.
#[test]
fn work_waits_for_the_least_supply_of_three_in_five() {
    let least = [0, 0, 0, 0, 0, 1, 2, 3, 3, 3, 4, 5, 6, 6, 6, 7, 8, 9, 9, 9, 10];
    for wcet in 1..=10 {
        let length = least.iter().position(|&supply| supply == wcet).expect("the table goes up in single ticks");
        assert_eq!(worst_alone(&server(5, 3, 5), wcet), Response(length as u32));
    }
}

/// Lipari and Bini 2003: 4 in 10 gives nothing for 12, then 4 until 16, and the next from 22 on.
#[test]
fn work_waits_for_four_in_ten() {
    let found = [1, 4, 5, 8, 12].map(|wcet| worst_alone(&server(10, 4, 10), wcet));
    assert_eq!(found, [13, 16, 23, 26, 36].map(Response));
}

/// A budget that fills its deadline lies where a window would.
#[test]
fn a_budget_without_choice_is_a_window() {
    for system in server_systems().filter(|system| system.server.budget == system.server.deadline) {
        let SmallServer { period, budget, .. } = system.server;
        let table = SmallSystem { frame: period, windows: vec![(0, budget)], tasks: system.tasks.clone() };
        let mut oracle = Oracle::new();
        assert_eq!(oracle.on_server(&system.server, &system.tasks), oracle.free_running(&table), "{system:?}");
    }
}

/// The least supply of an interval, from where the budget came as early as may be and then comes as late as may be.
fn least_supply(server: &SmallServer, length: u32) -> u32 {
    let blackout = server.period + server.deadline - 2 * server.budget;
    let Some(rest) = length.checked_sub(blackout) else { return 0 };
    rest / server.period * server.budget + (rest % server.period).min(server.budget)
}

/// The response of task `k` by the busy window on the least supply: one placement is worst for every length at once, so
/// it is the truth, not only a bound. For distinct priorities and no blocking.
fn by_least_supply(system: &ServerSystem, k: usize) -> u32 {
    let own = &system.tasks[k];
    let mut worst = 0;
    for job in 0..40 {
        let demand = |length: u32| {
            let above = system.tasks.iter().filter(|task| task.priority > own.priority);
            let above: u32 = above.map(|task| (length + task.jitter).div_ceil(task.period) * task.wcet).sum();
            (job + 1) * own.wcet + above
        };
        let finish = (1..).find(|&length| least_supply(&system.server, length) >= demand(length));
        let finish = finish.expect("the demand is within the supply");
        worst = worst.max((finish + own.jitter).saturating_sub(job * own.period));
    }
    worst
}

#[test]
fn responses_are_those_of_the_least_supply() {
    let mut compared = 0;
    let systems = server_systems().chain(random_server_systems(51, 150));
    for system in systems.filter(|system| system.tasks.iter().all(|task| task.blocking == 0)) {
        let distinct: HashSet<u32> = system.tasks.iter().map(|task| task.priority).collect();
        if distinct.len() < system.tasks.len() {
            continue;
        }
        let worst = Oracle::new().on_server(&system.server, &system.tasks);
        for (k, worst) in worst.iter().enumerate().filter(|(_, worst)| **worst != Unbounded) {
            assert_eq!(*worst, Response(by_least_supply(&system, k)), "task {k} of {system:?}");
            compared += 1;
        }
    }
    assert!(compared > 5_000, "{compared}");
}

/// Shin and Lee 2003: under the earliest deadline first all deadlines are met exactly when no interval's demand is
/// above the least supply.
#[test]
fn deadlines_are_met_exactly_where_demand_is_within_the_least_supply() {
    let mut oracle = Oracle::under(EarliestDeadline);
    let (mut met, mut missed) = (0, 0);
    for system in edf_server_systems() {
        let worst = oracle.on_server(&system.server, &system.tasks);
        let of = |task: &SmallTask, length: u32| match (length + task.jitter).checked_sub(task.deadline) {
            Some(rest) => (rest / task.period + 1) * task.wcet,
            None => 0,
        };
        let demand = |length| system.tasks.iter().map(|task| of(task, length)).sum::<u32>();
        let bounded = worst.iter().all(|worst| *worst != Unbounded);
        let fits = bounded && (0..=150).all(|length| demand(length) <= least_supply(&system.server, length));
        let meets = system.tasks.iter().zip(&worst).all(|(task, worst)| *worst <= Response(task.deadline));
        assert_eq!(meets, fits, "{worst:?} of {system:?}");
        *if fits { &mut met } else { &mut missed } += 1;
    }
    assert!(met > 500 && missed > 500, "{met} met, {missed} missed");
}

/// Any window table that keeps to a server is one of its choices, so it is never worse, under any policy.
#[test]
fn no_window_table_within_the_budget_is_worse() {
    let mut compared = 0;
    for system in server_systems().step_by(3).filter(|system| system.server.period <= 4) {
        let mut system = system;
        system.tasks.iter_mut().for_each(|task| task.blocking = 0);
        for policy in [Policy::FixedPriority, EarliestDeadline, Cooperative] {
            let mut oracle = Oracle::under(policy);
            let on_server = oracle.on_server(&system.server, &system.tasks);
            let SmallServer { period, budget, deadline } = system.server;
            for start in 0..=deadline - budget {
                let windows = vec![(start, start + budget)];
                let table = SmallSystem { frame: period, windows, tasks: system.tasks.clone() };
                let on_table = oracle.free_running(&table);
                assert!(on_table.iter().zip(&on_server).all(|(table, server)| table <= server), "{system:?}");
                compared += 1;
            }
        }
    }
    assert!(compared > 3_000, "{compared}");
}
