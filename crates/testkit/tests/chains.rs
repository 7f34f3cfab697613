//! Chains on small boards: cases worked out by hand, closed forms and published results.

use testkit::oracle::SmallTask;
use testkit::oracle::board::{BoardTask, Exchange, SmallBoard, SmallPartition, Start, Unanswered};
use testkit::oracle::chain::{ChainWorst, Link, SmallChain, worst_chain};

fn task(partition: usize, period: u32, wcet: u32) -> BoardTask {
    let task = SmallTask { period, deadline: period, wcet, bcet: wcet, ..SmallTask::default() };
    BoardTask { partition, task, ..BoardTask::default() }
}

fn logical(partition: usize, period: u32, deadline: u32) -> BoardTask {
    let mut logical = task(partition, period, 1);
    logical.task.deadline = deadline;
    logical.exchange = Exchange::Logical;
    logical
}

fn aligned(mut task: BoardTask, offset: u32) -> BoardTask {
    task.start = Start::Aligned;
    task.task.offset = offset;
    task
}

/// The tasks in the order of the path, joined by one kind of link.
fn chain(frame: u32, windows: &[&[(u32, u32)]], tasks: &[BoardTask], link: Link) -> SmallChain {
    let partition = |windows: &&[(u32, u32)]| SmallPartition { windows: windows.to_vec(), ..SmallPartition::default() };
    let partitions = windows.iter().map(partition).collect();
    SmallChain {
        board: SmallBoard { frame, partitions, tasks: tasks.to_vec() },
        path: (0..tasks.len()).collect(),
        links: vec![link; tasks.len() - 1],
    }
}

/// Each partition has all of a core.
fn dedicated(tasks: &[BoardTask], link: Link) -> SmallChain {
    let partitions = tasks.iter().map(|task| task.partition + 1).max().unwrap_or(0);
    chain(1, &vec![&[(0, 1)][..]; partitions], tasks, link)
}

fn both(worst: u32) -> Result<ChainWorst, Unanswered> {
    Ok(ChainWorst { reaction: worst, held: worst })
}

/// A stimulus just after a read waits one period for the next, and then the response.
#[test]
fn one_task_reacts_within_a_period_and_its_response() {
    for (period, wcet) in [(1, 1), (4, 1), (4, 3), (7, 5)] {
        assert_eq!(worst_chain(&dedicated(&[task(0, period, wcet)], Link::LastValue)), both(period + wcet));
    }
    // Jitter may keep the next job back, and only the next.
    let mut late = task(0, 5, 1);
    late.task.jitter = 3;
    assert_eq!(worst_chain(&dedicated(&[late], Link::LastValue)), both(5 + 3 + 1));
    // Below another task of 2 every 5 it may be read at once and the next time done 2 later.
    let mut above = task(0, 5, 2);
    above.task.priority = 1;
    let mut below = dedicated(&[task(0, 4, 1), above], Link::LastValue);
    (below.path, below.links) = (vec![0], vec![]);
    assert_eq!(worst_chain(&below), both(4 + 3));
}

#[test]
fn one_task_with_logical_execution_time() {
    for (period, deadline) in [(4, 4), (4, 2), (7, 1)] {
        assert_eq!(worst_chain(&dedicated(&[logical(0, period, deadline)], Link::LastValue)), both(period + deadline));
    }
    // In the window [0, 1) of 4 one tick may take 4: a deadline of 3 is late in some phase, one of 4 is not.
    let cut = |deadline| worst_chain(&chain(4, &[&[(0, 1)]], &[logical(0, 4, deadline)], Link::LastValue));
    assert_eq!(cut(3), Err(Unanswered::Late(0)));
    assert_eq!(cut(4), both(8));
}

/// Davare et al. 2007: `sum of (T + R)`; in ticks a read misses a write by one tick at least, so each link
/// takes one off.
#[test]
fn free_running_tasks_reach_the_sum_of_periods_and_responses() {
    for link in [Link::LastValue, Link::Queue] {
        let pair = dedicated(&[task(0, 4, 2), task(1, 5, 3)], link);
        assert_eq!(worst_chain(&pair), both(4 + 2 + 5 + 3 - 1), "{link:?}");
        let three = dedicated(&[task(0, 3, 1), task(1, 4, 2), task(2, 5, 1)], link);
        assert_eq!(worst_chain(&three), both(3 + 1 + 4 + 2 + 5 + 1 - 2), "{link:?}");
    }
}

/// With logical execution time a free-running pair has `T + D` twice, less the tick.
#[test]
fn free_running_logical_pairs() {
    for (first, second) in [((4, 4), (6, 6)), ((5, 2), (3, 3)), ((3, 1), (7, 4))] {
        let pair = dedicated(&[logical(0, first.0, first.1), logical(1, second.0, second.1)], Link::LastValue);
        // Where all phases against each other come again and again, or any one is chosen: the same.
        assert_eq!(worst_chain(&pair), both(first.0 + first.1 + second.0 + second.1 - 1));
    }
}

/// Günzel et al. 2023: maximum reaction time equals maximum data age; the chains are `[period, offset]` with
/// logical execution time and deadlines equal to periods, the values by a separate enumeration of two hyperperiods.
#[test]
fn reaction_equals_held_age_on_aligned_logical_chains() {
    let chains: [(&[(u32, u32)], u32); 7] = [
        (&[(5, 0), (10, 0), (20, 0)], 55),
        (&[(2, 0), (5, 0)], 13),
        (&[(10, 0), (100, 0), (2, 0)], 212),
        (&[(20, 0), (7, 0), (15, 0)], 80),
        (&[(4, 1), (6, 0), (9, 2)], 36),
        (&[(3, 0), (5, 2), (7, 1), (2, 0)], 31),
        (&[(50, 0), (20, 5), (10, 3)], 153),
    ];
    for (tasks, worst) in chains {
        let logical =
            |(place, &(period, offset)): (usize, &(u32, u32))| aligned(logical(place, period, period), offset);
        let tasks: Vec<_> = tasks.iter().enumerate().map(logical).collect();
        assert_eq!(worst_chain(&dedicated(&tasks, Link::LastValue)), both(worst), "{tasks:?}");
    }
}

/// Writes at an instant come before reads at it: a job that starts as the other completes sees its output.
#[test]
fn a_job_sees_what_is_written_as_it_starts() {
    // Reads at 0, 4, ...; writes at 1, 5, ... Read there at once: written at 2: 4 + 1 + 1.
    let pair = |offset| dedicated(&[aligned(task(0, 4, 1), 0), aligned(task(1, 4, 1), offset)], Link::LastValue);
    assert_eq!(worst_chain(&pair(1)), both(6));
    // Read at 0 it misses that write by a tick and waits until 4: written at 5, and 4 + 5 from the read before.
    assert_eq!(worst_chain(&pair(0)), both(9));
}

#[test]
fn two_partitions_by_turns_on_one_core() {
    // Windows [0, 2) and [2, 4) of 4: read at 0, written at 1, read at 2, written at 3; from the read before 4 + 3.
    let windows: [&[(u32, u32)]; 2] = [&[(0, 2)], &[(2, 4)]];
    let turns = |tasks: &[BoardTask]| worst_chain(&chain(4, &windows, tasks, Link::LastValue));
    let pair = [aligned(task(0, 4, 1), 0), aligned(task(1, 4, 1), 0)];
    assert_eq!(turns(&pair), both(7));
    // The other way round the datum waits from 3 to 4 and is written at 5: read at 2 of the frame before, 7 again.
    assert_eq!(turns(&[aligned(task(1, 4, 1), 0), aligned(task(0, 4, 1), 0)]), both(7));
    // A shorter first job changes nothing here, but an early read with a late write does: the first takes 1 or 2.
    let mut varied = pair;
    varied[0].task.wcet = 2;
    assert_eq!(turns(&varied), both(7));
}

/// A short execution can be the worse one: it lets the reader start early, and miss.
#[test]
fn the_run_at_the_longest_execution_is_not_the_worst() {
    // One core: the reader, below, waits for a job of 1 or 2 ticks above it, and for the writer to end on another
    // core at 2. Starting at 2 it sees the datum, starting at 1 it misses it.
    let mut above = aligned(task(1, 8, 2), 0);
    above.task.priority = 1;
    let tasks = |bcet| {
        let mut above = above;
        above.task.bcet = bcet;
        [aligned(task(0, 8, 2), 0), aligned(task(1, 8, 1), 0), above]
    };
    let worst = |bcet| {
        let mut chain = dedicated(&tasks(bcet), Link::LastValue);
        (chain.path, chain.links) = (vec![0, 1], vec![Link::LastValue]);
        worst_chain(&chain)
    };
    // Written at 3, and 8 + 3 from the read before. Missed at 1, the next reader may start at 10: 8 + 8 + 3.
    assert_eq!(worst(2), both(11));
    assert_eq!(worst(1), both(19));
}

#[test]
fn queues() {
    // The reader comes every second time; of two messages the newest counts for the age, and both are taken.
    let tasks = [aligned(task(0, 2, 1), 0), aligned(task(1, 4, 1), 1)];
    // Reads 0, 2, 4; written 1, 3, 5; taken at 1, 5: datum 0 and then datum 4, replaced at 6. Stimulus after the read
    // of 0: goes with 2, taken at 5, written at 6.
    assert_eq!(worst_chain(&dedicated(&tasks, Link::Queue)), both(6));
    // One at a time the reader falls behind.
    assert_eq!(worst_chain(&dedicated(&tasks, Link::QueueAtMost(1))), Err(Unanswered::QueueGrows));
    assert_eq!(worst_chain(&dedicated(&tasks, Link::QueueAtMost(2))), both(6));
    // Writer and reader at the same pace, but the reader begins two periods late: two messages stand before each.
    let late = [aligned(task(0, 2, 1), 0), aligned(task(1, 2, 1), 5)];
    // The messages of 0, 2, 4 stand at 5, that of 0 is taken; the next output is written at 8.
    assert_eq!(worst_chain(&dedicated(&late, Link::QueueAtMost(1))), both(8));
    assert_eq!(worst_chain(&dedicated(&late, Link::Queue)), both(4));
}

/// A reader that finds its queue empty carries nothing on, so its output stands.
#[test]
fn an_empty_queue_replaces_no_output() {
    let tasks = [aligned(task(0, 8, 1), 0), aligned(task(1, 2, 1), 1)];
    // Read at 0, written at 1, taken at 1, written at 2, replaced at 10; a buffer would be read again at 3.
    assert_eq!(worst_chain(&dedicated(&tasks, Link::Queue)), both(10));
    assert_eq!(worst_chain(&dedicated(&tasks, Link::LastValue)), both(10));
}

#[test]
fn a_chain_above_supply_has_no_answer() {
    let pair = chain(4, &[&[(0, 1)], &[(1, 4)]], &[task(0, 4, 2), task(1, 4, 1)], Link::LastValue);
    assert_eq!(worst_chain(&pair), Err(Unanswered::Overloaded(0)));
}
