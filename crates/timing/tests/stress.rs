//! The bound by sensitivity and stress, against every run of small boards.
//!
//! Outside the project there is no program to hold it against, so the reference is brute force: two cores run instant by instant. While
//! both execute, the job of core 1 may hold up that of core 0 for the instant, as long as the one has stress left to give and the
//! other is still sensitive: whenever that can be, or where a draw says so.

use claim::{PartKind, Verdict};
use diagnostic::Sources;
use std::collections::BTreeMap;
use timing::claims::check;
use timing::interference::{
    Bus, Curve, Jobs, Known, LineTime, Master, Own, Presence, Resident, Windows, Work, latest_response,
};
use timing::response::worst_responses;
use timing::supply::{Interval, Supply};
use timing::{Policy, Release, TaskSet};

const FRAME: u64 = 24;

/// Numbers that look drawn: a linear congruential generator, common practice.
struct Draw(u64);

impl Draw {
    fn within(&mut self, from: u64, to: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        from + (self.0 >> 33) % (to - from + 1)
    }
}

/// A task; the first of its partition is the most urgent.
#[derive(Clone, Copy, Debug)]
struct Task {
    period: u64,
    phase: u64,
    executes: u64,
    sensitivity: u64,
    stress: u64,
}

/// A partition with one window in each frame.
#[derive(Clone, Debug)]
struct Partition {
    window: (u64, u64),
    tasks: Vec<Task>,
}

/// The partition of core 0, which is held up, and those of core 1.
#[derive(Clone, Debug)]
struct Board {
    own: Partition,
    others: Vec<Partition>,
}

#[derive(Clone, Copy)]
struct Job {
    arrival: u64,
    left: u64,
    sensitivity: u64,
    stress: u64,
}

/// The jobs of a partition that are there, by task.
struct There<'a>(&'a Partition, Vec<Vec<Job>>);

impl<'a> There<'a> {
    fn none(partition: &'a Partition) -> Self {
        Self(partition, vec![Vec::new(); partition.tasks.len()])
    }

    fn arrive(&mut self, now: u64) {
        for (task, jobs) in self.0.tasks.iter().zip(&mut self.1) {
            if now >= task.phase && (now - task.phase).is_multiple_of(task.period) {
                let Task { executes, sensitivity, stress, .. } = *task;
                jobs.push(Job { arrival: now, left: executes, sensitivity, stress });
            }
        }
    }

    /// The task that executes.
    fn running(&self, now: u64) -> Option<usize> {
        let (start, end) = self.0.window;
        let chosen = self.1.iter().position(|jobs| !jobs.is_empty());
        chosen.filter(|_| (start..end).contains(&(now % FRAME)))
    }

    /// The job of that task executes for an instant. Its response, if it is done.
    fn execute(&mut self, task: usize, now: u64) -> Option<u64> {
        let job = &mut self.1[task][0];
        job.left -= 1;
        (job.left == 0).then(|| now + 1 - self.1[task].remove(0).arrival)
    }
}

impl Board {
    /// The longest response of each task of core 0.
    fn longest(&self, mut may_hold_up: impl FnMut() -> bool) -> Vec<u64> {
        let mut own = There::none(&self.own);
        let mut others: Vec<_> = self.others.iter().map(There::none).collect();
        let mut longest = vec![0; self.own.tasks.len()];
        for now in 0..24 * FRAME {
            own.arrive(now);
            others.iter_mut().for_each(|partition| partition.arrive(now));
            let victim = own.running(now);
            let by = others.iter().enumerate().find_map(|(p, partition)| Some((p, partition.running(now)?)));
            let mut held_up = false;
            if let (Some(task), Some((p, other))) = (victim, by) {
                let (job, stressing) = (&mut own.1[task][0], &mut others[p].1[other][0]);
                if job.sensitivity > 0 && stressing.stress > 0 && may_hold_up() {
                    (job.sensitivity, stressing.stress) = (job.sensitivity - 1, stressing.stress - 1);
                    held_up = true;
                }
            }
            if let Some((p, other)) = by {
                others[p].execute(other, now);
            }
            if let Some(response) = victim.filter(|_| !held_up).and_then(|task| Some((task, own.execute(task, now)?))) {
                longest[response.0] = response.1.max(longest[response.0]);
            }
        }
        longest
    }

    fn drawn(draw: &mut Draw) -> Self {
        let task = |draw: &mut Draw, period, sensitivity, stress| Task {
            period,
            phase: 0,
            executes: draw.within(1, 3),
            sensitivity,
            stress,
        };
        let sensitive = |draw: &mut Draw, period| {
            let sensitivity = draw.within(0, 3);
            task(draw, period, sensitivity, 0)
        };
        let own = Partition {
            window: (draw.within(0, 4), draw.within(16, FRAME)),
            tasks: vec![sensitive(draw, FRAME), sensitive(draw, 2 * FRAME)],
        };
        let cut = draw.within(8, 14);
        let other = |draw: &mut Draw, window: (u64, u64)| {
            let stress = draw.within(0, 3);
            let most = (window.1 - window.0).min(3);
            let executes = draw.within(1, most);
            Partition { window, tasks: vec![Task { executes, ..task(draw, FRAME, 0, stress) }] }
        };
        let begin = draw.within(0, 6);
        let others = vec![other(draw, (begin, cut)), other(draw, (cut, FRAME - 2))];
        Self { own, others }
    }

    fn all_tasks(&mut self) -> impl Iterator<Item = &mut Task> {
        std::iter::once(&mut self.own).chain(&mut self.others).flat_map(|partition| &mut partition.tasks)
    }
}

fn interval(partition: &Partition) -> Interval {
    Interval { start_ns: partition.window.0, end_ns: partition.window.1 }
}

fn supply(partition: &Partition) -> Supply {
    Supply::new(FRAME, &[interval(partition)]).expect("a window of the frame")
}

/// The tasks with so much of their sensitivity charged.
fn task_set(partition: &Partition, others: u64) -> TaskSet {
    let task = |(index, task): (usize, &Task)| timing::Task {
        priority: -(index as i64),
        period_ns: task.period,
        deadline_ns: task.period,
        charged_ns: task.executes + others * task.sensitivity,
        jitter_ns: 0,
        blocking_ns: 0,
        release: Release::FreeRunning,
    };
    let tasks: Vec<_> = partition.tasks.iter().enumerate().map(task).collect();
    TaskSet::with_policy(&tasks, Policy::FixedPriority).expect("sound tasks")
}

fn responses(partition: &Partition, others: u64) -> Vec<Option<u64>> {
    let found = worst_responses(&supply(partition), &task_set(partition, others));
    found.iter().map(|response| response.bound().map(|bound| bound.response_ns)).collect()
}

fn bus(board: &Board) -> Option<Bus> {
    let usable = Curve::new(FRAME, [interval(&board.own)])?;
    let resident = |partition: &Partition| {
        let responses: Option<Vec<u64>> = responses(partition, 0).into_iter().collect();
        let jobs = partition.tasks.iter().zip(responses?).map(|(task, response_ns)| Jobs {
            period_ns: task.period,
            response_ns,
            requests: None,
            stress_ns: Some(task.stress),
        });
        let windows = Windows::new(FRAME, &[])?;
        let known = Known { jobs: jobs.collect(), windows, head_ns: 0 };
        Some(Resident { overlap: Curve::new(FRAME, [interval(partition)])?.meet(&usable), jobs: Some(known) })
    };
    let residents = board.others.iter().map(resident).collect::<Option<Vec<_>>>()?;
    let master = Master { budget: None, flow: None, presence: Presence::Windows(residents) };
    Some(Bus { line: LineTime::new(1, 1)?, masters: vec![master], own: Vec::new(), late_ns: 0 })
}

fn bounds(board: &Board) -> Option<Vec<u64>> {
    let (supply, tasks, bus) = (supply(&board.own), task_set(&board.own, 0), bus(board)?);
    let work = |task: &Task| Work { alone_ns: task.executes, requests: 0, sensitivity_ns: task.sensitivity };
    let jobs: Vec<_> = board.own.tasks.iter().map(work).collect();
    let of = |k| Some(latest_response(&supply, &Own::new(&supply, &tasks, k, &jobs), &bus)?.response_ns);
    (0..jobs.len()).map(of).collect()
}

#[test]
fn no_job_is_held_up_beyond_the_bound() {
    let (mut draw, mut coins) = (Draw(3), Draw(7));
    let (mut judged, mut closest, mut gained) = (0, 0, 0);
    for _ in 0..400 {
        let mut board = Board::drawn(&mut draw);
        let Some(bounds) = bounds(&board) else { continue };
        let mut longest = vec![0; bounds.len()];
        for run in 0..60 {
            board.all_tasks().for_each(|task| task.phase = draw.within(0, task.period - 1));
            let seen = board.longest(|| run % 3 < 2 || coins.within(0, 1) == 0);
            longest.iter_mut().zip(seen).for_each(|(longest, seen)| *longest = seen.max(*longest));
        }
        for (k, (seen, bound)) in longest.iter().zip(&bounds).enumerate() {
            assert!(seen <= bound, "task {k}: {seen} above {bound} of {board:?}");
            closest = closest.max(seen * 1_000 / bound);
            gained += u32::from(responses(&board.own, 1)[k].is_none_or(|charged| bound < &charged));
        }
        judged += 1;
    }
    assert!(judged >= 300, "{judged} boards");
    assert_eq!(closest, 1_000, "the closest response, in thousandths of its bound");
    assert!(gained >= 50, "{gained} bounds below those with all sensitivity charged");
}

/// By hand: a window as long as the frame, 2 to execute, sensitive to 3; the other core runs a job in each frame in its window [4, 8),
/// which responds within 22. Two of these may be there in any span of 4: twice their stress, or 3.
#[test]
fn a_job_is_held_up_for_the_less_of_both() {
    let task = |executes, sensitivity, stress| Task { period: FRAME, phase: 0, executes, sensitivity, stress };
    let board = |window, stress| Board {
        own: Partition { window: (0, FRAME), tasks: vec![task(2, 3, 0)] },
        others: vec![Partition { window, tasks: vec![task(2, 0, stress)] }],
    };
    assert_eq!(bounds(&board((4, 8), 0)), Some(vec![2]));
    assert_eq!(bounds(&board((4, 8), 1)), Some(vec![4]));
    assert_eq!(bounds(&board((4, 8), 2)), Some(vec![5]));
    let mut unknown = bus(&board((4, 8), 1)).expect("a bus");
    unknown.masters[0].presence = Presence::Always;
    let (own, work) = (board((4, 8), 1).own, [Work { alone_ns: 2, requests: 0, sensitivity_ns: 3 }]);
    let (supply, tasks) = (supply(&own), task_set(&own, 0));
    let latest = latest_response(&supply, &Own::new(&supply, &tasks, 0, &work), &unknown);
    assert_eq!(latest.map(|latest| latest.response_ns), Some(5), "as at its worst");
}

const HEAD: &str = "[system]\nname = \"S\"\nframe = \"24 us\"\ndeadlines_hold_in = \"frame phase\"\n[board]\nname = \"B\"\n\
    [[board.core]]\nname = \"0\"\n[[board.core]]\nname = \"1\"\n\
    [board.interconnect]\nline = \"64 B\"\nguaranteed = \"64 MB/s\"\narbitration = \"round-robin\"\nwaiting = \"window-overlap\"\n\
    [[board.interconnect.master]]\nname = \"core0\"\ncore = \"0\"\n[[board.interconnect.master]]\nname = \"core1\"\ncore = \"1\"\n\
    [platform]\nswitch = \"0 us\"\nrefill = \"0 us\"\ncontext_switch = \"0 us\"\nrelease_jitter = \"0 us\"\n\
    nonpreemptable = \"0 us\"\nsynchronised = true\nboundary_slip = \"0 us\"\n";

const PLAN: &str = "[[window]]\ncore = \"0\"\npartition = \"A\"\nstart = \"0 us\"\nlength = \"24 us\"\n\
    [[window]]\ncore = \"1\"\npartition = \"C\"\nstart = \"4 us\"\nlength = \"4 us\"\n";

/// The verdict on the one task of `A`, which executes for 2 us.
fn verdict(own: &str, others: &str, partition: &str) -> Verdict {
    let task = |keys: &str| {
        format!("[[partition.task]]\nname = \"t\"\nperiod = \"24 us\"\npriority = 1\nwcet = \"2 us\"\n{keys}")
    };
    let text = format!(
        "{HEAD}[[partition]]\nname = \"A\"\nguest = \"fixed priority\"\n{}\
         [[partition]]\nname = \"C\"\nguest = \"fixed priority\"\n{partition}{}",
        task(own),
        task(others)
    );
    let mut files = BTreeMap::from([("system.toml".to_owned(), text.clone().into_bytes())]);
    let model::Reading { mut sources, system, diagnostics }: model::Reading =
        model::read_system("system.toml", &mut files);
    let system = system.unwrap_or_else(|| panic!("{diagnostics:?}\n{text}"));
    let sources: &mut Sources = &mut sources;
    let (plan, diagnostics) = plan::read_plan("plan.toml", PLAN.as_bytes(), &system, sources);
    let plan = plan.unwrap_or_else(|| panic!("{diagnostics:?}"));
    check(&system, &plan).into_iter().find(|verdict| verdict.id == "response/A.t").expect("a response")
}

/// The board worked by hand above, as files; and line requests beside it, of which one waits for 1 us.
#[test]
fn what_files_declare_is_charged_and_told() {
    let bounds = |own: &str, others: &str, partition: &str| {
        let verdict = verdict(own, others, partition);
        let interference = verdict.parts.iter().filter(|part| part.kind == PartKind::Interference);
        let interference: Vec<(String, u64)> = interference.map(|part| (part.what.clone(), part.ns)).collect();
        (verdict.generic, verdict.bound, interference)
    };
    let stress = |us: u64| format!("sensitivity = \"0 us\"\nstress = \"{us} us\"\n");
    let of = |ns: u64| vec![("core1".to_owned(), ns)];
    let sensitive = "sensitivity = \"3 us\"\n";
    assert_eq!(bounds(sensitive, &stress(1), ""), (Some(5_000), Some(4_000), of(2_000)));
    assert_eq!(bounds(sensitive, &stress(0), ""), (Some(5_000), Some(2_000), of(0)));
    assert_eq!(bounds(sensitive, &stress(2), ""), (Some(5_000), Some(5_000), of(3_000)));
    assert_eq!(
        bounds(sensitive, "sensitivity = \"0 us\"\n", ""),
        (Some(5_000), Some(5_000), of(3_000)),
        "nothing is known of the other"
    );
    let untrusted = "untrusted = true\n";
    assert_eq!(bounds(sensitive, &stress(1), untrusted), (Some(5_000), Some(5_000), of(3_000)));
    let counted = "sensitivity = \"3 us\"\nline_requests = 2\n";
    let quiet = "stress = \"1 us\"\nline_requests = 0\n";
    assert_eq!(bounds(counted, quiet, ""), (Some(7_000), Some(4_000), of(2_000)));
    assert_eq!(bounds(counted, &stress(1), ""), (Some(7_000), Some(6_000), of(4_000)));
}
