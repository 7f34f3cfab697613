//! Task tables of the cases, and the systems of `timing` made from them.

use crate::compare::Share;
use serde::Deserialize;
use timing::demand_bound::{demand_bound_ns, hyperperiod_ns};
use timing::response::{Bound, Response, worst_responses};
use timing::supply::{Interval, Supply};
use timing::{Release, Task, TaskSet};

/// A task with the letters of the trade: period, execution time, deadline (the period where none is given), offset.
#[derive(Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Row {
    pub name: String,
    #[serde(rename = "T")]
    pub period: u64,
    #[serde(rename = "C")]
    pub charged: u64,
    #[serde(rename = "D")]
    pub deadline: Option<u64>,
    #[serde(rename = "O", default)]
    pub offset: u64,
}

impl Row {
    pub fn deadline(&self) -> u64 {
        self.deadline.unwrap_or(self.period)
    }
}

/// Who is the more urgent; where the rule leaves two equal, the one listed first.
#[derive(Clone, Copy, Deserialize)]
pub enum Order {
    #[serde(rename = "RM")]
    RateMonotonic,
    #[serde(rename = "DM")]
    DeadlineMonotonic,
    #[serde(rename = "listed")]
    Listed,
}

impl Order {
    /// The indices of the rows, the most urgent first.
    pub fn most_urgent_first(self, rows: &[Row]) -> Vec<usize> {
        let mut order: Vec<usize> = (0..rows.len()).collect();
        match self {
            Self::RateMonotonic => order.sort_by_key(|&k| rows[k].period),
            Self::DeadlineMonotonic => order.sort_by_key(|&k| rows[k].deadline()),
            Self::Listed => {}
        }
        order
    }

    /// The priority of each row, all distinct, the largest the most urgent.
    fn priorities(self, rows: &[Row]) -> Vec<i64> {
        let mut priorities = vec![0; rows.len()];
        self.most_urgent_first(rows).iter().zip((1..).map(|rank: i64| -rank)).for_each(|(&k, p)| priorities[k] = p);
        priorities
    }
}

/// Free-running tasks.
pub fn free_running(rows: &[Row], order: Order) -> TaskSet {
    set(rows, order, |_| Release::FreeRunning)
}

/// Tasks that arrive at their offset and each period after.
pub fn aligned(rows: &[Row], order: Order) -> TaskSet {
    set(rows, order, |row| Release::FrameAligned { offset_ns: row.offset })
}

/// The same before a policy orders them.
pub fn listed(rows: &[Row], order: Order) -> Vec<Task> {
    given(rows, order, |_| Release::FreeRunning)
}

fn set(rows: &[Row], order: Order, release: fn(&Row) -> Release) -> TaskSet {
    TaskSet::new(&given(rows, order, release)).expect("the tasks of a case are well-formed")
}

fn given(rows: &[Row], order: Order, release: fn(&Row) -> Release) -> Vec<Task> {
    let task = |(row, priority): (&Row, i64)| Task {
        priority,
        period_ns: row.period,
        deadline_ns: row.deadline(),
        charged_ns: row.charged,
        jitter_ns: 0,
        blocking_ns: 0,
        release: release(row),
    };
    rows.iter().zip(order.priorities(rows)).map(task).collect()
}

/// A core that runs nothing else: one window over the whole of a frame of any length.
pub fn own_core() -> Supply {
    Supply::new(1, &[Interval { start_ns: 0, end_ns: 1 }]).expect("one window")
}

/// The worst response of each task on a core of its own; none where it grows without end.
pub fn bounds_on_own_core(tasks: &TaskSet) -> Result<Vec<Option<Bound>>, String> {
    let bound = |response: &Response| match response {
        Response::Bounded(bound) if bound.exactness.is_exact() => Ok(Some(*bound)),
        Response::Bounded(_) => Err("without blocking and with distinct priorities a bound is exact".to_owned()),
        Response::Unbounded(_) => Ok(None),
        Response::GaveUp(why) => Err(why.to_string()),
    };
    worst_responses(&own_core(), tasks).iter().map(bound).collect()
}

/// Whether every response of `rows` is within its deadline.
pub fn all_meet(rows: &[Row], bounds: &[Option<Bound>]) -> bool {
    rows.iter().zip(bounds).all(|(row, bound)| meets(row, bound))
}

pub fn meets(row: &Row, bound: &Option<Bound>) -> bool {
    bound.is_some_and(|bound| bound.response_ns <= row.deadline())
}

/// The demand of each task in one hyperperiod out of the hyperperiod, each job being due with its period.
pub fn utilisation(rows: &[Row]) -> Result<Share, String> {
    let hyperperiod = hyperperiod_of(rows)?;
    let alone = |row: &Row| {
        let whole_period = Row { deadline: None, ..row.clone() };
        u128::from(demand_bound_ns(&free_running(&[whole_period], Order::Listed), hyperperiod))
    };
    Ok(Share { parts: rows.iter().map(alone).collect(), whole: u128::from(hyperperiod) })
}

pub fn hyperperiod_of(rows: &[Row]) -> Result<u64, String> {
    hyperperiod_ns(&free_running(rows, Order::Listed)).ok_or_else(|| "the hyperperiod passes 64 bits".to_owned())
}

/// The deadlines of a task that arrives at 0, up to `last`.
pub fn deadlines(row: &Row, last: u64) -> impl Iterator<Item = u64> {
    let (first, period) = (row.deadline(), row.period);
    (0..).map(move |job| first + job * period).take_while(move |due| *due <= last)
}
