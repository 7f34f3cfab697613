//! Values that are not yet sure to stand. A recorder tells that events of a core were lost when it goes on with that core, so
//! what was seen on the others meanwhile may rest on something that was lost; and a partition has failed for a while when it is
//! noticed.

use crate::moment::{Clock, Reading};
use quantity::CoreId;
use std::collections::VecDeque;

/// So many values wait at most until every core is heard of again; of more, the oldest stand.
const LIMIT: usize = 65_536;
/// From so many on it is looked whether any stands.
const MANY: usize = 1024;

/// What was measured when a chain put something out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Value {
    /// The chain's number.
    pub(super) chain: usize,
    /// When it was put out.
    pub(super) at_ns: u64,
    /// How old what was put out before was then.
    pub(super) age: Reading,
    /// How long the oldest stimulus waited that is answered by it, where any is.
    pub(super) reaction: Option<Reading>,
}

/// The values that wait.
#[derive(Debug)]
pub(super) struct Pending {
    values: VecDeque<Value>,
    /// When something of each core was last seen.
    heard: Vec<Option<u64>>,
    /// For so long at most a failure is not noticed, in nanoseconds, or what came before something else is told after it.
    unnoticed_ns: u64,
    /// From so many values on it is looked again.
    look_at: usize,
}

impl Pending {
    pub(super) fn new(cores: usize, unnoticed_ns: u64) -> Self {
        Self { values: VecDeque::new(), heard: vec![None; cores], unnoticed_ns, look_at: MANY }
    }

    /// Something of a source is told, which may have come so much earlier than it seems against what another one told.
    pub(super) fn expect_error(&mut self, clock: Clock) {
        self.unnoticed_ns = self.unnoticed_ns.max(2 * u64::from(clock.error_ns));
    }

    /// Something of a core is seen.
    pub(super) fn hear(&mut self, core: CoreId, at: u64) {
        self.heard[core.index()] = Some(at);
    }

    /// A value is measured; values come in the order of time.
    pub(super) fn push(&mut self, value: Value) {
        self.values.push_back(value);
    }

    /// Events of a core were lost, back to the last one seen of it: the values that came later.
    pub(super) fn lose(&mut self, core: CoreId) -> Vec<Value> {
        let from = self.heard[core.index()].map_or(0, |last| last.saturating_add(1));
        self.take_back(from, |_| true)
    }

    /// The values from an instant on that do not stand.
    pub(super) fn take_back(&mut self, from_ns: u64, falls: impl Fn(&Value) -> bool) -> Vec<Value> {
        let stand = self.values.partition_point(|value| value.at_ns < from_ns);
        let (fallen, rest): (Vec<_>, Vec<_>) = self.values.split_off(stand).into_iter().partition(falls);
        self.values.extend(rest);
        fallen
    }

    /// The values that stand by now; asked for often, it looks seldom.
    pub(super) fn settled(&mut self) -> Vec<Value> {
        if self.values.len() < self.look_at {
            return Vec::new();
        }
        let last = self.heard.iter().copied().min().flatten().and_then(|last| last.checked_sub(self.unnoticed_ns));
        let heard = last.map_or(0, |last| self.values.partition_point(|value| value.at_ns <= last));
        let stand = heard.max(self.values.len().saturating_sub(LIMIT));
        let settled = self.values.drain(..stand).collect();
        self.look_at = (self.values.len() + MANY).min(LIMIT);
        settled
    }

    /// The recording has ended: all that wait stand.
    pub(super) fn rest(&mut self) -> Vec<Value> {
        self.values.drain(..).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(at_ns: u64) -> Value {
        Value { chain: 0, at_ns, age: 1.into(), reaction: None }
    }

    #[test]
    fn what_came_after_the_last_event_of_a_core_does_not_stand_where_the_next_ones_were_lost() {
        let mut pending = Pending::new(2, 0);
        pending.hear(CoreId::new(0), 10);
        [5, 10, 11].into_iter().for_each(|instant| pending.push(at(instant)));
        assert_eq!(pending.lose(CoreId::new(0)), [at(11)]);
        assert_eq!(pending.lose(CoreId::new(1)), [at(5), at(10)], "of that core nothing was ever seen");
    }

    #[test]
    fn values_stand_once_every_core_was_heard_of_and_never_too_many_wait() {
        let mut pending = Pending::new(2, 50);
        (0..MANY as u64).for_each(|instant| pending.push(at(instant)));
        pending.hear(CoreId::new(0), 700);
        assert_eq!(pending.settled(), [], "nothing of the second core was seen");
        pending.hear(CoreId::new(1), 149);
        (MANY as u64..2 * MANY as u64).for_each(|instant| pending.push(at(instant)));
        assert_eq!(pending.settled().len(), 100);
        (0..LIMIT as u64 + 7).for_each(|instant| pending.push(at(10_000 + instant)));
        pending.settled();
        assert_eq!(pending.rest().len(), LIMIT);
    }
}
