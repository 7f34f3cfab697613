//! The agenda: the next instant of every source of events, and the least of them.
//!
//! **Computes** the least of a fixed number of instants, each of which changes often, and which sources are due at it.
//! **Source.** A tournament tree, common practice, no source.
//! **Invariants.** Node `i` is the least of nodes `2 i` and `2 i + 1`; the sources lie behind the inner nodes. A change
//! walks up until a node keeps its value, so it ends after as many steps as there are levels.

/// Never: later than every instant.
pub(crate) const NEVER: u64 = u64::MAX;

/// The next instant of every source.
#[derive(Debug, Clone, Default)]
pub(crate) struct Agenda {
    /// Nodes `2 i` and `2 i + 1`, whose lesser one is node `i`; node 1 is the root.
    pairs: Vec<[u64; 2]>,
    leaves: usize,
}

impl Agenda {
    /// An agenda of that many sources, all at `NEVER`.
    pub(crate) fn new(sources: usize) -> Self {
        let leaves = sources.next_power_of_two();
        Self { pairs: vec![[NEVER; 2]; leaves], leaves }
    }

    /// Sets every source to `NEVER`.
    pub(crate) fn clear(&mut self) {
        self.pairs.fill([NEVER; 2]);
    }

    /// The least instant.
    #[inline]
    pub(crate) fn least(&self) -> u64 {
        self.pairs[0][1]
    }

    /// Sets the next instant of a source.
    #[inline]
    pub(crate) fn set(&mut self, source: usize, at: u64) {
        let pairs = self.pairs.as_mut_slice();
        let (mut node, mut least) = (self.leaves + source, at);
        while node > 0 {
            let pair = &mut pairs[node / 2];
            if pair[node % 2] == least {
                return;
            }
            pair[node % 2] = least;
            least = pair[0].min(pair[1]);
            node /= 2;
        }
    }

    /// The source that is earlier than every other one, where one is.
    #[inline]
    pub(crate) fn first_alone(&self) -> Option<usize> {
        let pairs = self.pairs.as_slice();
        let mut node = 1;
        while node < self.leaves {
            let [one, other] = pairs[node];
            if one == other {
                return None;
            }
            node = 2 * node + usize::from(other < one);
        }
        Some(node - self.leaves)
    }

    /// The first source from `from` on that is due at the instant `at`, where no source is earlier.
    #[inline]
    pub(crate) fn due(&self, from: usize, at: u64) -> Option<usize> {
        if from >= self.leaves {
            return None;
        }
        let pairs = self.pairs.as_slice();
        let mut node = self.leaves + from;
        // To the right and up until a node is due, then down to its first source.
        while pairs[node / 2][node % 2] != at {
            node >>= node.trailing_ones();
            if node == 0 {
                return None;
            }
            node += 1;
        }
        while node < self.leaves {
            node = 2 * node + usize::from(pairs[node][0] != at);
        }
        Some(node - self.leaves)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn it_agrees_with_a_plain_list(changes in prop::collection::vec((0usize..128, 0u64..20), 1..200)) {
            let mut agenda = Agenda::new(128);
            let mut list = [NEVER; 128];
            for (source, at) in changes {
                agenda.set(source, at);
                list[source] = at;
                let least = list.iter().copied().min().unwrap_or(NEVER);
                prop_assert_eq!(agenda.least(), least);
                let mut due = Vec::new();
                while let Some(next) = agenda.due(due.last().map_or(0, |last| last + 1), least) {
                    due.push(next);
                }
                let expected: Vec<_> = (0..128).filter(|&one| list[one] == least).collect();
                prop_assert_eq!(agenda.first_alone(), (expected.len() == 1).then(|| expected[0]));
                prop_assert_eq!(due, expected);
            }
        }
    }
}
