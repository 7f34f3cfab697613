//! The set of states seen, which is also the queue of states still to expand.

const FIRST_SLOTS: usize = 1 << 10;

/// What a state is packed into. The greatest value is never a state.
pub(super) trait Word: Copy + PartialEq {
    /// The mark of a free slot.
    const FREE: Self;
    /// What stands in the slot of a state, never the mark.
    fn held(self) -> Self;
    /// The bits well mixed.
    fn mixed(self) -> u64;
}

impl Word for u64 {
    const FREE: Self = 0;

    fn held(self) -> Self {
        self + 1
    }

    fn mixed(self) -> u64 {
        let mixed = self.wrapping_mul(0x9E37_79B9_7F4A_7C15);
        mixed ^ (mixed >> 32)
    }
}

impl Word for u128 {
    const FREE: Self = 0;

    fn held(self) -> Self {
        self + 1
    }

    fn mixed(self) -> u64 {
        let upper = ((self >> 64) as u64).mixed();
        (self as u64 ^ upper.rotate_left(29)).mixed()
    }
}

/// States in the order found, and an open-addressing table of them.
#[derive(Debug)]
pub(super) struct Visited<W = u64> {
    found: Vec<W>,
    slots: Vec<W>,
}

impl<W: Word> Default for Visited<W> {
    fn default() -> Self {
        Self { found: Vec::new(), slots: vec![W::FREE; FIRST_SLOTS] }
    }
}

impl<W: Word> Visited<W> {
    pub(super) fn len(&self) -> usize {
        self.found.len()
    }

    pub(super) fn get(&self, index: usize) -> Option<W> {
        self.found.get(index).copied()
    }

    /// Forgets everything. Shrinks the table too, or one large system would slow all later ones.
    pub(super) fn clear(&mut self) {
        self.found.clear();
        self.slots.clear();
        self.slots.resize(FIRST_SLOTS, W::FREE);
    }

    pub(super) fn insert(&mut self, state: W) {
        let slot = self.slot_of(state);
        if self.slots[slot] != W::FREE {
            return;
        }
        self.slots[slot] = state.held();
        self.found.push(state);
        if self.found.len() * 2 > self.slots.len() {
            self.grow();
        }
    }

    /// The slot that holds the state, or the free one where it belongs.
    fn slot_of(&self, state: W) -> usize {
        let mask = self.slots.len() - 1;
        let mut slot = state.mixed() as usize & mask;
        while self.slots[slot] != W::FREE && self.slots[slot] != state.held() {
            slot = (slot + 1) & mask;
        }
        slot
    }

    fn grow(&mut self) {
        let doubled = self.slots.len() * 2;
        self.slots.clear();
        self.slots.resize(doubled, W::FREE);
        for index in 0..self.found.len() {
            let state = self.found[index];
            let slot = self.slot_of(state);
            self.slots[slot] = state.held();
        }
    }
}
