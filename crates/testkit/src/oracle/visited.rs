//! The set of states seen, which is also the queue of states still to expand.

const FIRST_SLOTS: usize = 1 << 10;

/// States in the order found, and an open-addressing table of `state + 1` (0 marks a free slot).
#[derive(Debug)]
pub(super) struct Visited {
    found: Vec<u64>,
    slots: Vec<u64>,
}

impl Default for Visited {
    fn default() -> Self {
        Self { found: Vec::new(), slots: vec![0; FIRST_SLOTS] }
    }
}

impl Visited {
    pub(super) fn len(&self) -> usize {
        self.found.len()
    }

    pub(super) fn get(&self, index: usize) -> Option<u64> {
        self.found.get(index).copied()
    }

    /// Forgets everything. Shrinks the table too, or one large system would slow all later ones.
    pub(super) fn clear(&mut self) {
        self.found.clear();
        self.slots.clear();
        self.slots.resize(FIRST_SLOTS, 0);
    }

    pub(super) fn insert(&mut self, state: u64) {
        let slot = self.slot_of(state);
        if self.slots[slot] != 0 {
            return;
        }
        self.slots[slot] = state + 1;
        self.found.push(state);
        if self.found.len() * 2 > self.slots.len() {
            self.grow();
        }
    }

    /// The slot that holds the state, or the free one where it belongs.
    fn slot_of(&self, state: u64) -> usize {
        let mask = self.slots.len() - 1;
        let mixed = state.wrapping_mul(0x9E37_79B9_7F4A_7C15);
        let mut slot = (mixed ^ (mixed >> 32)) as usize & mask;
        while self.slots[slot] != 0 && self.slots[slot] != state + 1 {
            slot = (slot + 1) & mask;
        }
        slot
    }

    fn grow(&mut self) {
        let doubled = self.slots.len() * 2;
        self.slots.clear();
        self.slots.resize(doubled, 0);
        for index in 0..self.found.len() {
            let state = self.found[index];
            let slot = self.slot_of(state);
            self.slots[slot] = state + 1;
        }
    }
}
