//! Instants of several sources, and how well the time between two of them is known.
//!
//! Within one source it is known exactly. Between two it is off by what the fit of each clock leaves over: see [`crate::clock`].

/// Whose clock an instant was read from, and how far off it may be as one of the common clock.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Clock {
    /// The source.
    pub source: u16,
    /// By how much at most; [`Clock::UNKNOWN`] where that is not known.
    pub error_ns: u32,
}

impl Clock {
    /// The error of a clock of which none is known. Whatever is as large decides nothing either.
    pub const UNKNOWN: u32 = u32::MAX;

    /// The clock of a source that is the common one.
    pub fn exact(source: u16) -> Self {
        Self { source, error_ns: 0 }
    }

    /// How far off the time between an instant of this clock and one of another may be; `u64::MAX` where it is not known.
    pub fn error_to_ns(self, other: Self) -> u64 {
        match () {
            () if self.source == other.source => 0,
            () if self.error_ns == Self::UNKNOWN || other.error_ns == Self::UNKNOWN => u64::MAX,
            () => u64::from(self.error_ns) + u64::from(other.error_ns),
        }
    }
}

/// An instant of the common clock, and from whose clock it was read.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Moment {
    /// The instant, in nanoseconds.
    pub at_ns: u64,
    /// From whose clock.
    pub clock: Clock,
}

impl Moment {
    /// The time since another moment; none where that comes later.
    pub fn since(self, earlier: Self) -> Reading {
        Reading::off_by(self.at_ns.saturating_sub(earlier.at_ns), self.clock.error_to_ns(earlier.clock))
    }

    /// How far off the time between both is, where that may turn their order.
    pub fn may_swap_with(self, other: Self) -> Option<u64> {
        let error_ns = self.clock.error_to_ns(other.clock);
        (error_ns > 0 && self.at_ns.abs_diff(other.at_ns) <= error_ns).then_some(error_ns)
    }
}

/// A value as it was read, and between what it lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reading {
    /// As it was read.
    pub value: u64,
    /// The least that it can be.
    pub least: u64,
    /// The most.
    pub most: u64,
    /// How far off the clocks are that it was read from; `u64::MAX` where that is not known.
    pub error_ns: u64,
}

impl Reading {
    /// A value that may be off by so much to either side.
    pub fn off_by(value: u64, error_ns: u64) -> Self {
        Self { value, least: value.saturating_sub(error_ns), most: value.saturating_add(error_ns), error_ns }
    }

    /// The same with an exact time added.
    pub fn plus(self, ns: u64) -> Self {
        let Self { value, least, most, error_ns } = self;
        let [value, least, most] = [value, least, most].map(|part| part.saturating_add(ns));
        Self { value, least, most, error_ns }
    }
}

impl From<u64> for Reading {
    fn from(value: u64) -> Self {
        Self::off_by(value, 0)
    }
}

/// The order in which what several sources tell was read.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Order {
    last: Option<Moment>,
}

impl Order {
    /// Takes what comes next: the one before and how far off the time between both is, where that may turn their order.
    ///
    /// It is enough to look at neighbours: of two whose order may be turned, whatever was read between them can be turned with one.
    pub(crate) fn take(&mut self, next: Moment) -> Option<(Moment, u64)> {
        let last = self.last.replace(next)?;
        Some((last, next.may_swap_with(last)?))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_time_between_two_sources_is_off_by_the_errors_of_both() {
        let moment = |at_ns, source, error_ns| Moment { at_ns, clock: Clock { source, error_ns } };
        let (own, other) = (moment(1_000, 0, 3), moment(1_400, 1, 7));
        assert_eq!(other.since(own), Reading { value: 400, least: 390, most: 410, error_ns: 10 });
        assert_eq!(moment(1_400, 0, 9).since(own), 400.into(), "of one source it is known");
        assert_eq!(moment(1_400, 1, Clock::UNKNOWN).since(own).most, u64::MAX);
        let swaps = [1_010, 1_011].map(|at_ns| own.may_swap_with(moment(at_ns, 1, 7)));
        assert_eq!(swaps, [Some(10), None]);
        assert_eq!(own.may_swap_with(moment(1_000, 1, 0)), Some(3));
        assert_eq!(moment(5, 0, 0).may_swap_with(moment(5, 1, 0)), None, "clocks that are the same");
    }
}
