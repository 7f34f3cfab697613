//! Fluid curves: token buckets, rate and latency, and their deviations, as exact fractions.
//!
//! Computes: the delay and backlog of traffic bounded by token buckets at a server of a rate after a latency, and the
//! burst of what leaves it; the best such server below a window table.
//! Source: Le Boudec & Thiran 2001, theorems 1.4.1 to 1.4.3 and proposition 1.4.1; time slots: Wandeler & Thiele 2006.
//! Assumptions: the server gives at least its service curve whatever the traffic.
//! Symbols: any unit of traffic and of time, used throughout.
//! Invariants and why it ends: an arrival curve is concave and a service curve convex, so a deviation is greatest at a
//! corner of one of them; corners are finitely many.
//! Differs from the source: nothing; fractions instead of reals.
//! Checked by: the closed forms of the source in the corpus.

use crate::supply::Supply;
use num_bigint::BigInt;
use num_rational::Ratio;

/// An exact number.
pub type Number = Ratio<BigInt>;

/// `numerator / denominator`; 0 where the denominator is.
pub fn ratio(numerator: u128, denominator: u128) -> Number {
    if denominator == 0 { whole(0) } else { Ratio::new(numerator.into(), denominator.into()) }
}

/// A whole number.
pub fn whole(value: u64) -> Number {
    Ratio::from_integer(value.into())
}

/// At most `burst + rate t` within any span `t`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TokenBucket {
    /// What may come at once.
    pub burst: Number,
    /// What may come per unit of time from then on.
    pub rate: Number,
}

impl TokenBucket {
    fn at(&self, t: &Number) -> Number {
        &self.burst + &self.rate * t
    }
}

/// Traffic that every one of some token buckets holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Traffic {
    buckets: Vec<TokenBucket>,
}

impl Traffic {
    /// Traffic of one bucket.
    pub fn of_bucket(bucket: TokenBucket) -> Self {
        Self { buckets: vec![bucket] }
    }

    /// Messages of at most `largest` at a `peak` rate, and in the long run `burst` and `rate`: T-SPEC.
    pub fn of_flow(largest: u64, peak: u64, burst: u64, rate: u64) -> Self {
        let bucket = |burst, rate| TokenBucket { burst: whole(burst), rate: whole(rate) };
        Self { buckets: vec![bucket(largest, peak), bucket(burst, rate)] }
    }

    /// The most within a span just longer than `t`.
    fn at(&self, t: &Number) -> Number {
        self.buckets.iter().map(|bucket| bucket.at(t)).min().unwrap_or_else(|| whole(0))
    }

    fn rate(&self) -> Number {
        self.buckets.iter().map(|bucket| bucket.rate.clone()).min().unwrap_or_else(|| whole(0))
    }

    /// Where one bucket takes over from another, and 0.
    fn corners(&self) -> Vec<Number> {
        let mut corners = vec![whole(0)];
        for (k, a) in self.buckets.iter().enumerate() {
            for b in self.buckets[k + 1..].iter().filter(|b| b.rate != a.rate) {
                let at = (&b.burst - &a.burst) / (&a.rate - &b.rate);
                corners.extend((at > whole(0)).then_some(at));
            }
        }
        corners
    }
}

/// At least `rate (t - latency)` within any span `t` in which something waits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RateLatency {
    /// What is served per unit of time.
    pub rate: Number,
    /// For how long nothing may be served.
    pub latency: Number,
}

impl RateLatency {
    fn at(&self, t: &Number) -> Number {
        if *t <= self.latency { whole(0) } else { &self.rate * (t - &self.latency) }
    }

    /// The longest delay: the horizontal deviation; none where the traffic outruns the server.
    pub fn delay(&self, traffic: &Traffic) -> Option<Number> {
        if traffic.rate() > self.rate || self.rate == whole(0) {
            return None;
        }
        let at = |t: Number| traffic.at(&t) / &self.rate + &self.latency - t;
        traffic.corners().into_iter().map(at).max()
    }

    /// The greatest backlog: the vertical deviation; none where the traffic outruns the server.
    pub fn backlog(&self, traffic: &Traffic) -> Option<Number> {
        if traffic.rate() > self.rate {
            return None;
        }
        let corners = traffic.corners().into_iter().chain([self.latency.clone()]);
        corners.map(|t| traffic.at(&t) - self.at(&t)).max()
    }

    /// What leaves, where a single bucket enters: its burst grown by what comes within the latency; none where the
    /// bucket outruns the server.
    pub fn output(&self, bucket: &TokenBucket) -> Option<TokenBucket> {
        let burst = &bucket.burst + &bucket.rate * &self.latency;
        (bucket.rate <= self.rate).then(|| TokenBucket { burst, rate: bucket.rate.clone() })
    }

    /// The best server that a window table never falls below, which serves `capacity` a unit of window time.
    pub fn below(supply: &Supply, capacity: u64) -> Self {
        let (frame, per_frame) = (whole(supply.frame_ns()), whole(supply.per_frame_ns()));
        if supply.per_frame_ns() == 0 {
            return Self { rate: whole(0), latency: whole(0) };
        }
        let mut latency = whole(0);
        for start in supply.busy_starts() {
            for window in supply.windows() {
                // The line is nearest where a window is about to open, once in each frame alike.
                let wait =
                    (window.start_ns + supply.frame_ns() - start.at_ns() % supply.frame_ns()) % supply.frame_ns();
                let served = whole(supply.supply_ns(start.at_ns(), wait));
                latency = latency.max(whole(wait) - served * &frame / &per_frame);
            }
        }
        Self { rate: whole(capacity) * per_frame / frame, latency }
    }
}
