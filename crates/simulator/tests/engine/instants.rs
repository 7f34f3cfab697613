//! What happens at which instant, and in which order at one.

use crate::build::{completions, drawn, events, runs, scenario, task, window, windowed};
use simulator::What;
use simulator::machine::Guest::FixedPriority;
use simulator::scenario::Spread::Least;

#[test]
fn a_window_gives_its_time_after_its_head_in_every_frame() {
    // Window [2, 6) with a head of 1 in a frame of 10; a job of 4 arrives at 0 and each 20: 3 to 6, then 13 to 14.
    let machine = windowed(10, &[FixedPriority], vec![window(0, 2, 6, 1)], vec![task(0, 1, 20, 4, 0)]);
    let run = scenario(40, drawn(Least));
    assert_eq!(
        runs(&machine, &run),
        [(3, Some(0)), (6, None), (13, Some(0)), (14, None), (23, Some(0)), (26, None), (33, Some(0)), (34, None)]
    );
    assert_eq!(completions(&machine, &run), [(14, 0, 14), (34, 0, 14)]);
}

#[test]
fn a_job_that_needs_exactly_what_is_left_of_a_window_completes_in_it() {
    let machine = windowed(10, &[FixedPriority], vec![window(0, 0, 5, 1)], vec![task(0, 1, 10, 4, 0)]);
    assert_eq!(completions(&machine, &scenario(20, drawn(Least))), [(5, 0, 5), (15, 0, 5)]);
}

#[test]
fn what_is_over_at_the_end_of_a_run_does_not_count() {
    let machine = windowed(10, &[FixedPriority], vec![window(0, 0, 5, 1)], vec![task(0, 1, 10, 4, 0)]);
    assert_eq!(events(&machine, &scenario(5, drawn(Least))).1.tasks[0].jobs, 0);
    assert_eq!(events(&machine, &scenario(6, drawn(Least))).1.tasks[0].jobs, 1);
}

#[test]
fn completions_come_before_window_ends_arrivals_and_window_starts() {
    // At 5 a job completes, its window ends, a job of the other partition arrives, and that one's window begins.
    let tasks = vec![task(0, 1, 10, 5, 0), task(1, 1, 10, 2, 5)];
    let windows = vec![window(0, 0, 5, 0), window(1, 5, 10, 0)];
    let machine = windowed(10, &[FixedPriority, FixedPriority], windows, tasks);
    let at_five = events(&machine, &scenario(9, drawn(Least))).0.into_iter().filter(|event| event.at_ns == 5);
    let what: Vec<_> = at_five.map(|event| event.what).collect();
    assert_eq!(
        what,
        [
            What::Completes { task: 0, job: 0, response_ns: 5 },
            What::Idles { core: 0 },
            What::LaneEnds { core: 0, lane: 0 },
            What::Arrives { task: 1, job: 0 },
            What::Released { task: 1, job: 0 },
            What::LaneBegins { core: 0, lane: 1, head_ns: 0 },
            What::Runs { core: 0, task: 1, job: 0 },
        ]
    );
}

#[test]
fn a_deadline_is_missed_when_it_passes_not_when_it_is_met_to_the_nanosecond() {
    // Jobs of 5 in windows [0, 3): the first of 20 completes at 12. With a deadline of 12 it is met, with 11 missed at 11.
    let mut machine = windowed(10, &[FixedPriority], vec![window(0, 0, 3, 0)], vec![task(0, 1, 20, 5, 0)]);
    machine.tasks[0].deadline_ns = 12;
    assert_eq!(events(&machine, &scenario(20, drawn(Least))).1.tasks[0].missed, 0);
    machine.tasks[0].deadline_ns = 11;
    let (events, seen) = events(&machine, &scenario(20, drawn(Least)));
    let missed: Vec<_> = events.iter().filter(|event| matches!(event.what, What::Misses { .. })).collect();
    assert_eq!(missed.iter().map(|event| event.at_ns).collect::<Vec<_>>(), [11]);
    assert_eq!((seen.tasks[0].jobs, seen.tasks[0].missed), (1, 1));
}

#[test]
fn late_jobs_of_a_task_follow_one_another_and_each_misses_once() {
    // 3 of every 10, jobs of 5 each 10: they complete at 12, 31 -> 5 of supply: 0..3, 10..12 | 12..13, 20..23, 30..31 | ...
    let machine = windowed(10, &[FixedPriority], vec![window(0, 0, 3, 0)], vec![task(0, 1, 10, 5, 0)]);
    let (_, seen) = events(&machine, &scenario(40, drawn(Least)));
    assert_eq!(completions(&machine, &scenario(40, drawn(Least))), [(12, 0, 12), (31, 0, 21)]);
    assert_eq!(seen.tasks[0].missed, 3);
}

#[test]
fn a_window_across_the_end_of_the_frame_pays_its_head_in_the_first_frame_only() {
    // [0, 4) and [8, 10) of a frame of 10 are one window but for the first frame: head 1 at 0, head 1 at 8, none at 10.
    let mut first = window(0, 0, 4, 1);
    first.continues = true;
    let machine = windowed(10, &[FixedPriority], vec![first, window(0, 8, 10, 1)], vec![task(0, 1, 20, 9, 0)]);
    // 1..4 gives 3, 9..14 gives 5, 19..20 gives 1 more: completes at 20; the next arrives at 20: 20..24, 29..34.
    let run = scenario(40, drawn(Least));
    assert_eq!(completions(&machine, &run), [(20, 0, 20), (34, 0, 14)]);
    assert_eq!(events(&machine, &run).1.counts.windows, 5);
}

#[test]
fn a_head_that_is_longer_than_what_is_left_of_the_frame_ends_in_the_next_one() {
    // [18, 20) and [0, 10) of a frame of 20 with heads of 5 are one window: usable from 23 on. The job of 18 takes 3.
    let mut first = window(0, 0, 10, 5);
    first.continues = true;
    let machine = windowed(20, &[FixedPriority], vec![first, window(0, 18, 20, 5)], vec![task(0, 1, 40, 3, 18)]);
    assert_eq!(completions(&machine, &scenario(40, drawn(Least))), [(26, 0, 8)]);
    // The fast engine counts the same.
    let mut seen = simulator::Seen::nothing(&machine);
    let mut table = simulator::Table::new(&machine, 0).expect("it fits");
    table.run(&scenario(40, drawn(Least)), &mut seen).expect("it fits");
    assert_eq!(seen.tasks[0].most_ns, 8);
}
