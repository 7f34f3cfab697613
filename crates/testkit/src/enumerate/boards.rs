//! The small chains and queues between the tasks of one or two partitions.

use super::tables;
use crate::oracle::backlog::SmallQueue;
use crate::oracle::board::{BoardTask, Exchange, SmallBoard, SmallPartition, Start};
use crate::oracle::chain::{Link, SmallChain};
use crate::oracle::{Policy, SmallTask};

/// The values one slot of a family takes, every combination of them.
#[derive(Clone, Copy)]
struct Slot {
    partition: usize,
    priorities: &'static [u32],
    periods: &'static [u32],
    /// Shortest and longest execution.
    executions: &'static [(u32, u32)],
    jitters: &'static [u32],
    /// First arrivals of an aligned task; free-running where empty.
    offsets: &'static [u32],
    /// How much the deadline is below the period, of a task with logical execution time; start to finish where empty.
    logical: &'static [u32],
}

const PLAIN: Slot = Slot {
    partition: 0,
    priorities: &[1],
    periods: &[3, 4, 6],
    executions: &[(1, 1), (1, 2)],
    jitters: &[0],
    offsets: &[],
    logical: &[],
};

impl Slot {
    fn tasks(&self) -> Vec<BoardTask> {
        let mut tasks = vec![BoardTask { partition: self.partition, ..BoardTask::default() }];
        vary(&mut tasks, self.priorities, |task, priority| task.task.priority = priority);
        vary(&mut tasks, self.periods, |task, period| {
            task.task = SmallTask { period, deadline: period, ..task.task };
        });
        vary(&mut tasks, self.executions, |task, (bcet, wcet)| task.task = SmallTask { bcet, wcet, ..task.task });
        vary(&mut tasks, self.jitters, |task, jitter| task.task.jitter = jitter);
        vary(&mut tasks, self.offsets, |task, offset| {
            task.task.offset = offset;
            task.start = Start::Aligned;
        });
        vary(&mut tasks, self.logical, |task, less| {
            task.task.deadline = task.task.period - less;
            task.exchange = Exchange::Logical;
        });
        tasks
    }
}

/// Each task once with each value; as it is where there are no values.
fn vary<T: Copy>(tasks: &mut Vec<BoardTask>, values: &[T], set: fn(&mut BoardTask, T)) {
    if values.is_empty() {
        return;
    }
    let with_each = |&task: &BoardTask| {
        values.iter().map(move |&value| {
            let mut task = task;
            set(&mut task, value);
            task
        })
    };
    *tasks = tasks.iter().flat_map(with_each).collect();
}

/// A frame and its partitions.
type Partitions = (u32, Vec<SmallPartition>);

fn by_priority(windows: Vec<(u32, u32)>) -> SmallPartition {
    SmallPartition { windows, policy: Policy::FixedPriority }
}

/// Two partitions of one window each, every pair of windows of each frame: on two cores where they overlap.
fn pairs(frames: std::ops::RangeInclusive<u32>) -> Vec<Partitions> {
    let mut pairs = Vec::new();
    for frame in frames {
        let all = tables(frame..=frame, 1);
        for (_, first) in &all {
            let with =
                |(_, second): &(u32, Vec<_>)| (frame, vec![by_priority(first.clone()), by_priority(second.clone())]);
            pairs.extend(all.iter().map(with));
        }
    }
    pairs
}

/// One partition of one window under each policy.
fn lone(frames: std::ops::RangeInclusive<u32>) -> Vec<Partitions> {
    let under = |policy| {
        tables(frames.clone(), 1)
            .into_iter()
            .map(move |(frame, windows)| (frame, vec![SmallPartition { windows, policy }]))
    };
    let policies = [Policy::FixedPriority, Policy::Cooperative, Policy::EarliestDeadline];
    policies.into_iter().flat_map(under).collect()
}

/// A product of partitions, slots and one more list: of the links of a chain, or how many messages a reader takes.
struct Family<L> {
    partitions: Vec<Partitions>,
    slots: Vec<Vec<BoardTask>>,
    kinds: Vec<L>,
}

impl<L: Clone> Family<L> {
    fn new(partitions: Vec<Partitions>, slots: &[Slot], kinds: &[L]) -> Self {
        Self { partitions, slots: slots.iter().map(Slot::tasks).collect(), kinds: kinds.to_vec() }
    }

    fn len(&self) -> usize {
        self.partitions.len() * self.slots.iter().map(Vec::len).product::<usize>() * self.kinds.len()
    }

    fn board(&self, number: usize) -> (SmallBoard, L) {
        let mut digits = number;
        let mut digit = |base: usize| {
            let value = digits % base;
            digits /= base;
            value
        };
        let (frame, partitions) = self.partitions[digit(self.partitions.len())].clone();
        let tasks = self.slots.iter().map(|slot| slot[digit(slot.len())]).collect();
        (SmallBoard { frame, partitions, tasks }, self.kinds[digit(self.kinds.len())].clone())
    }

    fn into_boards(self) -> impl Iterator<Item = (SmallBoard, L)> {
        (0..self.len()).map(move |number| self.board(number))
    }
}

/// A chain through the first tasks of a board, one more than links; the others only take time.
fn chain((board, links): (SmallBoard, Vec<Link>)) -> SmallChain {
    let path = (0..=links.len()).collect();
    SmallChain { board, path, links }
}

/// A queue from the first task of a board to the second; the others only take time.
fn queue((board, at_most): (SmallBoard, Option<u32>)) -> SmallQueue {
    SmallQueue { board, writer: 0, reader: 1, at_most }
}

/// The 23,544 chains of free-running tasks; each partition has one window, any one within the frame, and each pair
/// of two partitions comes, on two cores where their windows overlap.
///
/// | tasks | frame | partitions | periods | execution | jitter | exchange | links |
/// |---|---|---|---|---|---|---|---|
/// | 2 | 1-3 | two | 3, 4, 6 | 1, 1-2 | 0, 1 of the last | start to finish | last value, queue |
/// | 2, either above or equal | 1-4 | one, each policy | 3, 4, 6 | 1, 1-2 | | start to finish | last value, queue |
/// | 2 | 1-2 | two | 3, 4, 6 | 1, 1-2 | | logical at one or both, deadline 0 or 1 below the period | last value |
/// | 2 | 1-2 | two | 3, 4, 6 | 1, 1-2 | | start to finish | queue, 1 or 2 at most |
/// | 2, and one above or below the last | 2 | two | 3 to 4, and 5 | 1, 1-2, and 1-2 | | start to finish | last value |
/// | 3, the last with the first, above or below | 2 | two | 3 to 4 to 3 | 1, 1-2 | | start to finish | two last values, two queues |
pub fn free_running_chains() -> impl Iterator<Item = SmallChain> {
    free_running_families().into_iter().flat_map(Family::into_boards).map(chain)
}

/// How many chains [`free_running_chains`] gives.
#[must_use]
pub fn free_running_chain_count() -> usize {
    free_running_families().iter().map(Family::len).sum()
}

/// The 195,840 chains of aligned tasks: the same kinds with periods 4 and 6 and offsets 0 and 2 (0, 1 and 4 of the
/// first of two in one partition), in frames up to 4, 4, 3, 3, 3 and 3 ticks.
pub fn aligned_chains() -> impl Iterator<Item = SmallChain> {
    aligned_families().into_iter().flat_map(Family::into_boards).map(chain)
}

/// How many chains [`aligned_chains`] gives.
#[must_use]
pub fn aligned_chain_count() -> usize {
    aligned_families().iter().map(Family::len).sum()
}

/// The 15,696 queues between two free-running tasks, read whole or one or two messages at a time; partitions as
/// those of [`free_running_chains`].
///
/// | tasks | frame | partitions | periods | execution | jitter |
/// |---|---|---|---|---|---|
/// | 2 | 1-3 | two | 3, 4 to 3, 5, 6 | 1, 1-2 | 0, 1 of the writer |
/// | 2, either above or equal | 1-4 | one, each policy | 3, 4 to 4, 6 | 1, 1-2 | |
/// | 2, and one above or below the writer | 2 | two | 3, 4 to 6, and 5 | 1, 1-2, and 1-2 | |
pub fn free_running_queues() -> impl Iterator<Item = SmallQueue> {
    queue_families(&[]).into_iter().flat_map(Family::into_boards).map(queue)
}

/// The 64,512 queues between two aligned tasks: the same with offsets 0 and 2 of each end.
pub fn aligned_queues() -> impl Iterator<Item = SmallQueue> {
    queue_families(&[0, 2]).into_iter().flat_map(Family::into_boards).map(queue)
}

/// How many queues [`free_running_queues`] gives.
#[must_use]
pub fn free_running_queue_count() -> usize {
    queue_families(&[]).iter().map(Family::len).sum()
}

/// How many queues [`aligned_queues`] gives.
#[must_use]
pub fn aligned_queue_count() -> usize {
    queue_families(&[0, 2]).iter().map(Family::len).sum()
}

/// In the other partition.
const OTHER: Slot = Slot { partition: 1, ..PLAIN };

/// Above, beside or below the rest.
const ANY_RANK: Slot = Slot { priorities: &[0, 1, 2], ..PLAIN };

const LAST: [Link; 1] = [Link::LastValue];

fn one_link() -> [Vec<Link>; 2] {
    [LAST.to_vec(), vec![Link::Queue]]
}

fn free_running_families() -> Vec<Family<Vec<Link>>> {
    let logical = |slot| Slot { logical: &[0, 1], ..slot };
    let limited = [vec![Link::QueueAtMost(1)], vec![Link::QueueAtMost(2)]];
    let third = Slot { priorities: &[0, 2], periods: &[5], executions: &[(1, 2)], ..OTHER };
    let three = [Slot { periods: &[3], ..PLAIN }, Slot { periods: &[4], ..OTHER }];
    let ends = Slot { priorities: &[0, 2], periods: &[3], ..PLAIN };
    vec![
        Family::new(pairs(1..=3), &[PLAIN, Slot { jitters: &[0, 1], ..OTHER }], &one_link()),
        Family::new(lone(1..=4), &[ANY_RANK, PLAIN], &one_link()),
        Family::new(pairs(1..=2), &[logical(PLAIN), OTHER], &[LAST.to_vec()]),
        Family::new(pairs(1..=2), &[PLAIN, logical(OTHER)], &[LAST.to_vec()]),
        Family::new(pairs(1..=2), &[logical(PLAIN), logical(OTHER)], &[LAST.to_vec()]),
        Family::new(pairs(1..=2), &[PLAIN, OTHER], &limited),
        Family::new(pairs(2..=2), &[three[0], three[1], third], &[LAST.to_vec()]),
        Family::new(pairs(2..=2), &[three[0], three[1], ends], &[vec![Link::LastValue; 2], vec![Link::Queue; 2]]),
    ]
}

fn aligned_families() -> Vec<Family<Vec<Link>>> {
    let logical = |slot| Slot { logical: &[0, 1], ..slot };
    let [first, second] = [PLAIN, OTHER].map(|slot| Slot { periods: &[4, 6], offsets: &[0, 2], ..slot });
    let limited = [vec![Link::QueueAtMost(1)], vec![Link::QueueAtMost(2)]];
    let third = Slot { priorities: &[0, 2], periods: &[6], executions: &[(1, 2)], ..second };
    let ends = Slot { priorities: &[0, 2], ..first };
    vec![
        Family::new(pairs(1..=4), &[first, Slot { jitters: &[0, 1], ..second }], &one_link()),
        Family::new(lone(1..=4), &[Slot { offsets: &[0, 1, 4], priorities: &[0, 1, 2], ..first }, first], &one_link()),
        Family::new(pairs(1..=3), &[logical(first), second], &[LAST.to_vec()]),
        Family::new(pairs(1..=3), &[first, logical(second)], &[LAST.to_vec()]),
        Family::new(pairs(1..=2), &[logical(first), logical(second)], &[LAST.to_vec()]),
        Family::new(pairs(1..=3), &[first, second], &limited),
        Family::new(pairs(2..=3), &[first, second, third], &[LAST.to_vec()]),
        Family::new(pairs(2..=3), &[first, second, ends], &[vec![Link::LastValue; 2], vec![Link::Queue; 2]]),
    ]
}

fn queue_families(offsets: &'static [u32]) -> Vec<Family<Option<u32>>> {
    let kinds = [None, Some(1), Some(2)];
    let writer = Slot { periods: &[3, 4], offsets, ..PLAIN };
    let reader = Slot { periods: &[3, 5, 6], offsets, ..OTHER };
    let beside = Slot { partition: 0, periods: &[4, 6], ..reader };
    let rare = Slot { periods: &[6], ..reader };
    let third = Slot { priorities: &[0, 2], periods: &[5], executions: &[(1, 2)], offsets, ..PLAIN };
    vec![
        Family::new(pairs(1..=3), &[Slot { jitters: &[0, 1], ..writer }, reader], &kinds),
        Family::new(lone(1..=4), &[Slot { priorities: &[0, 1, 2], ..writer }, beside], &kinds),
        Family::new(pairs(2..=2), &[writer, rare, third], &kinds),
    ]
}
