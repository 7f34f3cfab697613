//! Who goes first within a partition.

use crate::build::{alone, completions, drawn, scenario, task};
use simulator::machine::Guest::{Edf, FixedPriority};
use simulator::scenario::Spread::Least;

#[test]
fn the_earliest_deadline_goes_first_and_a_begun_job_before_an_equal_one() {
    // Deadlines from arrival: 20, 8 and 18. The first begins at 0; the second, due at 10, displaces it at 2; the third, due at
    // 20 as the first is, waits for the begun one.
    let mut tasks = vec![task(0, 0, 100, 5, 0), task(0, 0, 100, 3, 2), task(0, 0, 100, 1, 2)];
    (tasks[0].deadline_ns, tasks[1].deadline_ns, tasks[2].deadline_ns) = (20, 8, 18);
    let machine = alone(Edf, tasks);
    assert_eq!(completions(&machine, &scenario(50, drawn(Least))), [(5, 1, 3), (8, 0, 8), (9, 2, 7)]);
}

#[test]
fn among_equals_the_earlier_arrival_goes_first_then_the_order_of_the_file() {
    // Task 0 arrives at 1, 1 and 2 at 0, all equal: 1 begins at 0, then 2, which arrived before 0.
    let tasks = vec![task(0, 1, 100, 2, 1), task(0, 1, 100, 3, 0), task(0, 1, 100, 2, 0)];
    let machine = alone(FixedPriority, tasks);
    assert_eq!(completions(&machine, &scenario(50, drawn(Least))), [(3, 1, 3), (5, 2, 5), (7, 0, 6)]);
}

#[test]
fn more_tasks_than_a_word_has_bits_keep_their_order() {
    let tasks: Vec<_> = (0..100).map(|number| task(0, 100 - number, 1000, 1, 0)).collect();
    let machine = alone(FixedPriority, tasks);
    let done = completions(&machine, &scenario(500, drawn(Least)));
    assert_eq!(done, (0..100).map(|number| (number as u64 + 1, number, number as u64 + 1)).collect::<Vec<_>>());
}

#[test]
fn the_first_published_schedule_of_rates_is_met() {
    // Periods 4, 6, 10 and times 1, 2, 3, all from 0, by hand: task 2 first runs 3 to 4 and 5 to 6, then 9 to 10 after 6 to 8 and
    // 8 to 9 of the others, so it responds after 10.
    let tasks = vec![task(0, 3, 4, 1, 0), task(0, 2, 6, 2, 0), task(0, 1, 10, 3, 0)];
    let machine = alone(FixedPriority, tasks);
    let first = completions(&machine, &scenario(12, drawn(Least))).into_iter().find(|&(_, task, _)| task == 2);
    assert_eq!(first, Some((10, 2, 10)));
}
