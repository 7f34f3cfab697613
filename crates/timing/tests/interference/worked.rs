//! Bounds on waiting for memory worked by hand, under every guest and supply and at the edges of what counts.

use super::{UNIT, no_windows};
use timing::interference::{
    Budget, Bus, Curve, Flow, Jobs, Known, LineTime, Master, Own, Presence, Resident, Windows, Work, latest_response,
};
use timing::supply::{Interval, Supply};
use timing::{Policy, Release, TaskSet};

/// Six requests of 1 us in 6 us of execution, every 40 us and less urgent than what else is there.
fn least_urgent(work: Work, release: Release) -> (timing::Task, Work) {
    let task = timing::Task {
        priority: 0,
        period_ns: 40 * UNIT,
        deadline_ns: 40 * UNIT,
        charged_ns: work.alone_ns + work.requests * UNIT,
        jitter_ns: 0,
        blocking_ns: 0,
        release,
    };
    (task, work)
}

const WORKED: Work = Work { alone_ns: 6 * UNIT, requests: 6, sensitivity_ns: 0 };

fn response_of(supply: &Supply, policy: Policy, tasks: &[(timing::Task, Work)], index: usize, master: Master) -> u64 {
    response_by(supply, policy, tasks, index, &bus_of(vec![master]))
}

fn bus_of(masters: Vec<Master>) -> Bus {
    Bus { line: LineTime::new(u128::from(UNIT), 1).expect("a time"), masters, own: Vec::new(), late_ns: 0 }
}

fn response_by(supply: &Supply, policy: Policy, tasks: &[(timing::Task, Work)], index: usize, bus: &Bus) -> u64 {
    let (tasks, works): (Vec<_>, Vec<_>) = tasks.iter().copied().unzip();
    let tasks = TaskSet::with_policy(&tasks, policy).expect("sound tasks");
    latest_response(supply, &Own::new(supply, &tasks, index, &works), bus).expect("a bound").response_ns / UNIT
}

/// The first half of a frame of 20 us.
fn half() -> Supply {
    Supply::new(20 * UNIT, &[Interval { start_ns: 0, end_ns: 10 * UNIT }]).expect("a window")
}

fn worked_response(master: Master) -> u64 {
    response_of(&half(), Policy::FixedPriority, &[least_urgent(WORKED, Release::FreeRunning)], 0, master)
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
    let job = Jobs { period_ns: 50 * UNIT, response_ns: 30 * UNIT, requests: Some(3), stress_ns: None };
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

#[test]
fn so_are_those_of_other_guests_and_supplies() {
    let master = |presence| Master { budget: None, flow: None, presence };
    let in_phase = |offset: u64| {
        let task = least_urgent(WORKED, Release::FrameAligned { offset_ns: offset * UNIT });
        response_of(&half(), Policy::FixedPriority, &[task], 0, master(beside(&[(0, 2), (9, 10)], None)))
    };
    assert_eq!(in_phase(0), 6 + 2, "done before the other one is there again");
    assert_eq!(in_phase(5), 15 + 6 + 2 + 1 - 5, "1 us at the end of the first window, 2 us at the begin of the second");
    // One job each 50 us can be there in up to 20 us and the 30 us that it takes: three lines, whenever it is.
    let jobs = || {
        master(Presence::Jobs(vec![Jobs {
            period_ns: 50 * UNIT,
            response_ns: 30 * UNIT,
            requests: Some(3),
            stress_ns: None,
        }]))
    };
    let work = Work { alone_ns: 3 * UNIT, requests: 3, ..Work::default() };
    let other = |priority, deadline: u64| {
        let (task, work) = least_urgent(work, Release::FreeRunning);
        (timing::Task { priority, deadline_ns: deadline * UNIT, ..task }, work)
    };
    let tasks = |other| [least_urgent(WORKED, Release::FreeRunning), other];
    let whole = Supply::dedicated();
    let urgent = tasks(other(1, 40));
    assert_eq!(response_of(&whole, Policy::FixedPriority, &urgent, 0, jobs()), 3 + 6 + 3);
    assert_eq!(response_of(&whole, Policy::FixedPriority, &urgent, 1, jobs()), 3 + 3);
    let [less_urgent, sooner] = [(-1, 40), (1, 30)].map(|(priority, deadline)| tasks(other(priority, deadline)));
    assert_eq!(
        response_of(&whole, Policy::Cooperative, &less_urgent, 0, jobs()),
        3 + 6 + 3,
        "it has begun just before"
    );
    assert_eq!(response_of(&whole, Policy::FixedPriority, &less_urgent, 0, jobs()), 6 + 3);
    assert_eq!(response_of(&whole, Policy::EarliestDeadline, &sooner, 0, jobs()), 3 + 6 + 3);
    assert_eq!(response_of(&whole, Policy::EarliestDeadline, &sooner, 1, jobs()), 3 + 3);
    // 10 us in each 20 us: nothing for 20 us, in which two jobs of the other core can be there, so that all wait.
    let server = Supply::budget_server(10 * UNIT, 20 * UNIT, 20 * UNIT).expect("a server");
    assert_eq!(response_of(&server, Policy::FixedPriority, &urgent[..1], 0, jobs()), 20 + 10 + 10 + 2);
    assert_eq!(
        response_of(&server, Policy::FixedPriority, &urgent[..1], 0, master(beside(&[(0, 1)], None))),
        20 + 6 + 2
    );
}

#[test]
fn so_are_those_at_the_edges_of_what_counts() {
    let master = |intervals| Master { budget: None, flow: None, presence: beside(intervals, None) };
    let plain = || [least_urgent(WORKED, Release::FreeRunning)];
    let late = |late_ns| {
        let bus = Bus { late_ns, ..bus_of(vec![master(&[(8, 10)])]) };
        response_by(&half(), Policy::FixedPriority, &plain(), 0, &bus)
    };
    assert_eq!(late(0), 2 + 10 + 6, "the last 2 us of a window are all waited");
    assert_eq!(late(3 * UNIT), 2 + 10 + 6 + 2, "as much later the busy window may end where it is waited again");
    // Released at 0 it waits 2 us for each of two masters, released 3 us later for none.
    let (mut task, work) = least_urgent(WORKED, Release::FrameAligned { offset_ns: 0 });
    task.jitter_ns = 3 * UNIT;
    let both = bus_of(vec![master(&[(0, 2)]), master(&[(0, 2)])]);
    assert_eq!(response_by(&Supply::dedicated(), Policy::FixedPriority, &[(task, work)], 0, &both), 6 + 4);
    // What arrives at the instant at which a cooperative job could begin goes before it.
    let urgent = |alone: u64, period: u64| {
        let work = Work { alone_ns: alone * UNIT, ..Work::default() };
        let (task, work) = least_urgent(work, Release::FreeRunning);
        (timing::Task { priority: 1, period_ns: period * UNIT, ..task }, work)
    };
    let tasks = [plain()[0], urgent(4, 40), urgent(1, 5)];
    let alone = |policy| response_by(&Supply::dedicated(), policy, &tasks, 0, &bus_of(vec![master(&[])]));
    assert_eq!(alone(Policy::Cooperative), 4 + 2 + 6);
    assert_eq!(alone(Policy::FixedPriority), 4 + 3 + 6, "and here another one before its end");
    // On two cores in turn each request waits for one of the two at most, and for every other master.
    let always = || Master { budget: None, flow: None, presence: Presence::Always };
    let moving = |own| {
        let bus = Bus { own, ..bus_of(vec![always(), always(), always()]) };
        response_by(&Supply::dedicated(), Policy::FixedPriority, &plain(), 0, &bus)
    };
    assert_eq!((moving(Vec::new()), moving(vec![0, 2])), (6 + 3 * 6, 6 + 2 * 6));
}
