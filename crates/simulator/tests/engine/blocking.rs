//! Begun jobs that go on before more urgent ones.

use crate::build::{alone, completions, drawn, scenario, task};
use simulator::machine::Guest::{Cooperative, FixedPriority};
use simulator::scenario::GivenJob;
use simulator::scenario::Spread::{Least, Most};
use simulator::scenario::Times::Given;

#[test]
fn a_begun_job_goes_on_for_the_blocking_time_once_in_a_busy_stretch() {
    // The long job begins at 0; the urgent one arrives at 4 and waits for 3: it runs 7 to 9, the long one is done at 12.
    let mut machine = alone(FixedPriority, vec![task(0, 2, 100, 2, 4), task(0, 1, 100, 10, 0)]);
    machine.tasks[0].blocking_ns = 3;
    assert_eq!(completions(&machine, &scenario(50, drawn(Most))), [(9, 0, 5), (12, 1, 12)]);
    // Drawn to go on not at all.
    assert_eq!(completions(&machine, &scenario(50, drawn(Least))), [(6, 0, 2), (12, 1, 12)]);
}

#[test]
fn a_job_between_the_two_counts_what_goes_on_against_its_own_blocking() {
    // Blocking 5 for the most urgent, 2 for the middle one, which is ready from 3 on: the long job may go on from 3 to 5 only,
    // also before the most urgent one, which arrives at 4. Then that runs 5 to 6 and the middle one 6 to 7.
    let tasks = vec![task(0, 3, 100, 1, 4), task(0, 2, 100, 1, 3), task(0, 1, 100, 10, 0)];
    let mut machine = alone(FixedPriority, tasks);
    (machine.tasks[0].blocking_ns, machine.tasks[1].blocking_ns) = (5, 2);
    assert_eq!(completions(&machine, &scenario(50, drawn(Most))), [(6, 0, 2), (7, 1, 4), (12, 2, 12)]);
}

#[test]
fn given_jobs_go_on_as_long_as_they_say() {
    let mut machine = alone(FixedPriority, vec![task(0, 2, 100, 2, 4), task(0, 1, 100, 10, 0)]);
    machine.tasks[0].blocking_ns = 3;
    let job = |task, arrival_ns, execution_ns, goes_on_ns| GivenJob {
        arrival_ns,
        task,
        release_ns: arrival_ns,
        execution_ns,
        goes_on_ns,
    };
    let times = Given(vec![job(1, 10, 10, 1), job(0, 12, 2, 0)]);
    assert_eq!(completions(&machine, &scenario(50, times)), [(15, 0, 3), (22, 1, 12)]);
}

#[test]
fn a_cooperative_guest_displaces_nobody() {
    let machine = alone(Cooperative, vec![task(0, 2, 100, 2, 4), task(0, 1, 100, 10, 0)]);
    assert_eq!(completions(&machine, &scenario(50, drawn(Least))), [(10, 1, 10), (12, 0, 8)]);
}
