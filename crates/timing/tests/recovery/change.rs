//! Responses across a change of schedule.

use super::system::{Draw, find, judge, preamble, reason, task, usable, window};
use claim::Status;
use plan::MergedWindow;
use quantity::{Duration, Instant};
use timing::claims::supply_of;
use timing::response::{self, Response};
use timing::supply::Supply;
use timing::transition::{self, Active, ChangingTask};
use timing::{Policy, Release, Task, TaskSet};

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

fn bounds(supply: &Supply, tasks: &[ChangingTask], without: Active, policy: Policy) -> Option<Vec<u64>> {
    let alone: Vec<_> = tasks.iter().filter(|task| task.active != without).map(as_task).collect();
    let set = TaskSet::with_policy(&alone, policy).expect("well-formed tasks");
    let mut found = response::worst_in_any_phase(supply, &set).into_iter();
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
        deadline_ns: task.deadline_ns,
        charged_ns: task.charged_ns,
        jitter_ns: task.jitter_ns,
        blocking_ns: task.blocking_ns,
        release: Release::FreeRunning,
    }
}

/// A job under way.
struct Job {
    arrival: u64,
    release: u64,
    due: u64,
    left: u64,
    begun: bool,
}

/// Which of the tasks with a released job executes at this tick: each gives its earliest job, the more urgent task first.
fn chosen(ready: &[(usize, &Job)], policy: Policy) -> Option<usize> {
    let chosen = match policy {
        Policy::FixedPriority => ready.first(),
        Policy::Cooperative => ready.iter().find(|(_, job)| job.begun).or(ready.first()),
        Policy::EarliestDeadline => ready.iter().min_by_key(|(k, job)| (job.due, job.arrival, *k)),
    };
    chosen.map(|&(k, _)| k)
}

/// The greatest response of each task whose first job arrives at its phase, each job being released as late as drawn and
/// sometimes shorter than charged.
fn run(
    usable: &[bool],
    change: u64,
    tasks: &[ChangingTask],
    phases: &[u64],
    policy: Policy,
    draw: &mut Draw,
) -> Vec<u64> {
    let mut jobs: Vec<Vec<Job>> = tasks.iter().map(|_| Vec::new()).collect();
    let mut worst = vec![0; tasks.len()];
    for tick in 0..usable.len() as u64 {
        for (k, task) in tasks.iter().enumerate() {
            let first = if task.active == Active::After { change + phases[k] } else { phases[k] };
            let arrives = tick >= first && (tick - first).is_multiple_of(task.period_ns);
            if arrives && !(task.active == Active::Before && tick >= change) {
                let release = tick + draw.below(task.jitter_ns + 1);
                let left = if draw.below(8) == 0 { 1 + draw.below(task.charged_ns) } else { task.charged_ns };
                jobs[k].push(Job { arrival: tick, release, due: tick + task.deadline_ns, left, begun: false });
            }
        }
        let heads = jobs.iter().enumerate().filter_map(|(k, jobs)| Some((k, jobs.first()?)));
        let ready: Vec<_> = heads.filter(|(_, job)| usable[tick as usize] && job.release <= tick).collect();
        let Some(k) = chosen(&ready, policy) else { continue };
        let job = &mut jobs[k][0];
        (job.left, job.begun) = (job.left - 1, true);
        if job.left == 0 {
            worst[k] = worst[k].max(tick + 1 - jobs[k].remove(0).arrival);
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
        deadline_ns: 1 + draw.below(2 * frame),
    };
    (0..2).map(task).collect()
}

/// What runs of drawn pairs of tables came to.
#[derive(Debug, Default)]
struct Tally {
    compared: usize,
    /// Later than in either schedule alone.
    later: usize,
    /// As late as the bound across the change, and later than in either schedule alone.
    attained: usize,
}

impl Tally {
    fn run_drawn(&mut self, seed: u64, policy: Policy) {
        const FRAMES: u64 = 12;
        let mut draw = Draw::new(seed);
        let (frame, head) = (8 + 2 * draw.below(3), draw.below(2));
        let (old, new) = (Table::drawn(&mut draw, frame, head), Table::drawn(&mut draw, frame, head));
        let tasks = drawn_tasks(&mut draw, frame);
        let (old_supply, new_supply) = (old.supply(), new.supply());
        let before = bounds(&old_supply, &tasks, Active::After, policy);
        let after = bounds(&new_supply, &tasks, Active::Before, policy);
        let (Some(before), Some(after)) = (before, after) else { return };
        let Ok(across) = transition::worst_responses(&old_supply, &new_supply, &tasks, policy) else { return };
        let change = FRAMES * frame;
        let usable = [old.usable(FRAMES), new.usable(FRAMES)].concat();
        let mut worst = vec![0; tasks.len()];
        for (first, second) in (0..tasks[0].period_ns).flat_map(|a| (0..tasks[1].period_ns).map(move |b| (a, b))) {
            let seen = run(&usable, change, &tasks, &[first, second], policy, &mut draw);
            worst.iter_mut().zip(seen).for_each(|(worst, seen)| *worst = seen.max(*worst));
        }
        for k in 0..tasks.len() {
            let either = before[k].max(after[k]);
            let what = || format!("task {k} of {tasks:?} from {:?} to {:?}, seed {seed}", old.windows, new.windows);
            assert!(worst[k] <= across[k].max(either), "{} above {} and {either}: {}", worst[k], across[k], what());
            self.compared += 1;
            self.later += usize::from(worst[k] > either);
            self.attained += usize::from(worst[k] > either && worst[k] == across[k]);
        }
    }
}

#[test]
fn no_job_responds_later_across_a_change() {
    for policy in [Policy::FixedPriority, Policy::EarliestDeadline, Policy::Cooperative] {
        let mut tally = Tally::default();
        (0..400).for_each(|seed| tally.run_drawn(seed, policy));
        assert!(tally.compared > 200 && tally.later > 30 && tally.attained > 15, "{policy:?}: {tally:?}");
    }
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
        let Some(alone) = bounds(&table, &tasks, Active::Before, Policy::FixedPriority) else { continue };
        let across = transition::worst_responses(&table, &table, &tasks, Policy::FixedPriority);
        let Ok(across) = across else { continue };
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
    ChangingTask { priority: 1, period_ns: 20, deadline_ns: 20, charged_ns: 2, jitter_ns: 0, blocking_ns: 0, active }
}

/// Worked out by hand, frame 10 without heads: the old window is `[0, 4)`, the new one `[6, 10)`.
#[test]
fn a_later_window_is_waited_for() {
    let table = |windows: &[(u64, u64)]| Table { frame: 10, head: 0, windows: windows.to_vec() }.supply();
    let (early, late) = (table(&[(0, 4)]), table(&[(6, 10)]));
    let worst = |old: &Supply, new: &Supply, active| {
        transition::worst_responses(old, new, &[one(active)], Policy::FixedPriority)
    };
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

/// Worked out by hand, frame 10 without heads, from `[0, 4)` to `[6, 10)`, one task of 2 ns and one of 3 ns, every 40 ns.
#[test]
fn what_goes_first_depends_on_the_guest() {
    let table = |windows: &[(u64, u64)]| Table { frame: 10, head: 0, windows: windows.to_vec() }.supply();
    let (early, late) = (table(&[(0, 4)]), table(&[(6, 10)]));
    let urgent = ChangingTask { period_ns: 40, deadline_ns: 30, blocking_ns: 1, ..one(Active::Throughout) };
    let other = ChangingTask { priority: 0, charged_ns: 3, deadline_ns: 40, ..urgent };
    let worst = |tasks: &[ChangingTask], policy| transition::worst_responses(&early, &late, tasks, policy);
    // 12 up to the new window; then blocking of 1 and 2 of work, or 2 left of the other and 2. The other has 1 + 2 + 3 ns
    // before it, or without blocking 5, of which 1 comes in the next window, 6 ns after this one.
    assert_eq!(worst(&[urgent, other], Policy::FixedPriority), Ok(vec![15, 24]));
    assert_eq!(worst(&[urgent, other], Policy::Cooperative), Ok(vec![16, 23]));
    assert_eq!(worst(&[urgent, other], Policy::EarliestDeadline), Ok(vec![15, 24]));
    // An urgent job that arrives 10 ns after the other is due with it: both go first, and what comes later does not count.
    let later = ChangingTask { deadline_ns: 60, ..other };
    assert_eq!(worst(&[urgent, later], Policy::EarliestDeadline), Ok(vec![15, 24]));
    let only_before = ChangingTask { active: Active::Before, ..urgent };
    assert_eq!(worst(&[only_before, other], Policy::EarliestDeadline), Ok(vec![15, 24]), "its job under way goes on");
    let only_after = ChangingTask { active: Active::After, ..urgent };
    assert_eq!(
        worst(&[only_after, other], Policy::Cooperative),
        Ok(vec![10, 23]),
        "from the change, 2 left of the other"
    );
}

/// A core of its own gives the same in both schedules, and the tasks of both are counted: worked out by hand, `late` has its own
/// 4 ns and 3 ns of `early` or of `always` each.
#[test]
fn tasks_that_change_on_a_core_of_its_own_are_counted_together() {
    let with_deadline = |deadline: u64| {
        let late = task("late", 40, 1, 4, "free-running")
            .replace("priority", &format!("deadline = \"{deadline} ns\"\npriority"));
        let tasks = task("always", 20, 3, 3, "free-running") + &task("early", 20, 2, 3, "free-running") + &late;
        preamble(40, 0, 2)
            + "\n[[core_set]]\nname = \"own\"\ncores = [\"0\"]\npolicy = \"dedicated\"\n\n[[partition]]\nname = \"P\"\n\
               guest = \"fixed priority\"\ncore_set = \"own\"\ncores = [\"0\"]\nschedule_change = \"none\"\n"
            + &tasks
            + "\n[[schedule]]\nname = \"A\"\nmay_follow = [\"B\"]\n\n[[schedule.partition]]\nname = \"P\"\n\
               active_tasks = [\"P.always\", \"P.early\"]\n\n[[schedule]]\nname = \"B\"\nmay_follow = [\"A\"]\n\n\
               [[schedule.partition]]\nname = \"P\"\nactive_tasks = [\"P.always\", \"P.late\"]\n\n\
               [[core_set]]\nname = \"windows\"\ncores = [\"1\"]\npolicy = \"window table\"\n\n[[partition]]\nname = \"Q\"\n\
               guest = \"fixed priority\"\ncore_set = \"windows\"\ncores = [\"1\"]\nperiod = \"40 ns\"\nschedule_change = \"none\"\n"
    };
    let in_a = window(1, "Q", (0, 4));
    let plan = in_a.clone() + &in_a.replace("core =", "schedule = \"B\"\ncore =");
    let verdicts = judge(&with_deadline(10), &plan);
    let change = find(&verdicts, "schedule_change/A/B");
    assert_eq!((change.status, change.bound), (Status::Shown, Some(40)), "{}", reason(change));
    let verdicts = judge(&with_deadline(9), &plan);
    let change = find(&verdicts, "schedule_change/A/B");
    assert_eq!(change.status, Status::NotShown);
    assert!(
        reason(change).contains("`P.late` may respond after 10 ns across the change, and 9 ns"),
        "{}",
        reason(change)
    );
}
