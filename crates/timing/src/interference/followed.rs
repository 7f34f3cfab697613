//! Which own jobs of a busy window are followed, and behind which others, by the policy of the guest.
//!
//! Each policy asks the same question in its own order: when is all done that counts for this job? An own job that arrives only after the
//! busy window's end belongs to another begin; where it is followed all the same, it is only counted behind more.

use super::Work;
use super::busy::{Busy, From, Latest};
use crate::counted::{Counted, Which, first_in_phase_ns};
use crate::response::edf::{Candidates, blocking_before_ns};
use crate::supply::NEVER;
use crate::task_set::Policy;

impl Busy<'_> {
    /// The latest response over all begins in `from`; none where the rounds or the horizon are passed.
    pub(super) fn latest(&mut self, from: From) -> Option<Latest> {
        match self.tasks.policy() {
            Policy::FixedPriority => self.by_priority(from),
            Policy::Cooperative => self.by_begin(from),
            Policy::EarliestDeadline => self.by_deadline(from),
        }
    }

    /// What goes before all jobs, were it this; in the first frame it is what that one lacks.
    fn first(&self, blocking_ns: i64) -> Work {
        Work { alone_ns: self.lost_ns.unwrap_or(blocking_ns as u64), ..Work::default() } // Times are not negative.
    }

    fn counted(&self, own_before_ns: i64, which: Which) -> Counted {
        Counted { position: self.own.position, own_before_ns, which }
    }

    /// Before any own job is followed.
    fn none(&self, from: From) -> Latest {
        self.job(from, self.counted(0, Which::Arriving), Work::default(), 0, 0)
    }

    /// Preemptive fixed priorities: own jobs, in any phase or in the frame's, for as long as each arrives before all is done that
    /// went before.
    fn by_priority(&mut self, from: From) -> Option<Latest> {
        let position = self.own.position;
        let begin_ns = from.latest_ns as i64; // Two hyperperiods at most.
        let (which, mut arrival_ns) = match self.own.hyperperiod_ns {
            Some(_) => (Which::InPhase { begin_ns }, first_in_phase_ns(self.tasks, position, begin_ns) - begin_ns),
            None => (Which::Arriving, -self.tasks.jitter_ns[position]),
        };
        let first = self.first(self.tasks.blocking_ns[position]);
        let mut latest = self.none(from);
        let mut finish_ns = 1;
        if arrival_ns >= 1 {
            finish_ns = self.done(from, &self.counted(arrival_ns, which), first, finish_ns)?;
        }
        while arrival_ns < finish_ns as i64 {
            let counted = self.counted(arrival_ns + 1, which);
            finish_ns = self.done(from, &counted, first, finish_ns)?;
            latest = latest.or_later(self.job(from, counted, first, arrival_ns, finish_ns));
            arrival_ns += self.tasks.period_ns[position];
        }
        Some(latest)
    }

    /// A cooperative guest, behind each less urgent job that can have begun.
    fn by_begin(&mut self, from: From) -> Option<Latest> {
        let mut latest = self.none(from);
        if self.lost_ns.is_some() {
            return self.begun_behind(from, self.first(0), latest);
        }
        for blocker in self.own.blockers() {
            latest = self.begun_behind(from, blocker, latest)?;
        }
        Some(latest)
    }

    /// Every own job of the busy window begins once all is done that arrives until then, and 1 ns more; from then on nobody displaces it.
    fn begun_behind(&mut self, from: From, first: Work, mut latest: Latest) -> Option<Latest> {
        let position = self.own.position;
        let all_done_ns = self.done(from, &self.counted(NEVER, Which::Arriving), first, 1)?;
        let begins = Work { alone_ns: first.alone_ns + 1, ..first };
        let (mut arrival_ns, mut begun_ns) = (-self.tasks.jitter_ns[position], 1);
        while arrival_ns < all_done_ns as i64 {
            begun_ns = self.done(from, &self.counted(arrival_ns, Which::Arriving), begins, begun_ns)?;
            let before = Which::Begun { before_ns: begun_ns as i64 };
            let counted = self.counted(arrival_ns + 1, before);
            let finish_ns = self.done(from, &counted, first, begun_ns)?;
            latest = latest.or_later(self.job(from, counted, first, arrival_ns, finish_ns));
            arrival_ns += self.tasks.period_ns[position];
        }
        Some(latest)
    }

    /// Earliest deadline first: own jobs from whose arrival on some other job more goes first, in the busy period of all tasks.
    fn by_deadline(&mut self, from: From) -> Option<Latest> {
        let (tasks, position) = (self.tasks, self.own.position);
        let longest = self.first(tasks.blocking_ns.iter().copied().fold(0, i64::max));
        let whole = self.counted(NEVER, Which::Due { by_ns: i64::MAX / 2, all_ties: true });
        let end_ns = self.done(from, &whole, longest, 1)? as i64;
        let all_ties = tasks.jitter_ns[position] > 0;
        let mut candidates = Candidates::new(tasks, position, all_ties);
        let mut latest = self.none(from);
        let (mut finish_ns, mut behind_ns) = (1, 0);
        while let Some(arrival_ns) = candidates.next(tasks, end_ns, |_, _| {}) {
            let by_ns = arrival_ns + tasks.deadline_ns[position];
            let first = self.first(blocking_before_ns(tasks, by_ns));
            let counted = self.counted(NEVER, Which::Due { by_ns, all_ties });
            let least_ns = if first.alone_ns < behind_ns { 1 } else { finish_ns };
            behind_ns = first.alone_ns;
            finish_ns = self.done(from, &counted, first, least_ns)?;
            latest = latest.or_later(self.job(from, counted, first, arrival_ns, finish_ns));
        }
        Some(latest)
    }
}

impl Latest {
    /// Of equal responses the one followed first.
    fn or_later(self, other: Self) -> Self {
        if other.response_ns > self.response_ns { other } else { self }
    }
}
