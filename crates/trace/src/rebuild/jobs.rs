//! The jobs of one task that are under way.
//!
//! Arrivals and completions are paired by their numbers, where the recording counts jobs. Where it does not, they are paired
//! in order, and that only once nothing can be left over from before the recording or a gap: a job has completed, and the next
//! thing that the task did was to wait for an arrival.

use crate::moment::{Clock, Moment};
use crate::rebuilt::{Job, Observer};
use quantity::TaskId;
use std::collections::VecDeque;
use std::num::NonZeroU32;

/// So many jobs of a task may be under way; of more, the oldest is told as one that did not complete.
const LIMIT: usize = 4096;

/// How far arrivals can be paired with completions in order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Pairing {
    /// Jobs that arrived unseen may be under way.
    Unsure,
    /// A job has completed, and none has executed since.
    Settling,
    /// Every job under way was seen to arrive.
    Sure,
}

#[derive(Debug)]
pub(super) struct Jobs {
    task: TaskId,
    under_way: VecDeque<Pending>,
    pairing: Pairing,
    /// Whether completions are told since the last gap; then the number of the last one, where it has one.
    completed: Option<Option<NonZeroU32>>,
    /// The last completion, where no job was under way that it could be of, or when all jobs were given up.
    early: Option<Moment>,
    /// By whose clock it was last told to execute.
    runs_by: Clock,
}

#[derive(Debug, Clone, Copy)]
struct Pending {
    job: Job,
    number: Option<NonZeroU32>,
    /// Whether every job under way when it arrived was seen to arrive.
    in_order: bool,
}

impl Pending {
    /// Whether a completion of that number is its own.
    fn completes_with(&self, number: Option<NonZeroU32>) -> bool {
        match (self.number, number) {
            (Some(own), Some(number)) => own == number,
            _ => self.in_order,
        }
    }
}

impl Jobs {
    pub(super) fn new(task: TaskId) -> Self {
        Self {
            task,
            under_way: VecDeque::new(),
            pairing: Pairing::Unsure,
            completed: None,
            early: None,
            runs_by: Clock::default(),
        }
    }

    pub(super) fn arrives(&mut self, at: Moment, number: Option<NonZeroU32>, observer: &mut dyn Observer) {
        let early = self.early.take().filter(|_| number.is_none());
        if let Some(unpaired_by_ns) = early.and_then(|early| at.may_swap_with(early)) {
            // It may be the arrival of the job whose end was read before it, or that of the next one.
            self.pairing = Pairing::Unsure;
            observer.job(&Job { unpaired_by_ns, ..self.job(Some(at)) });
            return;
        }
        if self.pairing == Pairing::Settling {
            self.pairing = Pairing::Sure;
        }
        if self.under_way.len() >= LIMIT {
            self.let_go_oldest(Some(at), false, observer);
        }
        let in_order = self.pairing == Pairing::Sure;
        self.under_way.push_back(Pending { job: self.job(Some(at)), number, in_order });
    }

    /// The task executes from now on.
    pub(super) fn executes(&mut self, at: Moment) {
        if self.under_way.is_empty() {
            // What executes without an arrival is left over from what was not seen.
            self.pairing = Pairing::Unsure;
            let pending = Pending { job: self.job(None), number: None, in_order: false };
            self.under_way.push_back(pending);
        }
        self.runs_by = at.clock;
        let job = &mut self.under_way[0].job;
        job.began_ns = job.began_ns.or(Some(at.at_ns));
    }

    /// The task has executed for so long, or as much off that as the clocks are.
    pub(super) fn executed(&mut self, length_ns: u64, error_ns: u64) {
        if let Some(Pending { job, .. }) = self.under_way.front_mut() {
            job.executed_ns = job.executed_ns.saturating_add(length_ns);
            job.execution_error_ns = job.execution_error_ns.saturating_add(error_ns);
        }
    }

    pub(super) fn completes(&mut self, at: Moment, number: Option<NonZeroU32>, observer: &mut dyn Observer) {
        self.skip_to(number, observer);
        self.completed = Some(number);
        let is_later = |next: &Pending| next.number.zip(number).is_some_and(|(own, number)| own > number);
        let pending = match self.under_way.front_mut() {
            Some(next) if is_later(next) => {
                // One that arrived unseen was before it, and all that has executed was that one's.
                forget_execution(&mut next.job);
                None
            }
            _ => self.under_way.pop_front(),
        };
        self.early = if pending.is_none() { Some(at) } else { None };
        let whole = pending.is_some_and(|pending| pending.completes_with(number));
        let job = pending.map_or_else(|| self.job(None), |pending| Job { whole, ..pending.job });
        let clocks = (job.clocks.0, at.clock);
        // What another source tells to execute may be the job's before or the next one's, as far as its clock is off.
        let either_end_ns = self.runs_by.error_to_ns(at.clock).saturating_mul(2);
        let execution_error_ns = job.execution_error_ns.max(either_end_ns);
        observer.job(&Job { completed_ns: Some(at.at_ns), clocks, execution_error_ns, ..job });
        if self.pairing == Pairing::Unsure && self.under_way.is_empty() {
            self.pairing = Pairing::Settling;
        }
    }

    /// The jobs before the one of this number did not complete, or not in sight.
    fn skip_to(&mut self, number: Option<NonZeroU32>, observer: &mut dyn Observer) {
        let Some(number) = number else { return };
        let own = self.under_way.iter().position(|pending| pending.number == Some(number));
        let is_before = |pending: &Pending| pending.number.is_some_and(|other| other < number);
        let before = own.unwrap_or_else(|| self.under_way.iter().take_while(|pending| is_before(pending)).count());
        (0..before).for_each(|_| self.let_go_oldest(None, false, observer));
    }

    /// The oldest job did not complete, and is known not to have until `open`, where that is said.
    fn let_go_oldest(&mut self, open: Option<Moment>, given_up: bool, observer: &mut dyn Observer) {
        let Some(Pending { mut job, number, in_order }) = self.under_way.pop_front() else { return };
        job.given_up = given_up;
        // Nothing can be said of how long a job is under way where nobody tells when jobs complete.
        let open = open.filter(|_| self.completed.is_some() && (number.is_some() || in_order));
        if let Some(Moment { at_ns, clock }) = open {
            (job.open_ns, job.clocks.1) = (Some(at_ns), clock);
        }
        let follows = self.completed.flatten().is_some_and(|last| last.checked_add(1) == number);
        if !follows && !in_order {
            // An earlier one, which arrived unseen, may have executed instead.
            forget_execution(&mut job);
        }
        observer.job(&job);
    }

    /// The job that is under way is given up by a start or stop of its partition.
    pub(super) fn drop_oldest(&mut self, at: Moment, observer: &mut dyn Observer) {
        self.let_go_oldest(Some(at), true, observer);
    }

    /// All jobs are given up: it is known that none is under way.
    pub(super) fn drop_all(&mut self, at: Moment, observer: &mut dyn Observer) {
        while !self.under_way.is_empty() {
            self.drop_oldest(at, observer);
        }
        self.early = Some(at);
        self.pairing = Pairing::Sure;
    }

    /// Events were lost after that instant.
    pub(super) fn lose(&mut self, last: Moment, observer: &mut dyn Observer) {
        // What executes without having been seen to arrive is told when it completes, and was when it was cut.
        self.under_way.retain(|pending| pending.job.arrived_ns.is_some());
        while !self.under_way.is_empty() {
            self.let_go_oldest(Some(last), false, observer);
        }
        self.pairing = Pairing::Unsure;
        self.completed = None;
        self.early = None;
    }

    /// Whether arrivals and completions are paired in order: then every event that is lost may put them out of step.
    pub(super) fn counts_in_order(&self) -> bool {
        self.under_way.iter().any(|pending| pending.number.is_none()) || self.completed.flatten().is_none()
    }

    fn job(&self, arrived: Option<Moment>) -> Job {
        let clock = arrived.map_or_else(Clock::default, |arrived| arrived.clock);
        Job {
            task: self.task,
            arrived_ns: arrived.map(|arrived| arrived.at_ns),
            began_ns: None,
            completed_ns: None,
            given_up: false,
            open_ns: None,
            clocks: (clock, clock),
            executed_ns: 0,
            execution_error_ns: 0,
            unpaired_by_ns: 0,
            whole: false,
        }
    }
}

/// What was seen to execute was another job's.
fn forget_execution(job: &mut Job) {
    (job.began_ns, job.executed_ns, job.execution_error_ns) = (None, 0, 0);
}
