//! The health monitor: errors become actions.
//!
//! **Computes** the action that answers an error of a partition, by its table, its escalations, and what was done before.
//! **Source.** The table of ARINC 653 part 1 (from memory); the counting is that of `docs/semantics.md`.
//! **Invariants and why it ends.** An escalation leads to a stronger action or is not taken, so an answer climbs at most as
//! often as there are actions. Of each counter at most `count` instants are kept.
//! **Checked by** ladders counted by hand, below.

use crate::machine::{Action, Counted, Monitor};
use model::system::HealthError;
use std::collections::VecDeque;

/// What was counted so far, of each escalation of the table.
#[derive(Debug, Clone, Default)]
pub(crate) struct Counters {
    counted: Vec<VecDeque<u64>>,
}

impl Counters {
    /// Nothing was counted yet.
    pub(crate) fn clear(&mut self, table: &Monitor) {
        self.counted.resize_with(table.escalations.len(), VecDeque::new);
        self.counted.iter_mut().for_each(VecDeque::clear);
    }

    /// What is done about an error that is noticed at `now`: `at_first` before escalations, or what the table says; `None`
    /// where neither says anything. It counts as carried out.
    pub(crate) fn answer(
        &mut self,
        table: &Monitor,
        partition: usize,
        error: HealthError,
        at_first: Option<Action>,
        now: u64,
    ) -> Option<Action> {
        self.count(table, partition, Counted::Error(error), now);
        let rule = table.rules.iter().find(|rule| rule.partition == partition && rule.error == error);
        let mut action = at_first.or_else(|| rule.map(|rule| rule.action))?;
        action = action.max(self.risen(table, partition, Counted::Error(error)).unwrap_or(action));
        while let Some(stronger) = self.risen(table, partition, Counted::Action(action)).filter(|to| *to > action) {
            action = stronger;
        }
        self.count(table, partition, Counted::Action(action), now);
        self.begin_anew(table, partition, action);
        Some(action)
    }

    fn count(&mut self, table: &Monitor, partition: usize, what: Counted, now: u64) {
        for (escalation, counted) in table.escalations.iter().zip(&mut self.counted) {
            if escalation.partition == partition && escalation.from == what {
                counted.push_back(now);
                while counted.len() as u64 > escalation.count {
                    counted.pop_front();
                }
            }
        }
    }

    /// The strongest action that what was counted leads to: the last `count` of them lie within the window.
    fn risen(&self, table: &Monitor, partition: usize, what: Counted) -> Option<Action> {
        let full = table.escalations.iter().zip(&self.counted).filter(|(escalation, counted)| {
            let (Some(first), Some(last)) = (counted.front(), counted.back()) else { return false };
            escalation.partition == partition
                && escalation.from == what
                && counted.len() as u64 == escalation.count
                && last - first <= escalation.window_ns
        });
        full.map(|(escalation, _)| escalation.to).max()
    }

    /// After an action the counters of weaker ones begin anew, and after a start or more those of errors.
    fn begin_anew(&mut self, table: &Monitor, partition: usize, done: Action) {
        for (escalation, counted) in table.escalations.iter().zip(&mut self.counted) {
            let weaker = match escalation.from {
                Counted::Action(action) => action < done,
                Counted::Error(_) => done >= Action::WarmStart,
            };
            if escalation.partition == partition && weaker {
                counted.clear();
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::machine::{Escalation, Rule};
    use Action::{ColdStart, Handler, Stop, WarmStart};
    use HealthError::{DeadlineMissed, MemoryViolation};

    /// The survey vessel's ladder: a missed deadline to the handler, three in a second to a warm start; a memory violation to
    /// a warm start, after three in 60 s cold, after two of these in 600 s a stop. Times in milliseconds.
    fn ladder() -> (Monitor, Counters) {
        let rule = |error, action| Rule { partition: 0, error, action };
        let escalation = |from, count, window_ns, to| Escalation { partition: 0, from, count, window_ns, to };
        let table = Monitor {
            rules: vec![rule(DeadlineMissed, Handler), rule(MemoryViolation, WarmStart)],
            escalations: vec![
                escalation(Counted::Error(DeadlineMissed), 3, 1_000, WarmStart),
                escalation(Counted::Action(WarmStart), 3, 60_000, ColdStart),
                escalation(Counted::Action(ColdStart), 2, 600_000, Stop),
            ],
        };
        let mut counters = Counters::default();
        counters.clear(&table);
        (table, counters)
    }

    fn answers(error: HealthError, instants: &[u64]) -> Vec<Action> {
        let (table, mut counters) = ladder();
        instants.iter().map(|&now| counters.answer(&table, 0, error, None, now).expect("a rule")).collect()
    }

    #[test]
    fn the_third_error_within_the_window_leads_to_a_start() {
        assert_eq!(answers(DeadlineMissed, &[0, 500, 1_000]), [Handler, Handler, WarmStart]);
        assert_eq!(answers(DeadlineMissed, &[0, 500, 1_001, 1_500]), [Handler, Handler, Handler, WarmStart]);
        let after = answers(DeadlineMissed, &[0, 1, 2, 3, 4, 5]);
        assert_eq!(after, [Handler, Handler, WarmStart, Handler, Handler, WarmStart]);
    }

    #[test]
    fn the_stronger_action_follows_the_counted_ones_and_counts_itself() {
        // Three warm starts, then one cold; counters of warm ones begin anew; after two cold ones a stop.
        let instants: Vec<u64> = (0..9).map(|step| step * 1_000).collect();
        let expected =
            [WarmStart, WarmStart, WarmStart, ColdStart, WarmStart, WarmStart, WarmStart, ColdStart, WarmStart];
        assert_eq!(answers(MemoryViolation, &instants), expected);
        let (table, mut counters) = ladder();
        let mut cold = |now| counters.answer(&table, 0, MemoryViolation, Some(ColdStart), now);
        assert_eq!([cold(0), cold(1), cold(2)], [Some(ColdStart), Some(ColdStart), Some(Stop)]);
    }

    #[test]
    fn starts_further_apart_than_the_window_do_not_count_together() {
        assert_eq!(answers(MemoryViolation, &[0, 30_000, 60_001, 60_002]), [WarmStart; 4]);
        assert_eq!(answers(MemoryViolation, &[0, 30_000, 60_000, 900_000])[3], ColdStart);
    }

    #[test]
    fn an_error_without_a_row_is_answered_by_nothing_and_partitions_count_apart() {
        let (table, mut counters) = ladder();
        assert_eq!(counters.answer(&table, 0, HealthError::PowerFail, None, 0), None);
        assert_eq!(counters.answer(&table, 1, MemoryViolation, None, 0), None);
        for now in 0..3 {
            counters.answer(&table, 0, DeadlineMissed, None, now);
        }
        assert_eq!(counters.answer(&table, 1, DeadlineMissed, Some(Handler), 3), Some(Handler));
    }
}
