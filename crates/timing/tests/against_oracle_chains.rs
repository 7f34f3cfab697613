//! The bounds of chains against the brute-force oracle: never below the true reaction time and held data age, and
//! equal to them where every task keeps to logical execution time. A tick of the oracle is one ns here.

use testkit::enumerate::{aligned_chains, free_running_chains};
use testkit::oracle::board::{BoardTask, Exchange, SmallBoard, SmallPartition, Start};
use testkit::oracle::chain::{ChainWorst, Link, SmallChain, worst_chain};
use testkit::oracle::{self, SmallTask};
use testkit::random_chains;
use timing::chain::logical::{LogicalTask, LogicalTasks};
use timing::chain::{Hop, JobChain, JobTimes, Seen, Stage, earliest_jobs, generic_ns};
use timing::response::{self, worst_in_any_phase};
use timing::supply::{Interval, Supply};
use timing::{Policy, Release, Task, TaskSet};

/// One partition of a chain's board, as the analyses take it.
struct Partition {
    supply: Supply,
    /// The places of its tasks on the board, in the order of the set.
    places: Vec<usize>,
    tasks: Vec<Task>,
    set: TaskSet,
}

impl Partition {
    fn of(chain: &SmallChain, place: usize) -> Self {
        let SmallBoard { frame, partitions, tasks } = &chain.board;
        let partition = tasks[place].partition;
        let SmallPartition { windows, policy } = &partitions[partition];
        let interval = |&(start, end): &(u32, u32)| Interval { start_ns: start.into(), end_ns: end.into() };
        let intervals: Vec<_> = windows.iter().map(interval).collect();
        let policy = match policy {
            oracle::Policy::FixedPriority => Policy::FixedPriority,
            oracle::Policy::EarliestDeadline => Policy::EarliestDeadline,
            oracle::Policy::Cooperative => Policy::Cooperative,
        };
        let places: Vec<usize> = (0..tasks.len()).filter(|&other| tasks[other].partition == partition).collect();
        let tasks: Vec<Task> = places.iter().map(|&place| task(&tasks[place])).collect();
        Self {
            supply: Supply::new((*frame).into(), &intervals).expect("the oracle's tables are well-formed"),
            set: TaskSet::with_policy(&tasks, policy).expect("the oracle's tasks are well-formed"),
            places,
            tasks,
        }
    }

    fn position(&self, place: usize) -> usize {
        self.places.iter().position(|&other| other == place).expect("a task is in its partition")
    }
}

fn task(placed: &BoardTask) -> Task {
    Task {
        priority: placed.task.priority.into(),
        period_ns: placed.task.period.into(),
        deadline_ns: placed.task.deadline.into(),
        charged_ns: placed.task.wcet.into(),
        jitter_ns: placed.task.jitter.into(),
        blocking_ns: 0,
        release: match placed.start {
            Start::FreeRunning => Release::FreeRunning,
            Start::Aligned => Release::FrameAligned { offset_ns: placed.task.offset.into() },
        },
    }
}

/// The bound that knows no phases.
fn generic(chain: &SmallChain) -> u64 {
    let stage = |&place: &usize| {
        let placed = &chain.board.tasks[place];
        let partition = Partition::of(chain, place);
        let found = &worst_in_any_phase(&partition.supply, &partition.set)[partition.position(place)];
        let response_ns = match placed.exchange {
            Exchange::Logical => placed.task.deadline.into(),
            Exchange::StartToFinish => found.bound().expect("the oracle found a response").response_ns,
        };
        Stage { period_ns: placed.task.period.into(), response_ns, reads: 1, transport_ns: 0 }
    };
    generic_ns(&chain.path.iter().map(stage).collect::<Vec<_>>())
}

/// The bound by job chains, where all tasks keep to the frame.
fn followed(chain: &SmallChain) -> u64 {
    let times: Vec<JobTimes> = chain.path.iter().map(|&place| job_times(chain, place)).collect();
    let hop = |pair: &[usize]| hop(&chain.board.tasks[pair[0]], &chain.board.tasks[pair[1]]);
    let hops = chain.path.windows(2).map(hop).collect();
    let followed = JobChain { tasks: times.iter().collect(), entry_reads: 1, hops }.follow();
    followed.expect("a small chain has few jobs").longest_ns
}

fn hop(writer: &BoardTask, reader: &BoardTask) -> Hop {
    let start_to_finish = [writer, reader].iter().all(|task| task.exchange == Exchange::StartToFinish);
    let below = writer.partition == reader.partition && writer.task.priority > reader.task.priority;
    Hop { seen: if start_to_finish && below { Seen::Released } else { Seen::Written }, reads: 1 }
}

fn lcm(one: u64, other: u64) -> u64 {
    (1..).map(|times| one * times).find(|multiple| multiple % other == 0).expect("a common multiple")
}

/// When the jobs of a task read at the earliest and write at the latest.
fn job_times(chain: &SmallChain, place: usize) -> JobTimes {
    let BoardTask { task, exchange, .. } = chain.board.tasks[place];
    let partition = Partition::of(chain, place);
    let periods = partition.tasks.iter().map(|task| task.period_ns);
    let hyperperiod_ns = periods.fold(chain.board.frame.into(), lcm);
    let period_ns = u64::from(task.period);
    let first_ns = u64::from(task.offset) % period_ns;
    let arrivals_ns = (0..hyperperiod_ns / period_ns).map(|job| (first_ns + job * period_ns) as i64);
    if exchange == Exchange::Logical {
        let writes_ns = arrivals_ns.clone().map(|arrival_ns| arrival_ns + i64::from(task.deadline)).collect();
        return JobTimes::new(period_ns, first_ns, 0, arrivals_ns.collect(), writes_ns);
    }
    let k = partition.position(place);
    let shortest_ns: Vec<u64> =
        partition.places.iter().map(|&place| chain.board.tasks[place].task.bcet.into()).collect();
    let earliest = earliest_jobs(&partition.supply, &partition.set, &shortest_ns, hyperperiod_ns);
    let reads_ns = earliest.expect("the oracle's windows are not empty").swap_remove(k).starts_ns;
    let latest = response::responses_of_aligned_jobs(&partition.supply, &partition.set).expect("aligned tasks");
    let writes_ns = arrivals_ns.zip(&latest[k]).map(|(arrival_ns, response_ns)| arrival_ns + response_ns).collect();
    JobTimes::new(period_ns, first_ns, task.jitter.into(), reads_ns, writes_ns)
}

/// The exact answer, where all tasks of the path are logical.
fn logical(chain: &SmallChain) -> u64 {
    let task = |&place: &usize| {
        let SmallTask { period, offset, deadline, .. } = chain.board.tasks[place].task;
        LogicalTask { period_ns: period.into(), offset_ns: offset.into(), deadline_ns: deadline.into() }
    };
    let tasks = LogicalTasks::new(&chain.path.iter().map(task).collect::<Vec<_>>()).expect("periods above zero");
    tasks.longest_ns(&(0..chain.path.len()).collect::<Vec<_>>()).expect("a small chain has few jobs")
}

fn reads_whole(chain: &SmallChain) -> bool {
    !chain.links.iter().any(|link| matches!(link, Link::QueueAtMost(_)))
}

/// Whether the bounds by job chains hold for all partitions of the chain: aligned tasks, all with responses, under
/// fixed priority.
fn keeps_to_the_frame(chain: &SmallChain) -> bool {
    let aligned = chain.board.tasks.iter().all(|task| task.start == Start::Aligned);
    let policies = chain.board.partitions.iter().map(|partition| partition.policy);
    aligned && policies.into_iter().all(|policy| policy == oracle::Policy::FixedPriority)
}

fn is_bounded(chain: &SmallChain) -> bool {
    let bounded = |&place: &usize| {
        let partition = Partition::of(chain, place);
        response::responses_of_aligned_jobs(&partition.supply, &partition.set).is_some()
    };
    chain.path.iter().all(bounded)
}

#[derive(Debug, Default)]
struct Tally {
    generic: usize,
    followed: usize,
    attained: usize,
    exact: usize,
}

impl Tally {
    fn compare(&mut self, chain: &SmallChain) {
        let Ok(ChainWorst { reaction, held }) = worst_chain(chain) else { return };
        let truth = u64::from(reaction.max(held));
        let bound = generic(chain);
        assert!(bound >= truth, "generic: {bound} below {truth} in {chain:?}");
        self.generic += 1;
        if !keeps_to_the_frame(chain) || !is_bounded(chain) {
            return;
        }
        let bound = followed(chain);
        assert!(bound >= truth, "job chains: {bound} below {truth} in {chain:?}");
        self.followed += 1;
        self.attained += usize::from(bound == truth);
        if chain.path.iter().all(|&place| chain.board.tasks[place].exchange == Exchange::Logical) {
            assert_eq!(logical(chain), truth, "{chain:?}");
            assert_eq!(bound, truth, "{chain:?}");
            self.exact += 1;
        }
    }
}

#[test]
fn bounds_of_chains_are_never_below_the_truth() {
    let mut tally = Tally::default();
    let enumerated = free_running_chains().step_by(7).chain(aligned_chains().step_by(5));
    let random = random_chains(61, 400).chain(random_chains(62, 60_000).filter(keeps_to_the_frame));
    for chain in enumerated.chain(random).filter(reads_whole) {
        tally.compare(&chain);
    }
    assert!(tally.generic > 15_000 && tally.followed > 15_000, "{tally:?}");
    assert!(tally.attained * 10 > tally.followed * 9 && tally.exact > 400, "{tally:?}");
}

/// The last job of a round and the first one of the next may both read at the end of a blackout: the earlier one
/// counts.
#[test]
fn jobs_of_two_rounds_that_read_at_one_instant() {
    let placed = |partition, task, exchange| BoardTask { partition, task, start: Start::Aligned, exchange };
    let writer = SmallTask { period: 8, deadline: 8, wcet: 1, bcet: 1, offset: 4, ..SmallTask::default() };
    let reader = SmallTask { period: 3, deadline: 3, wcet: 1, bcet: 1, jitter: 3, ..SmallTask::default() };
    let partition = |windows| SmallPartition { windows, ..SmallPartition::default() };
    let tasks = vec![placed(0, writer, Exchange::Logical), placed(1, reader, Exchange::StartToFinish)];
    let board = SmallBoard { frame: 6, partitions: vec![partition(vec![(0, 6)]), partition(vec![(0, 3)])], tasks };
    let chain = SmallChain { board, path: vec![0, 1], links: vec![Link::LastValue] };
    // The reader's jobs of 3 and of 6 begin at 6 at the earliest, that of 3 completes at 8 at the latest. Read at 12
    // the datum is written at 20; the job of 21 begins at 24 or later and completes by 26: 22 after the read of 4.
    assert_eq!(worst_chain(&chain), Ok(ChainWorst { reaction: 21, held: 21 }));
    assert_eq!(followed(&chain), 22);
}
