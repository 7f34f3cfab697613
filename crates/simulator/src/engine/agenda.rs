//! The agenda: the next instant of every source of events, and the least of them.
//!
//! **Computes** the least of a fixed number of instants, each of which changes often, and which sources are due at it.
//! **Source.** A tournament tree (winner tree), common practice, no source.
//! **Invariants.** `tree[i]` is the least of `tree[2 i]` and `tree[2 i + 1]`; the leaves lie behind the inner nodes.
//! A change walks up until a node keeps its value, so it ends after as many steps as the tree has levels.

/// Never: later than every instant.
pub(crate) const NEVER: u64 = u64::MAX;

/// The next instant of every source.
#[derive(Debug, Clone, Default)]
pub(crate) struct Agenda {
    tree: Vec<u64>,
    leaves: usize,
    sources: usize,
}

impl Agenda {
    /// An agenda of that many sources, all at `NEVER`.
    pub(crate) fn new(sources: usize) -> Self {
        let leaves = sources.next_power_of_two().max(2);
        Self { tree: vec![NEVER; 2 * leaves], leaves, sources }
    }

    /// Sets every source to `NEVER`.
    pub(crate) fn clear(&mut self) {
        self.tree.fill(NEVER);
    }

    /// The least instant.
    #[inline]
    pub(crate) fn least(&self) -> u64 {
        self.tree[1]
    }

    /// The next instant of a source.
    #[inline]
    pub(crate) fn at(&self, source: usize) -> u64 {
        self.tree[self.leaves + source]
    }

    /// Sets the next instant of a source.
    #[inline]
    pub(crate) fn set(&mut self, source: usize, at: u64) {
        debug_assert!(source < self.sources, "source {source} is none of {}", self.sources);
        let mut node = self.leaves + source;
        if self.tree[node] == at {
            return;
        }
        self.tree[node] = at;
        while node > 1 {
            let least = self.tree[node].min(self.tree[node ^ 1]);
            node >>= 1;
            if self.tree[node] == least {
                return;
            }
            self.tree[node] = least;
        }
    }

    /// Adds the sources that are due at the least instant to `due`, in their order.
    #[inline]
    pub(crate) fn due(&self, due: &mut Vec<usize>) {
        let least = self.tree[1];
        let mut node = 1;
        loop {
            if self.tree[node] == least {
                if node < self.leaves {
                    node <<= 1;
                    continue;
                }
                due.push(node - self.leaves);
            }
            // To the next node on the right: up while this one is a right child.
            node >>= (node + 1).trailing_zeros();
            if node == 0 {
                return;
            }
            node += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn it_agrees_with_a_plain_list(changes in prop::collection::vec((0usize..13, 0u64..20), 1..200)) {
            let mut agenda = Agenda::new(13);
            let mut list = [NEVER; 13];
            for (source, at) in changes {
                agenda.set(source, at);
                list[source] = at;
                let least = list.iter().copied().min().unwrap_or(NEVER);
                let mut due = Vec::new();
                agenda.due(&mut due);
                prop_assert_eq!(agenda.least(), least);
                prop_assert_eq!(due, (0..13).filter(|&one| list[one] == least).collect::<Vec<_>>());
            }
        }
    }
}
