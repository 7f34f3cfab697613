//! Tasks on whichever virtual core is free: what the test shows is never missed in a run.

use proptest::prelude::*;
use timing::multiprocessor::{deadlines_met, worst_responses};
use timing::response::{Response, worst_in_any_phase};
use timing::supply::{Interval, Supply};
use timing::{Policy, Release, Task, TaskSet};

const FRAME: u64 = 12;
const LENGTH: u64 = 600;

fn set(tasks: &[Task], policy: Policy) -> TaskSet {
    TaskSet::with_policy(tasks, policy).expect("well-formed tasks")
}

fn task() -> impl Strategy<Value = Task> {
    (prop::sample::select(vec![6u64, 8, 12, 18, 24]), 1..5u64, 1..4i64, 0..3u64, 0..4u64).prop_map(
        |(period_ns, charged_ns, priority, shorter_ns, jitter_ns)| Task {
            priority,
            period_ns,
            deadline_ns: period_ns - shorter_ns,
            charged_ns,
            jitter_ns: jitter_ns.saturating_sub(1),
            blocking_ns: 0,
            release: Release::FreeRunning,
        },
    )
}

/// One window in each frame for each virtual core, often the whole frame.
fn windows() -> impl Strategy<Value = Vec<(u64, u64)>> {
    let some = (0..FRAME, 1..=FRAME).prop_map(|(start, length)| (start, (start + length).min(FRAME)));
    prop::collection::vec(prop_oneof![Just((0, FRAME)), some], 1..4)
}

fn supplies(windows: &[(u64, u64)]) -> Vec<Supply> {
    let one = |&(start_ns, end_ns): &(u64, u64)| Supply::new(FRAME, &[Interval { start_ns, end_ns }]).expect("a table");
    windows.iter().map(one).collect()
}

/// What the run of one job still needs.
struct Job {
    task: usize,
    arrival: u64,
    release: u64,
    left: u64,
}

/// The latest response of each task in one run from `phases`, the jitter of each job drawn from `jitters`.
fn run(windows: &[(u64, u64)], tasks: &[Task], policy: Policy, phases: &[u64], jitters: &[u64]) -> Vec<u64> {
    let mut draws = jitters.iter().cycle();
    let mut jobs: Vec<Job> = Vec::new();
    for (k, (task, phase)) in tasks.iter().zip(phases).enumerate() {
        for arrival in (*phase..LENGTH).step_by(task.period_ns as usize) {
            let late = draws.next().expect("a cycle has no end") % (task.jitter_ns + 1);
            jobs.push(Job { task: k, arrival, release: arrival + late, left: task.charged_ns });
        }
    }
    let urgency = |job: &Job| match policy {
        Policy::EarliestDeadline => (job.arrival + tasks[job.task].deadline_ns) as i64,
        _ => -tasks[job.task].priority,
    };
    jobs.sort_by_key(|job| (urgency(job), job.arrival, job.task));
    let mut latest = vec![0; tasks.len()];
    for now in 0..2 * LENGTH {
        let cores = windows.iter().filter(|(start, end)| (*start..*end).contains(&(now % FRAME))).count();
        // The first unfinished job of each task, the most urgent ones first.
        let is_first = |at: usize| {
            let job = &jobs[at];
            jobs.iter().all(|other| other.task != job.task || other.left == 0 || other.arrival >= job.arrival)
        };
        let ready: Vec<usize> = (0..jobs.len())
            .filter(|&at| jobs[at].left > 0 && jobs[at].release <= now && is_first(at))
            .take(cores)
            .collect();
        for at in ready {
            jobs[at].left -= 1;
            if jobs[at].left == 0 {
                let response = now + 1 - jobs[at].arrival;
                let task = jobs[at].task;
                latest[task] = response.max(latest[task]);
            }
        }
    }
    latest
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_run_is_later_than_shown(
        windows in windows(),
        tasks in prop::collection::vec(task(), 1..6),
        phases in prop::collection::vec(0..24u64, 6),
        jitters in prop::collection::vec(0..6u64, 7),
    ) {
        for policy in [Policy::EarliestDeadline, Policy::FixedPriority] {
            let found = worst_responses(&supplies(&windows), &set(&tasks, policy));
            if found.iter().all(|found| found.bound().is_none()) {
                continue;
            }
            let latest = run(&windows, &tasks, policy, &phases, &jitters);
            for (k, (found, latest)) in found.iter().zip(latest).enumerate() {
                let bound = found.bound().map_or(u64::MAX, |bound| bound.response_ns);
                prop_assert!(latest <= bound, "{policy:?} task {k}: {latest} after {bound}");
            }
        }
    }

    /// On one virtual core the exact analysis says no more than the test on several.
    #[test]
    fn on_one_core_the_bound_covers_the_exact_response(windows in windows(), tasks in prop::collection::vec(task(), 1..5)) {
        let supplies = supplies(&windows[..1]);
        for policy in [Policy::EarliestDeadline, Policy::FixedPriority, Policy::Cooperative] {
            let set = set(&tasks, policy);
            let exact = worst_in_any_phase(&supplies[0], &set);
            for (bound, exact) in worst_responses(&supplies, &set).iter().zip(&exact) {
                if let Response::Bounded(bound) = bound {
                    prop_assert!(exact.bound().is_some_and(|exact| exact.response_ns <= bound.response_ns), "{policy:?}");
                }
            }
        }
    }

    #[test]
    fn more_load_shows_no_more(windows in windows(), tasks in prop::collection::vec(task(), 1..6), which in any::<prop::sample::Index>()) {
        let which = which.index(tasks.len());
        for policy in [Policy::EarliestDeadline, Policy::FixedPriority] {
            let mut loaded = tasks.clone();
            loaded[which].charged_ns += 1;
            if deadlines_met(&supplies(&windows), &set(&loaded, policy)) {
                prop_assert!(deadlines_met(&supplies(&windows), &set(&tasks, policy)), "{policy:?}");
            }
        }
    }
}

fn plain(period_ns: u64, charged_ns: u64, priority: i64) -> Task {
    let release = Release::FreeRunning;
    Task { priority, period_ns, deadline_ns: period_ns, charged_ns, jitter_ns: 0, blocking_ns: 0, release }
}

/// Dhall & Liu 1978 (from memory): on two cores a load little above one core misses a deadline.
#[test]
fn the_effect_of_dhall_is_not_passed() {
    let tasks = [plain(100, 2, 2), plain(100, 2, 2), plain(101, 100, 1)];
    let cores = [Supply::dedicated(), Supply::dedicated()];
    for policy in [Policy::EarliestDeadline, Policy::FixedPriority] {
        assert!(!deadlines_met(&cores, &set(&tasks, policy)));
    }
    let lighter = [plain(100, 2, 2), plain(100, 2, 2), plain(101, 90, 1)];
    assert!(deadlines_met(&cores, &set(&lighter, Policy::FixedPriority)));
    assert!(deadlines_met(&cores, &set(&lighter, Policy::EarliestDeadline)));
}

/// As many equal tasks as cores need not wait for each other; the demand of all cores and a little has no bound.
#[test]
fn each_on_a_core_of_its_own_and_one_too_many() {
    let cores = [Supply::dedicated(), Supply::dedicated()];
    let alone = [plain(10, 9, 1), plain(10, 9, 2)];
    assert!(deadlines_met(&cores, &set(&alone, Policy::FixedPriority)));
    let over = [plain(10, 9, 1), plain(10, 9, 2), plain(10, 3, 3)];
    let found = worst_responses(&cores, &set(&over, Policy::EarliestDeadline));
    assert!(found.iter().all(|found| matches!(found, Response::Unbounded(_))));
}

/// The longest times there are, on more cores than whose supply can be added up: nothing is shown, and nothing overflows.
#[test]
fn extreme_numbers_on_many_cores_show_nothing() {
    let longest_ns = timing::supply::MAX_TIME_NS;
    let cores = vec![Supply::dedicated(); 1100];
    let long = Task { blocking_ns: longest_ns, ..plain(longest_ns, longest_ns, 2) };
    let dense = Task { deadline_ns: 1, jitter_ns: longest_ns, ..plain(1, 1000, 1) };
    for policy in [Policy::EarliestDeadline, Policy::FixedPriority, Policy::Cooperative] {
        for tasks in [vec![long], vec![dense], vec![long, dense]] {
            let found = worst_responses(&cores, &set(&tasks, policy));
            assert!(found.iter().all(|found| matches!(found, Response::GaveUp(_))), "{policy:?}: {found:?}");
        }
    }
}
