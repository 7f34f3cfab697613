//! The periodic resource against the supply of window tables.

use super::{fields, table, value};
use crate::compare::{self as fraction, Answer, Answers};
use crate::tasks::{self, Order, Row};
use serde::Deserialize;
use timing::demand_bound::{UnderSupply, under_supply};
use timing::response::{Response, worst_responses};
use timing::supply::{Interval, Share, Supply, SupplyError};
use timing::{Policy, Task, TaskSet};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Resource {
    period: u64,
    budget: u64,
    t: Vec<u64>,
}

/// The closed form of Shin & Lee 2003: `k Q + max(0, t - 2 (P - Q) - k P)` with `k = floor((t - (P - Q)) / P)`.
fn closed_form(period: u64, budget: u64, t: u64) -> u64 {
    let gap = period - budget;
    let Some(after_gap) = t.checked_sub(gap) else { return 0 };
    let k = after_gap / period;
    k * budget + t.saturating_sub(2 * gap + k * period)
}

/// The placement of one budget in each period that supplies least over spans up to `longest`: as early as can be
/// once, then always as late as can be.
fn worst_table(period: u64, budget: u64, longest: u64) -> Supply {
    let periods = longest / period + 3;
    let late = period - budget;
    placed(period, budget, &(0..periods).map(|k| if k == 0 { 0 } else { late }).collect::<Vec<_>>())
}

/// One window of `budget` in each period, at the offsets given.
fn placed(period: u64, budget: u64, offsets: &[u64]) -> Supply {
    let window =
        |(k, offset): (u64, &u64)| Interval { start_ns: k * period + offset, end_ns: k * period + offset + budget };
    let windows: Vec<_> = (0..).zip(offsets).map(window).collect();
    Supply::new(period * offsets.len() as u64, &windows).expect("one window in each period")
}

pub fn periodic_supply(input: &Resource) -> Result<Answers, String> {
    let longest = input.t.iter().copied().max().ok_or("no span is given")?;
    let supply = worst_table(input.period, input.budget, longest);
    let blackout = supply.blackout_ns().ok_or("no supply at all")?;
    // The straight line alpha (t - delta), both sides times the frame.
    let below =
        |&t: &u64| supply.per_frame_ns() * t.saturating_sub(blackout) <= supply.frame_ns() * supply.least_supply_ns(t);
    let alpha = parts(supply.per_frame_ns(), supply.frame_ns());
    let server = Supply::budget_server(input.budget, input.period, input.period).map_err(|why| why.to_string())?;
    let as_periodic = input.t.iter().all(|&t| server.least_supply_ns(t) == closed_form(input.period, input.budget, t));
    Ok(fields([
        ("edp_with_D_eq_P_equals_periodic", value(as_periodic)),
        ("alpha", Answer::Share(alpha)),
        ("delta", value(blackout)),
        ("lsbf_below_sbf", value(input.t.iter().all(below))),
        ("sbf", least_supply(input, &supply)),
    ]))
}

fn least_supply(input: &Resource, supply: &Supply) -> Answer {
    table(input.t.iter().map(|&t| (t, value(supply.least_supply_ns(t)))))
}

/// Whether the worst placement supplies what the closed form says, and no placement of three periods less.
pub fn worst_placement(input: &Resource) -> Result<Answers, String> {
    let (period, budget) = (input.period, input.budget);
    let longest = input.t.iter().copied().max().ok_or("no span is given")?;
    let worst = worst_table(period, budget, longest);
    let attained = input.t.iter().all(|&t| worst.least_supply_ns(t) == closed_form(period, budget, t));
    let choices = period - budget + 1;
    let undercut = (0..choices.pow(3)).any(|n| {
        let supply = placed(period, budget, &[n % choices, n / choices % choices, n / choices / choices]);
        input.t.iter().any(|&t| supply.least_supply_ns(t) < closed_form(period, budget, t))
    });
    Ok(fields([("matches_closed_form", value(attained && !undercut)), ("sbf", least_supply(input, &worst))]))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Budgeted {
    tasks: Vec<Row>,
    resource_period: u64,
    /// Steps into which a time unit is cut.
    resolution: u64,
}

/// Into how many parts a step is cut for the straight line, which is followed in steps of its own.
const FINER: u64 = 1_000;

/// The least budget in every resource period whose worst placement meets all deadlines, and the same for the straight line
/// below the supply, with the share of the budget and twice the rest of the period as its delay.
pub fn least_budget(input: &Budgeted) -> Result<Answers, String> {
    let period = input.resource_period * input.resolution;
    let server = |budget: u64| Supply::budget_server(budget, period, period);
    let line = |budget: u64| {
        let share = Share::new(u128::from(budget), u128::from(period))?;
        Supply::proportional_share(share, 2 * (period - budget) * FINER)
    };
    let least = |policy: Policy, finer: u64, supply: &dyn Fn(u64) -> Result<Supply, SupplyError>| {
        let given = tasks::listed(&cut(&input.tasks, input.resolution * finer), Order::RateMonotonic);
        let set = TaskSet::with_policy(&given, policy).map_err(|why| why.to_string())?;
        let holds = |budget: &u64| supply(*budget).is_ok_and(|supply| meets(&supply, &set, &given));
        let found = least_that_holds(1, period, holds).ok_or("no budget is enough")?;
        Ok::<_, String>(Answer::Share(parts(found, input.resolution)))
    };
    Ok(fields([
        ("RM", least(Policy::FixedPriority, 1, &server)?),
        ("RM_exact", least(Policy::FixedPriority, 1, &server)?),
        ("RM_linear", least(Policy::FixedPriority, FINER, &line)?),
        ("EDF", least(Policy::EarliestDeadline, 1, &server)?),
        ("EDF_exact", least(Policy::EarliestDeadline, 1, &server)?),
        ("EDF_linear", least(Policy::EarliestDeadline, FINER, &line)?),
        ("U", Answer::Share(tasks::utilisation(&input.tasks)?)),
    ]))
}

fn parts(found: u64, whole: u64) -> fraction::Share {
    fraction::Share { parts: vec![u128::from(found)], whole: u128::from(whole) }
}

/// The rows with every time unit cut into `pieces`.
fn cut(rows: &[Row], pieces: u64) -> Vec<Row> {
    let fine = |row: &Row| Row {
        period: row.period * pieces,
        charged: row.charged * pieces,
        deadline: row.deadline.map(|deadline| deadline * pieces),
        ..row.clone()
    };
    rows.iter().map(fine).collect()
}

/// Responses within deadlines; by deadline the demand of every span says the same, which is held here too.
fn meets(supply: &Supply, set: &TaskSet, given: &[Task]) -> bool {
    let responses = worst_responses(supply, set);
    let in_time = |(task, found): (&Task, &Response)| found.bound().is_some_and(|b| b.response_ns <= task.deadline_ns);
    let all_in_time = given.iter().zip(&responses).all(in_time);
    if set.policy() == Policy::EarliestDeadline {
        assert_eq!(under_supply(supply, set) == UnderSupply::Borne, all_in_time);
    }
    all_in_time
}

/// The least of `low..=high` for which `holds`, where from some value on it always does.
fn least_that_holds(mut low: u64, mut high: u64, holds: impl Fn(&u64) -> bool) -> Option<u64> {
    if !holds(&high) {
        return None;
    }
    while low < high {
        let middle = low + (high - low) / 2;
        if holds(&middle) { high = middle } else { low = middle + 1 }
    }
    Some(high)
}
