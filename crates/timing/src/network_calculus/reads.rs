//! One queue whose reader takes all or some of the oldest messages now and then.

use super::fluid::{Number, RateLatency, Traffic, ratio, whole};
use super::{Arrivals, saturated};
use num_bigint::BigInt;
use std::num::NonZeroU64;

/// Reads after which a search settles for the fluid envelope.
const MOST_ROUNDS: u128 = 1 << 16;

/// The reads of a queue: the read number `m` after one comes at most `m T + S` later.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reads {
    /// The messages that one read takes; all where none.
    pub most: Option<NonZeroU64>,
    /// The time between two reads in the long run, in ns.
    pub period_ns: NonZeroU64,
    /// How much later than its neighbours a read may be, in ns.
    pub lateness_ns: u64,
}

impl Reads {
    /// When the read number `m` after one comes at the latest.
    fn by_ns(&self, m: u128) -> u128 {
        m.saturating_mul(u128::from(self.period_ns.get())).saturating_add(u128::from(self.lateness_ns))
    }

    /// The longest time between two reads, in ns. Saturates.
    pub fn gap_ns(&self) -> u64 {
        saturated(self.by_ns(1))
    }

    /// The messages that the queue must hold so that none is lost; none where it grows without end.
    ///
    /// Just before the read number `m + 1` after the last one that left the queue empty, `m` reads have taken `n` each:
    /// the greatest of `b ceil(((m + 1) T + S + J) / d) + B - m n`. Reads come after writes at one instant.
    pub fn depth(&self, arrivals: &Arrivals) -> Option<u64> {
        let Some(most) = self.most else { return Some(arrivals.within(self.gap_ns())) };
        if self.is_outrun_by(arrivals, most) {
            return None;
        }
        let mut worst = 0;
        for m in 0..self.rounds(arrivals.distance_ns) {
            if m == MOST_ROUNDS {
                return self.fluid(most).backlog(&traffic(arrivals)).map(|backlog| floor(&backlog));
            }
            if self.envelope(arrivals, most, m).is_some_and(|envelope| envelope <= worst) {
                break;
            }
            worst = worst.max(self.before_read(arrivals, most, m));
        }
        Some(saturated(worst))
    }

    /// The longest time that a message waits for the read that takes it, in ns; none where it has no bound. A message that
    /// comes just after a read counts from that read.
    pub fn waiting_ns(&self, arrivals: &Arrivals) -> Option<u64> {
        let Some(most) = self.most else { return Some(self.gap_ns()) };
        if self.is_outrun_by(arrivals, most) {
            return None;
        }
        // Of the batches that come at once the last one waits longest; behind it the reads stand as before after the rounds.
        let first = arrivals.at_once();
        let rounds = u128::from(most.get() / num_integer::gcd(most.get(), arrivals.batch));
        let mut worst = 0;
        for k in first..=first + rounds {
            if k - first == MOST_ROUNDS {
                return self.fluid(most).delay(&traffic(arrivals)).map(|delay| floor(&delay));
            }
            let messages = u128::from(arrivals.batch).saturating_mul(k).saturating_add(arrivals.burst.into());
            let taken_ns = self.by_ns(messages.div_ceil(u128::from(most.get())));
            worst = worst.max(taken_ns.saturating_sub(arrivals.batch_ns(k)));
        }
        Some(saturated(worst))
    }

    /// The earliest time after the first message at which one may find the queue full, in ns; none where none does.
    pub fn overflow_ns(&self, arrivals: &Arrivals, depth: u64) -> Option<u64> {
        let taken = self.most.map_or(0, NonZeroU64::get);
        let rounds = if taken == 0 { 1 } else { self.rounds(arrivals.distance_ns).min(MOST_ROUNDS) };
        let outruns = self.most.is_some_and(|most| self.is_outrun_by(arrivals, most));
        let rounds = if outruns { MOST_ROUNDS } else { rounds };
        let full_at = |m: &u128| {
            arrivals.within_wide(self.by_ns(m + 1)) > u128::from(depth).saturating_add(u128::from(taken) * m)
        };
        let m = (0..rounds).find(full_at)?;
        arrivals.soonest_ns(saturated(u128::from(depth) + u128::from(taken) * m + 1))
    }

    /// Whether more comes in the long run than reads take: `b / d > n / T`.
    fn is_outrun_by(&self, arrivals: &Arrivals, most: NonZeroU64) -> bool {
        let comes = u128::from(arrivals.batch) * u128::from(self.period_ns.get());
        comes > u128::from(most.get()) * u128::from(arrivals.distance_ns.get())
    }

    /// The reads after which they stand to the batches as before.
    fn rounds(&self, distance_ns: NonZeroU64) -> u128 {
        u128::from(distance_ns.get() / num_integer::gcd(distance_ns.get(), self.period_ns.get()))
    }

    fn before_read(&self, arrivals: &Arrivals, most: NonZeroU64, m: u128) -> u128 {
        let taken = u128::from(most.get()).saturating_mul(m);
        arrivals.within_wide(self.by_ns(m + 1)).saturating_sub(taken)
    }

    /// What is in the queue before the read `m + 1` and all later ones at most; none where it is too much to count.
    fn envelope(&self, arrivals: &Arrivals, most: NonZeroU64, m: u128) -> Option<u128> {
        let distance_ns = u128::from(arrivals.distance_ns.get());
        let spread_ns = self.by_ns(m + 1).checked_add(u128::from(arrivals.jitter_ns))?.checked_add(distance_ns - 1)?;
        let comes = spread_ns.checked_mul(arrivals.batch.into())? / distance_ns + u128::from(arrivals.burst);
        Some(comes.saturating_sub(u128::from(most.get()).saturating_mul(m)))
    }

    /// The reads as a server of rate `n / T` after `T + S`.
    fn fluid(&self, most: NonZeroU64) -> RateLatency {
        RateLatency { rate: ratio(most.get().into(), self.period_ns.get().into()), latency: whole(self.gap_ns()) }
    }
}

fn traffic(arrivals: &Arrivals) -> Traffic {
    Traffic::of_bucket(arrivals.bucket())
}

/// The whole part; saturates.
fn floor(number: &Number) -> u64 {
    u64::try_from(number.floor().to_integer().max(BigInt::from(0))).unwrap_or(u64::MAX)
}
