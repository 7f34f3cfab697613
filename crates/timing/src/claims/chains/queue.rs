//! What a queue on the way of a chain needs, and how long a message may wait in it.
//!
//! Computes: the messages that the queue before a reader may hold at once, and from them after how many reads a
//! message is taken at the latest.
//! Source: a count of arrivals against reads, as the backlog of network calculus (Le Boudec and Thiran 2001) for
//! periodic ends.
//! Assumptions: both ends run; the writer sends one batch a job, no sooner than declared; nobody else writes or
//! takes.
//! Symbols: `T`, `R`, `C` period, response and shortest execution of reader (`r`) and writer (`w`), in ns; `b`
//! messages of a batch; `n` messages that a read takes; `m` reads since the queue was last emptied.
//! Invariants and why it ends: a read that takes fewer than `n` messages empties the queue. The `m + 1` reads after
//! it come no later than `(m + 1) T_r + R_r - C_r`, and `m` of them take `n` messages each; in an interval `g` the
//! writer sends at most `ceil((g + R_w - C_w) / T_w)` batches (where a burst is declared, the burst and one batch
//! more). So the queue never holds more than the greatest `b ceil(((m + 1) T_r + R_r - C_r + R_w - C_w) / T_w) - m
//! n`; a reader that takes all has `m = 0`. If the reader takes at least what is sent, it repeats from `m` to `m +
//! T_w / gcd(T_w, T_r)` or falls, so that so many suffice; else it grows without end. A message that comes has at
//! most `d` messages in the queue with it, `d` no more than the queue holds, and each read takes the `n` oldest: it
//! is taken by the `ceil(d / n)`-th read.
//! Differs from the source: none.
//! Checked by: the survey vessel's depths; a run of every phase of small readers and writers.

use num_integer::gcd;

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

/// More reads are not looked at.
const MOST_READS: u64 = crate::response::JOB_LIMIT;

impl Queue {
    /// The most messages that it has to hold at once; none where they grow without end, or are not followed to their
    /// end.
    pub(super) fn needed(&self) -> Option<u64> {
        let reads = match self.at_most {
            None => 1,
            Some(taken) => {
                let sent = u128::from(self.batch) * u128::from(self.read_every_ns);
                let borne = sent <= u128::from(taken) * u128::from(self.sent_every_ns);
                let reads = self.sent_every_ns / gcd(self.sent_every_ns, self.read_every_ns);
                (borne && reads <= MOST_READS).then_some(reads)?
            }
        };
        let needed = (0..reads).map(|m| self.held_after(m)).max()?;
        u64::try_from(needed).ok()
    }

    /// The messages held before the read after `m` full ones.
    fn held_after(&self, m: u64) -> i128 {
        let wide = |value: u64| i128::from(value);
        let late_ns = wide(self.reader_jitter_ns) + wide(self.writer_jitter_ns);
        let span_ns = wide(m + 1) * wide(self.read_every_ns) + late_ns;
        // The last read emptied the queue of what came with it; where a burst is declared, all that may come is.
        let (batches, burst) = match self.burst {
            None => ((span_ns + wide(self.sent_every_ns) - 1) / wide(self.sent_every_ns), 0),
            Some(burst) => (1 + span_ns / wide(self.sent_every_ns), wide(burst)),
        };
        burst + batches * wide(self.batch) - wide(m) * wide(self.at_most.unwrap_or(0))
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
        assert_eq!(queue(Some(1), u64::MAX, 1, 1).needed(), None, "too many reads to follow");
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
