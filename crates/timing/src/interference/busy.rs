//! The finish of one busy window whose waiting is counted from other masters' side too.

use super::masters::{Fractions, Stretch};
use super::{Bus, Own, ROUNDS, Work};
use crate::counted::Counted;
use crate::supply::{FARTHEST_NS, Supply};
use crate::task_set::TaskSet;

/// From where a busy window may begin: any instant of `[earliest, latest]`. From none of them anybody is supplied less than from
/// the latest, and the jobs that count are the same.
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
    /// Completion minus arrival; zero where the busy window has no own job.
    pub response_ns: u64,
    /// Where the busy window begins, from the frame's begin; at the latest, where only an interval is known.
    pub start_ns: u64,
    /// Where it may begin at the earliest.
    pub earliest_start_ns: u64,
    /// The arrival.
    pub arrival_ns: i64,
    /// The completion.
    pub finish_ns: u64,
    /// What all jobs that count take and ask for.
    pub work: Work,
    /// Which jobs count.
    pub(crate) counted: Counted,
    /// What goes before all of them, in ns.
    pub(crate) first_ns: u64,
    /// Whether that is in the first frame, where a window that continues across the frame's begin pays its head.
    pub at_boot: bool,
}

/// Busy windows of one task.
#[derive(Clone, Copy)]
pub(super) struct Busy<'a> {
    pub(super) own: &'a Own<'a>,
    pub(super) tasks: &'a TaskSet,
    /// What the first frame lacks and goes before all jobs there, in ns; none in any other.
    pub(super) lost_ns: Option<u64>,
    supply: &'a Supply,
    bus: &'a Bus,
    /// No finish after this is followed.
    horizon_ns: u64,
    /// Rounds left.
    rounds: u32,
}

impl<'a> Busy<'a> {
    pub(super) fn new(supply: &'a Supply, own: &'a Own<'a>, bus: &'a Bus) -> Self {
        let (tasks, horizon_ns) = (own.tasks, FARTHEST_NS as u64);
        Self { own, tasks, lost_ns: None, supply, bus, horizon_ns, rounds: ROUNDS }
    }

    /// The busy windows that begin with the first frame, of the tasks as they stand there.
    pub(super) fn at_boot(self, tasks: &'a TaskSet) -> Self {
        Self { tasks, lost_ns: Some(self.supply.boot_loss_ns()), ..self }
    }

    /// When what counts behind `first` is done at the latest, not before `least_ns`; none where the rounds or the horizon are
    /// passed.
    pub(super) fn done(&mut self, from: From, counted: &Counted, first: Work, least_ns: u64) -> Option<u64> {
        let mut span_ns = least_ns;
        while self.rounds > 0 && span_ns <= self.horizon_ns {
            self.rounds -= 1;
            let work = self.work(counted, first, span_ns);
            let waiting = waits(self.bus, &work, from, span_ns).fold(0, Fractions::saturating_add);
            let all_ns = work.alone_ns.saturating_add(self.bus.line.whole_ns(waiting));
            let needed_ns = self.supply.span_for_ns(self.supply.table_begin_ns(from.latest_ns), all_ns)?;
            if needed_ns <= span_ns {
                return Some(span_ns);
            }
            span_ns = needed_ns;
        }
        None
    }

    /// All that counts were the busy window `span_ns` long.
    fn work(&self, counted: &Counted, first: Work, span_ns: u64) -> Work {
        let of = |work: Work, at: usize| {
            let jobs = counted.jobs(self.tasks, at, span_ns as i64) as u64; // Neither negative nor past the horizon.
            work.and(jobs, &self.own.jobs[at])
        };
        counted.positions(self.tasks).fold(first, of)
    }

    /// The own job that arrives then and is done at `finish_ns`, behind `first`.
    pub(super) fn job(&self, from: From, counted: Counted, first: Work, arrival_ns: i64, finish_ns: u64) -> Latest {
        Latest {
            response_ns: u64::try_from(finish_ns as i64 - arrival_ns).unwrap_or(0), // Below 2^62.
            start_ns: from.latest_ns,
            earliest_start_ns: from.earliest_ns,
            arrival_ns,
            finish_ns,
            work: self.work(&counted, first, finish_ns),
            counted,
            first_ns: first.alone_ns,
            at_boot: self.lost_ns.is_some(),
        }
    }
}

/// How long jobs that take and ask for that much wait for each other master, in the order of the masters.
pub(super) fn waits<'a>(
    bus: &'a Bus,
    work: &Work,
    from: From,
    span_ns: u64,
) -> impl Iterator<Item = Fractions> + use<'a> {
    let span_ns = span_ns.saturating_add(bus.late_ns);
    let stretch = Stretch { earliest_ns: from.earliest_ns, latest_ns: from.latest_ns, span_ns };
    let by_requests = bus.line.of_lines(work.requests);
    let by_sensitivity = bus.line.of_ns(work.sensitivity_ns);
    let most_of_own = bus.own.len().saturating_sub(1) as u128;
    let mut of_own = by_requests.saturating_add(by_sensitivity).saturating_mul(most_of_own);
    bus.masters.iter().enumerate().map(move |(at, master)| {
        let requests = by_requests.min(master.served_within(&stretch, bus.line));
        let wait = requests.saturating_add(by_sensitivity.min(master.stress_within(&stretch, bus.line)));
        if !bus.own.contains(&at) {
            return wait;
        }
        let wait = wait.min(of_own);
        of_own -= wait;
        wait
    })
}
