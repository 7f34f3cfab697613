//! Events that are missing between two others, since they could not be read: where in time they may have been.

use crate::event::{Cpu, Event, What};

/// Follows the events of a source and tells what is missing between them.
///
/// What is missing stands before the next event that is as late as any before, and since the earliest one near it: a source that is
/// out of order there has more instants at which it may have been.
#[derive(Debug, Default)]
pub struct Missing {
    last_ns: u64,
    latest_ns: u64,
    from_ns: u64,
    pending: Vec<(Cpu, u32)>,
}

impl Missing {
    /// So many events of a cpu are missing here; 0 where it is not said how many.
    pub fn lose(&mut self, cpu: Cpu, count: u32) {
        if self.pending.is_empty() {
            self.from_ns = self.last_ns;
        }
        match self.pending.iter_mut().find(|(other, _)| *other == cpu) {
            // An unsaid number and some more are an unsaid number.
            Some((_, so_far)) if count == 0 || *so_far == 0 => *so_far = 0,
            Some((_, so_far)) => *so_far = so_far.saturating_add(count),
            None => self.pending.push((cpu, count)),
        }
    }

    /// The next event is at that instant: tells what is missing before it.
    #[inline]
    pub fn event(&mut self, at_ns: u64, tell: impl FnMut(Event)) {
        if !self.pending.is_empty() {
            self.from_ns = self.from_ns.min(at_ns);
            if at_ns >= self.latest_ns {
                self.tell(at_ns, tell);
            }
        }
        self.last_ns = at_ns;
        self.latest_ns = self.latest_ns.max(at_ns);
    }

    /// Whether something is missing that has not been told yet.
    pub fn is_pending(&self) -> bool {
        !self.pending.is_empty()
    }

    /// Several events went by with nothing missing before them; the last is at the one instant, the latest at the other.
    pub fn nothing_before(&mut self, last_ns: u64, latest_ns: u64) {
        self.last_ns = last_ns;
        self.latest_ns = self.latest_ns.max(latest_ns);
    }

    /// The source has ended: tells what is missing before that.
    pub fn finish(&mut self, tell: impl FnMut(Event)) {
        self.tell(self.latest_ns, tell);
    }

    fn tell(&mut self, at_ns: u64, mut tell: impl FnMut(Event)) {
        let (from_ns, in_order) = (self.from_ns, self.from_ns == self.latest_ns);
        for (cpu, count) in self.pending.drain(..) {
            let what = if in_order { What::lost(count) } else { What::lost_since(count, from_ns, at_ns) };
            tell(Event { at_ns, cpu, what });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is told of a source whose events are at these instants, with one missing for each `None`.
    fn told(story: &[Option<u64>]) -> Vec<(u64, What)> {
        let (mut missing, mut told) = (Missing::default(), Vec::new());
        for at in story {
            match at {
                Some(at_ns) => missing.event(*at_ns, |event| told.push((event.at_ns, event.what))),
                None => missing.lose(Cpu::UNKNOWN, 1),
            }
        }
        missing.finish(|event| told.push((event.at_ns, event.what)));
        told
    }

    #[test]
    fn what_is_missing_in_order_is_missing_since_the_event_before() {
        assert_eq!(told(&[Some(5_000), None, None, Some(9_000)]), [(9_000, What::lost(2))]);
        assert_eq!(told(&[None, Some(9_000)]), [(9_000, What::lost(1))]);
        assert_eq!(told(&[Some(9_000), None]), [(9_000, What::lost(1))]);
    }

    #[test]
    fn what_is_missing_out_of_order_may_have_been_at_any_instant_near_it() {
        let lost = |from_us: u64, to_us: u64| (to_us * 1_000, What::lost_since(1, from_us * 1_000, to_us * 1_000));
        let us = |at: u64| Some(at * 1_000);
        assert_eq!(told(&[us(10), None, us(5), us(11)]), [lost(5, 11)]);
        assert_eq!(told(&[us(10), us(5), None, us(6), us(11)]), [lost(5, 11)]);
        assert_eq!(told(&[us(10), us(5), None]), [lost(5, 10)]);
    }
}
