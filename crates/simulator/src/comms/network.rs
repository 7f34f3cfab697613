//! The internal network: one queue of frames for each sending partition, and whose turn it is.
//!
//! **Computes** which frames a job of the forwarding task moves: the queues take turns, a frame each, and a queue whose first
//! frame does not fit into what is left is passed over; the job takes what waits when it begins.
//! **Source.** `docs/semantics.md`, which leaves the order between the queues open; turns are common practice, no source.
//! **Invariants and why it ends.** A taken frame stays in its queue until the job completes, so it counts for the depth; each
//! turn takes a frame or passes a queue over, and all queues passed over end the job.

use super::chains::Origin;
use std::collections::VecDeque;

/// A message on its way to one destination.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Frame {
    pub(super) input: u32,
    /// The instant at which it was sent.
    pub(super) sent: u64,
    /// What the forwarder executes for it.
    pub(super) cost: u64,
    pub(super) origin: Origin,
}

/// The queues of all senders.
#[derive(Debug, Clone, Default)]
pub(super) struct Network {
    depth: Option<u64>,
    queues: Vec<Lane>,
    /// The queue to be looked at first.
    turn: usize,
    waiting: usize,
    /// The frames that the job under way moves, in its order, by queue.
    taken: Vec<u32>,
}

#[derive(Debug, Clone, Default)]
struct Lane {
    frames: VecDeque<Frame>,
    taken: usize,
}

impl Network {
    /// For that many senders, whose queues hold `depth` frames each; any number where it is not given.
    pub(super) fn new(senders: usize, depth: Option<u64>) -> Self {
        Self { depth, queues: vec![Lane::default(); senders], ..Self::default() }
    }

    pub(super) fn reset(&mut self) {
        self.queues.iter_mut().for_each(|lane| {
            lane.frames.clear();
            lane.taken = 0;
        });
        self.taken.clear();
        (self.turn, self.waiting) = (0, 0);
    }

    /// A frame comes into a sender's queue. How many then wait there; `None` where it is full and the frame is lost.
    pub(super) fn push(&mut self, sender: usize, frame: Frame) -> Option<u64> {
        let frames = &mut self.queues[sender].frames;
        if self.depth.is_some_and(|depth| frames.len() as u64 >= depth) {
            return None;
        }
        frames.push_back(frame);
        self.waiting += 1;
        Some(frames.len() as u64)
    }

    /// Whether a frame waits that no job has taken.
    pub(super) fn is_waiting(&self) -> bool {
        self.waiting > self.taken.len()
    }

    /// Whether frames are under way.
    pub(super) fn is_moving(&self) -> bool {
        !self.taken.is_empty()
    }

    /// What a job took and did not move waits again.
    pub(super) fn give_back(&mut self) {
        self.queues.iter_mut().for_each(|lane| lane.taken = 0);
        self.taken.clear();
    }

    /// A job takes the frames that fit into `left` nanoseconds. What they cost together.
    pub(super) fn take(&mut self, left: u64) -> u64 {
        let mut spent = 0;
        while let Some(cost) = self.take_one(left - spent) {
            spent += cost;
        }
        spent
    }

    /// The next frame that fits is taken: what it costs.
    pub(super) fn take_one(&mut self, left: u64) -> Option<u64> {
        for passed in 0..self.queues.len() {
            let sender = (self.turn + passed) % self.queues.len();
            let lane = &mut self.queues[sender];
            if let Some(frame) = lane.frames.get(lane.taken).filter(|frame| frame.cost <= left) {
                lane.taken += 1;
                self.turn = sender + 1;
                self.taken.push(sender as u32);
                return Some(frame.cost);
            }
        }
        None
    }

    /// The frames under way leave their queues, in the order in which they were taken.
    pub(super) fn leave(&mut self, into: &mut Vec<Frame>) {
        for &sender in &self.taken {
            let lane = &mut self.queues[sender as usize];
            into.extend(lane.frames.pop_front());
            lane.taken = 0;
            self.waiting -= 1;
        }
        self.taken.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frame(input: u32, cost: u64) -> Frame {
        Frame { input, sent: 0, cost, origin: Origin::Job }
    }

    fn moved(network: &mut Network) -> Vec<u32> {
        let mut frames = Vec::new();
        network.leave(&mut frames);
        frames.iter().map(|frame| frame.input).collect()
    }

    #[test]
    fn queues_take_turns_and_a_frame_that_does_not_fit_waits() {
        let mut network = Network::new(3, None);
        // First queue: 4 and 4; second: 7 and 1; third: nothing.
        let queues = [(0, frame(0, 4)), (0, frame(1, 4)), (1, frame(2, 7)), (1, frame(3, 1))];
        assert_eq!(queues.map(|(sender, frame)| network.push(sender, frame)), [Some(1), Some(2), Some(1), Some(2)]);
        assert_eq!(network.take(10), 8, "4, then 7 does not fit into 6, then 4");
        assert_eq!(moved(&mut network), [0, 1]);
        assert_eq!(network.take(6), 0, "first in, first out: 1 waits behind 7");
        assert!(network.is_waiting() && !network.is_moving());
        assert_eq!(network.take(8), 8);
        assert_eq!(moved(&mut network), [2, 3]);
        assert!(!network.is_waiting());
    }

    #[test]
    fn a_frame_under_way_still_fills_its_queue() {
        let mut network = Network::new(1, Some(2));
        assert_eq!([0, 1, 2].map(|input| network.push(0, frame(input, 5))), [Some(1), Some(2), None]);
        assert_eq!(network.take(5), 5);
        assert_eq!(network.push(0, frame(3, 5)), None);
        assert_eq!(moved(&mut network), [0]);
        assert_eq!(network.push(0, frame(4, 5)), Some(2));
        assert_eq!(network.take(10), 10);
        network.give_back();
        assert_eq!(network.take(10), 10, "what a dropped job took is not lost");
        assert_eq!(moved(&mut network), [1, 4]);
    }
}
