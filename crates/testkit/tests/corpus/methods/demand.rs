//! Demand of earliest deadline first, and utilisation columns.

use super::{fields, table, value};
use crate::compare::{Answer, Answers, Share};
use crate::tasks::{self, Order, Row};
use serde::Deserialize;
use std::collections::BTreeSet;
use timing::demand_bound::{OwnCore, demand_bound_ns, limit, on_own_core};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tasks {
    tasks: Vec<Row>,
}

/// Demand at every deadline of the hyperperiod, the limit L* and the verdict.
pub fn demand(input: &Tasks) -> Result<Answers, String> {
    let rows = &input.tasks;
    let tasks = tasks::free_running(rows, Order::Listed);
    let limit = limit(&tasks).ok_or("the tasks ask for the whole core")?;
    let hyperperiod = tasks::hyperperiod_of(rows)?;
    let deadlines: BTreeSet<u64> = rows.iter().flat_map(|row| tasks::deadlines(row, hyperperiod)).collect();
    Ok(fields([
        ("L_star", Answer::Share(Share { parts: vec![limit.numerator_ns], whole: limit.denominator })),
        ("hyperperiod", value(hyperperiod)),
        ("demand", table(deadlines.iter().map(|&at| (at, value(demand_bound_ns(&tasks, at)))))),
        ("feasible", value(on_own_core(&tasks) == OwnCore::Borne)),
        ("U", Answer::Share(tasks::utilisation(rows)?)),
    ]))
}

/// Each task's share in tenths of a percent: parts per million of `quantity`, a thousand to each tenth. That these
/// are rounded down changes no rounding to the nearest tenth. The total is exact.
pub fn utilisation_table(input: &Tasks) -> Result<Answers, String> {
    let share = |row: &Row| {
        let ppm = quantity::exact_ratio_ppm(row.charged, row.period).ok_or("a share without end")?;
        let share = Share { parts: vec![u128::from(ppm.get())], whole: 1_000 };
        Ok::<_, String>((row.name.clone(), Answer::Share(share)))
    };
    let total = tasks::utilisation(&input.tasks)?;
    let percent = Share { parts: total.parts.iter().map(|part| part * 100).collect(), whole: total.whole };
    Ok(fields([
        ("utilisation_tenths_percent", table(input.tasks.iter().map(share).collect::<Result<Vec<_>, _>>()?)),
        ("total_percent", Answer::Share(percent)),
    ]))
}
