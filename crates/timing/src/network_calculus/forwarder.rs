//! Frames of several senders through one forwarder.
//!
//! Each sender's frames are served in their order, and between senders in any: a frame may have to let all frames of the
//! others go first, those that come before it is done included. So from the instant at which the forwarder last had
//! nothing to do, a frame that comes `t` later is done by the least `f` with
//! `f = by(own work up to t + others' work before f)`, where `by(w)` is the time in which work `w` is surely served.

use super::fluid::{Number, ratio, whole};
use super::{Arrivals, saturated};
use crate::supply::Supply;
use std::collections::BTreeSet;
use std::num::NonZeroU64;

/// Steps of one search, of the greatest work and of the instants of arrival looked at.
const MOST_ROUNDS: usize = 1 << 16;

/// One channel through the forwarder.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Flow {
    /// Whose queue it uses; any numbering.
    pub sender: usize,
    /// Its messages.
    pub arrivals: Arrivals,
    /// The frames of one message: one for each receiver.
    pub frames: u64,
    /// The work of one frame, in ns.
    pub cost_ns: u64,
}

impl Flow {
    /// The frames of its messages within a half-open span. Saturates.
    fn frames_within(&self, span_ns: u64) -> u128 {
        self.arrivals.within_wide(span_ns.into()).saturating_mul(self.frames.into())
    }

    fn work_within(&self, span_ns: u64) -> u128 {
        self.frames_within(span_ns).saturating_mul(self.cost_ns.into())
    }

    fn rate(&self) -> Number {
        let of_message = whole(self.frames) * whole(self.cost_ns);
        of_message * ratio(self.arrivals.batch.into(), self.arrivals.distance_ns.get().into())
    }
}

/// What the forwarder does while frames wait.
#[derive(Clone, Copy, Debug)]
pub enum Service<'a> {
    /// The jobs of a task: one arrives at least every `period_ns` while frames wait, and within `response_ns` it moves
    /// frames for at least `per_job_ns`, unless none is left before. All in ns.
    Jobs {
        /// Distance of two jobs.
        period_ns: NonZeroU64,
        /// Completion minus arrival at the most.
        response_ns: u64,
        /// The work of a job.
        per_job_ns: NonZeroU64,
    },
    /// The whole supply of a partition that does nothing else.
    Supply(&'a Supply),
}

impl Service<'_> {
    /// The jobs of a task that moves frames of these `costs_ns` for at most `budget_ns` a job and begins none that does
    /// not fit into what is left of it; none where one never fits. All in ns.
    ///
    /// A job that ends while frames wait has less left than the greatest cost, and what it moved is a multiple of the
    /// costs' greatest common divisor.
    pub fn of_jobs(
        period_ns: NonZeroU64,
        response_ns: u64,
        budget_ns: u64,
        costs_ns: impl Iterator<Item = u64> + Clone,
    ) -> Option<Self> {
        let greatest_ns = costs_ns.clone().max().unwrap_or(0);
        let unit_ns = costs_ns.fold(0, num_integer::gcd).max(1);
        let surely_ns = budget_ns.checked_sub(greatest_ns)?.saturating_add(u64::from(greatest_ns > 0));
        // What is surely moved rounds up to no more than the budget: the greatest cost is a multiple of the unit too.
        let per_job_ns = NonZeroU64::new(surely_ns.checked_next_multiple_of(unit_ns)?)?;
        Some(Self::Jobs { period_ns, response_ns, per_job_ns })
    }

    /// The span in which `work_ns` is surely served once frames wait, in ns; none where it never is. Saturates. A frame
    /// without cost is moved with some work, not before.
    fn by_ns(&self, work_ns: u128) -> Option<u64> {
        let work_ns = work_ns.max(1);
        match self {
            Self::Jobs { period_ns, response_ns, per_job_ns } => {
                let jobs = work_ns.div_ceil(per_job_ns.get().into());
                let arrived_ns = jobs.saturating_mul(period_ns.get().into());
                Some(saturated(arrived_ns.saturating_add((*response_ns).into())))
            }
            Self::Supply(supply) => {
                let work_ns = u64::try_from(work_ns).ok()?;
                let starts = supply.busy_starts().iter().map(|start| (start.at_ns(), work_ns));
                // What the first frame lacks is work of its own to a busy window that begins with it.
                let boot = (supply.boot_ns() > 0).then(|| (0, work_ns.saturating_add(supply.boot_loss_ns())));
                let mut spans = starts.chain(boot).map(|(at_ns, work_ns)| supply.span_for_ns(at_ns, work_ns));
                spans.try_fold(0, |longest_ns: u64, span_ns| Some(longest_ns.max(span_ns?)))
            }
        }
    }

    /// The work per unit of time in the long run.
    fn rate(&self) -> Number {
        match self {
            Self::Jobs { period_ns, per_job_ns, .. } => ratio(per_job_ns.get().into(), period_ns.get().into()),
            Self::Supply(supply) => ratio(supply.per_frame_ns().into(), supply.frame_ns().into()),
        }
    }
}

/// Why there is no delay.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoDelay {
    /// More work comes in the long run than is served.
    Outrun,
    /// The frames wait for so long that the search was given up.
    GaveUp,
}

/// All channels through one forwarder.
#[derive(Clone, Debug)]
pub struct Forwarder<'a> {
    /// What it does.
    pub service: Service<'a>,
    /// The channels.
    pub flows: Vec<Flow>,
}

impl Forwarder<'_> {
    /// The work that comes, as a share of what is served in the long run; none where nothing is served.
    pub fn load(&self) -> Option<Number> {
        let served = self.service.rate();
        let comes = self.flows.iter().map(Flow::rate).fold(whole(0), |sum, rate| sum + rate);
        (served > whole(0)).then(|| comes / served)
    }

    /// The longest time from a message's write until its frame for receiver number `receiver`, from 0, is through, in ns,
    /// for the flow at that index.
    ///
    /// # Errors
    /// Why there is none.
    pub fn delay_ns(&self, flow: usize, receiver: u64) -> Result<u64, NoDelay> {
        let behind = self.flows[flow].frames.saturating_sub(receiver.saturating_add(1));
        let behind_ns = u128::from(behind) * u128::from(self.flows[flow].cost_ns);
        self.worst_ns(self.flows[flow].sender, behind_ns)
    }

    /// The frames that a sender's queue must hold, the one under way included: all that come within the longest delay.
    /// A frame counts as gone after those that come at the instant at which it leaves.
    ///
    /// # Errors
    /// Why there is no such number.
    pub fn depth(&self, sender: usize) -> Result<u64, NoDelay> {
        let longest_ns = self.worst_ns(sender, 0)?;
        Ok(self.frames_of(sender, longest_ns.saturating_add(1)))
    }

    /// The most frames of a sender within a half-open span. Saturates.
    pub fn frames_of(&self, sender: usize, span_ns: u64) -> u64 {
        saturated(self.of(sender).map(|flow| flow.frames_within(span_ns)).fold(0, u128::saturating_add))
    }

    fn of(&self, sender: usize) -> impl Iterator<Item = &Flow> {
        self.flows.iter().filter(move |flow| flow.sender == sender)
    }

    /// The longest delay of the last frame that a sender's arrival puts into its queue, but for `behind_ns` of work.
    fn worst_ns(&self, sender: usize, behind_ns: u128) -> Result<u64, NoDelay> {
        if self.load().is_none_or(|load| load > whole(1)) {
            return Err(NoDelay::Outrun);
        }
        let busy_ns = self.busy_window_ns()?;
        let (mut done_ns, mut worst_ns) = (0, 0);
        for at_ns in self.arrivals_of(sender, busy_ns)? {
            let own = self.of(sender).map(|flow| flow.work_within(at_ns.saturating_add(1)));
            let own_ns = own.fold(0, u128::saturating_add).saturating_sub(behind_ns);
            let others = |f_ns| {
                let others = self.flows.iter().filter(|flow| flow.sender != sender);
                others.map(|flow| flow.work_within(f_ns)).fold(own_ns, u128::saturating_add)
            };
            done_ns = self.settled_ns(done_ns, others)?;
            worst_ns = worst_ns.max(done_ns.saturating_sub(at_ns));
        }
        Ok(worst_ns)
    }

    /// The longest time for which frames wait without a break.
    fn busy_window_ns(&self) -> Result<u64, NoDelay> {
        self.settled_ns(0, |span_ns| {
            self.flows.iter().map(|flow| flow.work_within(span_ns.max(1))).fold(0, u128::saturating_add)
        })
    }

    /// The least `f`, at least `from_ns`, that is enough for the work before it.
    fn settled_ns(&self, from_ns: u64, work_before: impl Fn(u64) -> u128) -> Result<u64, NoDelay> {
        let mut f_ns = from_ns;
        for _ in 0..MOST_ROUNDS {
            match self.service.by_ns(work_before(f_ns)) {
                Some(u64::MAX) | None => return Err(NoDelay::GaveUp),
                Some(next_ns) if next_ns <= f_ns => return Ok(f_ns),
                Some(next_ns) => f_ns = next_ns,
            }
        }
        Err(NoDelay::GaveUp)
    }

    /// The instants within the busy window at which more of a sender's frames may have come.
    fn arrivals_of(&self, sender: usize, busy_ns: u64) -> Result<BTreeSet<u64>, NoDelay> {
        let mut instants = BTreeSet::from([0]);
        for flow in self.of(sender) {
            let later = (flow.arrivals.at_once() + 1..).map(|batch| saturated(flow.arrivals.batch_ns(batch)));
            instants.extend(later.take_while(|&at_ns| at_ns < busy_ns).take(MOST_ROUNDS + 1));
            if instants.len() > MOST_ROUNDS {
                return Err(NoDelay::GaveUp);
            }
        }
        Ok(instants)
    }
}
