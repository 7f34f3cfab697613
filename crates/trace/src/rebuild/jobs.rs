//! The jobs of one task that are under way.
//!
//! Arrivals and completions are paired by their numbers, where the recording counts jobs. Where it does not, they are paired
//! in order, and that only once nothing can be left over from before the recording or a gap: a job has completed, and the next
//! thing that the task did was to wait for an arrival.

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
}

#[derive(Debug, Clone, Copy)]
struct Pending {
    job: Job,
    number: Option<NonZeroU32>,
}

impl Jobs {
    pub(super) fn new(task: TaskId) -> Self {
        Self { task, under_way: VecDeque::new(), pairing: Pairing::Unsure }
    }

    pub(super) fn arrives(&mut self, at: u64, number: Option<NonZeroU32>, observer: &mut dyn Observer) {
        if self.pairing == Pairing::Settling {
            self.pairing = Pairing::Sure;
        }
        if self.under_way.len() >= LIMIT {
            self.give_up_oldest(observer);
        }
        let whole = number.is_some() || self.pairing == Pairing::Sure;
        self.under_way.push_back(Pending { job: self.job(Some(at), whole), number });
    }

    /// The task executes from now on.
    pub(super) fn executes(&mut self, at: u64) {
        if self.under_way.is_empty() {
            // What executes without an arrival is left over from what was not seen.
            self.pairing = Pairing::Unsure;
            let pending = Pending { job: self.job(None, false), number: None };
            self.under_way.push_back(pending);
        }
        let job = &mut self.under_way[0].job;
        job.began_ns = job.began_ns.or(Some(at));
    }

    /// The task has executed for so long.
    pub(super) fn executed(&mut self, length_ns: u64) {
        if let Some(pending) = self.under_way.front_mut() {
            pending.job.executed_ns = pending.job.executed_ns.saturating_add(length_ns);
        }
    }

    pub(super) fn completes(&mut self, at: u64, number: Option<NonZeroU32>, observer: &mut dyn Observer) {
        self.skip_to(number, observer);
        let pending = self.under_way.pop_front();
        let job = pending.map_or_else(|| self.job(None, false), |pending| pending.job);
        observer.job(&Job { completed_ns: Some(at), ..job });
        if self.pairing == Pairing::Unsure && self.under_way.is_empty() {
            self.pairing = Pairing::Settling;
        }
    }

    /// The jobs before the one of this number did not complete, or not in sight.
    fn skip_to(&mut self, number: Option<NonZeroU32>, observer: &mut dyn Observer) {
        let Some(number) = number else { return };
        let is_before = |pending: &Pending| pending.number.is_some_and(|other| other < number);
        while self.under_way.front().is_some_and(is_before) {
            self.give_up_oldest(observer);
        }
    }

    fn give_up_oldest(&mut self, observer: &mut dyn Observer) {
        if let Some(pending) = self.under_way.pop_front() {
            observer.job(&Job { whole: false, ..pending.job });
        }
    }

    /// The job that is under way is given up.
    pub(super) fn drop_oldest(&mut self, observer: &mut dyn Observer) {
        if let Some(pending) = self.under_way.pop_front() {
            observer.job(&pending.job);
        }
    }

    /// All jobs are given up: it is known that none is under way.
    pub(super) fn drop_all(&mut self, observer: &mut dyn Observer) {
        while !self.under_way.is_empty() {
            self.drop_oldest(observer);
        }
        self.pairing = Pairing::Sure;
    }

    /// Events were lost.
    pub(super) fn lose(&mut self, observer: &mut dyn Observer) {
        while !self.under_way.is_empty() {
            self.give_up_oldest(observer);
        }
        self.pairing = Pairing::Unsure;
    }

    fn job(&self, arrived_ns: Option<u64>, whole: bool) -> Job {
        Job { task: self.task, arrived_ns, began_ns: None, completed_ns: None, executed_ns: 0, whole }
    }
}
