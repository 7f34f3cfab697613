//! Chains and queues on small boards: the oracle against runs of a second, plain machine, in which the definitions are
//! followed word by word. No run may show more than the oracle; and enough runs must show as much.

#![allow(clippy::disallowed_types, reason = "sets are counted here, never listed")]

mod follow;
mod machine;

use std::collections::HashSet;

use testkit::enumerate::{
    aligned_chain_count, aligned_chains, aligned_queue_count, aligned_queues, free_running_chain_count,
    free_running_chains, free_running_queue_count, free_running_queues,
};
use testkit::oracle::backlog::{Backlog, SmallQueue, worst_backlog};
use testkit::oracle::board::{Exchange, SmallBoard, SmallPartition};
use testkit::oracle::chain::{ChainWorst, Link, SmallChain, worst_chain};
use testkit::oracle::{Oracle, SmallSystem, Worst};
use testkit::{random_chains, random_queues};

use follow::{worst_of_chain, worst_of_queue};
use machine::Lot;

/// Long enough for every phase of the periods against each other and the frame, where those come by themselves.
const LENGTH: u32 = 120;
const BATCH: u32 = 40;
const BATCHES: u32 = 400;

fn attain_chain(chain: &SmallChain, worst: ChainWorst, lot: &mut Lot) {
    let mut seen = ChainWorst::default();
    for _ in 0..BATCHES {
        for _ in 0..BATCH {
            let of_run = worst_of_chain(chain, &machine::run(&chain.board, LENGTH, lot), LENGTH);
            seen.reaction = seen.reaction.max(of_run.reaction);
            seen.held = seen.held.max(of_run.held);
        }
        let within = seen.reaction <= worst.reaction && seen.held <= worst.held;
        assert!(within, "{seen:?} above {worst:?} in {chain:?}");
        if seen == worst {
            return;
        }
    }
    panic!("only {seen:?} seen of {worst:?} in {chain:?}");
}

fn attain_all_chains(chains: impl Iterator<Item = SmallChain>) -> usize {
    let mut lot = Lot(20_230_711);
    let mut answered = 0;
    for chain in chains {
        if let Ok(worst) = worst_chain(&chain) {
            attain_chain(&chain, worst, &mut lot);
            answered += 1;
        }
    }
    answered
}

#[test]
fn runs_attain_the_worst_of_free_running_chains_and_no_more() {
    let answered = attain_all_chains(free_running_chains().step_by(127));
    assert!(answered > 100, "{answered}");
}

#[test]
fn runs_attain_the_worst_of_aligned_chains_and_no_more() {
    let answered = attain_all_chains(aligned_chains().step_by(307));
    assert!(answered > 100, "{answered}");
}

fn attain_queue(queue: &SmallQueue, worst: u32, lot: &mut Lot) {
    let mut seen = 0;
    for _ in 0..BATCHES {
        for _ in 0..BATCH {
            seen = seen.max(worst_of_queue(queue, &machine::run(&queue.board, LENGTH, lot), LENGTH));
        }
        assert!(seen <= worst, "{seen} above {worst} in {queue:?}");
        if seen == worst {
            return;
        }
    }
    panic!("only {seen} seen of {worst} in {queue:?}");
}

fn attain_all_queues(queues: impl Iterator<Item = SmallQueue>) -> usize {
    let mut lot = Lot(19_840_101);
    let mut answered = 0;
    for queue in queues {
        if let Ok(Backlog::Messages(worst)) = worst_backlog(&queue) {
            attain_queue(&queue, worst, &mut lot);
            answered += 1;
        }
    }
    answered
}

#[test]
fn runs_attain_the_largest_backlogs_and_no_more() {
    let answered = attain_all_queues(free_running_queues().step_by(61));
    assert!(answered > 70, "{answered}");
    let answered = attain_all_queues(aligned_queues().step_by(211));
    assert!(answered > 70, "{answered}");
}

/// Larger ones need more runs than there is time for to be attained; aligned ones have fewer runs to show.
#[test]
fn runs_of_larger_boards_show_no_more() {
    let mut lot = Lot(3_141);
    let (mut answered, mut attained) = (0, 0);
    for chain in random_chains(41, 200) {
        let Ok(worst) = worst_chain(&chain) else { continue };
        answered += 1;
        let mut reaction = 0;
        for _ in 0..20 {
            let seen = worst_of_chain(&chain, &machine::run(&chain.board, LENGTH, &mut lot), LENGTH);
            assert!(seen.reaction <= worst.reaction && seen.held <= worst.held, "{seen:?} {worst:?} {chain:?}");
            reaction = reaction.max(seen.reaction);
        }
        attained += usize::from(reaction == worst.reaction);
    }
    assert!(answered > 70 && attained > answered / 4, "{attained} of {answered}");
    for queue in random_queues(42, 200) {
        let Ok(Backlog::Messages(worst)) = worst_backlog(&queue) else { continue };
        for _ in 0..20 {
            let seen = worst_of_queue(&queue, &machine::run(&queue.board, LENGTH, &mut lot), LENGTH);
            assert!(seen <= worst, "{seen} above {worst} in {queue:?}");
        }
    }
}

/// Günzel et al. 2023: in each schedule, and so over all of them, the two are the same.
#[test]
fn the_greatest_reaction_is_the_greatest_held_age() {
    let (mut met, mut count) = (0, 0);
    for chain in free_running_chains().chain(aligned_chains().step_by(4)).chain(random_chains(43, 200)) {
        count += 1;
        if let Ok(worst) = worst_chain(&chain) {
            assert_eq!(worst.reaction, worst.held, "{chain:?}");
            met += 1;
        }
    }
    assert_eq!(count, free_running_chain_count() + aligned_chain_count() / 4 + 200);
    assert!(met > 40_000, "{met} of {count}");
}

/// Each task's worst response in any phase, where there is one: of a task with logical execution time, its deadline.
fn responses(board: &SmallBoard) -> Vec<Option<u32>> {
    let mut responses = vec![None; board.tasks.len()];
    for (place, SmallPartition { windows, policy }) in board.partitions.iter().enumerate() {
        let members: Vec<usize> = (0..board.tasks.len()).filter(|&task| board.tasks[task].partition == place).collect();
        let tasks = members.iter().map(|&task| board.tasks[task].task).collect();
        let system = SmallSystem { frame: board.frame, windows: windows.clone(), tasks };
        for (&task, worst) in members.iter().zip(Oracle::under(*policy).free_running(&system)) {
            responses[task] = match (board.tasks[task].exchange, worst) {
                (_, Worst::Unbounded) => None,
                (Exchange::Logical, Worst::Response(_)) => Some(board.tasks[task].task.deadline),
                (Exchange::StartToFinish, Worst::Response(response)) => Some(response),
            };
        }
    }
    responses
}

/// Davare et al. 2007: `sum of (T + R)` is never passed, by buffers and by queues read whole.
#[test]
fn no_chain_passes_the_sum_of_periods_and_responses() {
    let (mut met, mut within_ticks) = (0, 0);
    for chain in free_running_chains().chain(aligned_chains().step_by(5)).chain(random_chains(44, 200)) {
        if chain.links.iter().any(|link| matches!(link, Link::QueueAtMost(_))) {
            continue;
        }
        let Ok(worst) = worst_chain(&chain) else { continue };
        let responses = responses(&chain.board);
        let of_task = |&task: &usize| {
            chain.board.tasks[task].task.period + responses[task].expect("a chain with an answer has responses")
        };
        let bound: u32 = chain.path.iter().map(of_task).sum();
        assert!(worst.reaction <= bound, "{worst:?} above {bound} in {chain:?}");
        met += 1;
        within_ticks += usize::from(worst.reaction + chain.links.len() as u32 >= bound);
    }
    assert!(met > 20_000 && within_ticks > 1_000, "{within_ticks} of {met} but for a tick a link");
}

#[test]
fn the_numbers_the_documentation_gives() {
    assert_eq!((free_running_chain_count(), aligned_chain_count()), (23_544, 195_840));
    assert_eq!((free_running_queue_count(), aligned_queue_count()), (15_696, 64_512));
    let distinct: HashSet<SmallChain> = free_running_chains().chain(aligned_chains()).collect();
    assert_eq!(distinct.len(), free_running_chain_count() + aligned_chain_count());
    let distinct: HashSet<SmallQueue> = free_running_queues().chain(aligned_queues()).collect();
    assert_eq!(distinct.len(), free_running_queue_count() + aligned_queue_count());
}
