//! How close jobs arrive, against the declared period.

use super::tally::{Finding, Rule, Tally};
use super::task_name;
use crate::moment::Moment;
use crate::rebuilt::Observer;
use crate::seen::{Happening, Seen};
use model::System;

#[derive(Debug)]
pub(super) struct Arrivals {
    last: Vec<Option<Moment>>,
    /// When a partition started anew last, or the schedule changed: then tasks may arrive sooner.
    anew: Option<Moment>,
    tallies: Vec<Tally>,
}

impl Arrivals {
    pub(super) fn new(system: &System) -> Self {
        // A recording may show releases, each up to the jitter after its arrival, so two may be that much closer.
        let tally = |task| {
            let jitter = system.jitter(task).map_or(0, |jitter| jitter.ns());
            Tally::new(Rule::Arrival, Ok(system.task(task).period.value.ns().saturating_sub(jitter)))
        };
        Self { last: vec![None; system.tasks.len()], anew: None, tallies: system.task_ids().map(tally).collect() }
    }

    /// Takes the end of the recording.
    pub(super) fn finish(&mut self) {
        self.tallies.iter_mut().for_each(Tally::finish);
    }

    pub(super) fn findings(&self, system: &System) -> Vec<Finding> {
        let silent = "no two arrivals of it were seen one after the other";
        let tallies = self.tallies.iter().enumerate();
        tallies.map(|(index, tally)| tally.finding(task_name(system, index), silent)).collect()
    }
}

impl Observer for Arrivals {
    fn seen(&mut self, seen: &Seen) {
        match seen.what {
            Happening::Arrives { task, .. } => {
                let at = seen.moment();
                let tally = &mut self.tallies[task.index()];
                tally.finish();
                let last = self.last[task.index()].replace(at);
                // What cuts the time between two may lie between them or not.
                let cut = |by: Moment| self.anew.and_then(|anew| anew.may_swap_with(by));
                let Some(last) = last else {
                    return cut(at).into_iter().for_each(|error_ns| tally.note_undecided(error_ns));
                };
                let apart = at.since(last);
                match cut(last) {
                    Some(error_ns) => tally.note_undecided(error_ns),
                    None => tally.note_unless_turned(apart, at, at.at_ns, || {
                        format!("a job arrived {} ns after the one before", apart.value)
                    }),
                }
            }
            // A free-running task may arrive at any instant after its partition has started anew.
            Happening::Restarts { .. } | Happening::Stopped { .. } | Happening::Schedule { .. } => {
                let anew = seen.moment();
                for (tally, last) in self.tallies.iter_mut().zip(&mut self.last) {
                    tally.turn(anew);
                    let open = last.take().and_then(|last| last.may_swap_with(anew));
                    open.into_iter().for_each(|error_ns| tally.note_undecided(error_ns));
                }
                self.anew = Some(anew);
            }
            Happening::Gap { .. } => self.last.fill(None),
            _ => {}
        }
    }
}
