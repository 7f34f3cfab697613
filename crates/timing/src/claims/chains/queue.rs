//! What a queue on the way of a chain needs, and how long a message may wait in it.
//!
//! Computes: the messages that the queue before a reader may hold at once, and from them after how many reads a
//! message is taken at the latest.
//! Source: the backlog of network calculus (Le Boudec and Thiran 2001), as `crate::network_calculus` has it.
//! Assumptions: both ends run; the writer sends one batch a job, no sooner than declared; nobody else writes or
//! takes.
//! Symbols: `d` messages in the queue, `n` messages that a read takes.
//! Invariants and why it ends: a message that comes has at most `d` messages in the queue with it, `d` no more than the
//! queue holds, and each read takes the `n` oldest: it is taken by the `ceil(d / n)`-th read.
//! Differs from the source: none.
//! Checked by: the survey vessel's depths; a run of every phase of small readers and writers.

use crate::network_calculus::{Arrivals, Reads};
use std::num::NonZeroU64;

/// The ends of a queue, times in ns.
#[derive(Clone, Copy, Debug)]
pub(super) struct Queue {
    pub(super) depth: u64,
    pub(super) batch: u64,
    /// The messages beyond one batch that may come at once, where declared.
    pub(super) burst: Option<u64>,
    /// The messages that a read takes; none where it takes all.
    pub(super) at_most: Option<u64>,
    pub(super) sent_every_ns: u64,
    /// By how much one writing may come late against another.
    pub(super) writer_jitter_ns: u64,
    pub(super) read_every_ns: u64,
    /// By how much one reading may come late against another.
    pub(super) reader_jitter_ns: u64,
}

impl Queue {
    /// The most messages that it has to hold at once; none where they grow without end.
    pub(super) fn needed(&self) -> Option<u64> {
        let arrivals = Arrivals {
            batch: self.batch,
            burst: self.burst.unwrap_or(0),
            distance_ns: NonZeroU64::new(self.sent_every_ns)?,
            jitter_ns: self.writer_jitter_ns,
        };
        let most = self.at_most.map(|most| NonZeroU64::new(most).unwrap_or(NonZeroU64::MIN));
        let period_ns = NonZeroU64::new(self.read_every_ns)?;
        Reads { most, period_ns, lateness_ns: self.reader_jitter_ns }.depth(&arrivals)
    }

    /// By which read after it has come a message is taken at the latest.
    pub(super) fn reads(&self) -> u64 {
        let held = self.needed().map_or(self.depth, |needed| needed.min(self.depth));
        self.at_most.map_or(1, |taken| held.div_ceil(taken.max(1)).max(1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn queue(at_most: Option<u64>, sent_every_ns: u64, read_every_ns: u64, batch: u64) -> Queue {
        let (writer_jitter_ns, reader_jitter_ns) = (0, 0);
        Queue {
            depth: 1000,
            batch,
            burst: None,
            at_most,
            sent_every_ns,
            writer_jitter_ns,
            read_every_ns,
            reader_jitter_ns,
        }
    }

    /// The survey vessel's CH13 and CH24, with the responses of its table.
    #[test]
    fn depths_of_the_survey_vessel() {
        let ping = Queue {
            writer_jitter_ns: 14_718_000 - 1_080_000,
            reader_jitter_ns: 36_558_000 - 1_440_000,
            ..queue(None, 20_000_000, 50_000_000, 1)
        };
        assert_eq!(ping.needed(), Some(5));
        let ais = Queue {
            writer_jitter_ns: 92_066_000 - 540_000,
            reader_jitter_ns: 36_558_000 - 1_560_000,
            ..queue(None, 100_000_000, 50_000_000, 4)
        };
        assert_eq!(ais.needed(), Some(8));
    }

    #[test]
    fn a_reader_too_slow_has_no_depth() {
        assert_eq!(queue(Some(2), 10, 20, 1).needed(), Some(2));
        assert_eq!(queue(Some(1), 10, 20, 1).needed(), None);
        assert_eq!(queue(Some(1), u64::MAX, 1, 1).needed(), Some(1), "each is read before the next one");
    }

    /// Every phase of a strictly periodic writer and a reader whose reads come up to `late` late, greedily as late as
    /// they can: what is held never passes what is needed, and no message waits for more reads than told.
    #[test]
    fn no_phase_holds_more_or_waits_longer() {
        for (sent, read, batch, taken, late) in
            [(3, 5, 1, 2, 0), (3, 5, 1, 2, 4), (4, 6, 3, 5, 2), (7, 3, 4, 2, 1), (5, 5, 2, 2, 3), (2, 9, 1, 5, 8)]
        {
            let queue = Queue { reader_jitter_ns: late, ..queue(Some(taken), sent, read, batch) };
            let needed = queue.needed().expect("the reader bears it");
            for phase in 0..sent {
                for first_late in 0..12 {
                    let (held, waited) = run(&queue, phase, first_late);
                    assert!(held <= needed, "{queue:?} holds {held} of {needed}");
                    assert!(waited <= queue.reads(), "{queue:?}: {waited} reads, told {}", queue.reads());
                }
            }
        }
    }

    /// The greatest number of messages held, and of reads that a message waited for, over a while; the reads from
    /// number `first_late` on come late.
    fn run(queue: &Queue, phase: u64, first_late: u64) -> (u64, u64) {
        let mut waiting: std::collections::VecDeque<u64> = std::collections::VecDeque::new();
        let (mut held, mut waited, mut reads) = (0, 0, 0);
        for now in 0..60 * queue.read_every_ns {
            if now >= phase && (now - phase).is_multiple_of(queue.sent_every_ns) {
                (0..queue.batch).for_each(|_| waiting.push_back(reads));
                held = held.max(waiting.len() as u64);
            }
            let late_ns = if reads >= first_late { queue.reader_jitter_ns } else { 0 };
            if now == reads * queue.read_every_ns + late_ns {
                reads += 1;
                for _ in 0..queue.at_most.unwrap_or(u64::MAX) {
                    let Some(came) = waiting.pop_front() else { break };
                    waited = waited.max(reads - came);
                }
            }
        }
        (held, waited)
    }
}
