//! The periodic resource against the supply of window tables.

use super::{fields, table, value};
use crate::compare::{Answer, Answers, Share};
use crate::tasks::{self, Order, Row};
use serde::Deserialize;
use timing::TaskSet;
use timing::demand_bound::demand_bound_ns;
use timing::response::worst_responses;
use timing::supply::{Interval, Supply};

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
    let alpha = Share { parts: vec![u128::from(supply.per_frame_ns())], whole: u128::from(supply.frame_ns()) };
    Ok(fields([
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

/// The least budget in every resource period whose worst placement meets all deadlines.
pub fn least_budget(input: &Budgeted) -> Result<Answers, String> {
    let fine = |row: &Row| Row {
        period: row.period * input.resolution,
        charged: row.charged * input.resolution,
        deadline: row.deadline.map(|deadline| deadline * input.resolution),
        ..row.clone()
    };
    let rows: Vec<Row> = input.tasks.iter().map(fine).collect();
    let tasks = tasks::free_running(&rows, Order::RateMonotonic);
    let hyperperiod = tasks::hyperperiod_of(&rows)?;
    let period = input.resource_period * input.resolution;
    if !hyperperiod.is_multiple_of(period) {
        return Err("the hyperperiod holds no whole number of resource periods".to_owned());
    }
    let least = |meets: fn(&Supply, &TaskSet, &[Row], u64) -> bool| {
        let holds = |budget: &u64| meets(&worst_table(period, *budget, hyperperiod), &tasks, &rows, hyperperiod);
        let found = least_that_holds(1, period, holds).ok_or("no budget is enough")?;
        Ok::<_, String>(Answer::Share(Share { parts: vec![u128::from(found)], whole: u128::from(input.resolution) }))
    };
    Ok(fields([
        ("RM", least(fixed_priorities_meet)?),
        ("RM_exact", least(fixed_priorities_meet)?),
        ("EDF", least(demand_is_supplied)?),
        ("EDF_exact", least(demand_is_supplied)?),
        ("U", Answer::Share(tasks::utilisation(&rows)?)),
    ]))
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

fn fixed_priorities_meet(supply: &Supply, tasks: &TaskSet, rows: &[Row], _: u64) -> bool {
    let responses = worst_responses(supply, tasks);
    rows.iter().zip(&responses).all(|(row, response)| tasks::meets(row, &response.bound().copied()))
}

/// Demand within the least supply at every deadline of a hyperperiod. A hyperperiod later the demand is greater by
/// that of the hyperperiod, and the supply by the budgets in it, which is no less: else the last deadline fails.
fn demand_is_supplied(supply: &Supply, tasks: &TaskSet, rows: &[Row], hyperperiod: u64) -> bool {
    let mut deadlines = rows.iter().flat_map(|row| tasks::deadlines(row, hyperperiod));
    deadlines.all(|t| demand_bound_ns(tasks, t) <= supply.least_supply_ns(t))
}
