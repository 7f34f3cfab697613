//! Interrupt handlers that run at once, whoever's time it is.
//!
//! Computes: the most time that the handlers of some lines take from a core within any span.
//! Source: requests within a busy period: Lehoczky, RTSS 1990 (from memory); the rest is derived here.
//! Assumptions: two interrupts of a line come no closer than its least gap; a handler runs when nothing else but handlers
//! does, and begins as soon as no other handler runs.
//! Symbols: line `k` with gap `T_k` and handler `h_k`, in ns; `B` the longest time for which handlers run without a pause:
//! the least `b > 0` with `b = sum of ceil(b / T_k) h_k`.
//! The most taken: handlers that run at the begin of the span have run for some `b < B` before it. What they did then is not
//! taken from the span, and what has come since is `sum of ceil((span + b) / T_k) h_k` at most. So the span loses at most
//! `max over b in [0, B) of sum of ceil((span + b) / T_k) h_k - b`, and never more than itself. The sum rises only just behind
//! the `b` at which `span + b` is a whole number of gaps, and between these `-b` falls: those and 0 are looked at.
//! Over any span the handlers take at most `U span + H`, with `U = sum of h_k / T_k` and `H = sum of h_k`: `ceil(x / T_k)` is less
//! than `x / T_k + 1`, and `U <= 1` where `B` exists, so that `b = 0` is the most.
//! Invariants and why it ends: `B` is found from below, and exists where the handlers take less than the core; each step adds a
//! handler.
//! Differs from the source: nothing.
//! Checked by: every arrival pattern of small lines, run tick by tick, below.

use crate::supply::MAX_TIME_NS;

/// More handlers than these without a pause are not followed.
const MOST_HANDLERS: u64 = 1_000_000;

/// One interrupt line that is handled at once; times in ns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Line {
    /// The least time between two interrupts.
    pub gap_ns: u64,
    /// The time of the handler.
    pub handler_ns: u64,
}

/// The lines of one core.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Handlers {
    lines: Vec<Line>,
    /// `B`.
    pause_after_ns: u64,
}

/// No span of length `t` loses more than `t per_million / 10^6 + burst`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Rate {
    /// `U`, in whole parts of a million, rounded up.
    pub per_million: u64,
    /// `H`, in ns.
    pub burst_ns: u64,
}

impl std::iter::Sum for Rate {
    fn sum<I: Iterator<Item = Self>>(rates: I) -> Self {
        rates.fold(Self::default(), |sum, rate| Self {
            per_million: sum.per_million.saturating_add(rate.per_million),
            burst_ns: sum.burst_ns.saturating_add(rate.burst_ns),
        })
    }
}

/// Handlers that may keep a core for themselves without end, or too many to follow.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NeverPause;

impl Handlers {
    /// The handlers of `lines`; those that take no time are left out.
    ///
    /// # Errors
    /// [`NeverPause`] where they can keep the core for themselves.
    pub fn new(lines: impl IntoIterator<Item = Line>) -> Result<Self, NeverPause> {
        let lines: Vec<Line> = lines.into_iter().filter(|line| line.handler_ns > 0).collect();
        let pause_after_ns = pause_after_ns(&lines).ok_or(NeverPause)?;
        Ok(Self { lines, pause_after_ns })
    }

    /// Whether none takes any time.
    pub fn is_empty(&self) -> bool {
        self.lines.is_empty()
    }

    /// The most time that they take from any span of that length, in ns.
    pub fn most_taken_ns(&self, span_ns: u64) -> u64 {
        let befores_ns = self.lines.iter().flat_map(|line| self.steps_ns(*line, span_ns));
        let most = [0].into_iter().chain(befores_ns).map(|before_ns| self.come_ns(span_ns, before_ns) - before_ns);
        most.fold(0, u64::max).min(span_ns)
    }

    /// The line above what they take of any span.
    pub fn rate(&self) -> Rate {
        let of_line = |line: &Line| Rate {
            // A handler is no longer than its gap, which is below 2^53.
            per_million: (u128::from(line.handler_ns) * 1_000_000).div_ceil(u128::from(line.gap_ns)) as u64,
            burst_ns: line.handler_ns,
        };
        self.lines.iter().map(of_line).sum()
    }

    /// The instants before a span, in ns, with which one interrupt of the line more falls into the time since.
    fn steps_ns(&self, line: Line, span_ns: u64) -> impl Iterator<Item = u64> {
        let first_ns = span_ns.div_ceil(line.gap_ns) * line.gap_ns - span_ns + 1;
        (first_ns..self.pause_after_ns).step_by(usize::try_from(line.gap_ns).unwrap_or(usize::MAX))
    }

    /// The handlers' time of all that comes in a span and `before_ns` before it.
    fn come_ns(&self, span_ns: u64, before_ns: u64) -> u64 {
        let of_line = |line: &Line| (span_ns + before_ns).div_ceil(line.gap_ns).saturating_mul(line.handler_ns);
        self.lines.iter().map(of_line).fold(0, u64::saturating_add)
    }
}

/// The longest time for which the handlers run without a pause, in ns; none where it is not found.
fn pause_after_ns(lines: &[Line]) -> Option<u64> {
    if lines.iter().any(|line| line.gap_ns == 0 || line.gap_ns > MAX_TIME_NS || line.handler_ns > MAX_TIME_NS) {
        return None;
    }
    let mut busy_ns = lines.iter().try_fold(0u64, |sum, line| sum.checked_add(line.handler_ns))?;
    loop {
        let mut handlers = 0u64;
        let mut next_ns = 0u64;
        for line in lines {
            let of_line = busy_ns.div_ceil(line.gap_ns);
            handlers = handlers.checked_add(of_line)?;
            next_ns = next_ns.checked_add(of_line.checked_mul(line.handler_ns)?)?;
        }
        if next_ns == busy_ns {
            return Some(busy_ns);
        }
        if handlers > MOST_HANDLERS || next_ns > MAX_TIME_NS {
            return None;
        }
        busy_ns = next_ns;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LONG: usize = 24;

    /// Which ticks handlers take when interrupts come at the ticks of each list.
    fn taken(lines: &[Line], comes: &[Vec<usize>]) -> Vec<bool> {
        let mut left_ns = 0;
        let come = |at: usize| {
            let of_line = |(line, at_ticks): (&Line, &Vec<usize>)| {
                if at_ticks.contains(&at) { line.handler_ns } else { 0 }
            };
            lines.iter().zip(comes).map(of_line).sum::<u64>()
        };
        (0..LONG)
            .map(|at| {
                left_ns += come(at);
                let runs = left_ns > 0;
                left_ns -= u64::from(runs);
                runs
            })
            .collect()
    }

    /// Every list of ticks with the least gap between them.
    fn patterns(gap: usize) -> Vec<Vec<usize>> {
        fn extend(from: usize, gap: usize, so_far: &mut Vec<usize>, all: &mut Vec<Vec<usize>>) {
            all.push(so_far.clone());
            for at in from..LONG / 2 {
                so_far.push(at);
                extend(at + gap, gap, so_far, all);
                so_far.pop();
            }
        }
        let mut all = Vec::new();
        extend(0, gap, &mut Vec::new(), &mut all);
        all
    }

    /// The most that any pattern takes from any span of that many ticks.
    fn most_of_any_pattern(lines: &[Line], span: usize) -> u64 {
        let all: Vec<Vec<Vec<usize>>> = lines.iter().map(|line| patterns(line.gap_ns as usize)).collect();
        let pairs = all[0].iter().flat_map(|one| all.last().into_iter().flatten().map(move |other| (one, other)));
        let mut most = 0;
        for (one, other) in pairs {
            let comes = if lines.len() == 1 { vec![one.clone()] } else { vec![one.clone(), other.clone()] };
            let ticks = taken(lines, &comes);
            most =
                ticks.windows(span).map(|span| span.iter().filter(|taken| **taken).count() as u64).fold(most, u64::max);
        }
        most
    }

    fn on_line(rate: Rate, span_ns: u64) -> u64 {
        span_ns * rate.per_million / 1_000_000 + rate.burst_ns
    }

    #[test]
    fn no_pattern_takes_more_and_a_line_alone_takes_nearly_that() {
        for (gap_ns, handler_ns) in [(3, 1), (4, 2), (5, 2), (7, 3)] {
            let lines = [Line { gap_ns, handler_ns }];
            let handlers = Handlers::new(lines).expect("it pauses");
            for span in 1..10 {
                let (bound, seen) = (handlers.most_taken_ns(span), most_of_any_pattern(&lines, span as usize));
                assert!(seen <= bound && bound < seen + handler_ns, "{gap_ns} {handler_ns} {span}: {seen} {bound}");
                assert!(bound <= on_line(handlers.rate(), span), "{gap_ns} {handler_ns} {span}: {bound}");
            }
        }
    }

    #[test]
    fn no_pattern_of_two_lines_takes_more() {
        for lines in [[(5, 1), (6, 2)], [(5, 2), (7, 2)], [(6, 3), (6, 1)]] {
            let lines = lines.map(|(gap_ns, handler_ns)| Line { gap_ns, handler_ns });
            let handlers = Handlers::new(lines).expect("they pause");
            for span in 1..10 {
                let (bound, seen) = (handlers.most_taken_ns(span), most_of_any_pattern(&lines, span as usize));
                assert!(seen <= bound, "{lines:?} {span}: {seen} {bound}");
                assert!(bound <= on_line(handlers.rate(), span), "{lines:?} {span}: {bound}");
            }
        }
    }

    #[test]
    fn handlers_that_fill_the_core_have_no_bound() {
        let line = |gap_ns, handler_ns| Line { gap_ns, handler_ns };
        assert_eq!(Handlers::new([line(4, 2), line(4, 2)]).map(|full| full.most_taken_ns(8)), Ok(8), "full, no more");
        assert_eq!(Handlers::new([line(4, 3), line(4, 2)]), Err(NeverPause));
        assert_eq!(Handlers::new([line(0, 1)]), Err(NeverPause));
        assert_eq!(Handlers::new([line(u64::MAX, 1)]), Err(NeverPause));
    }

    #[test]
    fn no_line_takes_nothing() {
        let silent = Handlers::new([Line { gap_ns: 5, handler_ns: 0 }]).expect("nothing to follow");
        assert_eq!((silent.most_taken_ns(100), Handlers::default().most_taken_ns(7)), (0, 0));
    }
}
