//! What must hold of every system: more load never lowers a bound, more supply never raises one, scaling
//! all times scales the answer, and growth stops exactly where deadlines do.

use proptest::prelude::*;
use timing::response::{self, Response, free_running};
use timing::sensitivity::{common_factor_ppm, largest_charged_ns};
use timing::supply::{Interval, Supply};
use timing::{Release, Task, TaskSet};

const FRAME_NS: u64 = 120;

#[derive(Clone, Debug)]
struct System {
    frame_ns: u64,
    windows: Vec<(u64, u64)>,
    tasks: Vec<Task>,
}

impl System {
    fn supply(&self) -> Supply {
        let interval = |&(start_ns, end_ns): &(u64, u64)| Interval { start_ns, end_ns };
        Supply::new(self.frame_ns, &self.windows.iter().map(interval).collect::<Vec<_>>()).expect("a table")
    }

    fn set(&self) -> TaskSet {
        TaskSet::new(&self.tasks).expect("well-formed tasks")
    }

    /// Response in ns, or none without bound; free-running, then by the own release kind.
    fn responses(&self) -> Vec<Option<u64>> {
        let (supply, set) = (self.supply(), self.set());
        let both =
            free_running::worst_responses(&supply, &set).into_iter().chain(response::worst_responses(&supply, &set));
        both.map(|found| found.bound().map(|bound| bound.response_ns)).collect()
    }

    fn meets_deadlines(&self) -> bool {
        let found = response::worst_responses(&self.supply(), &self.set());
        let in_time =
            |(task, found): (&Task, &Response)| found.bound().is_some_and(|b| b.response_ns <= task.deadline_ns);
        self.tasks.iter().zip(&found).all(in_time)
    }

    fn scaled(&self, factor: u64) -> Self {
        let task = |task: &Task| Task {
            priority: task.priority,
            period_ns: task.period_ns * factor,
            deadline_ns: task.deadline_ns * factor,
            charged_ns: task.charged_ns * factor,
            jitter_ns: task.jitter_ns * factor,
            blocking_ns: task.blocking_ns * factor,
            release: match task.release {
                Release::FreeRunning => Release::FreeRunning,
                Release::FrameAligned { offset_ns } => Release::FrameAligned { offset_ns: offset_ns * factor },
            },
        };
        Self {
            frame_ns: self.frame_ns * factor,
            windows: self.windows.iter().map(|&(start, end)| (start * factor, end * factor)).collect(),
            tasks: self.tasks.iter().map(task).collect(),
        }
    }
}

/// Windows from distinct cuts of the frame, taken in pairs.
fn windows() -> impl Strategy<Value = Vec<(u64, u64)>> {
    prop::collection::btree_set(0..=FRAME_NS, 2..9).prop_map(|cuts| {
        let cuts: Vec<u64> = cuts.into_iter().collect();
        cuts.chunks_exact(2).map(|pair| (pair[0], pair[1])).collect()
    })
}

fn task(aligned: bool) -> impl Strategy<Value = Task> {
    let periods = prop::sample::select(vec![30u64, 40, 60, 80, 120, 240]);
    (periods, 1..4i64, 1..14u64, 0..50u64, 0..9u64, 0..60u64, 1..4u64).prop_map(
        move |(period_ns, priority, charged_ns, jitter_ns, blocking_ns, offset_ns, deadline_quarters)| Task {
            priority,
            period_ns,
            deadline_ns: period_ns * (deadline_quarters + 2) / 4,
            charged_ns,
            jitter_ns,
            blocking_ns,
            release: if aligned { Release::FrameAligned { offset_ns } } else { Release::FreeRunning },
        },
    )
}

fn system() -> impl Strategy<Value = System> {
    any::<bool>().prop_flat_map(|aligned| {
        (windows(), prop::collection::vec(task(aligned), 1..5)).prop_map(|(windows, tasks)| System {
            frame_ns: FRAME_NS,
            windows,
            tasks,
        })
    })
}

/// Whether each bound of `more` is at least that of `less`; no bound is above every bound.
fn nowhere_lower(less: &System, more: &System) -> bool {
    let pairs = less.responses().into_iter().zip(more.responses());
    pairs.into_iter().all(|(less, more)| more.unwrap_or(u64::MAX) >= less.unwrap_or(u64::MAX))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn more_load_never_lowers_a_bound(system in system(), which in any::<prop::sample::Index>(), more in 1..9u64) {
        let which = which.index(system.tasks.len());
        let changes: [fn(&mut Task, u64); 3] = [
            |task, more| task.charged_ns += more,
            |task, more| task.jitter_ns += more,
            |task, more| task.blocking_ns += more,
        ];
        for change in changes {
            let mut loaded = system.clone();
            change(&mut loaded.tasks[which], more);
            prop_assert!(nowhere_lower(&system, &loaded), "{loaded:?}");
        }
        let mut crowded = system.clone();
        crowded.tasks.push(Task { priority: 9, ..system.tasks[which] });
        let before = system.responses();
        let after = crowded.responses();
        let count = system.tasks.len();
        let kept = after[..count].iter().chain(&after[count + 1..2 * count + 1]);
        let raised = |(before, after): (&Option<u64>, &Option<u64>)| after.unwrap_or(u64::MAX) >= before.unwrap_or(u64::MAX);
        prop_assert!(before.iter().zip(kept).all(raised));
    }

    #[test]
    fn another_window_never_raises_a_bound(system in system()) {
        let gaps: Vec<_> = system.windows.windows(2).map(|pair| (pair[0].1, pair[1].0)).filter(|gap| gap.0 < gap.1).collect();
        for gap in gaps {
            let mut richer = system.clone();
            richer.windows.push(gap);
            richer.windows.sort_unstable();
            prop_assert!(nowhere_lower(&richer, &system), "{richer:?}");
        }
    }

    #[test]
    fn scaling_all_times_scales_the_answer(system in system(), factor in 2..1_000_000u64) {
        let scaled: Vec<_> = system.responses().iter().map(|found| found.map(|ns| ns * factor)).collect();
        prop_assert_eq!(system.scaled(factor).responses(), scaled);
    }

    #[test]
    fn aligned_is_never_above_free_running(system in system()) {
        let found = system.responses();
        let (free, own) = found.split_at(system.tasks.len());
        prop_assert!(free.iter().zip(own).all(|(free, own)| own.unwrap_or(u64::MAX) <= free.unwrap_or(u64::MAX)));
    }

    #[test]
    fn growth_ends_where_deadlines_do(system in system()) {
        // Finer than a tick, so that a part per million can matter.
        let system = system.scaled(100_000);
        let factor_ppm = common_factor_ppm(&system.supply(), &system.set());
        let grown = |ppm: u64| {
            let mut grown = system.clone();
            grown.tasks.iter_mut().for_each(|task| task.charged_ns = (task.charged_ns * ppm / 1_000_000).max(1));
            grown
        };
        if factor_ppm > 0 {
            prop_assert!(grown(factor_ppm).meets_deadlines());
        }
        prop_assert!(!grown(factor_ppm + 1).meets_deadlines());
        for (which, largest_ns) in largest_charged_ns(&system.supply(), &system.set()).into_iter().enumerate() {
            let with = |charged_ns: u64| {
                let mut changed = system.clone();
                changed.tasks[which].charged_ns = charged_ns;
                changed.meets_deadlines()
            };
            prop_assert!(largest_ns == 0 || with(largest_ns));
            prop_assert!(!with(largest_ns + 1));
        }
    }
}

/// Frame-aligned tasks with a hyperperiod of too many jobs are taken as free-running, and are so said to be.
#[test]
fn a_hyperperiod_of_too_many_jobs_is_taken_in_any_phase() {
    let task = |priority, period_ns| Task {
        priority,
        period_ns,
        deadline_ns: period_ns,
        charged_ns: 10,
        jitter_ns: 0,
        blocking_ns: 0,
        release: Release::FrameAligned { offset_ns: 0 },
    };
    let tasks = vec![task(3, 499), task(2, 503), task(1, 509)];
    let aligned = System { frame_ns: FRAME_NS, windows: vec![(10, 90)], tasks };
    assert!(response::taken_as_free_running(&aligned.supply(), &aligned.set()));
    let mut free = aligned.clone();
    free.tasks.iter_mut().for_each(|task| task.release = Release::FreeRunning);
    assert_eq!(aligned.responses(), free.responses());
    let found = response::worst_responses(&aligned.supply(), &aligned.set());
    assert!(found.iter().all(|found| found.bound().is_some_and(|bound| !bound.exactness.is_exact())));
    assert_eq!(common_factor_ppm(&aligned.supply(), &aligned.set()), common_factor_ppm(&free.supply(), &free.set()));
}

/// The greatest and least numbers that are let in: no panic, no endless search.
#[test]
fn extreme_numbers_end() {
    let most = timing::supply::MAX_TIME_NS;
    let task = |period_ns, charged_ns, jitter_ns, priority| Task {
        priority,
        period_ns,
        deadline_ns: most,
        charged_ns,
        jitter_ns,
        blocking_ns: most,
        release: Release::FreeRunning,
    };
    let tables: [(u64, &[(u64, u64)]); 4] =
        [(most, &[(0, 1)]), (most, &[(most - 1, most)]), (1, &[(0, 1)]), (most, &[(0, most)])];
    let sets = [
        vec![task(most, most, most, 2), task(1, 1, 0, 1)],
        vec![task(1, most, most, 2), task(most, 1, 0, 1)],
        vec![task(2, 1, 0, 2), task(most, most / 2, 0, 1)],
        vec![task(3, 1, most, 2), task(most - 2, most / 3, most, 1), task(most, 1, 0, 0)],
    ];
    for ((frame_ns, windows), tasks) in tables.into_iter().flat_map(|table| sets.iter().map(move |set| (table, set))) {
        for aligned in [false, true] {
            let release = if aligned { Release::FrameAligned { offset_ns: most } } else { Release::FreeRunning };
            let tasks = tasks.iter().map(|task| Task { release, ..*task }).collect();
            let system = System { frame_ns, windows: windows.to_vec(), tasks };
            assert_eq!(system.responses().len(), 2 * system.tasks.len());
            let _ = free_running::first_miss(&system.supply(), &system.set(), system.tasks.len() - 1);
        }
    }
}
