//! The bounds on waiting for memory, against every run of small boards.
//!
//! Outside the project there is no program to hold them against, so the reference is brute force: the board of `board.rs` run
//! in every phase of its tasks, with drawn places of the requests. No response may be above any bound, under any guest and any supply.

mod board;
mod worked;

use board::{Board, Guest, Partition, Step, Task};
use timing::handlers::{Handlers, Line};
use timing::interference::{
    Bus, Curve, Jobs, Known, LineTime, Master, Own, Presence, Resident, Windows, Work, latest_response, waits_ns,
};
use timing::response::worst_responses;
use timing::supply::{Interval, Share, Supply};
use timing::{Policy, Release, TaskSet};

/// An instant of the board in ns, so that begins between two instants count too.
const UNIT: u64 = 1000;
const MASTERS: u64 = 2;
const FRAME: u64 = 24;

/// Numbers that look drawn: a linear congruential generator, common practice.
struct Draw(u64);

impl Draw {
    fn below(&mut self, limit: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % limit
    }

    fn within(&mut self, from: u64, to: u64) -> u64 {
        from + self.below(to - from + 1)
    }
}

/// A program of some computing instants and requests, in a drawn order.
fn program(draw: &mut Draw, computes: u64, requests: u64) -> Vec<Step> {
    let (mut computes, mut requests) = (computes, requests);
    let mut steps = Vec::new();
    while computes + requests > 0 {
        if draw.below(computes + requests) < requests {
            requests -= 1;
            steps.push(Step::Request);
        } else {
            computes -= 1;
            steps.push(Step::Compute);
        }
    }
    steps
}

/// What is special about the partition of core 0, which else has fixed priorities, windows, and arrivals in any phase.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Own0 {
    Plain,
    InPhase,
    Cooperative,
    Deadline,
    /// So many instants in each of its periods.
    Server {
        budget: u64,
    },
    /// The line below such a server.
    Share {
        budget: u64,
    },
    Dedicated,
    /// Handlers of one instant take from its windows, no closer than so many instants.
    Interrupted {
        gap: u64,
    },
}

/// A server's period.
const SERVER: u64 = 12;

fn task(draw: &mut Draw, period: u64, most_requests: u64) -> Task {
    let requests = draw.within(most_requests / 2, most_requests);
    let computes = draw.within(0, 1);
    Task { period, phase: 0, jitter: 0, program: program(draw, computes, requests) }
}

/// A core cut into windows of drawn partitions, some of its time left over.
fn drawn_board(draw: &mut Draw, own0: Own0) -> Board {
    let cut = draw.within(12, 18);
    let mut own = vec![task(draw, FRAME, 3), task(draw, 2 * FRAME, 10)];
    if own0 != Own0::Plain {
        own.iter_mut().for_each(|task| task.jitter = draw.within(0, 3));
    }
    if own0 == Own0::InPhase {
        own.iter_mut().for_each(|task| task.phase = draw.below(FRAME));
    }
    let mine = match draw.below(3) {
        _ if own0 == Own0::Dedicated => vec![(0, FRAME)],
        0 => vec![(0, cut)],
        2 if !matches!(own0, Own0::Interrupted { .. }) => vec![(0, FRAME)],
        _ => vec![(2, 9), (12, cut + 4)],
    };
    let split = draw.within(1, 8);
    let partition = |guest, windows, tasks| Partition { guest, windows, tasks };
    let first = partition(Guest::Priority, vec![(0, split)], vec![task(draw, FRAME, 2)]);
    let second = partition(Guest::Priority, vec![(12, 12 + split)], vec![task(draw, 2 * FRAME, 4)]);
    let guest = match own0 {
        Own0::Cooperative => Guest::Cooperative,
        Own0::Deadline => Guest::Deadline,
        _ => Guest::Priority,
    };
    let cores = [vec![partition(guest, mine, own)], vec![first, second]];
    Board { frame: FRAME, line: 1, cores, served: Vec::new(), handler: None, seed: 0 }
}

fn requests_of(task: &Task) -> u64 {
    task.program.iter().filter(|step| **step == Step::Request).count() as u64
}

fn alone_ns(task: &Task, line: u64) -> u64 {
    let requests = requests_of(task);
    (task.program.len() as u64 - requests + requests * line) * UNIT
}

fn intervals(partition: &Partition, longer_ns: u64) -> impl Iterator<Item = Interval> {
    let of = move |&(start, end): &(u64, u64)| Interval { start_ns: start * UNIT, end_ns: end * UNIT + longer_ns };
    partition.windows.iter().map(of)
}

/// A job that has begun a request keeps the core until it is served: at most so long, once in a busy window.
fn blocking_ns(partition: &Partition, task: usize, line: u64) -> u64 {
    if task + 1 < partition.tasks.len() { MASTERS * line * UNIT } else { 0 }
}

/// The tasks of a partition as the analyses see them, each released as much later.
fn task_set(board: &Board, partition: &Partition, in_phase: bool, late_ns: u64) -> TaskSet {
    let policy = match partition.guest {
        Guest::Priority => Policy::FixedPriority,
        Guest::Deadline => Policy::EarliestDeadline,
        Guest::Cooperative => Policy::Cooperative,
    };
    let tasks: Vec<_> = (0..partition.tasks.len())
        .map(|k| {
            let task = &partition.tasks[k];
            let offset_ns = task.phase * UNIT;
            timing::Task {
                priority: -(k as i64),
                period_ns: task.period * UNIT,
                deadline_ns: task.period * UNIT,
                charged_ns: alone_ns(task, board.line) + requests_of(task) * (MASTERS - 1) * board.line * UNIT,
                jitter_ns: task.jitter * UNIT + late_ns,
                blocking_ns: blocking_ns(partition, k, board.line),
                release: if in_phase { Release::FrameAligned { offset_ns } } else { Release::FreeRunning },
            }
        })
        .collect();
    TaskSet::with_policy(&tasks, policy).expect("sound tasks")
}

fn bounds(supply: &Supply, tasks: &TaskSet) -> Vec<u64> {
    let found = worst_responses(supply, tasks);
    found.iter().map(|response| response.bound().map_or(u64::MAX, |bound| bound.response_ns)).collect()
}

/// A partition with windows of the frame.
fn supply(board: &Board, partition: &Partition) -> Supply {
    // A request under way when the window begins is another partition's: it keeps the core so long at the most.
    let head_ns = MASTERS * board.line * UNIT;
    let several = board.cores.iter().any(|core| core.len() > 1 && core.iter().any(|one| std::ptr::eq(one, partition)));
    of_windows(board, partition, |_| if several { head_ns } else { 0 })
}

fn of_windows(board: &Board, partition: &Partition, head_ns: impl Fn(&Interval) -> u64) -> Supply {
    let usable: Vec<_> = intervals(partition, 0)
        .map(|window| Interval { start_ns: window.start_ns + head_ns(&window), ..window })
        .filter(|window| window.start_ns < window.end_ns)
        .collect();
    Supply::new(board.frame * UNIT, &usable).expect("windows of the frame")
}

/// The supply of the partition of core 0, and how much later than by that its time may come.
fn own_supply(board: &Board, own0: Own0) -> (Supply, u64) {
    let partition = &board.cores[0][0];
    match own0 {
        Own0::Server { budget } => {
            let [budget_ns, period_ns] = [budget, SERVER].map(|instants| instants * UNIT);
            (Supply::budget_server(budget_ns, period_ns, period_ns).expect("a budget"), 0)
        }
        Own0::Share { budget } => {
            let share = Share::new(budget.into(), SERVER.into()).expect("a share");
            (Supply::proportional_share(share, 2 * (SERVER - budget) * UNIT).expect("a delay"), 0)
        }
        Own0::Dedicated => (Supply::dedicated(), 0),
        Own0::Interrupted { gap } => {
            let handlers = Handlers::new([Line { gap_ns: gap * UNIT, handler_ns: UNIT }]).expect("they pause");
            let taken_ns = |window: &Interval| handlers.most_taken_ns(window.end_ns - window.start_ns);
            let late_ns = intervals(partition, 0).map(|window| taken_ns(&window)).fold(0, u64::max);
            (of_windows(board, partition, taken_ns), late_ns)
        }
        _ => (supply(board, partition), 0),
    }
}

fn works(board: &Board) -> Vec<Work> {
    let work =
        |task: &Task| Work { alone_ns: alone_ns(task, board.line), requests: requests_of(task), ..Work::default() };
    board.cores[0][0].tasks.iter().map(work).collect()
}

/// The bus as core 0 sees it; by their jobs too, or by the windows alone.
fn bus(board: &Board, (own_supply, late_ns): &(Supply, u64), by_jobs: bool) -> Bus {
    let frame_ns = board.frame * UNIT;
    let later = |interval: Interval| {
        let start_ns = (interval.start_ns + late_ns) % frame_ns;
        Interval { start_ns, end_ns: start_ns + (interval.end_ns - interval.start_ns) }
    };
    let curve = |intervals: Vec<Interval>| {
        Curve::new(frame_ns, intervals.into_iter().map(later)).expect("windows of the frame")
    };
    let everywhere = Interval { start_ns: 0, end_ns: frame_ns };
    let placed = own_supply.has_places();
    let usable = curve(if placed { supply(board, &board.cores[0][0]).windows().to_vec() } else { vec![everywhere] });
    let resident = |partition: &Partition| {
        let responses = bounds(&supply(board, partition), &task_set(board, partition, false, 0));
        let known = by_jobs && responses.iter().all(|response_ns| *response_ns < u64::MAX);
        let jobs = partition.tasks.iter().zip(&responses).map(|(task, &response_ns)| Jobs {
            period_ns: task.period * UNIT,
            response_ns,
            requests: Some(requests_of(task)),
            stress_ns: None,
        });
        Resident {
            overlap: curve(intervals(partition, MASTERS * board.line * UNIT).collect()).meet(&usable),
            jobs: known.then(|| Known { jobs: jobs.collect(), windows: no_windows(), head_ns: 0 }),
        }
    };
    let presence = Presence::Windows(board.cores[1].iter().map(resident).collect());
    let line = LineTime::new(u128::from(board.line * UNIT), 1).expect("a time");
    Bus { line, masters: vec![Master { budget: None, flow: None, presence }], own: Vec::new(), late_ns: *late_ns }
}

/// Some way to give a budget in each period up to the horizon: early, late, or anywhere.
fn served(draw: &mut Draw, budget: u64, horizon: u64) -> Vec<(u64, u64)> {
    let early = draw.below(4);
    let window = |period: u64| {
        let offset = match draw.below(3) {
            _ if period == early => 0,
            0 => draw.within(0, SERVER - budget),
            _ => SERVER - budget,
        };
        (period * SERVER + offset, period * SERVER + offset + budget)
    };
    (0..horizon / SERVER).map(window).collect()
}

/// The longest response of each own task over phases of all tasks and some places of their requests.
fn longest(board: &Board, own0: Own0, draw: &mut Draw) -> Vec<u64> {
    let mut longest = vec![0; board.cores[0][0].tasks.len()];
    let horizon = 4 * FRAME;
    let mut board = board.clone();
    for run in 0..2 * 12 * 12 * 9 {
        if run % 16 == 0 {
            for task in board.cores.iter_mut().flatten().flat_map(|partition| &mut partition.tasks) {
                let requests = requests_of(task);
                task.program = program(draw, task.program.len() as u64 - requests, requests);
            }
        }
        let phase = run / 2;
        if own0 != Own0::InPhase {
            board.cores[0][0].tasks[0].phase = phase % 12 * 2;
            board.cores[0][0].tasks[1].phase = phase / 12 % 12 * 2 + phase % 2;
        }
        board.cores[1][0].tasks[0].phase = draw.below(FRAME);
        board.cores[1][1].tasks[0].phase = draw.below(2 * FRAME);
        board.seed = run;
        match own0 {
            Own0::Server { budget } | Own0::Share { budget } => board.served = served(draw, budget, horizon),
            Own0::Interrupted { gap } => board.handler = Some((gap, 1, draw.below(gap))),
            _ => {}
        }
        let seen = board.longest_responses(horizon);
        longest.iter_mut().zip(seen).for_each(|(longest, seen)| *longest = (*longest).max(seen));
    }
    longest
}

/// Sums over all tasks looked at, in ns.
#[derive(Default, Debug)]
struct Sums {
    tasks: u64,
    simulated: u64,
    by_jobs: u64,
    by_windows: u64,
    request_driven: u64,
}

/// Holds every run of so many boards against every bound.
fn held(draw: &mut Draw, boards: u64, own0: impl Fn(&mut Draw) -> Own0) -> Sums {
    let mut sums = Sums::default();
    for number in 0..boards {
        let own0 = own0(draw);
        let board = drawn_board(draw, own0);
        let own_supply = own_supply(&board, own0);
        let tasks = task_set(&board, &board.cores[0][0], own0 == Own0::InPhase, own_supply.1);
        let driven = bounds(&own_supply.0, &tasks);
        let simulated = longest(&board, own0, draw);
        for k in 0..driven.len() {
            if driven[k] > board.cores[0][0].tasks[k].period * UNIT {
                continue; // Backlogs would need longer runs.
            }
            let own = Own::new(&own_supply.0, &tasks, k, &works(&board));
            let bound = |by_jobs| {
                let bus = bus(&board, &own_supply, by_jobs);
                // Where all time is used up, the search does not end.
                let Some(latest) = latest_response(&own_supply.0, &own, &bus) else { return driven[k] };
                let told_ns: u64 = waits_ns(&bus, &latest).iter().sum();
                assert!(told_ns <= latest.finish_ns - works(&board)[k].alone_ns, "{number}: {told_ns}");
                latest.response_ns.min(driven[k]) // Both hold, and the smaller one is told.
            };
            let (by_jobs, by_windows, seen) = (bound(true), bound(false), simulated[k] * UNIT);
            let told = format!("{own0:?} {number}, task {k}: {seen} {by_jobs} {by_windows} {} {board:?}", driven[k]);
            assert!(seen <= by_jobs && by_jobs <= by_windows && by_windows <= driven[k], "{told}");
            sums.tasks += 1;
            sums.simulated += seen;
            sums.by_jobs += by_jobs;
            sums.by_windows += by_windows;
            sums.request_driven += driven[k];
        }
    }
    sums
}

#[test]
fn no_run_is_above_any_bound() {
    let sums = held(&mut Draw(1), 40, |_| Own0::Plain);
    assert!(sums.tasks >= 60, "{sums:?}");
    // Few of all places of requests are tried, and the bound grants a request under way at every edge of a window.
    assert!(5 * sums.simulated >= 3 * sums.by_jobs, "the runs are far below the bounds: {sums:?}");
    assert!(sums.by_jobs < sums.by_windows && sums.by_windows < sums.request_driven, "{sums:?}");
}

#[test]
fn so_it_is_under_any_guest_and_any_supply() {
    let mut draw = Draw(2);
    let mut held = |own0: &dyn Fn(&mut Draw) -> Own0| {
        let sums = held(&mut draw, 24, own0);
        assert!(sums.tasks >= 20, "{sums:?}");
        assert!(sums.by_jobs <= sums.by_windows && sums.by_jobs < sums.request_driven, "{sums:?}");
        sums.simulated * 100 / sums.by_jobs
    };
    // Few of all places of requests are tried; the share that all responses have of their bounds, in hundredths.
    let mut shares = vec![held(&|_| Own0::InPhase), held(&|_| Own0::Cooperative), held(&|_| Own0::Deadline)];
    shares.push(held(&|draw| Own0::Server { budget: draw.within(7, 10) }));
    shares.push(held(&|draw| Own0::Share { budget: draw.within(8, 11) }));
    shares.push(held(&|_| Own0::Dedicated));
    shares.push(held(&|draw| Own0::Interrupted { gap: draw.within(6, 12) }));
    assert_eq!(shares, [65, 70, 67, 71, 66, 76, 63]);
}

fn no_windows() -> Windows {
    Windows::new(FRAME, &[]).expect("a frame")
}
