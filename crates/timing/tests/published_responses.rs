//! Published worked examples of fixed priorities under full supply: there the window table is one
//! window over the whole frame, and the analysis must give the classic response times.

use timing::response::{Response, free_running};
use timing::supply::{Interval, WindowSupply};
use timing::{Release, Task, TaskSet};

/// Responses of `(period, deadline, charged)`, most urgent first.
fn responses(tasks: &[(u64, u64, u64)]) -> Vec<Option<u64>> {
    let supply = WindowSupply::new(10, &[Interval { start_ns: 0, end_ns: 10 }]).expect("one window");
    let most_urgent_first: Vec<_> = tasks
        .iter()
        .enumerate()
        .map(|(k, &(period_ns, deadline_ns, charged_ns))| Task {
            priority: -(k as i64),
            period_ns,
            deadline_ns,
            charged_ns,
            jitter_ns: 0,
            blocking_ns: 0,
            release: Release::FreeRunning,
        })
        .collect();
    let set = TaskSet::new(&most_urgent_first).expect("well-formed tasks");
    free_running::worst_responses(&supply, &set)
        .iter()
        .map(|response| response.bound().map(|bound| bound.response_ns))
        .collect()
}

fn implicit(tasks: &[(u64, u64)]) -> Vec<Option<u64>> {
    responses(&tasks.iter().map(|&(period, charged)| (period, period, charged)).collect::<Vec<_>>())
}

/// Burns & Wellings, Real-Time Systems and Programming Languages, 4th ed. 2009, Task Set C (from memory):
/// utilisation 1, R = 5, 15, 80.
#[test]
fn full_utilisation_still_schedulable() {
    assert_eq!(implicit(&[(20, 5), (40, 10), (80, 40)]), [Some(5), Some(15), Some(80)]);
}

/// Burns & Wellings, as above, Task Set A (from memory): task a has 10 of its 12 done at its deadline 50, so it misses.
#[test]
fn a_miss_still_has_a_bound() {
    let found = implicit(&[(30, 10), (40, 10), (50, 12)]);
    assert_eq!(found[..2], [Some(10), Some(20)]);
    assert!(found[2] > Some(50), "{found:?}");
}

/// Burns & Wellings, as above, offset example released together (from memory): R = 4, 8, 16.
#[test]
fn burns_and_wellings_without_offset() {
    assert_eq!(responses(&[(8, 5, 4), (20, 20, 4), (20, 20, 4)]), [Some(4), Some(8), Some(16)]);
}

/// Buttazzo, Hard Real-Time Computing Systems, 3rd ed. 2011, response time analysis example (from memory): R4 = 10.
#[test]
fn buttazzo_deadline_monotonic() {
    assert_eq!(responses(&[(4, 3, 1), (5, 4, 1), (6, 5, 2), (11, 10, 1)])[3], Some(10));
}

/// J. W. S. Liu, Real-Time Systems, 2000, section 6.5.2, figure 6-9 (from memory), in hundredths: R = 1, 2.5, 4.75, 9.
#[test]
fn liu_time_demand() {
    let found = implicit(&[(300, 100), (500, 150), (700, 125), (900, 50)]);
    assert_eq!(found, [Some(100), Some(250), Some(475), Some(900)]);
}

/// Buttazzo, as above, exercise 4.3 (found in public course notes): R = 1, 3, 10.
#[test]
fn buttazzo_exercise() {
    assert_eq!(implicit(&[(4, 1), (6, 2), (10, 3)]), [Some(1), Some(3), Some(10)]);
}

/// Lehoczky, Fixed priority scheduling of periodic task sets with arbitrary deadlines, RTSS 1990 (from memory):
/// C = 26, T = 70 over C = 62, T = 100: the first job of the busy window responds after 114, the fifth after 118.
#[test]
fn lehoczky_later_job_is_worst() {
    let supply = WindowSupply::new(10, &[Interval { start_ns: 0, end_ns: 10 }]).expect("one window");
    let task = |priority, period_ns, charged_ns| Task {
        priority,
        period_ns,
        deadline_ns: 200,
        charged_ns,
        jitter_ns: 0,
        blocking_ns: 0,
        release: Release::FreeRunning,
    };
    let set = TaskSet::new(&[task(2, 70, 26), task(1, 100, 62)]).expect("well-formed tasks");
    let Response::Bounded(bound) = &free_running::worst_responses(&supply, &set)[1] else { panic!("bounded") };
    assert_eq!((bound.response_ns, bound.job), (118, 4));
}

/// Locke, Vogel & Mesler 1991, Generic Avionics Platform, the periodic rows in the published priority order (found
/// in a public repository): published as schedulable; the response times are an independent computation's.
#[test]
fn generic_avionics_platform() {
    let periods = [200, 25, 25, 40, 50, 50, 59, 80, 80, 100, 200, 200, 200, 200, 1000, 1000];
    let charged = [3, 2, 5, 1, 3, 5, 8, 9, 2, 5, 3, 1, 1, 3, 1, 1];
    let expected = [3, 5, 10, 11, 14, 19, 34, 44, 46, 74, 96, 97, 98, 137, 138, 139];
    let found = implicit(&periods.into_iter().zip(charged).collect::<Vec<_>>());
    assert_eq!(found, expected.map(Some));
}
