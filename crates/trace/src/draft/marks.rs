//! The least and the greatest of what was measured, with how often and how much altogether.

/// Values that were measured.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Marks {
    range: Option<(u64, u64)>,
    /// How many there are.
    pub samples: u64,
    /// What they come to altogether; the most that 64 bits hold where that is more.
    pub sum: u64,
}

impl Marks {
    pub(super) fn note(&mut self, value: u64) {
        let (least, most) = self.range.unwrap_or((value, value));
        self.range = Some((least.min(value), most.max(value)));
        self.samples += 1;
        self.sum = self.sum.saturating_add(value);
    }

    /// The least and the greatest, where any was measured.
    pub fn range(&self) -> Option<(u64, u64)> {
        self.range
    }

    /// The greatest.
    pub fn most(&self) -> Option<u64> {
        self.range.map(|(_, most)| most)
    }
}
