//! The internal network: one queue of frames for each sending partition, and whose turn it is.
//!
//! **Computes** which frame is moved next: the queues take turns, a frame each, and a queue whose first frame does not fit
//! into what is left is passed over.
//! **Source.** `docs/semantics.md`, which leaves the order between the queues open; turns are common practice, no source.
//! **Invariants and why it ends.** A taken frame stays in its queue until it leaves, so it counts for the depth. Each call
//! takes a frame or passes all queues over.
//! **Checked by** sequences worked by hand.

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
    /// The queues of the frames that are taken, in their order; the first `done` of them are through.
    taken: VecDeque<u32>,
    done: usize,
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
        (self.turn, self.waiting, self.done) = (0, 0, 0);
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

    /// Whether a frame is under way.
    pub(super) fn is_moving(&self) -> bool {
        self.taken.len() > self.done
    }

    /// Whether frames are through that have not left.
    pub(super) fn leaves(&self) -> bool {
        self.done > 0
    }

    /// The frames under way are through.
    pub(super) fn finish(&mut self) {
        self.done = self.taken.len();
    }

    /// Frames under way wait again.
    pub(super) fn give_back(&mut self) {
        for sender in self.taken.drain(self.done..) {
            self.queues[sender as usize].taken -= 1;
        }
    }

    /// The next frame of at most that cost is under way. What it costs.
    pub(super) fn take(&mut self, left: u64) -> Option<u64> {
        for passed in 0..self.queues.len() {
            let sender = (self.turn + passed) % self.queues.len();
            let lane = &mut self.queues[sender];
            if let Some(frame) = lane.frames.get(lane.taken).filter(|frame| frame.cost <= left) {
                lane.taken += 1;
                self.turn = sender + 1;
                self.taken.push_back(sender as u32);
                return Some(frame.cost);
            }
        }
        None
    }

    /// The next frame that is through leaves its queue.
    pub(super) fn leave(&mut self) -> Option<Frame> {
        self.done = self.done.checked_sub(1)?;
        let lane = &mut self.queues[self.taken.pop_front()? as usize];
        lane.taken -= 1;
        self.waiting -= 1;
        lane.frames.pop_front()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frame(input: u32, cost: u64) -> Frame {
        Frame { input, sent: 0, cost, origin: Origin::Job }
    }

    /// Frames are taken while they fit into `left`, one after the other. Their destinations.
    fn moved(network: &mut Network, mut left: u64) -> Vec<u32> {
        while let Some(cost) = network.take(left) {
            left -= cost;
        }
        network.finish();
        std::iter::from_fn(|| network.leave()).map(|frame| frame.input).collect()
    }

    #[test]
    fn queues_take_turns_and_a_frame_that_does_not_fit_waits() {
        let mut network = Network::new(3, None);
        // First queue: 4 and 4; second: 7 and 1; third: nothing.
        let queues = [(0, frame(0, 4)), (0, frame(1, 4)), (1, frame(2, 7)), (1, frame(3, 1))];
        assert_eq!(queues.map(|(sender, frame)| network.push(sender, frame)), [Some(1), Some(2), Some(1), Some(2)]);
        assert_eq!(moved(&mut network, 10), [0, 1], "4, then 7 does not fit into 6, then 4");
        assert_eq!(moved(&mut network, 6), [] as [u32; 0], "first in, first out: 1 waits behind 7");
        assert!(network.is_waiting() && !network.is_moving());
        assert_eq!(moved(&mut network, 8), [2, 3]);
        assert!(!network.is_waiting());
    }

    #[test]
    fn a_frame_under_way_still_fills_its_queue() {
        let mut network = Network::new(1, Some(2));
        assert_eq!([0, 1, 2].map(|input| network.push(0, frame(input, 5))), [Some(1), Some(2), None]);
        assert_eq!(network.take(5), Some(5));
        assert_eq!(network.push(0, frame(3, 5)), None);
        network.finish();
        assert!(network.leaves());
        assert_eq!(network.take(5), Some(5), "the next one is taken before the first one leaves");
        assert_eq!(network.leave().map(|frame| frame.input), Some(0));
        assert_eq!(network.leave(), None, "the second one is under way");
        assert_eq!(network.push(0, frame(4, 5)), Some(2));
        network.give_back();
        assert_eq!(moved(&mut network, 10), [1, 4], "what a dropped job took is not lost");
    }
}
