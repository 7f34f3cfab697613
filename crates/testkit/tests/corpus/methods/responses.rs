//! Fixed priorities on a core of its own: responses, misses, timelines.

use super::{fields, table, value};
use crate::compare::{Answer, Answers};
use crate::tasks::{self, Order, Row};
use serde::Deserialize;
use std::collections::BTreeSet;
use timing::demand_bound::{OwnCore, demand_bound_ns, on_own_core};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tasks {
    tasks: Vec<Row>,
    priority: Order,
}

pub fn response(input: &Tasks) -> Result<Answers, String> {
    let rows = &input.tasks;
    let bounds = tasks::bounds_on_own_core(&tasks::free_running(rows, input.priority))?;
    let named = || rows.iter().map(|row| &row.name).zip(&bounds);
    let misses = rows.iter().zip(&bounds).filter(|(row, bound)| !tasks::meets(row, bound));
    Ok(fields([
        ("R", table(named().map(|(name, bound)| (name, value(bound.map(|bound| bound.response_ns)))))),
        ("worst_job", table(named().map(|(name, bound)| (name, value(bound.map(|bound| bound.job)))))),
        ("misses", value(misses.map(|(row, _)| row.name.clone()).collect::<Vec<_>>())),
        ("schedulable", value(tasks::all_meet(rows, &bounds))),
        ("U", Answer::Share(tasks::utilisation(rows)?)),
    ]))
}

/// The demand of all tasks together at every multiple of a period up to the longest one.
pub fn scheduling_points(input: &Tasks) -> Result<Answers, String> {
    let rows = &input.tasks;
    let longest = rows.iter().map(|row| row.period).max().ok_or("no task")?;
    let multiples = |row: &Row| (1..=longest / row.period).map(|k| k * row.period).collect::<Vec<_>>();
    let points: BTreeSet<u64> = rows.iter().flat_map(multiples).collect();
    // What arrives before a point is what would be due by it, were every job due one tick after its arrival.
    let at_once: Vec<Row> = rows.iter().map(|row| Row { deadline: Some(1), ..row.clone() }).collect();
    let at_once = tasks::free_running(&at_once, input.priority);
    let bounds = tasks::bounds_on_own_core(&tasks::free_running(rows, input.priority))?;
    let all_done = bounds.iter().map(|bound| bound.map(|bound| bound.response_ns)).max().flatten();
    let fits = all_done.and_then(|done| points.range(done..).next().copied());
    Ok(fields([
        ("demand_at_point", table(points.iter().map(|&at| (at, value(demand_bound_ns(&at_once, at)))))),
        ("first_point_that_fits", value(fits)),
        ("schedulable", value(tasks::all_meet(rows, &bounds))),
        ("U", Answer::Share(tasks::utilisation(rows)?)),
    ]))
}

pub fn aligned_response(input: &Tasks) -> Result<Answers, String> {
    let bounds = tasks::bounds_on_own_core(&tasks::aligned(&input.tasks, input.priority))?;
    let named = input.tasks.iter().map(|row| &row.name).zip(&bounds);
    let completions = completions(&input.tasks, input.priority)?;
    Ok(fields([
        ("max_response", table(named.map(|(name, bound)| (name, value(bound.map(|bound| bound.response_ns)))))),
        ("first_completions", table(input.tasks.iter().map(|row| &row.name).zip(completions.into_iter().map(value)))),
    ]))
}

/// When each job of the hyperperiod completes, task by task. Each job is given as a task of its own, whose period is
/// the hyperperiod, so that its worst response is that of this one job.
fn completions(rows: &[Row], order: Order) -> Result<Vec<Vec<u64>>, String> {
    let hyperperiod = tasks::hyperperiod_of(rows)?;
    let jobs_of = |k: usize| {
        let row = &rows[k];
        let job = move |job| Row { period: hyperperiod, offset: row.offset + job * row.period, ..row.clone() };
        (0..hyperperiod / row.period).map(move |n| (k, job(n)))
    };
    let (task_of, jobs): (Vec<usize>, Vec<Row>) = order.most_urgent_first(rows).into_iter().flat_map(jobs_of).unzip();
    let bounds = tasks::bounds_on_own_core(&tasks::aligned(&jobs, Order::Listed))?;
    let mut completions = vec![Vec::new(); rows.len()];
    for ((k, job), bound) in task_of.into_iter().zip(&jobs).zip(bounds) {
        completions[k].push(job.offset + bound.ok_or("a job without end")?.response_ns);
    }
    Ok(completions)
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sets {
    sets: Vec<Set>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Set {
    name: String,
    #[serde(rename = "C_T")]
    charged_and_period: Vec<(u64, u64)>,
}

pub fn verdicts(input: &Sets) -> Result<Answers, String> {
    let verdict = |set: &Set| -> Result<(String, Answer), String> {
        let rows: Vec<Row> = set.charged_and_period.iter().map(unnamed).collect();
        let tasks = tasks::free_running(&rows, Order::RateMonotonic);
        let rate_monotonic = tasks::all_meet(&rows, &tasks::bounds_on_own_core(&tasks)?);
        let edf = on_own_core(&tasks) == OwnCore::Borne;
        Ok((set.name.clone(), table([("rm_feasible", value(rate_monotonic)), ("edf_feasible", value(edf))])))
    };
    Ok(fields([("sets", table(input.sets.iter().map(verdict).collect::<Result<Vec<_>, _>>()?))]))
}

fn unnamed(&(charged, period): &(u64, u64)) -> Row {
    Row { name: String::new(), period, charged, deadline: None, offset: 0 }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Unordered {
    tasks: Vec<Row>,
}

/// The first deadline missed where all tasks arrive together at 0, against the verdict for earliest deadline first.
pub fn rate_monotonic_against_edf(input: &Unordered) -> Result<Answers, String> {
    let rows = &input.tasks;
    let completions = completions(rows, Order::RateMonotonic)?;
    let missed = rows.iter().zip(&completions).flat_map(|(row, completions)| {
        let due = (0..).map(|job| job * row.period + row.deadline());
        due.zip(completions).filter(|(due, done)| due < done).map(|(due, _)| (due, row.name.clone()))
    });
    let (time, task) = missed.min().ok_or("no deadline is missed")?;
    Ok(fields([
        ("rm_first_miss", table([("task", value(task)), ("time", value(time))])),
        ("edf_feasible", value(on_own_core(&tasks::free_running(rows, Order::Listed)) == OwnCore::Borne)),
        ("U", Answer::Share(tasks::utilisation(rows)?)),
    ]))
}
