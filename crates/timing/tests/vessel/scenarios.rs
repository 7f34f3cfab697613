//! Every scenario is legal and ends where its bound says: windows, releases and execution times are
//! counted here from the scenario alone.

use super::system::workloads;
use model::system::DeadlinePhase;
use std::collections::BTreeMap;
use timing::response::{self, Bound, free_running};
use timing::supply::Supply;
use timing::witness::{Holder, Scenario, scenario};
use timing::{Release, Task, TaskSet};

fn is_usable(supply: &Supply, instant_ns: u64) -> bool {
    let within_ns = instant_ns % supply.frame_ns();
    supply.windows().iter().any(|window| window.start_ns <= within_ns && within_ns < window.end_ns)
}

fn replay(supply: &Supply, tasks: &[Task], index: usize, bound: &Bound, scenario: &Scenario) {
    let mut executed_ns = BTreeMap::new();
    let mut before_ns = 0;
    for stretch in &scenario.timeline {
        assert_eq!(stretch.start_ns, before_ns, "no gaps");
        before_ns = stretch.end_ns;
        let usable = stretch.holder != Holder::Blackout;
        for instant_ns in [stretch.start_ns, stretch.start_ns.midpoint(stretch.end_ns), stretch.end_ns - 1] {
            assert_eq!(is_usable(supply, scenario.phase_ns + instant_ns), usable, "{stretch:?}");
        }
        let key = match stretch.holder {
            Holder::Task(task) => Some(task),
            _ => None,
        };
        *executed_ns.entry((key, stretch.holder == Holder::Blocking)).or_insert(0) += stretch.end_ns - stretch.start_ns;
    }
    for (k, task) in tasks.iter().enumerate() {
        let jobs: Vec<_> = scenario.jobs.iter().filter(|job| job.task == k).collect();
        let asked_ns: u64 = jobs.iter().map(|job| job.execution_ns).sum();
        assert_eq!(executed_ns.get(&(Some(k), false)).copied().unwrap_or(0), asked_ns, "all jobs are done");
        assert!(jobs.iter().all(|job| job.execution_ns == task.charged_ns));
        for job in &jobs {
            let late_ns = job.release_ns - job.arrival_ns;
            assert!((0..=task.jitter_ns as i64).contains(&late_ns), "{job:?}");
        }
        assert!(jobs.windows(2).all(|pair| pair[1].arrival_ns - pair[0].arrival_ns == task.period_ns as i64));
        if k != index {
            assert!(task.priority >= tasks[index].priority || jobs.is_empty(), "only what delays the task");
        }
    }
    let own = scenario.jobs.iter().rfind(|job| job.task == index).expect("the job itself");
    assert_eq!(scenario.completes_ns as i64 - own.arrival_ns, bound.response_ns as i64);
    assert_eq!(scenario.timeline.last().map(|last| last.holder), Some(Holder::Task(index)));
}

fn replay_all(supply: &Supply, tasks: &[Task]) -> usize {
    let set = TaskSet::new(tasks).expect("well-formed tasks");
    let mut replayed = 0;
    let free = free_running::worst_responses(supply, &set);
    let own = response::worst_responses(supply, &set);
    for (found, as_free_running) in [(free, true), (own, false)] {
        for (index, found) in found.iter().enumerate() {
            let Some(bound) = found.bound() else { continue };
            let shown = scenario(supply, &set, index, bound, as_free_running).expect("a short busy window");
            replay(supply, tasks, index, bound, &shown);
            replayed += 1;
        }
    }
    replayed
}

#[test]
fn scenarios_of_the_vessel() {
    for workload in [DeadlinePhase::Any, DeadlinePhase::Frame].into_iter().flat_map(workloads) {
        assert_eq!(replay_all(&workload.supply, &workload.tasks), 2 * workload.tasks.len(), "{}", workload.name);
    }
}

/// Small systems: jitter beyond the period, touching windows, equal priorities, busy windows of many jobs.
#[test]
fn scenarios_of_small_systems() {
    let mut replayed = 0;
    for system in testkit::enumerate::aligned_systems().step_by(13) {
        let task = |task: &testkit::oracle::SmallTask| Task {
            priority: task.priority.into(),
            period_ns: task.period.into(),
            deadline_ns: task.deadline.into(),
            charged_ns: task.wcet.into(),
            jitter_ns: task.jitter.into(),
            blocking_ns: task.blocking.into(),
            release: Release::FrameAligned { offset_ns: task.offset.into() },
        };
        let interval =
            |&(start, end): &(u32, u32)| timing::supply::Interval { start_ns: start.into(), end_ns: end.into() };
        let intervals: Vec<_> = system.windows.iter().map(interval).collect();
        let supply = Supply::new(system.frame.into(), &intervals).expect("a table");
        replayed += replay_all(&supply, &system.tasks.iter().map(task).collect::<Vec<_>>());
    }
    assert!(replayed > 50_000, "{replayed}");
}
