//! Seeded chains and queues on boards larger than those that can be enumerated.

use super::Draws;
use crate::oracle::backlog::SmallQueue;
use crate::oracle::board::{BoardTask, Exchange, SmallBoard, SmallPartition, Start};
use crate::oracle::chain::{Link, SmallChain};
use crate::oracle::{Policy, SmallTask};

/// `count` chains drawn from `seed`: one or two partitions under any policy, each with up to three windows in a frame
/// of 4 to 8 ticks; three tasks that are free-running, or four of which some are aligned or all; periods of 3 to 10
/// ticks; paths of two or three tasks over any links, now and then with logical execution time.
pub fn random_chains(seed: u64, count: usize) -> impl Iterator<Item = SmallChain> {
    let mut draws = Draws { state: seed };
    (0..count).map(move |_| draws.chain())
}

/// `count` queues drawn from `seed`, on boards like those of [`random_chains`].
pub fn random_queues(seed: u64, count: usize) -> impl Iterator<Item = SmallQueue> {
    let mut draws = Draws { state: seed };
    (0..count).map(move |_| {
        let board = draws.board();
        let at_most = if draws.one_in(2) { None } else { Some(draws.within(1, 3)) };
        SmallQueue { board, writer: 0, reader: 1, at_most }
    })
}

impl Draws {
    fn chain(&mut self) -> SmallChain {
        let board = self.board();
        let links = (0..self.within(1, 2)).map(|_| self.link()).collect::<Vec<_>>();
        SmallChain { board, path: (0..=links.len()).collect(), links }
    }

    fn link(&mut self) -> Link {
        match self.within(0, 4) {
            0 => Link::QueueAtMost(self.within(1, 2)),
            1 | 2 => Link::Queue,
            _ => Link::LastValue,
        }
    }

    fn board(&mut self) -> SmallBoard {
        let frame = self.pick(&[4, 5, 6, 8]);
        let partitions: Vec<_> = (0..self.within(1, 2)).map(|_| self.partition(frame)).collect();
        let free_running = self.one_in(2);
        let number = if free_running { 3 } else { 4 };
        let tasks = (0..number).map(|_| self.board_task(frame, &partitions, free_running)).collect();
        SmallBoard { frame, partitions, tasks }
    }

    fn partition(&mut self, frame: u32) -> SmallPartition {
        let policy = match self.within(0, 3) {
            0 => Policy::EarliestDeadline,
            1 => Policy::Cooperative,
            _ => Policy::FixedPriority,
        };
        SmallPartition { windows: self.windows(frame), policy }
    }

    fn board_task(&mut self, frame: u32, partitions: &[SmallPartition], free_running: bool) -> BoardTask {
        let partition = self.within(0, partitions.len() as u32 - 1);
        let usable: u32 = partitions[partition as usize].windows.iter().map(|(start, end)| end - start).sum();
        let period = self.pick(&[3, 4, 5, 6, 8, 10]);
        let fair = (period * usable * partitions.len() as u32 / (frame * 4)).clamp(1, 4);
        let wcet = self.within(1, fair);
        let logical = self.one_in(4);
        let task = SmallTask {
            period,
            deadline: if logical { period } else { self.within(1, 2 * period) },
            wcet,
            bcet: self.within(1, wcet),
            jitter: if self.one_in(3) { self.within(1, 3) } else { 0 },
            blocking: 0,
            priority: self.within(1, 4),
            offset: self.within(0, period - 1),
        };
        BoardTask {
            partition: partition as usize,
            task,
            start: if free_running || self.one_in(8) { Start::FreeRunning } else { Start::Aligned },
            exchange: if logical { Exchange::Logical } else { Exchange::StartToFinish },
        }
    }
}
