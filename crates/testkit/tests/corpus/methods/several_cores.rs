//! Tasks and jobs placed on several cores.

use super::{fields, value};
use crate::compare::{Answer, Answers};
use crate::tasks::{self, Order, Row};
use planner::packing::pack;
use serde::Deserialize;
use timing::multiprocessor::deadlines_met;
use timing::supply::Supply;
use timing::{Policy, TaskSet};

const STEPS: u64 = 2_000_000;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tasks {
    tasks: Vec<Row>,
    m: usize,
}

/// Whether the tasks can be given a core each so that deadlines, which are the periods, hold by earliest deadline first: the
/// shares of a hyperperiod have to fit. And whether the test passes that lets them run on any core.
pub fn placement(input: &Tasks) -> Result<Answers, String> {
    let hyperperiod = tasks::hyperperiod_of(&input.tasks)?;
    let shares: Vec<u64> = input.tasks.iter().map(|row| row.charged * (hyperperiod / row.period)).collect();
    let packing = pack(&shares, hyperperiod, STEPS).map_err(|why| why.to_string())?;
    if !packing.is_optimal() {
        return Err("the packing is not known to be the best".to_owned());
    }
    let cores = vec![Supply::dedicated(); input.m];
    let given = tasks::listed(&input.tasks, Order::RateMonotonic);
    let passes = |policy| {
        let set = TaskSet::with_policy(&given, policy).map_err(|why| why.to_string())?;
        Ok::<_, String>(value(deadlines_met(&cores, &set)))
    };
    Ok(fields([
        ("partition_exists", value(packing.bins.len() <= input.m)),
        ("shown_global_EDF", passes(Policy::EarliestDeadline)?),
        ("shown_global_RM", passes(Policy::FixedPriority)?),
        ("U", Answer::Share(tasks::utilisation(&input.tasks)?)),
    ]))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Jobs {
    jobs: Vec<u64>,
    m: usize,
}

/// The least time in which the jobs are done: the least capacity of bins of which no more than the machines are needed.
pub fn least_makespan(input: &Jobs) -> Result<Answers, String> {
    let longest = input.jobs.iter().copied().max().ok_or("no job")?;
    for capacity in longest..=input.jobs.iter().sum() {
        let packing = pack(&input.jobs, capacity, STEPS).map_err(|why| why.to_string())?;
        if packing.bins.len() <= input.m {
            return Ok(fields([("optimum", value(capacity))]));
        }
        if !packing.is_optimal() {
            return Err("the packing is not known to be the best".to_owned());
        }
    }
    Err("no capacity is enough".to_owned())
}
