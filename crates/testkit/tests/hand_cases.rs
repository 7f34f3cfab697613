//! The oracle against cases small enough to work out by hand; the working stands beside each.

use cofferdam_testkit::oracle::Worst::{Response, Unbounded};
use cofferdam_testkit::oracle::{SmallSystem, SmallTask, worst_aligned, worst_free_running};

fn task(priority: u32, period: u32, wcet: u32) -> SmallTask {
    SmallTask { period, deadline: period, wcet, bcet: wcet, priority, ..SmallTask::default() }
}

fn system(frame: u32, windows: &[(u32, u32)], tasks: &[SmallTask]) -> SmallSystem {
    SmallSystem { frame, windows: windows.to_vec(), tasks: tasks.to_vec() }
}

/// A core of one's own: every tick is usable.
fn dedicated(tasks: &[SmallTask]) -> SmallSystem {
    system(1, &[(0, 1)], tasks)
}

#[test]
fn zero_supply_and_no_task() {
    let starved = system(4, &[], &[task(1, 4, 1)]);
    assert_eq!(worst_free_running(&starved), [Unbounded]);
    assert_eq!(worst_aligned(&starved), [Unbounded]);
    assert_eq!(worst_free_running(&system(4, &[(0, 1)], &[])), []);
}

#[test]
fn one_tick_of_window() {
    // Arriving at the window's end (4, that is 0): three ticks of waiting and one of execution.
    let mut lone = system(4, &[(3, 4)], &[task(1, 4, 1)]);
    assert_eq!(worst_free_running(&lone), [Response(4)]);
    assert_eq!(worst_aligned(&lone), [Response(4)]);
    lone.tasks[0].offset = 3;
    assert_eq!(worst_aligned(&lone), [Response(1)]);
}

#[test]
fn exactly_full_and_one_tick_over() {
    // Two usable ticks in four. Arriving at 2 the job needs [4, 6): 4 ticks from its arrival.
    let full = system(4, &[(0, 2)], &[task(1, 4, 2)]);
    assert_eq!(worst_free_running(&full), [Response(4)]);
    assert_eq!(worst_aligned(&full), [Response(2)]);
    let over = system(4, &[(0, 2)], &[task(1, 4, 3)]);
    assert_eq!(worst_free_running(&over), [Unbounded]);
    assert_eq!(worst_aligned(&over), [Unbounded]);
}

#[test]
fn exactly_full_with_two_tasks() {
    // 1/2 + 2/4 = 1: released together the lower one gets ticks 1 and 3, done at 4.
    let full = dedicated(&[task(2, 2, 1), task(1, 4, 2)]);
    assert_eq!(worst_free_running(&full), [Response(1), Response(4)]);
    // 1/2 + 2/3 > 1: only the lower level is overloaded.
    let over = dedicated(&[task(2, 2, 1), task(1, 3, 2)]);
    assert_eq!(worst_free_running(&over), [Response(1), Unbounded]);
}

#[test]
fn three_tasks_on_a_dedicated_core() {
    // Joseph and Pandya 1986, R = C + sum of ceil(R / T_j) C_j, by hand: 1; 1 + 2 = 3; and from 6:
    // 3 + 2 * 1 + 2 = 7, 3 + 2 * 2 + 2 = 9, 3 + 4 + 3 = 10, which stands.
    let set = dedicated(&[task(3, 4, 1), task(2, 6, 2), task(1, 10, 3)]);
    assert_eq!(worst_free_running(&set), [Response(1), Response(3), Response(10)]);
}

#[test]
fn blackout_across_the_frame_end() {
    // Nothing from 3 to 7: arriving at 3, done at 8. One window or two that touch: the same.
    for windows in [&[(1, 3)][..], &[(1, 2), (2, 3)]] {
        assert_eq!(worst_free_running(&system(6, windows, &[task(1, 6, 1)])), [Response(5)]);
    }
    // [5, 6) and [0, 1) touch across the end: blackout 1 to 5; the second tick follows at once.
    let wrapped = |wcet| system(6, &[(0, 1), (5, 6)], &[task(1, 6, wcet)]);
    assert_eq!(worst_free_running(&wrapped(1)), [Response(5)]);
    assert_eq!(worst_free_running(&wrapped(2)), [Response(6)]);
}

#[test]
fn jitter_past_a_window_end() {
    // Released by 1 the job still ends in [0, 2); released at 2 it waits for 4 and ends at 5.
    let with_jitter = |jitter| system(4, &[(0, 2)], &[SmallTask { jitter, ..task(1, 8, 1) }]);
    assert_eq!(worst_aligned(&with_jitter(0)), [Response(1)]);
    assert_eq!(worst_aligned(&with_jitter(1)), [Response(2)]);
    assert_eq!(worst_aligned(&with_jitter(2)), [Response(5)]);
}

#[test]
fn jitter_above_the_period_queues_jobs_of_one_task() {
    // Jobs arrive at 0, 2, 4 with jitter 5: that of 0 may be released at 5, then it ends at 6.
    // The one of 2 follows (7, response 5), and so on: the first suffers most.
    let queued = dedicated(&[SmallTask { jitter: 5, ..task(1, 2, 1) }]);
    assert_eq!(worst_free_running(&queued), [Response(6)]);
}

#[test]
fn deadline_past_the_period_counts_every_job() {
    // Lehoczky 1990, from memory: C = 26, T = 70 over C = 62, T = 100 gives 118, by the fifth
    // job; here all is halved.
    // Job q ends at the least f with f = (q + 1) * 31 + 13 * ceil(f / 35).
    let set = dedicated(&[task(2, 35, 13), task(1, 50, 31)]);
    let mut worst = 0;
    for job in 0..7 {
        let mut finish = (job + 1) * 31;
        loop {
            let next = (job + 1) * 31 + 13 * u32::div_ceil(finish, 35);
            if next == finish {
                break;
            }
            finish = next;
        }
        worst = worst.max(finish - job * 50);
    }
    assert_eq!(worst, 59);
    assert_eq!(worst_free_running(&set), [Response(13), Response(worst)]);
}

#[test]
fn carry_in_from_one_hyperperiod_to_the_next() {
    // The upper task arrives at 2, after the window [0, 2), and runs at 4. From an empty start the
    // lower job of 0 ends at 1; that of 4 finds the upper one left over and ends at 6.
    let upper = SmallTask { offset: 2, ..task(2, 4, 1) };
    let carried = system(4, &[(0, 2)], &[upper, task(1, 4, 1)]);
    assert_eq!(worst_aligned(&carried), [Response(3), Response(2)]);
}

#[test]
fn neither_zero_nor_greatest_jitter_alone_is_worst() {
    // The low job arrives at 2. All zero: high ran at 0, middle runs at 2, low ends at 4. All
    // greatest: high runs at 2, low ends at 4, middle comes at 5. High at 2 and middle at 2: low ends at 5.
    let high = SmallTask { jitter: 2, ..task(3, 8, 1) };
    let middle = SmallTask { offset: 2, jitter: 3, ..task(2, 8, 1) };
    let low = SmallTask { offset: 2, ..task(1, 8, 1) };
    let worst = worst_aligned(&dedicated(&[high, middle, low]));
    assert_eq!(worst[2], Response(3));
}

#[test]
fn first_arrivals_past_the_period() {
    // The lower task is alone until 9, then shares each arrival with the upper one.
    let late = SmallTask { offset: 9, ..task(2, 3, 1) };
    let both = dedicated(&[late, task(1, 3, 2)]);
    assert_eq!(worst_aligned(&both), [Response(1), Response(3)]);
}

#[test]
fn equals_wait_for_the_earlier_arrival_and_the_begun_job() {
    // Each may arrive just after, or with, the other: 2 + 3 for the later one in the file; the
    // earlier one waits too, for a job of 3 begun one tick before (arrival 1, done at 3 + 2).
    let equals = dedicated(&[task(1, 8, 2), task(1, 8, 3)]);
    assert_eq!(worst_free_running(&equals), [Response(4), Response(5)]);
    // Aligned at one instant the order in the file decides.
    assert_eq!(worst_aligned(&equals), [Response(2), Response(5)]);
}

#[test]
fn blocking_by_a_begun_job_only() {
    let blocked = |blocking, low_wcet| {
        let high = SmallTask { blocking, ..task(2, 8, 1) };
        worst_free_running(&dedicated(&[high, task(1, 8, low_wcet)]))[0]
    };
    // The begun job goes on for the whole blocking time.
    assert_eq!(blocked(0, 4), Response(1));
    assert_eq!(blocked(2, 4), Response(3));
    // Begun one tick ago, it has only 3 ticks left, or 0.
    assert_eq!(blocked(5, 4), Response(4));
    assert_eq!(blocked(5, 1), Response(1));
    // Nothing below: no blocking.
    let lone = SmallTask { blocking: 5, ..task(2, 8, 1) };
    assert_eq!(worst_free_running(&dedicated(&[lone])), [Response(1)]);
}

#[test]
fn blocking_is_cut_at_a_window_end_and_resumed() {
    // Window [0, 2) of 4. Low begins at 0, high arrives at 1, low goes on in [1, 2) and
    // [4, 5), high runs in [5, 6): 5. Or low begins at 1 and high arrives at 2: [4, 6), then [8, 9): 7.
    let high = SmallTask { blocking: 2, ..task(2, 16, 1) };
    let cut = system(4, &[(0, 2)], &[high, task(1, 16, 3)]);
    assert_eq!(worst_free_running(&cut)[0], Response(7));
    let aligned = |offset| {
        let mut aligned = cut.clone();
        aligned.tasks[0].offset = offset;
        worst_aligned(&aligned)[0]
    };
    assert_eq!(aligned(1), Response(5));
}

#[test]
fn blocking_is_spent_once_in_a_busy_stretch() {
    // High: 2 every 4, middle: 4 every 16, blocking of middle 1, low begun. Released together:
    // 1 + 4 + 2 * ceil(t / 4): t = 7 -> 9 -> 11 -> 11. Blocked anew at each preemption it would be more.
    let high = task(3, 4, 2);
    let middle = SmallTask { blocking: 1, ..task(2, 16, 4) };
    let low = task(1, 64, 6);
    let worst = worst_free_running(&dedicated(&[high, middle, low]));
    assert_eq!(worst[1], Response(11));
}

#[test]
fn blocking_of_the_task_between_limits_that_of_the_one_above() {
    // Low may hold up high for 5 ticks by high's own number, but middle's level lends 1 at most.
    let high = SmallTask { blocking: 5, ..task(3, 16, 2) };
    let middle = SmallTask { blocking: 1, ..task(2, 16, 1) };
    let low = task(1, 32, 9);
    let worst = worst_free_running(&dedicated(&[high, middle, low]));
    assert_eq!(worst[..2], [Response(3), Response(4)]);
    // Without it in between the same low job holds up high for all 5.
    let worst = worst_free_running(&dedicated(&[high, low]));
    assert_eq!(worst[0], Response(7));
}

#[test]
fn an_overloaded_task_below_still_blocks() {
    let high = SmallTask { blocking: 2, ..task(2, 8, 1) };
    let greedy = task(1, 3, 3);
    assert_eq!(worst_free_running(&dedicated(&[high, greedy])), [Response(3), Unbounded]);
}

#[test]
fn a_shorter_job_above_lets_the_blocking_one_begin() {
    // Aligned at 0: high (arrivals 0 and 2) fills [0, 2) if it takes 2 ticks, and low begins only
    // after 4. If the first job takes 1 tick, low begins at 1 and may go on at 2.
    let high = SmallTask { bcet: 1, blocking: 1, ..task(2, 2, 2) };
    let low = task(1, 8, 2);
    let system = system(8, &[(0, 8)], &[high, low]);
    assert_eq!(worst_aligned(&system)[0], Response(3));
    let longest = cofferdam_testkit::oracle::Oracle::longest_only().aligned(&system);
    assert_eq!(longest[0], Response(2));
}
