//! The agenda: the next instant of every source of events, and the least of them.
//!
//! **Computes** the least of a fixed number of instants, each of which changes often, and which sources are due at it.
//! **Source.** A tournament of eights, so that the children of a node are one cache line; common practice, no source.
//! **Invariants.** Every entry above the sources is the least of the eight below it. A change walks up until an entry keeps its
//! value, so it ends after as many steps as there are levels.

/// Never: later than every instant.
pub(crate) const NEVER: u64 = u64::MAX;

/// Eight entries of one level.
#[derive(Debug, Clone, Copy)]
#[repr(align(64))]
struct Eight([u64; 8]);

impl Eight {
    #[inline]
    fn least(&self) -> u64 {
        let [a, b, c, d, e, f, g, h] = self.0;
        a.min(b).min(c.min(d)).min(e.min(f).min(g.min(h)))
    }
}

/// The next instant of every source.
#[derive(Debug, Clone, Default)]
pub(crate) struct Agenda {
    /// All levels, the sources first and the top, one entry of eight, last.
    eights: Vec<Eight>,
    /// Where each level begins.
    levels: Vec<usize>,
}

impl Agenda {
    /// An agenda of that many sources, all at `NEVER`.
    pub(crate) fn new(sources: usize) -> Self {
        let (mut levels, mut total, mut count) = (Vec::new(), 0, sources.max(1));
        while count > 1 || levels.is_empty() {
            levels.push(total);
            count = count.div_ceil(8);
            total += count;
        }
        Self { eights: vec![Eight([NEVER; 8]); total], levels }
    }

    /// Sets every source to `NEVER`.
    pub(crate) fn clear(&mut self) {
        self.eights.fill(Eight([NEVER; 8]));
    }

    /// The least instant.
    #[inline]
    pub(crate) fn least(&self) -> u64 {
        self.eights.last().map_or(NEVER, Eight::least)
    }

    /// Sets the next instant of a source.
    #[inline]
    pub(crate) fn set(&mut self, source: usize, mut at: u64) {
        let mut index = source;
        for &level in &self.levels {
            let eight = &mut self.eights[level + index / 8];
            let entry = &mut eight.0[index % 8];
            if *entry == at {
                return;
            }
            *entry = at;
            at = eight.least();
            index /= 8;
        }
    }

    /// Adds the sources that are due at the instant `at`, which is the least, to `due`, in their order.
    #[inline]
    pub(crate) fn due(&self, at: u64, due: &mut Vec<usize>) {
        self.due_below(self.levels.len() - 1, 0, at, due);
    }

    fn due_below(&self, level: usize, index: usize, at: u64, due: &mut Vec<usize>) {
        let eight = &self.eights[self.levels[level] + index];
        for (place, &entry) in eight.0.iter().enumerate() {
            if entry == at {
                match level.checked_sub(1) {
                    Some(below) => self.due_below(below, index * 8 + place, at, due),
                    None => due.push(index * 8 + place),
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn it_agrees_with_a_plain_list(changes in prop::collection::vec((0usize..137, 0u64..20), 1..200)) {
            let mut agenda = Agenda::new(137);
            let mut list = [NEVER; 137];
            for (source, at) in changes {
                agenda.set(source, at);
                list[source] = at;
                let least = list.iter().copied().min().unwrap_or(NEVER);
                prop_assert_eq!(agenda.least(), least);
                let mut due = Vec::new();
                agenda.due(least, &mut due);
                prop_assert_eq!(due, (0..137).filter(|&one| list[one] == least).collect::<Vec<_>>());
            }
        }
    }
}
