//! Responses across a change of schedule.

use super::system::{Draw, usable};
use plan::MergedWindow;
use quantity::{Duration, Instant};
use timing::claims::supply_of;
use timing::response::{self, Response};
use timing::supply::Supply;
use timing::transition::{self, Active, ChangingTask};
use timing::{Release, Task, TaskSet};

struct Table {
    frame: u64,
    head: u64,
    windows: Vec<(u64, u64)>,
}

impl Table {
    fn drawn(draw: &mut Draw, frame: u64, head: u64) -> Self {
        let mut windows = draw.windows(frame, head);
        if draw.below(4) == 0 {
            windows = vec![(0, head + 1), (frame - 3, frame)];
        }
        if draw.below(4) == 0 {
            windows.truncate(1);
        }
        Self { frame, head, windows }
    }

    fn supply(&self) -> Supply {
        let mut windows: Vec<_> = self.windows.clone();
        if windows.len() > 1 && windows[0].0 == 0 && windows[windows.len() - 1].1 == self.frame {
            let first = windows.remove(0);
            windows.last_mut().expect("two or more").1 += first.1;
        }
        let merged = windows.iter().map(|&(start, end)| MergedWindow {
            start: Instant::from_ns(start),
            length: Duration::from_ns(end - start),
        });
        supply_of(&merged.collect::<Vec<_>>(), self.frame, self.head).expect("windows apart")
    }

    fn usable(&self, frames: u64) -> Vec<bool> {
        usable(self.frame, self.head, &self.windows, frames * self.frame)
    }
}

fn bounds(supply: &Supply, tasks: &[ChangingTask], without: Active) -> Option<Vec<u64>> {
    let alone: Vec<_> = tasks.iter().filter(|task| task.active != without).map(as_task).collect();
    let set = TaskSet::new(&alone).expect("well-formed tasks");
    let mut found = response::worst_responses(supply, &set).into_iter();
    let mut bounds = Vec::new();
    for task in tasks {
        let bound = if task.active == without { None } else { found.next() };
        bounds.push(match bound {
            Some(Response::Bounded(bound)) => bound.response_ns,
            Some(_) => return None,
            None => 0,
        });
    }
    Some(bounds)
}

fn as_task(task: &ChangingTask) -> Task {
    Task {
        priority: task.priority,
        period_ns: task.period_ns,
        deadline_ns: 100 * task.period_ns,
        charged_ns: task.charged_ns,
        jitter_ns: task.jitter_ns,
        blocking_ns: task.blocking_ns,
        release: Release::FreeRunning,
    }
}

/// The greatest response of each task whose first job arrives at its phase, each job being released as late as drawn.
fn run(usable: &[bool], change: u64, tasks: &[ChangingTask], phases: &[u64], draw: &mut Draw) -> Vec<u64> {
    let mut jobs: Vec<Vec<(u64, u64, u64)>> = vec![Vec::new(); tasks.len()];
    let mut worst = vec![0; tasks.len()];
    for tick in 0..usable.len() as u64 {
        for (k, task) in tasks.iter().enumerate() {
            let first = if task.active == Active::After { change + phases[k] } else { phases[k] };
            let arrives = tick >= first && (tick - first).is_multiple_of(task.period_ns);
            if arrives && !(task.active == Active::Before && tick >= change) {
                jobs[k].push((tick, tick + draw.below(task.jitter_ns + 1), task.charged_ns));
            }
        }
        let ready = |k: &usize| jobs[*k].first().is_some_and(|job| job.1 <= tick);
        let Some(k) = (0..tasks.len()).filter(|_| usable[tick as usize]).find(ready) else { continue };
        jobs[k][0].2 -= 1;
        if jobs[k][0].2 == 0 {
            worst[k] = worst[k].max(tick + 1 - jobs[k].remove(0).0);
        }
    }
    worst
}

fn drawn_tasks(draw: &mut Draw, frame: u64) -> Vec<ChangingTask> {
    let periods = [frame, frame * 2, frame / 2];
    let task = |k: i64| ChangingTask {
        priority: -k,
        period_ns: periods[draw.below(3) as usize],
        charged_ns: 1 + draw.below(3),
        jitter_ns: draw.below(3),
        blocking_ns: 0,
        active: [Active::Throughout, Active::Throughout, Active::Before, Active::After][draw.below(4) as usize],
    };
    (0..2).map(task).collect()
}

#[test]
fn no_job_responds_later_across_a_change() {
    const FRAMES: u64 = 12;
    let (mut compared, mut above_either) = (0, 0);
    for seed in 0..400 {
        let mut draw = Draw::new(seed);
        let (frame, head) = (8 + 2 * draw.below(3), draw.below(2));
        let (old, new) = (Table::drawn(&mut draw, frame, head), Table::drawn(&mut draw, frame, head));
        let tasks = drawn_tasks(&mut draw, frame);
        let (old_supply, new_supply) = (old.supply(), new.supply());
        let before = bounds(&old_supply, &tasks, Active::After);
        let after = bounds(&new_supply, &tasks, Active::Before);
        let (Some(before), Some(after)) = (before, after) else { continue };
        let Ok(across) = transition::worst_responses(&old_supply, &new_supply, &tasks) else { continue };
        let change = FRAMES * frame;
        let usable = [old.usable(FRAMES), new.usable(FRAMES)].concat();
        for (first, second) in (0..tasks[0].period_ns).flat_map(|a| (0..tasks[1].period_ns).map(move |b| (a, b))) {
            let seen = run(&usable, change, &tasks, &[first, second], &mut draw);
            for k in 0..tasks.len() {
                let either = before[k].max(after[k]);
                let what = || format!("task {k} of {tasks:?} from {:?} to {:?}, seed {seed}", old.windows, new.windows);
                assert!(seen[k] <= across[k].max(either), "{} above {} and {either}: {}", seen[k], across[k], what());
                above_either += usize::from(seen[k] > either);
                compared += 1;
            }
        }
    }
    assert!(compared > 10_000 && above_either > 500, "{above_either} of {compared} are later than in either schedule");
}

/// With one table on both sides nothing responds later than in it.
#[test]
fn a_change_to_the_same_table_changes_nothing() {
    let mut compared = 0;
    for seed in 0..300 {
        let mut draw = Draw::new(seed);
        let (frame, head) = (8 + 2 * draw.below(3), draw.below(2));
        let table = Table::drawn(&mut draw, frame, head).supply();
        let tasks: Vec<_> = drawn_tasks(&mut draw, frame)
            .into_iter()
            .map(|task| ChangingTask { active: Active::Throughout, ..task })
            .collect();
        let Some(alone) = bounds(&table, &tasks, Active::Before) else { continue };
        let Ok(across) = transition::worst_responses(&table, &table, &tasks) else { continue };
        if table.boot_ns() == 0 {
            assert!(
                across.iter().zip(&alone).all(|(across, alone)| across <= alone),
                "{across:?} {alone:?}, seed {seed}"
            );
            compared += 1;
        }
    }
    assert!(compared > 60, "{compared}");
}

fn one(active: Active) -> ChangingTask {
    ChangingTask { priority: 1, period_ns: 20, charged_ns: 2, jitter_ns: 0, blocking_ns: 0, active }
}

/// Worked out by hand, frame 10 without heads: the old window is `[0, 4)`, the new one `[6, 10)`.
#[test]
fn a_later_window_is_waited_for() {
    let table = |windows: &[(u64, u64)]| Table { frame: 10, head: 0, windows: windows.to_vec() }.supply();
    let (early, late) = (table(&[(0, 4)]), table(&[(6, 10)]));
    let worst = |old: &Supply, new: &Supply, active| transition::worst_responses(old, new, &[one(active)]);
    // From 4 of the old frame 6 to its end, 6 more to the new window, 2 of work.
    assert_eq!(worst(&early, &late, Active::Throughout), Ok(vec![14]));
    assert_eq!(worst(&early, &late, Active::Before), Ok(vec![14]));
    assert_eq!(worst(&early, &late, Active::After), Ok(vec![8]), "arrives with the change");
    assert_eq!(worst(&late, &early, Active::Throughout), Ok(vec![2]), "the old window touches the new one");
    let nothing = table(&[]);
    assert_eq!(worst(&nothing, &late, Active::After), Ok(vec![8]));
    assert!(worst(&early, &nothing, Active::Throughout).is_err(), "what was under way is never done");
    assert!(worst(&nothing, &late, Active::Throughout).is_err(), "jobs have piled up without end");
}
