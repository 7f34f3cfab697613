//! The bounds on waiting for memory, against every run of small boards.
//!
//! Outside the project there is no program to hold them against, so the reference is brute force: the board of `board.rs` run
//! in every phase of its tasks, with drawn places of the requests. No response may be above any bound.

mod board;

use board::{Board, Partition, Step, Task};
use timing::interference::{
    Budget, Bus, Curve, Flow, Jobs, Known, LineTime, Master, Own, Presence, Resident, Rival, Windows, latest_response,
    waits_ns,
};
use timing::response::free_running::worst_responses;
use timing::supply::{Interval, Supply};
use timing::{Release, TaskSet};

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

fn task(draw: &mut Draw, period: u64, most_requests: u64) -> Task {
    let requests = draw.within(most_requests / 2, most_requests);
    let computes = draw.within(0, 1);
    Task { period, phase: 0, program: program(draw, computes, requests) }
}

/// A core cut into windows of drawn partitions, some of its time left over.
fn drawn_board(draw: &mut Draw) -> Board {
    let cut = draw.within(12, 18);
    let own = vec![task(draw, FRAME, 3), task(draw, 2 * FRAME, 10)];
    let mine = match draw.below(3) {
        0 => vec![(0, cut)],
        1 => vec![(2, 9), (12, cut + 4)],
        _ => vec![(0, FRAME)],
    };
    let split = draw.within(1, 4);
    let first = Partition { windows: vec![(0, split)], tasks: vec![task(draw, FRAME, 2)] };
    let second = Partition { windows: vec![(12, 12 + split)], tasks: vec![task(draw, 2 * FRAME, 4)] };
    Board { frame: FRAME, line: 1, cores: [vec![Partition { windows: mine, tasks: own }], vec![first, second]] }
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

/// The request-driven bound of every task of a partition, by the response analysis.
fn request_driven(board: &Board, partition: &Partition) -> Vec<u64> {
    let tasks: Vec<_> = (0..partition.tasks.len())
        .map(|k| {
            let task = &partition.tasks[k];
            timing::Task {
                priority: -(k as i64),
                period_ns: task.period * UNIT,
                deadline_ns: task.period * UNIT,
                charged_ns: alone_ns(task, board.line) + requests_of(task) * (MASTERS - 1) * board.line * UNIT,
                jitter_ns: 0,
                blocking_ns: blocking_ns(partition, k, board.line),
                release: Release::FreeRunning,
            }
        })
        .collect();
    let supply = supply(board, partition);
    let found = worst_responses(&supply, &TaskSet::new(&tasks).expect("sound tasks"));
    found.iter().map(|response| response.bound().map_or(u64::MAX, |bound| bound.response_ns)).collect()
}

fn supply(board: &Board, partition: &Partition) -> Supply {
    // A request under way when the window begins is another partition's: it keeps the core so long at the most.
    let head_ns = MASTERS * board.line * UNIT;
    let several = board.cores.iter().any(|core| core.len() > 1 && core.iter().any(|one| std::ptr::eq(one, partition)));
    let usable: Vec<_> = intervals(partition, 0)
        .map(|window| Interval { start_ns: window.start_ns + if several { head_ns } else { 0 }, ..window })
        .filter(|window| window.start_ns < window.end_ns)
        .collect();
    Supply::new(board.frame * UNIT, &usable).expect("windows of the frame")
}

fn own(board: &Board, k: usize) -> Own {
    let partition = &board.cores[0][0];
    let rival = |task: &Task| Rival {
        period_ns: task.period * UNIT,
        jitter_ns: 0,
        alone_ns: alone_ns(task, board.line),
        requests: requests_of(task),
    };
    let mine = rival(&partition.tasks[k]);
    Own {
        period_ns: mine.period_ns,
        jitter_ns: 0,
        blocking_ns: blocking_ns(partition, k, board.line),
        alone_ns: mine.alone_ns,
        requests: mine.requests,
        others: partition.tasks[..k].iter().map(rival).collect(),
    }
}

/// The bus as core 0 sees it; by their jobs too, or by the windows alone.
fn bus(board: &Board, by_jobs: bool) -> Bus {
    let frame_ns = board.frame * UNIT;
    let curve = |intervals| Curve::new(frame_ns, intervals).expect("windows of the frame");
    let usable = curve(supply(board, &board.cores[0][0]).windows().to_vec());
    let resident = |partition: &Partition| {
        let responses = request_driven(board, partition);
        let known = by_jobs && responses.iter().all(|response_ns| *response_ns < u64::MAX);
        let jobs = partition.tasks.iter().zip(&responses).map(|(task, &response_ns)| Jobs {
            period_ns: task.period * UNIT,
            response_ns,
            requests: requests_of(task),
        });
        Resident {
            overlap: curve(intervals(partition, MASTERS * board.line * UNIT).collect()).meet(&usable),
            jobs: known.then(|| Known { jobs: jobs.collect(), windows: no_windows(), head_ns: 0 }),
        }
    };
    let presence = Presence::Windows(board.cores[1].iter().map(resident).collect());
    let line = LineTime::new(u128::from(board.line * UNIT), 1).expect("a time");
    Bus { line, masters: vec![Master { budget: None, flow: None, presence }] }
}

/// The longest response of each own task over phases of all tasks and some places of their requests.
fn longest(board: &Board, draw: &mut Draw) -> Vec<u64> {
    let mut longest = vec![0; board.cores[0][0].tasks.len()];
    for _ in 0..2 {
        let mut board = board.clone();
        for task in board.cores.iter_mut().flatten().flat_map(|partition| &mut partition.tasks) {
            let requests = requests_of(task);
            task.program = program(draw, task.program.len() as u64 - requests, requests);
        }
        for phase in 0..12 * 12 * 9 {
            board.cores[0][0].tasks[0].phase = phase % 12 * 2;
            board.cores[0][0].tasks[1].phase = phase / 12 % 12 * 2 + phase % 2;
            board.cores[1][0].tasks[0].phase = phase / 144 % 3 * 8;
            board.cores[1][1].tasks[0].phase = phase / 432 * 8;
            let seen = board.longest_responses(4 * FRAME);
            longest.iter_mut().zip(seen).for_each(|(longest, seen)| *longest = (*longest).max(seen));
        }
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

#[test]
fn no_run_is_above_any_bound() {
    let mut draw = Draw(1);
    let mut sums = Sums::default();
    for number in 0..40 {
        let board = drawn_board(&mut draw);
        let driven = request_driven(&board, &board.cores[0][0]);
        let simulated = longest(&board, &mut draw);
        for k in 0..driven.len() {
            if driven[k] > board.cores[0][0].tasks[k].period * UNIT {
                continue; // Backlogs would need longer runs.
            }
            let own = own(&board, k);
            let bound = |by_jobs| {
                let bus = bus(&board, by_jobs);
                let latest = latest_response(&supply(&board, &board.cores[0][0]), &own, &bus).expect("some bound");
                let waits_ns = waits_ns(&own, &bus, &latest);
                assert!(waits_ns.iter().sum::<u64>() <= latest.finish_ns - own.alone_ns, "{number}: {waits_ns:?}");
                latest.response_ns
            };
            let (by_jobs, by_windows, seen) = (bound(true), bound(false), simulated[k] * UNIT);
            let told = format!("board {number}, task {k}: {seen} {by_jobs} {by_windows} {} {board:?}", driven[k]);
            assert!(seen <= by_jobs && by_jobs <= by_windows && by_windows <= driven[k], "{told}");
            sums.tasks += 1;
            sums.simulated += seen;
            sums.by_jobs += by_jobs;
            sums.by_windows += by_windows;
            sums.request_driven += driven[k];
        }
    }
    assert!(sums.tasks >= 60, "{sums:?}");
    assert!(sums.by_jobs < sums.by_windows && sums.by_windows < sums.request_driven, "{sums:?}");
    // Few of all places of requests are tried, and the bound grants a request under way at every edge of a window.
    assert!(5 * sums.simulated >= 3 * sums.by_jobs, "the runs are far below the bounds: {sums:?}");
}

fn no_windows() -> Windows {
    Windows::new(FRAME, &[]).expect("a frame")
}

/// Six requests of 1 us in 6 us of execution, every 40 us, in the first half of a frame of 20 us.
fn worked() -> (Supply, Own) {
    let window = Interval { start_ns: 0, end_ns: 10 * UNIT };
    let supply = Supply::new(20 * UNIT, &[window]).expect("a window");
    let (period_ns, alone_ns) = (40 * UNIT, 6 * UNIT);
    (supply, Own { period_ns, jitter_ns: 0, blocking_ns: 0, alone_ns, requests: 6, others: Vec::new() })
}

fn worked_response(master: Master) -> u64 {
    let (supply, own) = worked();
    let line = LineTime::new(u128::from(UNIT), 1).expect("a time");
    latest_response(&supply, &own, &Bus { line, masters: vec![master] }).expect("a bound").response_ns / UNIT
}

/// Windows of the other core that are beside the own one for so many intervals.
fn beside(intervals: &[(u64, u64)], jobs: Option<Known>) -> Presence {
    let of = |&(start, end): &(u64, u64)| Interval { start_ns: start * UNIT, end_ns: end * UNIT };
    let curve = |intervals: Vec<Interval>| Curve::new(20 * UNIT, intervals).expect("intervals of the frame");
    let overlap = curve(intervals.iter().map(of).collect());
    Presence::Windows(vec![Resident { overlap, jobs }])
}

#[test]
fn bounds_worked_by_hand_are_met() {
    let only = |presence| worked_response(Master { budget: None, flow: None, presence });
    // From the window's end 10 us pass; 12 us of work take one window and 2 us of the next one.
    assert_eq!(only(Presence::Always), 10 + 10 + 10 + 2);
    assert_eq!(only(beside(&[], None)), 10 + 6, "nobody is there at the same time");
    assert_eq!(only(beside(&[(0, 2)], None)), 10 + 6 + 2, "2 us beside each other");
    let at_the_end = only(beside(&[(0, 2), (9, 10)], None));
    assert_eq!(at_the_end, 1 + 10 + 6 + 2, "a window's last 1 us is all waited, and 8 us of the next one go by");
    // One job each 50 us can be there in 16 us and the 30 us that it takes: three lines.
    let job = Jobs { period_ns: 50 * UNIT, response_ns: 30 * UNIT, requests: 3 };
    let known = |windows, head_ns| Some(Known { jobs: vec![job], windows, head_ns });
    assert_eq!(only(beside(&[(0, 10)], known(no_windows(), 0))), 10 + 6 + 3);
    let window = Interval { start_ns: 0, end_ns: 10 * UNIT };
    let windows = Windows::new(20 * UNIT, &[window]).expect("a window of the frame");
    let with_head = beside(&[(0, 10)], known(windows, UNIT / 2));
    assert_eq!(only(with_head), 10 + 6 + 3 + 1, "two windows are met, whose heads ask for half a line each");
    let budget = |lines| Some(Budget { period_ns: 100 * UNIT, lines });
    let regulated = |lines| worked_response(Master { budget: budget(lines), flow: None, presence: Presence::Always });
    assert_eq!(regulated(1), 10 + 6 + 2 + 1, "two periods of one line, and one asked for before");
    assert_eq!(regulated(3), 10 + 10 + 10 + 2, "two periods of three lines are more than is waited for");
    // A line of 64 bytes each 20 us and one at once: in 16 + 3 us and 4 us that it may wait 2.15 lines and one under way; in 20 us too.
    let flow = |burst_bytes| Flow { burst_bytes, bytes_per_s: 3_200_000, line_bytes: 64, late_ns: 4 * UNIT };
    let device = |burst| worked_response(Master { budget: None, flow: Some(flow(burst)), presence: Presence::Always });
    assert_eq!(device(64), 10 + 6 + 4);
    assert_eq!(device(640), 10 + 10 + 10 + 2, "ten lines at once are more than is waited for");
}
