//! Which of several streams comes next: the one of the earliest event, at equal times the first of them.

use std::hint::select_unpredictable;

/// What a stream is chosen by: the time of its next event, then the stream's number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Key {
    at_ns: u64,
    lane: u64,
}

/// That of a stream without a next event.
const NONE: Key = Key { at_ns: u64::MAX, lane: u64::MAX };

impl Key {
    #[inline(always)]
    fn new(lane: usize, at_ns: Option<u64>) -> Self {
        at_ns.map_or(NONE, |at_ns| Self { at_ns, lane: lane as u64 })
    }

    /// The lesser and the greater of two: which is which cannot be foreseen, so that it is found without a branch.
    #[inline(always)]
    fn sorted(self, other: Self) -> (Self, Self) {
        let less = (self.at_ns < other.at_ns) | ((self.at_ns == other.at_ns) & (self.lane < other.lane));
        let select = |one: Self, other: Self| Self {
            at_ns: select_unpredictable(less, one.at_ns, other.at_ns),
            lane: select_unpredictable(less, one.lane, other.lane),
        };
        (select(self, other), select(other, self))
    }
}

/// Streams by their next events: a tournament, in which each place keeps who lost there, so that the next winner is found by as many
/// comparisons as it has rounds.
pub struct Merge {
    /// The losers, from place 1 on; the winner is kept apart.
    losers: Vec<Key>,
    winner: Key,
}

impl Merge {
    /// Of streams whose next events are at these times, where they have one.
    pub fn new(times: &[Option<u64>]) -> Self {
        let places = times.len().next_power_of_two();
        let mut keys = vec![NONE; 2 * places];
        for (lane, at_ns) in times.iter().enumerate() {
            keys[places + lane] = Key::new(lane, *at_ns);
        }
        let mut losers = vec![NONE; places];
        for place in (1..places).rev() {
            let (one, other) = (keys[2 * place], keys[2 * place + 1]);
            (keys[place], losers[place]) = one.sorted(other);
        }
        Self { losers, winner: keys[1] }
    }

    /// The stream whose next event comes next; `None`: none has one.
    #[inline(always)]
    pub fn first(&self) -> Option<usize> {
        (self.winner.lane != NONE.lane).then_some(self.winner.lane as usize)
    }

    /// The stream that came first has its next event at that time now, or none.
    #[inline(always)]
    pub fn replace(&mut self, at_ns: Option<u64>) {
        let lane = self.winner.lane as usize;
        let mut winner = Key::new(lane, at_ns);
        let mut place = (self.losers.len() + lane) / 2;
        while place > 0 {
            (winner, self.losers[place]) = winner.sorted(self.losers[place]);
            place /= 2;
        }
        self.winner = winner;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn streams_come_in_the_order_of_time_and_then_of_their_number(mut lanes in prop::collection::vec(prop::collection::vec(0..20_u64, 0..6), 0..9)) {
            lanes.iter_mut().for_each(|times| times.sort_unstable());
            let mut expected: Vec<(u64, usize)> =
                lanes.iter().enumerate().flat_map(|(lane, times)| times.iter().map(move |at| (*at, lane))).collect();
            expected.sort_unstable();
            let mut next = vec![0; lanes.len()];
            let mut merge = Merge::new(&lanes.iter().map(|times| times.first().copied()).collect::<Vec<_>>());
            let mut merged = Vec::new();
            while let Some(lane) = merge.first() {
                merged.push((lanes[lane][next[lane]], lane));
                next[lane] += 1;
                merge.replace(lanes[lane].get(next[lane]).copied());
            }
            prop_assert_eq!(merged, expected);
        }
    }
}
