//! Chains under logical execution time: small cases by hand, both definitions, and numbers at their ends.

use super::*;
use proptest::prelude::*;

fn task((period_ns, offset_ns, deadline_ns): (u64, u64, u64)) -> LogicalTask {
    LogicalTask { period_ns, offset_ns, deadline_ns }
}

fn tasks(given: &[(u64, u64, u64)]) -> LogicalTasks {
    LogicalTasks::new(&given.iter().copied().map(task).collect::<Vec<_>>()).expect("no period is zero")
}

fn whole(tasks: &LogicalTasks) -> Vec<usize> {
    (0..tasks.tasks.len()).collect()
}

#[test]
fn one_task_waits_a_period_and_writes_at_its_deadline() {
    let one = tasks(&[(10, 3, 7)]);
    assert_eq!(one.longest_ns(&[0]), Ok(17));
    assert_eq!(one.reaction_ns(&[0]), Ok(17));
    assert_eq!(one.age_ns(&[0]), Ok(17));
}

/// A write and a read at one instant: the read sees it. One tick later it waits for a whole period.
#[test]
fn a_write_is_seen_at_its_own_instant() {
    assert_eq!(tasks(&[(10, 0, 10), (10, 0, 10)]).longest_ns(&[0, 1]), Ok(30));
    assert_eq!(tasks(&[(10, 0, 9), (10, 9, 10)]).longest_ns(&[0, 1]), Ok(29));
    assert_eq!(tasks(&[(10, 0, 10), (10, 9, 10)]).longest_ns(&[0, 1]), Ok(39));
}

#[test]
fn what_has_no_answer_says_why() {
    assert_eq!(LogicalTasks::new(&[task((5, 0, 5)), task((0, 0, 0))]).err(), Some(LogicalError::PeriodZero(1)));
    let some = tasks(&[(u64::MAX, 0, 1), (u64::MAX - 1, 0, 1), ((1 << 40) - 1, 0, 1), (1 << 30, 0, u64::MAX)]);
    assert_eq!(some.longest_ns(&[]), Err(LogicalError::Empty));
    assert_eq!(some.longest_ns(&[0, 9]), Err(LogicalError::NoSuchTask(9)));
    assert_eq!(some.longest_ns(&[0, 1]), Err(LogicalError::HyperperiodTooLong));
    assert_eq!(some.longest_ns(&[2, 3]), Err(LogicalError::HyperperiodTooLong));
    assert_eq!(some.longest_ns(&[3]), Err(LogicalError::TooLong));
    assert_eq!(some.longest_ns(&[0]), Err(LogicalError::TooLong));
    let many = tasks(&[((1 << 20) + 1, 0, 1), (1 << 20, 0, 1)]);
    assert_eq!(many.longest_ns(&[0, 1]), Err(LogicalError::TooManyJobs));
}

/// Every output of a chain with the first task's read behind it, by first principles: who holds what at each tick.
fn outputs_by_ticks(tasks: &[LogicalTask], end: u64) -> Vec<(u64, Option<u64>)> {
    let mut held: Vec<Option<u64>> = vec![None; tasks.len()];
    let mut due: Vec<(u64, usize, Option<u64>)> = Vec::new();
    let mut outputs = Vec::new();
    for now in 0..end {
        let (writes, later): (Vec<_>, Vec<_>) = due.into_iter().partition(|&(at, _, _)| at == now);
        due = later;
        for (_, place, source) in writes {
            held[place] = source;
            if place + 1 == tasks.len() {
                outputs.push((now, source));
            }
        }
        for (place, task) in tasks.iter().enumerate() {
            if now >= task.offset_ns && (now - task.offset_ns).is_multiple_of(task.period_ns) {
                let source = if place == 0 { Some(now) } else { held[place - 1] };
                due.push((now + task.deadline_ns, place, source));
            }
        }
    }
    outputs
}

/// The longest reaction time and held data age of the run.
fn run_by_ticks(tasks: &[LogicalTask]) -> (u64, u64) {
    let hyperperiod = tasks.iter().map(|task| task.period_ns).fold(1, num_integer::lcm);
    let reach: u64 = tasks.iter().map(|task| task.period_ns + task.deadline_ns).sum();
    let outputs = outputs_by_ticks(tasks, 3 * reach + 2 * hyperperiod);
    let held = outputs.windows(2).filter_map(|pair| Some(pair[1].0 - pair[0].1?));
    let first = tasks[0];
    let reaction = |read: u64| {
        let caused = outputs.iter().find(|(_, source)| source.is_some_and(|source| source >= read));
        caused.map(|&(at, _)| at - (read - first.period_ns))
    };
    // Before the first read whose data reaches an output nothing counts.
    let first_source = outputs.iter().find_map(|&(_, source)| source).expect("long enough");
    let reads = (1..).map(|k| first_source + k * first.period_ns);
    (reads.map_while(reaction).max().expect("long enough"), held.max().expect("long enough"))
}

fn any_task(longest: u64) -> impl Strategy<Value = (u64, u64, u64)> {
    (1..=longest, 0..longest, 1..=2 * longest)
        .prop_map(|(period, offset, deadline)| (period, offset % period, deadline))
}

proptest! {
    #[test]
    fn both_definitions_are_the_answer(given in prop::collection::vec(any_task(12), 1..6)) {
        let tasks = tasks(&given);
        let chain = whole(&tasks);
        let longest = tasks.longest_ns(&chain);
        prop_assert_eq!(tasks.reaction_ns(&chain), longest);
        prop_assert_eq!(tasks.age_ns(&chain), longest);
        prop_assert_eq!(tasks.longest_of_wide_ns(&chain), longest);
    }

    #[test]
    fn runs_by_ticks_reach_the_answer(given in prop::collection::vec(any_task(6), 1..5)) {
        let tasks = tasks(&given);
        let longest = tasks.longest_ns(&whole(&tasks)).expect("small");
        let (reaction, age) = run_by_ticks(&tasks.tasks);
        prop_assert_eq!((reaction, age), (longest, longest));
    }

    /// Times whose walk fits no 32 bits give what small ones give, as many times as long.
    #[test]
    fn scaling_scales(given in prop::collection::vec(any_task(30), 1..5), factor in 1_u64..1 << 40) {
        let small = tasks(&given);
        let spread: Vec<_> = given.iter().map(|&(t, o, d)| (t * factor, o * factor, d * factor)).collect();
        let prime = tasks(&[&spread[..], &[(1, 0, 1)]].concat());
        let chain = whole(&small);
        prop_assert_eq!(prime.longest_ns(&chain), small.longest_ns(&chain).map(|longest| longest * factor));
    }

    #[test]
    fn any_numbers_end(given in prop::collection::vec((1..=u64::MAX, any::<u64>(), any::<u64>()), 1..6)) {
        let tasks = tasks(&given);
        let chain = whole(&tasks);
        if let Ok(longest) = tasks.longest_ns(&chain) {
            prop_assert_eq!(tasks.longest_of_wide_ns(&chain), Ok(longest));
        }
    }
}
