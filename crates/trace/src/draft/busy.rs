//! How much each partition executed in even spans of time: what is measured of a guest whose tasks are not seen.

use super::marks::Marks;
use quantity::{CoreId, PartitionId};

/// The longest and the shortest spans, in nanoseconds.
const LONGEST: u64 = 100_000_000;
const SHORTEST: u64 = 1_000;

/// The spans for a recording of that length: a power of ten, and ten of them fit.
pub(super) fn span_for(length_ns: u64) -> u64 {
    let mut span = LONGEST;
    while span > SHORTEST && span > length_ns / 10 {
        span /= 10;
    }
    span
}

/// Execution in each of the spans in a row, from the first event after the last gap. Interrupts within count as its own.
#[derive(Debug, Clone, Default)]
pub(super) struct Busy {
    /// How long the spans are.
    pub(super) span_ns: u64,
    /// Where the span begins that is being filled.
    from_ns: Option<u64>,
    /// By core: who executes, and since when it has not been counted.
    running: Vec<Option<(PartitionId, u64)>>,
    /// By partition: what it executed in the span that is being filled.
    executed: Vec<u64>,
    /// By partition: what it executed in each whole span.
    pub(super) spans: Vec<Marks>,
}

impl Busy {
    pub(super) fn new(span_ns: u64, cores: usize, partitions: usize) -> Self {
        Self {
            span_ns,
            from_ns: None,
            running: vec![None; cores],
            executed: vec![0; partitions],
            spans: vec![Marks::default(); partitions],
        }
    }

    /// It is `at`: spans that have passed are closed.
    pub(super) fn pass(&mut self, at: u64) {
        let mut from = *self.from_ns.get_or_insert(at);
        while at.saturating_sub(from) >= self.span_ns {
            from += self.span_ns;
            (0..self.running.len()).for_each(|core| self.count(core, from));
            let spans = self.spans.iter_mut().zip(&mut self.executed);
            spans.for_each(|(marks, executed)| marks.note(std::mem::take(executed)));
            self.from_ns = Some(from);
        }
    }

    /// Somebody executes on a core from now on.
    pub(super) fn runs(&mut self, at: u64, core: CoreId, who: Option<PartitionId>) {
        self.count(core.index(), at);
        self.running[core.index()] = who.map(|who| (who, at));
    }

    /// Counts what was executed on a core until then.
    fn count(&mut self, core: usize, until: u64) {
        if let Some((who, since)) = &mut self.running[core] {
            self.executed[who.index()] += until.saturating_sub(*since);
            *since = until;
        }
    }

    /// Events were lost: the span that is being filled does not count.
    pub(super) fn cut(&mut self) {
        self.from_ns = None;
        self.running.fill(None);
        self.executed.fill(0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SPAN_NS: u64 = 1000;

    #[test]
    fn ten_spans_fit_into_a_recording() {
        let (ms, s) = (1_000_000, 1_000_000_000);
        assert_eq!([0, 30 * ms, s, 50 * s].map(span_for), [1_000, ms, 100 * ms, 100 * ms]);
    }

    #[test]
    fn execution_is_divided_among_the_spans_and_a_cut_one_does_not_count() {
        let (core, other) = (CoreId::new(0), CoreId::new(1));
        let guest = PartitionId::new(0);
        let mut busy = Busy::new(SPAN_NS, 2, 1);
        busy.pass(0);
        busy.runs(SPAN_NS - 10, core, Some(guest));
        busy.runs(SPAN_NS - 5, other, Some(guest));
        busy.pass(SPAN_NS + 30);
        busy.runs(SPAN_NS + 30, core, None);
        busy.runs(SPAN_NS + 40, other, None);
        busy.pass(4 * SPAN_NS);
        assert_eq!((busy.spans[0].range(), busy.spans[0].samples), (Some((0, 70)), 4));
        busy.runs(4 * SPAN_NS, core, Some(guest));
        busy.cut();
        busy.pass(9 * SPAN_NS);
        assert_eq!(busy.spans[0].samples, 4);
    }
}
