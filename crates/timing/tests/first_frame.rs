//! The first frame, in which a window that continues across the frame's begin pays its head: bounds and growth
//! against a tick-by-tick run that knows windows, heads and priorities and nothing else. A tick is one ns.

use plan::MergedWindow;
use quantity::{Duration, Instant};
use timing::claims::supply_of;
use timing::response::{self, Response};
use timing::supply::Supply;
use timing::witness::{Holder, scenario};
use timing::{Release, Task, TaskSet, sensitivity};

const FRAME: usize = 8;
/// Ticks that are run from each start: many hyperperiods of the tasks below.
const RUN: usize = 40 * FRAME;

/// A table whose last window goes on into the next frame for `into` ticks, and one more window.
#[derive(Clone, Copy, Debug)]
struct Table {
    last: usize,
    into: usize,
    other: Option<(usize, usize)>,
    head: usize,
}

impl Table {
    fn all() -> Vec<Self> {
        let mut all = Vec::new();
        for head in [0, 1, 2, 3, 9] {
            for into in 1..=4 {
                for (last, other) in [(6, None), (7, Some((5, 1))), (5, None), (into, None)] {
                    all.push(Self { last, into, other, head });
                }
            }
        }
        all
    }

    fn owned(&self, tick: usize) -> bool {
        let within = tick % FRAME;
        let other = self.other.is_some_and(|(start, length)| (start..start + length).contains(&within));
        within < self.into || within >= self.last || other
    }

    /// Tick by tick from the very first one: owned, and the head of the window that it lies in is over.
    fn usable(&self) -> Vec<bool> {
        let mut since = 0;
        let mut usable = Vec::new();
        for tick in 0..4 * RUN {
            since = if self.owned(tick) { since + 1 } else { 0 };
            usable.push(since > self.head);
        }
        usable
    }

    fn supply(&self) -> Supply {
        let whole = self.last <= self.into;
        let length = if whole { FRAME } else { FRAME - self.last + self.into };
        let mut windows = vec![(if whole { 0 } else { self.last }, length)];
        windows.extend(self.other);
        let merged = windows.iter().map(|&(start, length)| MergedWindow {
            start: Instant::from_ns(start as u64),
            length: Duration::from_ns(length as u64),
        });
        supply_of(&merged.collect::<Vec<_>>(), FRAME as u64, self.head as u64).expect("windows apart")
    }
}

/// The greatest response of each task, most urgent first, when each arrives first at its instant; none where the
/// second half of the run still has a greater one than the first.
fn run(usable: &[bool], tasks: &[Task], first: &[usize], from: usize) -> Vec<Option<u64>> {
    let mut left: Vec<Vec<(usize, u64)>> = vec![Vec::new(); tasks.len()];
    let mut worst = vec![[0; 2]; tasks.len()];
    for tick in from..from + RUN {
        for (k, task) in tasks.iter().enumerate() {
            if tick >= first[k] && (tick - first[k]).is_multiple_of(task.period_ns as usize) {
                left[k].push((tick, task.charged_ns));
            }
        }
        let Some(k) = (0..tasks.len()).find(|&k| usable[tick] && !left[k].is_empty()) else { continue };
        left[k][0].1 -= 1;
        if left[k][0].1 == 0 {
            let (arrival, _) = left[k].remove(0);
            let half = &mut worst[k][usize::from(tick - from >= RUN / 2)];
            *half = (tick + 1 - arrival).max(*half);
        }
    }
    let bounded = |[early, late]: [usize; 2]| (early >= late && early > 0).then_some(early as u64);
    worst.into_iter().map(bounded).collect()
}

fn tasks(sizes: &[(u64, u64)], release: fn(u64) -> Release) -> Vec<Task> {
    let task = |(k, &(charged_ns, period_ns)): (usize, &(u64, u64))| Task {
        priority: -(k as i64),
        period_ns,
        deadline_ns: period_ns + k as u64 * 8, // Within the period and beyond it.
        charged_ns,
        jitter_ns: 0,
        blocking_ns: 0,
        release: release(k as u64),
    };
    sizes.iter().enumerate().map(task).collect()
}

const SIZES: [&[(u64, u64)]; 6] = [
    &[(1, 8)],
    &[(2, 8), (1, 12)],
    &[(1, 4), (2, 16)],
    &[(2, 4), (4, 8)],
    &[(1, 8), (3, 8), (1, 24)],
    &[(3, 24), (4, 12)],
];

fn bounds(supply: &Supply, tasks: &[Task]) -> Vec<Response> {
    response::worst_responses(supply, &TaskSet::new(tasks).expect("well-formed tasks"))
}

/// All arrive together, in any tick of the first frame or of a later one: the worst of a free-running level.
fn free_running_truth(usable: &[bool], tasks: &[Task]) -> Vec<Option<u64>> {
    let mut truth = vec![Some(0); tasks.len()];
    for from in (0..FRAME).chain(2 * FRAME..3 * FRAME) {
        for (truth, seen) in truth.iter_mut().zip(run(usable, tasks, &vec![from; tasks.len()], from)) {
            *truth = truth.zip(seen).map(|(truth, seen)| truth.max(seen));
        }
    }
    truth
}

fn compare(found: &[Response], truth: &[Option<u64>], what: &str) -> usize {
    for (k, (found, truth)) in found.iter().zip(truth).enumerate() {
        match (found, truth) {
            (Response::Bounded(bound), Some(truth)) => {
                assert_eq!(bound.response_ns, *truth, "task {k}: {bound:?} of {what}");
                assert!(bound.exactness.is_exact(), "task {k} of {what}");
            }
            (Response::Unbounded(_), None) => {}
            (found, truth) => panic!("task {k}: {found:?} against {truth:?} of {what}"),
        }
    }
    found.iter().filter_map(Response::bound).filter(|bound| bound.at_boot).count()
}

#[test]
fn free_running_bounds_hold_the_first_frame() {
    let mut at_boot = 0;
    for table in Table::all() {
        let (supply, usable) = (table.supply(), table.usable());
        for sizes in SIZES {
            let tasks = tasks(sizes, |_| Release::FreeRunning);
            let truth = free_running_truth(&usable, &tasks);
            at_boot += compare(&bounds(&supply, &tasks), &truth, &format!("{table:?} {sizes:?}"));
        }
    }
    assert!(at_boot > 20, "{at_boot} responses are worst in the first frame");
}

#[test]
fn frame_aligned_bounds_hold_the_first_frame() {
    let mut at_boot = 0;
    for table in Table::all() {
        let (supply, usable) = (table.supply(), table.usable());
        for sizes in SIZES {
            let tasks = tasks(sizes, |k| Release::FrameAligned { offset_ns: 2 * k });
            let first: Vec<_> = (0..tasks.len()).map(|k| 2 * k).collect();
            let truth = run(&usable, &tasks, &first, 0);
            at_boot += compare(&bounds(&supply, &tasks), &truth, &format!("{table:?} {sizes:?}"));
        }
    }
    assert!(at_boot > 20, "{at_boot} responses are worst in the first frame");
}

/// The run of a scenario in the first frame keeps to the ticks that are usable there.
#[test]
fn scenarios_of_the_first_frame_wait_for_the_head() {
    let mut shown = 0;
    for (table, sizes) in Table::all().into_iter().flat_map(|table| SIZES.map(|sizes| (table, sizes))) {
        let (supply, usable) = (table.supply(), table.usable());
        for release in [|_| Release::FreeRunning, |k| Release::FrameAligned { offset_ns: 2 * k }] {
            let tasks = tasks(sizes, release);
            let set = TaskSet::new(&tasks).expect("well-formed tasks");
            for (k, found) in bounds(&supply, &tasks).iter().enumerate() {
                let Some(bound) = found.bound().filter(|bound| bound.at_boot) else { continue };
                let free = !set.all_frame_aligned();
                let scenario = scenario(&supply, &set, k, bound, free).expect("few jobs");
                for stretch in &scenario.timeline {
                    let ticks = stretch.start_ns as usize..stretch.end_ns as usize;
                    let waits = stretch.holder == Holder::Blackout;
                    let what = format!("{stretch:?} of {bound:?}, {table:?} {sizes:?}");
                    assert!(usable[ticks].iter().all(|&usable| usable != waits), "{what}");
                }
                assert!(scenario.jobs.iter().all(|job| job.arrival_ns >= 0 && job.release_ns == job.arrival_ns));
                shown += 1;
            }
        }
    }
    assert!(shown > 20, "{shown} scenarios");
}

/// The largest charged time of each task alone meets all deadlines in the run, and one tick more does not.
#[test]
fn growth_holds_in_the_first_frame() {
    for (table, sizes) in Table::all().into_iter().flat_map(|table| SIZES.map(|sizes| (table, sizes))) {
        let (supply, usable) = (table.supply(), table.usable());
        let tasks = tasks(sizes, |_| Release::FreeRunning);
        let met = |tasks: &[Task]| {
            let truth = free_running_truth(&usable, tasks);
            tasks.iter().zip(truth).all(|(task, truth)| truth.is_some_and(|truth| truth <= task.deadline_ns))
        };
        let largest = sensitivity::largest_charged_ns(&supply, &TaskSet::new(&tasks).expect("well-formed tasks"));
        for (k, &largest_ns) in largest.iter().enumerate() {
            let with = |charged_ns: u64| {
                let mut changed = tasks.clone();
                changed[k].charged_ns = charged_ns;
                met(&changed)
            };
            assert!(largest_ns == 0 || with(largest_ns), "task {k} at {largest_ns} of {table:?} {sizes:?}");
            assert!(!with(largest_ns + 1), "task {k} at one more than {largest_ns} of {table:?} {sizes:?}");
        }
    }
}
