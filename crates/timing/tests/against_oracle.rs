//! The analysis against the brute-force oracle, over all systems that it enumerates: a bound is never
//! below the truth, and equal to it wherever it claims to be exact. A tick of the oracle is one ns here.

use testkit::enumerate::{
    ServerSystem, aligned_count, aligned_systems, cooperative_count, cooperative_systems, edf_count, edf_server_count,
    edf_server_systems, edf_systems, free_running_count, free_running_systems, server_count, server_systems,
};
use testkit::oracle::{self, Oracle, SmallSystem, SmallTask, Worst};
use timing::response::{self, Exactness, Response, free_running};
use timing::supply::{Interval, Supply};
use timing::{Policy, Release, Task, TaskSet, sensitivity};

fn prepare(system: &SmallSystem, release: fn(&SmallTask) -> Release) -> (Supply, Vec<Task>) {
    let interval = |&(start, end): &(u32, u32)| Interval { start_ns: start.into(), end_ns: end.into() };
    let intervals: Vec<_> = system.windows.iter().map(interval).collect();
    let supply = Supply::new(system.frame.into(), &intervals).expect("the oracle's tables are well-formed");
    (supply, tasks_of(&system.tasks, release))
}

fn tasks_of(tasks: &[SmallTask], release: fn(&SmallTask) -> Release) -> Vec<Task> {
    let task = |task: &SmallTask| Task {
        priority: task.priority.into(),
        period_ns: task.period.into(),
        deadline_ns: task.deadline.into(),
        charged_ns: task.wcet.into(),
        jitter_ns: task.jitter.into(),
        blocking_ns: task.blocking.into(),
        release: release(task),
    };
    tasks.iter().map(task).collect()
}

#[derive(Debug, Default)]
struct Tally {
    systems: usize,
    bounded: usize,
    unbounded: usize,
    exact: usize,
    tight_without_claim: usize,
}

impl Tally {
    fn compare(&mut self, system: &impl std::fmt::Debug, found: &[Response], truth: &[Worst]) {
        self.systems += 1;
        for (position, (found, truth)) in found.iter().zip(truth).enumerate() {
            match (found, truth) {
                (Response::Unbounded(_), Worst::Unbounded) => self.unbounded += 1,
                (Response::Bounded(bound), Worst::Response(truth)) => {
                    let truth = u64::from(*truth);
                    self.bounded += 1;
                    assert!(bound.response_ns >= truth, "task {position} is below {truth}: {bound:?} of {system:?}");
                    if bound.exactness == Exactness::Exact {
                        self.exact += 1;
                        assert_eq!(bound.response_ns, truth, "task {position}, claimed exact: {bound:?} of {system:?}");
                    } else if bound.response_ns == truth {
                        self.tight_without_claim += 1;
                    }
                }
                (found, truth) => panic!("task {position}: {found:?} against {truth:?} of {system:?}"),
            }
        }
    }
}

#[test]
fn free_running_bounds_hold_and_are_attained_where_claimed() {
    let mut oracle = Oracle::new();
    let mut tally = Tally::default();
    for system in free_running_systems() {
        let (supply, tasks) = prepare(&system, |_| Release::FreeRunning);
        let tasks = TaskSet::new(&tasks).expect("the oracle's tasks are well-formed");
        tally.compare(&system, &free_running::worst_responses(&supply, &tasks), &oracle.free_running(&system));
    }
    assert_eq!(tally.systems, free_running_count());
    assert!(tally.exact >= 115_681, "{tally:?}");
}

#[test]
fn aligned_bounds_hold_and_are_attained_where_claimed() {
    let mut oracle = Oracle::new();
    let mut tally = Tally::default();
    for system in aligned_systems() {
        let (supply, tasks) = prepare(&system, |task| Release::FrameAligned { offset_ns: task.offset.into() });
        let tasks = TaskSet::new(&tasks).expect("the oracle's tasks are well-formed");
        tally.compare(&system, &response::worst_responses(&supply, &tasks), &oracle.aligned(&system));
    }
    assert_eq!(tally.systems, aligned_count());
    assert!(tally.exact >= 283_044, "{tally:?}");
}

fn under_policy(policy: Policy, order: oracle::Policy, systems: impl Iterator<Item = SmallSystem>) -> Tally {
    let mut oracle = Oracle::under(order);
    let mut tally = Tally::default();
    for system in systems {
        let (supply, tasks) = prepare(&system, |_| Release::FreeRunning);
        let tasks = TaskSet::with_policy(&tasks, policy).expect("the oracle's tasks are well-formed");
        tally.compare(&system, &response::worst_in_any_phase(&supply, &tasks), &oracle.free_running(&system));
    }
    tally
}

#[test]
fn bounds_by_deadline_hold_and_are_attained_where_claimed() {
    let tally = under_policy(Policy::EarliestDeadline, oracle::Policy::EarliestDeadline, edf_systems());
    assert_eq!(tally.systems, edf_count());
    assert!(tally.exact >= 59_191, "{tally:?}");
}

#[test]
fn bounds_of_cooperative_guests_hold_and_are_attained_where_claimed() {
    let tally = under_policy(Policy::Cooperative, oracle::Policy::Cooperative, cooperative_systems());
    assert_eq!(tally.systems, cooperative_count());
    assert!(tally.exact >= 24_076, "{tally:?}");
}

/// Every schedule that keeps the server's budget is tried, so a bound may be attained though none is claimed to be.
fn on_servers(policy: Policy, order: oracle::Policy, systems: impl Iterator<Item = ServerSystem>) -> Tally {
    let mut oracle = Oracle::under(order);
    let mut tally = Tally::default();
    for system in systems {
        let server = &system.server;
        let supply = Supply::budget_server(server.budget.into(), server.period.into(), server.deadline.into());
        let tasks = TaskSet::with_policy(&tasks_of(&system.tasks, |_| Release::FreeRunning), policy);
        let found = response::worst_in_any_phase(&supply.expect("a server"), &tasks.expect("well-formed tasks"));
        tally.compare(&system, &found, &oracle.on_server(&system.server, &system.tasks));
    }
    assert_eq!(tally.exact, 0, "{tally:?}");
    tally
}

#[test]
fn bounds_on_servers_hold() {
    let fixed = on_servers(Policy::FixedPriority, oracle::Policy::FixedPriority, server_systems());
    let edf = on_servers(Policy::EarliestDeadline, oracle::Policy::EarliestDeadline, edf_server_systems());
    assert_eq!((fixed.systems, edf.systems), (server_count(), edf_server_count()));
    assert!(fixed.tight_without_claim >= 18_757 && edf.tight_without_claim >= 16_761, "{fixed:?} {edf:?}");
}

/// One task alone grown by halving its interval, with the responses as the judge.
fn largest_by_trial(supply: &Supply, tasks: &[Task], k: usize) -> u64 {
    let holds = |charged_ns: u64| {
        let mut changed = tasks.to_vec();
        changed[k].charged_ns = charged_ns;
        let found = response::worst_responses(supply, &TaskSet::new(&changed).expect("well-formed tasks"));
        let in_time =
            |(task, found): (&Task, &Response)| found.bound().is_some_and(|b| b.response_ns <= task.deadline_ns);
        changed.iter().zip(&found).all(in_time)
    };
    (1..=tasks[k].deadline_ns).take_while(|&charged_ns| holds(charged_ns)).last().unwrap_or(0)
}

#[test]
fn growth_agrees_with_trial_on_small_systems() {
    let mut compared = [0; 2];
    let free = free_running_systems().step_by(17).map(|system| (system, true));
    let aligned = aligned_systems().step_by(101).map(|system| (system, false));
    for (system, free_running) in free.chain(aligned) {
        let (supply, tasks) = if free_running {
            prepare(&system, |_| Release::FreeRunning)
        } else {
            prepare(&system, |task| Release::FrameAligned { offset_ns: task.offset.into() })
        };
        let largest = sensitivity::largest_charged_ns(&supply, &TaskSet::new(&tasks).expect("well-formed tasks"));
        let by_trial: Vec<u64> = (0..tasks.len()).map(|k| largest_by_trial(&supply, &tasks, k)).collect();
        assert_eq!(largest, by_trial, "{system:?}");
        compared[usize::from(free_running)] += 1;
    }
    assert!(compared.iter().all(|&count| count > 3_000), "{compared:?}");
}
