//! What may come within a span: batches by period and jitter, and a burst beside.

use super::{fluid, saturated};
use std::num::NonZeroU64;

/// Messages that come in batches, each at an instant of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Arrivals {
    /// The messages that come at one instant.
    pub batch: u64,
    /// The messages that may come at any time beside these.
    pub burst: u64,
    /// The least time between two batches, were none late, in ns.
    pub distance_ns: NonZeroU64,
    /// How much later than another one a batch may be, in ns.
    pub jitter_ns: u64,
}

impl Arrivals {
    /// The most messages within any half-open span: `b ceil((t + J) / d) + B`, and none in no time. Saturates.
    pub fn within(&self, span_ns: u64) -> u64 {
        saturated(self.within_wide(u128::from(span_ns)))
    }

    pub(super) fn within_wide(&self, span_ns: u128) -> u128 {
        if span_ns == 0 {
            return 0;
        }
        let batches = (span_ns + u128::from(self.jitter_ns)).div_ceil(u128::from(self.distance_ns.get()));
        u128::from(self.batch).saturating_mul(batches).saturating_add(u128::from(self.burst))
    }

    /// The shortest time from a first message until `count` have come, in ns; none where they never do. Saturates.
    pub fn soonest_ns(&self, count: u64) -> Option<u64> {
        let beyond = u128::from(count.saturating_sub(self.burst));
        if beyond == 0 {
            return Some(0);
        }
        let batches = beyond.checked_next_multiple_of(self.batch.into())? / u128::from(self.batch);
        Some(saturated(self.batch_ns(batches)))
    }

    /// The earliest instant of batch number `batch`, from 1, after the first message.
    pub(super) fn batch_ns(&self, batch: u128) -> u128 {
        let apart_ns = batch.saturating_sub(1).saturating_mul(u128::from(self.distance_ns.get()));
        apart_ns.saturating_sub(u128::from(self.jitter_ns))
    }

    /// The batches that may all come in no time.
    pub(super) fn at_once(&self) -> u128 {
        u128::from(self.jitter_ns / self.distance_ns) + 1
    }

    /// The same messages behind something that delays each by up to `jitter_ns` more than another. Saturates.
    pub fn delayed(self, jitter_ns: u64) -> Self {
        Self { jitter_ns: self.jitter_ns.saturating_add(jitter_ns), ..self }
    }

    /// The token bucket that holds them: rate `b / d`, depth `B + b (J + d) / d`.
    pub fn bucket(&self) -> fluid::TokenBucket {
        let distance_ns = u128::from(self.distance_ns.get());
        let spread_ns = u128::from(self.jitter_ns) + distance_ns;
        let rate = fluid::ratio(self.batch.into(), distance_ns);
        let at_once = &rate * fluid::ratio(spread_ns, 1);
        fluid::TokenBucket { burst: at_once + fluid::whole(self.burst), rate }
    }
}
