//! The windows that a virtual core asks for: a period and a length, heads included.
//!
//! Computes: the declared budget where its tasks keep their deadlines with it, or else the least length that they do with.
//! Source: a monotone search on exact integers over the response times of `timing`.
//! Assumptions: one window a period, at the same place in each; a split window is judged again where it is placed.
//! Symbols: `P` period, `b` length, `h` head of a window, all in ns.
//! Invariants and why it ends: a longer window never ends a job later, so halving finds the least length.
//! Checked by: the planner's tests, against a search over all lengths of small cases.

use crate::answer::Report;
use crate::need::least_usable_ns;
use crate::problem::load_text;
use crate::workload::{Finding, Workload};
use model::system::RunGrant;
use num_integer::gcd;
use quantity::Duration;
use timing::supply::{Interval, Supply};

/// One window of this length in every period.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Ask {
    pub(crate) period_ns: u64,
    /// The head included.
    pub(crate) length_ns: u64,
    /// Periods of this shape in one period that the partition declares: its budget is spread over them.
    pub(crate) parts: u64,
}

/// Into how many windows a declared period may be cut where one is too coarse.
const PARTS: [u64; 7] = [1, 2, 3, 4, 5, 8, 10];

/// Everything that an ask is made from.
pub(crate) struct AskSource<'a> {
    pub(crate) name: String,
    pub(crate) grant: Option<&'a RunGrant>,
    pub(crate) workload: &'a Workload,
    pub(crate) frame_ns: u64,
    pub(crate) head_ns: u64,
    pub(crate) grid_ns: u64,
    /// Whether deadlines hold in any phase, so that the place of a window in the frame does not matter.
    pub(crate) any_phase: bool,
}

impl AskSource<'_> {
    /// The windows to ask for; `None` where there are none, and the report says why if that is no answer.
    pub(crate) fn ask(&self, report: &mut Report) -> Option<Ask> {
        let (period_ns, budget_ns) = self.declared(report)?;
        if period_ns == 0 || !self.frame_ns.is_multiple_of(period_ns) {
            let (period, frame) = (Duration::from_ns(period_ns), Duration::from_ns(self.frame_ns));
            report.impossible(format!("the period {period} of {} does not divide the frame of {frame}", self.name));
            return None;
        }
        if budget_ns.is_some_and(|budget| budget > period_ns) {
            let (budget, period) = (Duration::from_ns(budget_ns.unwrap_or(0)), Duration::from_ns(period_ns));
            report.impossible(format!("{} asks for {budget} in every period of {period}", self.name));
            return None;
        }
        if budget_ns.is_some_and(|budget| budget <= self.head_ns && budget < period_ns) {
            let (budget, head) = (Duration::from_ns(budget_ns.unwrap_or(0)), Duration::from_ns(self.head_ns));
            report.impossible(format!(
                "the budget {budget} of {} is no longer than the head {head} of a window",
                self.name
            ));
            return None;
        }
        if !self.fits_whole_core(report) {
            return None;
        }
        self.shaped(period_ns, budget_ns, report)
    }

    /// Period and, where given, budget.
    fn declared(&self, report: &mut Report) -> Option<(u64, Option<u64>)> {
        match self.grant {
            Some(RunGrant::Windows { period, budget }) => Some((period.ns(), budget.map(|b| b.ns()))),
            Some(RunGrant::Server { .. } | RunGrant::Share { .. }) => {
                report.open(format!("{} asks for a server or a share, but its cores have window tables", self.name));
                None
            }
            None => self.period_of_tasks(report).map(|period| (period, None)),
        }
    }

    /// The shortest period of the tasks, or the longest span that divides it and the frame.
    fn period_of_tasks(&self, report: &mut Report) -> Option<u64> {
        match self.workload {
            Workload::Nothing => {
                report.note(format!("{} declares no period and runs no task: it gets no windows.", self.name));
                None
            }
            Workload::Unknown(why) => {
                report.open(format!("{} declares no period, and {why}", self.name));
                None
            }
            Workload::Share { delay, .. } => Some(gcd(self.frame_ns, delay.ns())),
            Workload::Tasks { tasks, .. } => {
                let shortest = tasks.iter().map(|task| task.period_ns).min()?;
                let period = gcd(self.frame_ns, shortest);
                report.note(format!(
                    "{} declares no period: windows come every {}.",
                    self.name,
                    Duration::from_ns(period)
                ));
                Some(period)
            }
        }
    }

    /// No window table gives more than the whole core, which pays one head at the very first.
    fn fits_whole_core(&self, report: &mut Report) -> bool {
        match self.workload.judge(&self.supply(self.frame_ns, self.frame_ns)) {
            Finding::Missed(misses) => {
                let alone = "even with a whole core to itself";
                report.impossible(format!("{alone}, {} misses: {}", self.name, misses.join("; ")));
                false
            }
            Finding::Met | Finding::Unknown(_) => true,
        }
    }

    /// The window time of a frame that any plan must give, heads included.
    pub(crate) fn needed_ns(&self) -> u64 {
        let declared = match self.grant {
            Some(RunGrant::Windows { period, budget: Some(budget) }) => {
                budget.ns().saturating_mul(self.frame_ns.checked_div(period.ns()).unwrap_or(0))
            }
            _ => 0,
        };
        let usable_ns = least_usable_ns(self.workload, self.frame_ns);
        let with_head_ns = if usable_ns == 0 { 0 } else { usable_ns.saturating_add(self.head_ns).min(self.frame_ns) };
        declared.max(with_head_ns)
    }

    fn shaped(&self, period_ns: u64, budget_ns: Option<u64>, report: &mut Report) -> Option<Ask> {
        let declared = budget_ns.map(|length_ns| Ask { period_ns, length_ns, parts: 1 });
        if let (Workload::Unknown(why), Some(ask)) = (self.workload, declared) {
            report.note(format!("{} is planned by its budget alone: {why}.", self.name));
            return Some(ask);
        }
        if let Workload::Unknown(why) = self.workload {
            report.open(format!("no budget is declared for {}, and none can be found: {why}", self.name));
            return None;
        }
        if let Some(ask) = declared.filter(|ask| !self.any_phase || self.holds(ask.period_ns, ask.length_ns)) {
            return Some(ask);
        }
        let best = self.least(period_ns, budget_ns);
        match (best, declared) {
            (Some(ask), _) => report.note(self.found(&ask, declared)),
            (None, _) => report.open(format!("no window shape was found in which {} keeps its deadlines", self.name)),
        }
        best
    }

    fn found(&self, ask: &Ask, declared: Option<Ask>) -> String {
        let (length, period) = (Duration::from_ns(ask.length_ns), Duration::from_ns(ask.period_ns));
        let load = load_text(ask.length_ns.saturating_mul(self.frame_ns / ask.period_ns), self.frame_ns);
        match declared {
            None => format!(
                "{} declares no budget: the least that keeps its deadlines is {length} every {period}, {load}.",
                self.name
            ),
            Some(declared) => format!(
                "{} misses a deadline with its budget of {} every {}: it gets {length} every {period}, {load}.",
                self.name,
                Duration::from_ns(declared.length_ns),
                Duration::from_ns(declared.period_ns)
            ),
        }
    }

    /// The least shape; one with more windows must save an eighth of what one window a period takes.
    fn least(&self, period_ns: u64, budget_ns: Option<u64>) -> Option<Ask> {
        let even = |parts: &u64| period_ns.is_multiple_of(*parts) && (period_ns / parts).is_multiple_of(self.grid_ns);
        let shapes = PARTS.into_iter().filter(even).filter_map(|parts| self.least_of(period_ns, budget_ns, parts));
        let cost = |ask: &Ask| {
            let total = u128::from(ask.length_ns) * u128::from(ask.parts);
            if ask.parts == 1 { total * 7 } else { total * 8 }
        };
        shapes.min_by_key(|ask| (cost(ask), ask.parts))
    }

    fn least_of(&self, declared_ns: u64, budget_ns: Option<u64>, parts: u64) -> Option<Ask> {
        let period_ns = declared_ns / parts;
        let usable = budget_ns.map_or(0, |budget| budget.saturating_sub(self.head_ns));
        let floor_ns = usable.div_ceil(parts).saturating_add(self.head_ns).max(self.grid_ns);
        let (mut low, mut high) = (floor_ns.div_ceil(self.grid_ns), period_ns / self.grid_ns);
        if low > high || !self.holds(period_ns, high * self.grid_ns) {
            return None;
        }
        while low < high {
            let middle = low + (high - low) / 2;
            if self.holds(period_ns, middle * self.grid_ns) { high = middle } else { low = middle + 1 }
        }
        Some(Ask { period_ns, length_ns: high * self.grid_ns, parts })
    }

    fn holds(&self, period_ns: u64, length_ns: u64) -> bool {
        self.workload.judge_any_phase(&self.supply(period_ns, length_ns)) == Finding::Met
    }

    /// The supply of one window a period; one that fills the period never ends and so has its head once, at the very first.
    fn supply(&self, period_ns: u64, length_ns: u64) -> Supply {
        let fills = length_ns >= period_ns;
        let start_ns = if fills { 0 } else { self.head_ns };
        let usable = Interval { start_ns, end_ns: length_ns.min(period_ns) };
        let usable: &[Interval] = if start_ns < length_ns { &[usable] } else { &[] };
        let frame_ns = period_ns.max(1);
        // The interval lies inside the period, and periods are above zero and far below the limit of `timing`.
        let supply = Supply::new(frame_ns, usable).expect("one window inside its period is a supply");
        supply.with_boot_until(if fills { self.head_ns } else { 0 })
    }
}
