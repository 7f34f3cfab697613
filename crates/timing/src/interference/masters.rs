//! What other masters of the memory can ask for in a span, and how long one core can wait for that.

use super::{Curve, Windows};

/// The time of one line request at the guaranteed rate: an exact fraction of ns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LineTime {
    numerator_ns: u64,
    denominator: u64,
}

/// A time in fractions of a ns, as many as [`LineTime`] has; saturating, which is never too short.
pub(super) type Fractions = u128;

impl LineTime {
    /// `numerator / denominator` ns; none where the denominator is zero.
    pub fn new(numerator_ns: u128, denominator: u128) -> Option<Self> {
        let common = num_integer::gcd(numerator_ns, denominator);
        let lowest = |value: u128| u64::try_from(value.checked_div(common)?).ok();
        (denominator > 0).then_some(())?;
        Some(Self { numerator_ns: lowest(numerator_ns)?, denominator: lowest(denominator)? })
    }

    /// The time of so many lines, rounded up once to whole ns; saturates.
    pub fn lines_ns(self, lines: u64) -> u64 {
        self.whole_ns(self.of_lines(lines))
    }

    pub(super) fn of_lines(self, lines: u64) -> Fractions {
        u128::from(lines) * u128::from(self.numerator_ns)
    }

    pub(super) fn of_ns(self, ns: u64) -> Fractions {
        u128::from(ns) * u128::from(self.denominator)
    }

    /// Rounded up; saturates.
    pub(super) fn whole_ns(self, fractions: Fractions) -> u64 {
        u64::try_from(fractions.div_ceil(u128::from(self.denominator))).unwrap_or(u64::MAX)
    }
}

/// One other master.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Master {
    /// What regulation holds it to, where it does.
    pub budget: Option<Budget>,
    /// What it asks for at the most, whenever that is; none where that is unknown.
    pub flow: Option<Flow>,
    /// Who asks on it, and when.
    pub presence: Presence,
}

/// What a master asks for at the most, in whole lines: in any span no more than a burst and a rate through it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Flow {
    /// The burst, in bytes.
    pub burst_bytes: u64,
    /// The rate, in bytes per second.
    pub bytes_per_s: u64,
    /// The bytes of a line; above zero.
    pub line_bytes: u64,
    /// While some of it waits, it is served at least the rate, after no more than this; in ns.
    pub late_ns: u64,
}

/// Who asks on a master, and when.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Presence {
    /// Anything, at any time.
    Always,
    /// Jobs alone, at any time.
    Jobs(Vec<Jobs>),
    /// Only these, each in its own windows.
    Windows(Vec<Resident>),
}

/// What regulation lets a master move in each of its periods.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Budget {
    /// The regulation period, in ns; above zero.
    pub period_ns: u64,
    /// Lines in each, a broken one counted whole.
    pub lines: u64,
}

/// A partition that has windows on another core.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Resident {
    /// The time at which a request of it can be served while the own partition has usable time.
    pub overlap: Curve,
    /// All that asks in its windows; none where that is unknown.
    pub jobs: Option<Known>,
}

/// All that asks in the windows of a partition.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Known {
    /// The jobs of its tasks.
    pub jobs: Vec<Jobs>,
    /// The windows, as far as they are beside usable time of the own partition.
    pub windows: Windows,
    /// For how long the switch and the refill of one can ask, in ns.
    pub head_ns: u64,
}

/// The jobs of one task of another core.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Jobs {
    /// The least distance of two arrivals, in ns; above zero.
    pub period_ns: u64,
    /// The longest time from an arrival to the completion, in ns.
    pub response_ns: u64,
    /// Line requests of a job; none where they are not counted.
    pub requests: Option<u64>,
    /// By how much a job lengthens all that runs meanwhile on one other core, in ns; none where that is not known.
    pub stress_ns: Option<u64>,
}

/// A span of a busy window of which only an interval is known for its begin: it begins in `[earliest, latest]` and is `span`
/// long.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stretch {
    pub(super) earliest_ns: u64,
    pub(super) latest_ns: u64,
    pub(super) span_ns: u64,
}

impl Stretch {
    /// The latest instant at which it may end.
    fn end_ns(&self) -> u64 {
        self.latest_ns.saturating_add(self.span_ns)
    }

    /// What of `curve` can lie in it at the most.
    fn most_of_ns(&self, curve: &Curve) -> u64 {
        curve.between_ns(self.earliest_ns, self.end_ns())
    }
}

impl Master {
    /// How long requests of this master can be served within the stretch while the own partition has usable time.
    pub(super) fn served_within(&self, stretch: &Stretch, line: LineTime) -> Fractions {
        let by_budget =
            self.budget.map_or(Fractions::MAX, |budget| line.of_lines(budget.lines_within(stretch.span_ns)));
        let by_flow = self.flow.map_or(Fractions::MAX, |flow| line.of_lines(flow.lines_within(stretch.span_ns)));
        let by_presence = match &self.presence {
            Presence::Always => Fractions::MAX,
            Presence::Jobs(jobs) => requests_within(jobs, stretch.span_ns).map_or(Fractions::MAX, |n| line.of_lines(n)),
            Presence::Windows(residents) => {
                let each = residents.iter().map(|resident| resident.served_within(stretch, line));
                each.fold(0, Fractions::saturating_add)
            }
        };
        by_budget.min(by_flow).min(by_presence)
    }

    /// By how much what runs there within the stretch lengthens what runs on the own core, beside the requests that are counted.
    pub(super) fn stress_within(&self, stretch: &Stretch, line: LineTime) -> Fractions {
        let stress = match &self.presence {
            Presence::Always => None,
            Presence::Jobs(jobs) => stress_within(jobs, stretch.span_ns),
            Presence::Windows(residents) => {
                let mut each = residents.iter().map(|resident| resident.stress_within(stretch));
                each.try_fold(0_u64, |sum, ns| Some(sum.saturating_add(ns?)))
            }
        };
        stress.map_or(Fractions::MAX, |ns| line.of_ns(ns))
    }
}

impl Budget {
    /// Lines that can be served within a span: a span touches at most so many periods, and one line more can have been asked
    /// for before.
    fn lines_within(&self, span_ns: u64) -> u64 {
        let periods = span_ns / self.period_ns + 2;
        periods.saturating_mul(self.lines).saturating_add(1)
    }
}

impl Flow {
    /// Lines that can be served within a span: what is asked for in it, what can wait when it begins, and the line under way
    /// when it ends. What waits at the begin is asked for within `late`, or was served at the rate meanwhile.
    fn lines_within(&self, span_ns: u64) -> u64 {
        let ns = u128::from(span_ns) + u128::from(self.late_ns);
        let by_rate = (ns * u128::from(self.bytes_per_s)).div_ceil(1_000_000_000);
        let lines = by_rate.saturating_add(u128::from(self.burst_bytes)).div_ceil(u128::from(self.line_bytes));
        u64::try_from(lines).unwrap_or(u64::MAX).saturating_add(1)
    }
}

impl Resident {
    fn served_within(&self, stretch: &Stretch, line: LineTime) -> Fractions {
        let while_both = line.of_ns(stretch.most_of_ns(&self.overlap));
        let of_jobs = self.jobs.as_ref().and_then(|known| known.served_within(stretch, line));
        of_jobs.map_or(while_both, |of_jobs| while_both.min(of_jobs))
    }

    /// Nothing where no window of it lies beside usable time.
    fn stress_within(&self, stretch: &Stretch) -> Option<u64> {
        if stretch.most_of_ns(&self.overlap) == 0 {
            return Some(0);
        }
        let known = self.jobs.as_ref()?;
        stress_within(&known.jobs, stretch.span_ns).map(|ns| ns.saturating_add(known.heads_ns(stretch)))
    }
}

impl Known {
    fn served_within(&self, stretch: &Stretch, line: LineTime) -> Option<Fractions> {
        let requests = requests_within(&self.jobs, stretch.span_ns)?;
        Some(line.of_lines(requests).saturating_add(line.of_ns(self.heads_ns(stretch))))
    }

    /// For how long the heads of all windows met can ask, and hold others up.
    fn heads_ns(&self, stretch: &Stretch) -> u64 {
        self.windows.met(stretch.earliest_ns, stretch.end_ns()).saturating_mul(self.head_ns)
    }
}

fn requests_within(jobs: &[Jobs], span_ns: u64) -> Option<u64> {
    sum_within(jobs, span_ns, |jobs| jobs.requests)
}

fn stress_within(jobs: &[Jobs], span_ns: u64) -> Option<u64> {
    sum_within(jobs, span_ns, |jobs| jobs.stress_ns)
}

/// What all jobs that are there at some instant of a span do, each as much as is told of it; none where that is not known of one.
fn sum_within(jobs: &[Jobs], span_ns: u64, each: impl Fn(&Jobs) -> Option<u64>) -> Option<u64> {
    jobs.iter().try_fold(0_u64, |sum, jobs| Some(sum.saturating_add(jobs.within(span_ns).saturating_mul(each(jobs)?))))
}

impl Jobs {
    /// How many jobs are there at some instant of a span: those that arrive in it, or less than their response before it.
    fn within(&self, span_ns: u64) -> u64 {
        span_ns.saturating_add(self.response_ns).div_ceil(self.period_ns)
    }
}
