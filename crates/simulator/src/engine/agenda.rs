//! The agenda: the next instant of every source of events, and the least of them.
//!
//! **Computes** the least of a fixed number of instants, each of which changes often, and which sources are due at it.
//! **Source.** A tournament tree, common practice, no source; of eight, so that a node is one line of a cache.
//! **Invariants.** Entry `i` of block `b` is the least of block `8 b + 1 + i`; the entries of the last blocks are the sources. A
//! change walks up until an entry keeps its value, so it ends after as many steps as there are levels.

/// Never: later than every instant.
pub(crate) const NEVER: u64 = u64::MAX;

/// The next instant of every source.
#[derive(Debug, Clone, Default)]
pub(crate) struct Agenda {
    blocks: Vec<Block>,
    /// The first block of sources.
    leaves: usize,
    sources: usize,
    least: u64,
}

/// The instants of eight sources, or the least ones of eight blocks.
#[derive(Debug, Clone, Copy)]
#[repr(align(64))]
struct Block([u64; 8]);

impl Block {
    const EMPTY: Self = Self([NEVER; 8]);

    #[inline]
    fn least(&self) -> u64 {
        self.0.iter().fold(NEVER, |least, &at| least.min(at))
    }

    /// The entries that are `at`, a bit for each.
    #[inline]
    fn due(&self, at: u64) -> u32 {
        self.0.iter().rev().fold(0, |due, &one| 2 * due + u32::from(one == at))
    }
}

impl Agenda {
    /// An agenda of that many sources, all at `NEVER`.
    pub(crate) fn new(sources: usize) -> Self {
        let last = sources.div_ceil(8).max(1);
        let (mut leaves, mut width) = (0, 1);
        while width < last {
            leaves += width;
            width *= 8;
        }
        Self { blocks: vec![Block::EMPTY; leaves + last], leaves, sources, least: NEVER }
    }

    /// Sets every source to `NEVER`.
    pub(crate) fn clear(&mut self) {
        self.blocks.fill(Block::EMPTY);
        self.least = NEVER;
    }

    /// The least instant.
    #[inline]
    pub(crate) fn least(&self) -> u64 {
        self.least
    }

    /// Sets the next instant of a source.
    #[inline]
    pub(crate) fn set(&mut self, source: usize, at: u64) {
        let blocks = self.blocks.as_mut_slice();
        let (mut block, mut entry, mut least) = (self.leaves + source / 8, source % 8, at);
        loop {
            let entries = &mut blocks[block];
            if std::mem::replace(&mut entries.0[entry], least) == least {
                return;
            }
            least = entries.least();
            if block == 0 {
                self.least = least;
                return;
            }
            (block, entry) = ((block - 1) / 8, (block - 1) % 8);
        }
    }

    /// The source that is earlier than every other one, where one is.
    #[inline]
    pub(crate) fn first_alone(&self) -> Option<usize> {
        let mut block = 0;
        loop {
            let due = self.blocks[block].due(self.least);
            if !due.is_power_of_two() {
                return None;
            }
            let entry = due.trailing_zeros() as usize;
            if block >= self.leaves {
                return Some(8 * (block - self.leaves) + entry);
            }
            block = 8 * block + 1 + entry;
        }
    }

    /// The first sources from `from` on that are due at the instant `at`, where no source is earlier: up to eight that lie together.
    #[inline]
    pub(crate) fn due(&self, from: usize, at: u64) -> Option<Due> {
        if from >= self.sources {
            return None;
        }
        let (mut block, mut first) = (self.leaves + from / 8, from % 8);
        // To the right and up until an entry is due, then down to its first source.
        let mut due = self.blocks[block].due(at) >> first << first;
        while due == 0 {
            if block == 0 {
                return None;
            }
            (block, first) = ((block - 1) / 8, (block - 1) % 8 + 1);
            due = self.blocks[block].due(at) >> first << first;
        }
        while block < self.leaves {
            block = 8 * block + 1 + due.trailing_zeros() as usize;
            due = self.blocks[block].due(at);
        }
        Some(Due { first: 8 * (block - self.leaves), bits: due })
    }
}

/// Some of eight sources that lie together.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Due {
    first: usize,
    bits: u32,
}

impl Due {
    /// The source after all eight.
    pub(crate) fn end(&self) -> usize {
        self.first + 8
    }
}

impl Iterator for Due {
    type Item = usize;

    #[inline]
    fn next(&mut self) -> Option<usize> {
        let bit = self.bits.trailing_zeros() as usize;
        let any = self.bits != 0;
        self.bits &= self.bits.wrapping_sub(1);
        any.then_some(self.first + bit)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn it_agrees_with_a_plain_list(
            sources in 1usize..600,
            changes in prop::collection::vec((0usize..600, 0u64..20), 1..200),
        ) {
            let mut agenda = Agenda::new(sources);
            let mut list = vec![NEVER; sources];
            for (source, at) in changes {
                let source = source % sources;
                agenda.set(source, at);
                list[source] = at;
                let least = list.iter().copied().min().unwrap_or(NEVER);
                prop_assert_eq!(agenda.least(), least);
                let mut due = Vec::new();
                while let Some(next) = agenda.due(due.last().map_or(0, |last| last + 1), least) {
                    // One of them, so that those after it are looked for from there on.
                    due.extend(next.take(1));
                }
                let expected: Vec<_> = (0..sources).filter(|&one| list[one] == least).collect();
                prop_assert_eq!(agenda.first_alone(), (expected.len() == 1).then(|| expected[0]));
                prop_assert_eq!(&due, &expected);
                let (mut together, mut from) = (Vec::new(), 0);
                while let Some(next) = agenda.due(from, least) {
                    from = next.end();
                    together.extend(next);
                }
                prop_assert_eq!(together, expected);
            }
        }
    }
}
