//! What queues hold, and chains through queues of which a reader takes some messages, against the brute-force oracle:
//! a bound is never below the truth. A tick of the oracle is one ns here.

use std::num::NonZeroU64;

use testkit::enumerate::{aligned_chains, aligned_queues, free_running_chains, free_running_queues};
use testkit::oracle::backlog::{Backlog, SmallQueue, worst_backlog};
use testkit::oracle::board::{BoardTask, Exchange, SmallBoard, Start};
use testkit::oracle::chain::{Link, SmallChain, worst_chain};
use testkit::oracle::{self, SmallTask};
use testkit::{random_chains, random_queues};
use timing::chain::{Stage, generic_ns};
use timing::network_calculus::{Arrivals, Reads};
use timing::response::worst_responses;
use timing::supply::{Interval, Supply};
use timing::{Policy, Release, Task, TaskSet};

fn as_analysed(placed: &BoardTask) -> Task {
    let SmallTask { period, deadline, wcet, jitter, priority, offset, .. } = placed.task;
    Task {
        priority: priority.into(),
        period_ns: period.into(),
        deadline_ns: deadline.into(),
        charged_ns: wcet.into(),
        jitter_ns: jitter.into(),
        blocking_ns: 0,
        release: match placed.start {
            Start::FreeRunning => Release::FreeRunning,
            Start::Aligned => Release::FrameAligned { offset_ns: offset.into() },
        },
    }
}

/// From an arrival to the completion of its job at the latest; none where there is no bound.
fn response_ns(board: &SmallBoard, place: usize) -> Option<u64> {
    let own = board.tasks[place].partition;
    let partition = &board.partitions[own];
    let interval = |&(start, end): &(u32, u32)| Interval { start_ns: start.into(), end_ns: end.into() };
    let intervals: Vec<_> = partition.windows.iter().map(interval).collect();
    let supply = Supply::new(board.frame.into(), &intervals).expect("the oracle's tables are well-formed");
    let policy = match partition.policy {
        oracle::Policy::FixedPriority => Policy::FixedPriority,
        oracle::Policy::EarliestDeadline => Policy::EarliestDeadline,
        oracle::Policy::Cooperative => Policy::Cooperative,
    };
    let places: Vec<usize> = (0..board.tasks.len()).filter(|&k| board.tasks[k].partition == own).collect();
    let tasks: Vec<_> = places.iter().map(|&k| as_analysed(&board.tasks[k])).collect();
    let set = TaskSet::with_policy(&tasks, policy).expect("the oracle's tasks are well-formed");
    let k = places.iter().position(|&other| other == place).expect("a task is in its partition");
    worst_responses(&supply, &set)[k].bound().map(|bound| bound.response_ns)
}

/// By how much one exchange of a task may come late against another.
fn lateness_ns(board: &SmallBoard, place: usize) -> Option<u64> {
    let BoardTask { task, exchange, .. } = board.tasks[place];
    match exchange {
        Exchange::Logical => Some(0),
        Exchange::StartToFinish => Some(response_ns(board, place)? - u64::from(task.bcet)),
    }
}

fn positive(number: u32) -> NonZeroU64 {
    NonZeroU64::new(number.into()).expect("periods and numbers are above zero")
}

/// What the writer sends and the reader takes.
fn ends(board: &SmallBoard, writer: usize, reader: usize, at_most: Option<u32>) -> Option<(Arrivals, Reads)> {
    let period_ns = |place: usize| positive(board.tasks[place].task.period);
    let arrivals =
        Arrivals { batch: 1, burst: 0, distance_ns: period_ns(writer), jitter_ns: lateness_ns(board, writer)? };
    let reads =
        Reads { most: at_most.map(positive), period_ns: period_ns(reader), lateness_ns: lateness_ns(board, reader)? };
    Some((arrivals, reads))
}

#[derive(Debug, Default)]
struct Tally {
    bounded: usize,
    attained: usize,
    unbounded: usize,
}

impl Tally {
    fn compare(&mut self, queue: &SmallQueue) {
        let Ok(truth) = worst_backlog(queue) else { return };
        let Some((arrivals, reads)) = ends(&queue.board, queue.writer, queue.reader, queue.at_most) else { return };
        match (reads.depth(&arrivals), truth) {
            (None, Backlog::Unbounded) => self.unbounded += 1,
            (Some(depth), Backlog::Messages(truth)) => {
                assert!(depth >= truth.into(), "{depth} below {truth} in {queue:?}");
                self.bounded += 1;
                self.attained += usize::from(depth == u64::from(truth));
            }
            (depth, truth) => panic!("{depth:?} against {truth:?} in {queue:?}"),
        }
    }
}

#[test]
fn depths_are_never_below_the_largest_backlog() {
    let mut tally = Tally::default();
    for queue in free_running_queues().chain(aligned_queues()).chain(random_queues(71, 300)) {
        tally.compare(&queue);
    }
    assert!(tally.bounded > 20_000 && tally.unbounded > 9_000, "{tally:?}");
    assert!(tally.attained * 4 > tally.bounded, "{tally:?}");
}

/// The bound of a chain that knows no phases, a message of a queue read in pieces being taken by the read after which
/// as many as the queue holds at most are gone. None where some queue grows or some task has no response.
fn generic(chain: &SmallChain) -> Option<u64> {
    let stage = |position: usize| {
        let place = chain.path[position];
        let BoardTask { task, exchange, .. } = chain.board.tasks[place];
        let reads = match position.checked_sub(1).map(|before| (chain.path[before], chain.links[before])) {
            Some((writer, Link::QueueAtMost(number))) => {
                let (arrivals, reads) = ends(&chain.board, writer, place, Some(number))?;
                reads.depth(&arrivals)?.div_ceil(number.into())
            }
            _ => 1,
        };
        let response_ns = match exchange {
            Exchange::Logical => task.deadline.into(),
            Exchange::StartToFinish => response_ns(&chain.board, place)?,
        };
        Some(Stage { period_ns: task.period.into(), response_ns, reads, transport_ns: 0 })
    };
    let stages: Option<Vec<_>> = (0..chain.path.len()).map(stage).collect();
    Some(generic_ns(&stages?))
}

#[test]
fn chains_through_queues_read_in_pieces_are_within_their_bound() {
    let (mut met, mut waited) = (0, 0);
    let in_pieces = |chain: &SmallChain| chain.links.iter().any(|link| matches!(link, Link::QueueAtMost(_)));
    let all = free_running_chains().chain(aligned_chains()).chain(random_chains(72, 600));
    for chain in all.filter(in_pieces) {
        let Ok(truth) = worst_chain(&chain) else { continue };
        let truth = truth.reaction.max(truth.held);
        let Some(bound) = generic(&chain) else { continue };
        assert!(bound >= truth.into(), "{bound} below {truth} in {chain:?}");
        met += 1;
        waited += usize::from(truth > 20);
    }
    assert!(met > 2_000 && waited > 40, "{met} {waited}");
}
