//! The least and the greatest of what was measured, with how often.

/// Values that were measured.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Marks {
    range: Option<(u64, u64)>,
    /// How many there are.
    pub samples: u64,
}

impl Marks {
    pub(super) fn note(&mut self, value: u64) {
        let (least, most) = self.range.unwrap_or((value, value));
        self.range = Some((least.min(value), most.max(value)));
        self.samples += 1;
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
