//! The finish of one busy window whose waiting is counted from other masters' side too.

use super::masters::{Fractions, Stretch};
use super::{Bus, Own};
use crate::supply::Supply;

/// From where a busy window may begin: any instant of `[earliest, latest]`. Between the two the own partition has usable time
/// all along, so that nobody is supplied less than from the latest.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct From {
    pub(super) earliest_ns: u64,
    pub(super) latest_ns: u64,
}

impl From {
    pub(super) fn only(at_ns: u64) -> Self {
        Self { earliest_ns: at_ns, latest_ns: at_ns }
    }

    pub(super) fn width_ns(self) -> u64 {
        self.latest_ns - self.earliest_ns
    }
}

/// The job of a busy window that responds latest; times in ns from the busy window's begin.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Latest {
    /// Completion minus arrival.
    pub response_ns: u64,
    /// Where the busy window begins, from the frame's begin; at the latest, where only an interval is known.
    pub start_ns: u64,
    /// Where it may begin at the earliest.
    pub earliest_start_ns: u64,
    /// The arrival.
    pub arrival_ns: i64,
    /// The completion.
    pub finish_ns: u64,
    /// Which own job it is, from 0.
    pub job: u64,
    /// Whether that is in the first frame, where a window that continues across the frame's begin pays its head.
    pub at_boot: bool,
}

/// Busy windows of one task.
pub(super) struct Busy<'a> {
    pub(super) supply: &'a Supply,
    pub(super) own: &'a Own,
    pub(super) bus: &'a Bus,
    /// No finish after this is followed.
    pub(super) horizon_ns: u64,
    /// Rounds left.
    pub(super) rounds: u32,
}

impl Busy<'_> {
    /// The latest response over all begins in `from`; none where the rounds or the horizon are passed.
    pub(super) fn latest(&mut self, from: From) -> Option<Latest> {
        let mut latest: Option<Latest> = None;
        let (mut finish_ns, mut arrival_ns) = (1, -(self.own.jitter_ns as i64));
        for job in 0.. {
            finish_ns = self.finish(from, job, finish_ns)?;
            let response_ns = (finish_ns as i64 - arrival_ns) as u64; // It arrives before it finishes.
            if latest.is_none_or(|latest| response_ns > latest.response_ns) {
                let (start_ns, earliest_start_ns) = (from.latest_ns, from.earliest_ns);
                let at_boot = false;
                latest = Some(Latest { response_ns, start_ns, earliest_start_ns, arrival_ns, finish_ns, job, at_boot });
            }
            arrival_ns += self.own.period_ns as i64;
            if finish_ns as i64 <= arrival_ns {
                break;
            }
        }
        latest
    }

    /// When own job `job` is done at the latest; its predecessor is not before `least_ns`.
    fn finish(&mut self, from: From, job: u64, least_ns: u64) -> Option<u64> {
        let mut span_ns = least_ns;
        while self.rounds > 0 && span_ns <= self.horizon_ns {
            self.rounds -= 1;
            let work_ns = self.work_ns(from, job, span_ns);
            let needed_ns = self.supply.span_for_ns(from.latest_ns, work_ns)?;
            if needed_ns <= span_ns {
                return Some(span_ns);
            }
            span_ns = needed_ns;
        }
        None
    }

    /// All that has to be done before own job `job` is, were the busy window `span_ns` long: `W(t)` and the waiting.
    fn work_ns(&self, from: From, job: u64, span_ns: u64) -> u64 {
        let counted = self.own.counted(job, span_ns);
        let waiting = waits(self.bus, &counted, from, span_ns).fold(0, Fractions::saturating_add);
        counted.alone_ns.saturating_add(self.bus.line.whole_ns(waiting))
    }
}

/// What the jobs of a busy window take and ask for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Counted {
    pub(super) alone_ns: u64,
    pub(super) requests: u64,
}

impl Own {
    pub(super) fn counted(&self, job: u64, span_ns: u64) -> Counted {
        let own_jobs = job + 1;
        let mut counted = Counted {
            alone_ns: self.blocking_ns.saturating_add(own_jobs.saturating_mul(self.alone_ns)),
            requests: own_jobs.saturating_mul(self.requests),
        };
        for other in &self.others {
            let jobs = span_ns.saturating_add(other.jitter_ns).div_ceil(other.period_ns);
            counted.alone_ns = counted.alone_ns.saturating_add(jobs.saturating_mul(other.alone_ns));
            counted.requests = counted.requests.saturating_add(jobs.saturating_mul(other.requests));
        }
        counted
    }
}

/// How long the jobs wait for each other master, in the order of the masters.
pub(super) fn waits<'a>(
    bus: &'a Bus,
    counted: &Counted,
    from: From,
    span_ns: u64,
) -> impl Iterator<Item = Fractions> + use<'a> {
    let stretch = Stretch { earliest_ns: from.earliest_ns, latest_ns: from.latest_ns, span_ns };
    let by_requests = bus.line.of_lines(counted.requests);
    bus.masters.iter().map(move |master| by_requests.min(master.served_within(&stretch, bus.line)))
}
