//! The engine against a run that is counted nanosecond by nanosecond: small systems, no code of the engine.

use crate::build::{completions, drawn, scenario, task, window, windowed};
use proptest::prelude::*;
use simulator::machine::Guest::{self, Cooperative, Edf, FixedPriority};
use simulator::machine::{Arrivals, Machine, Task};
use simulator::scenario::Spread::Least;

/// A job that waits or executes: task, arrival, what is left, whether it has begun.
#[derive(Clone, Copy)]
struct Job {
    task: usize,
    arrival: u64,
    left: u64,
    begun: bool,
}

/// Who goes first among the jobs of a partition, the least first: by the words of `docs/semantics.md`.
fn place(machine: &Machine, guest: Guest, job: &Job) -> (bool, u64, bool, u64, usize) {
    let of = &machine.tasks[job.task];
    let urgency = match guest {
        Edf => job.arrival + of.deadline_ns,
        _ => u64::from(u32::MAX - of.priority),
    };
    (guest == Cooperative && !job.begun, urgency, !job.begun, job.arrival, job.task)
}

fn usable(machine: &Machine, tick: u64) -> Option<usize> {
    let at = tick % machine.frame_ns;
    let windows = &machine.schedules[0].cores[0];
    windows.iter().find(|one| one.start_ns + one.head_ns <= at && at < one.end_ns).map(|one| one.lane)
}

fn arrives(task: &Task, tick: u64) -> bool {
    let Arrivals::Aligned { offset_ns } = task.arrivals else { return false };
    tick >= offset_ns && (tick - offset_ns).is_multiple_of(task.period_ns)
}

/// Completions before the span's end: instant, task, response.
fn counted(machine: &Machine, span: u64) -> Vec<(u64, usize, u64)> {
    let (mut jobs, mut done): (Vec<Job>, Vec<_>) = (Vec::new(), Vec::new());
    for tick in 0..span - 1 {
        let new = (0..machine.tasks.len()).filter(|&task| arrives(&machine.tasks[task], tick));
        jobs.extend(new.map(|task| Job { task, arrival: tick, left: machine.tasks[task].charged_ns, begun: false }));
        let Some(partition) = usable(machine, tick) else { continue };
        let guest = machine.partitions[partition].guest;
        let mine = (0..jobs.len()).filter(|&job| machine.tasks[jobs[job].task].partition == partition);
        // One job of a task after another.
        let first = |&job: &usize| jobs[..job].iter().all(|before| before.task != jobs[job].task);
        let Some(next) = mine.filter(first).min_by_key(|&job| place(machine, guest, &jobs[job])) else { continue };
        jobs[next].begun = true;
        jobs[next].left -= 1;
        if jobs[next].left == 0 {
            let job = jobs.remove(next);
            done.push((tick + 1, job.task, tick + 1 - job.arrival));
        }
    }
    done
}

fn guests() -> impl Strategy<Value = Guest> {
    prop_oneof![Just(FixedPriority), Just(Edf), Just(Cooperative)]
}

fn some_task(partition: usize) -> impl Strategy<Value = Task> {
    (1u32..4, 5u64..25, 1u64..7, 0u64..10, 1u64..25).prop_map(move |(priority, period, execution, offset, deadline)| {
        Task { deadline_ns: deadline, ..task(partition, priority, period, execution, offset) }
    })
}

proptest! {
    #[test]
    fn it_completes_what_is_counted_when_it_is_counted(
        one in guests(),
        other in guests(),
        mut tasks in prop::collection::vec(some_task(0), 1..4),
        others in prop::collection::vec(some_task(1), 1..4),
        cut in 2u64..10,
        heads in (0u64..3, 0u64..3),
    ) {
        tasks.extend(others);
        let windows = vec![window(0, 1, cut, heads.0), window(1, cut, 12, heads.1)];
        let machine = windowed(13, &[one, other], windows, tasks);
        prop_assert_eq!(completions(&machine, &scenario(200, drawn(Least))), counted(&machine, 200));
    }
}
