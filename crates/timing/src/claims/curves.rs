//! Least supply against the demand of the most demanding level, partition by partition, for drawing.
//!
//! Nothing here is a verdict: the curves show what the response analysis compares, in the any-phase view. The
//! analysis itself sets the exact supply from each start against the work, so its bound may lie before the
//! first point at which these two curves meet.

use super::responses::{self, Analysed};
use super::scope::Scope;
use crate::supply::Supply;
use crate::task_set::{Policy, Task};
use model::System;
use plan::Plan;
use std::collections::BTreeSet;

/// More corners than these say nothing on a page; the drawing ends there.
const MOST_CORNERS: usize = 2_000;

/// The least supply of one partition and the demand of one level of its tasks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SupplyCurve {
    /// The partition; with several virtual cores or schedules, which ones stands behind.
    pub partition: String,
    /// The task whose level the demand belongs to, as `PARTITION.task`.
    pub level: String,
    /// The longest interval without usable supply, in ns.
    pub blackout_ns: u64,
    /// Corners `(t, least supply in any interval of length t)` in ns; straight lines join them.
    pub least_supply: Vec<(u64, u64)>,
    /// Steps `(t, demand)` in ns: the demand from `t` up to the next step.
    pub demand: Vec<(u64, u64)>,
    /// The first `t` drawn at which the supply meets the demand, in ns.
    pub meets_ns: Option<u64>,
}

/// The curves of every partition with tasks that could be analysed, virtual core by virtual core; none where tasks run on
/// whichever is free.
pub fn supply_curves(system: &System, plan: &Plan) -> Vec<SupplyCurve> {
    let scopes = Scope::of_each_schedule(system, plan);
    let several = scopes.len() > 1;
    let mut curves = Vec::new();
    for scope in &scopes {
        for partition in scope.running_partitions() {
            let cores = responses::analyse(scope, partition);
            let analysed: Vec<_> = cores.iter().filter_map(|(_, found)| found.as_ref().ok()).collect();
            for (number, core) in analysed.iter().enumerate() {
                let mut name = scope.partition_name(partition).to_owned();
                if analysed.len() > 1 {
                    name = format!("{name}, virtual core {number}");
                }
                if several {
                    name = format!("{name}@{}", scope.name());
                }
                curves.extend(curve(scope, core, name));
            }
        }
    }
    curves
}

fn curve(scope: &Scope<'_>, analysed: &Analysed, partition: String) -> Option<SupplyCurve> {
    if !analysed.cluster.is_empty() {
        return None;
    }
    let blackout_ns = analysed.supply.blackout_ns()?;
    let level = most_demanding(analysed)?;
    let response_ns = analysed.responses[level].bound().map_or(0, |bound| bound.response_ns);
    let whole_ns = response_ns.max(blackout_ns).max(analysed.tasks[level].deadline_ns);
    let horizon_ns = whole_ns.saturating_add(whole_ns / 10);
    let least_supply = corners(&analysed.supply, horizon_ns);
    let demand = steps(analysed, level, horizon_ns);
    let meets_ns = meeting(&analysed.supply, &demand, horizon_ns);
    let level = scope.system.task_label(analysed.ids[level]);
    Some(SupplyCurve { partition, level, blackout_ns, least_supply, demand, meets_ns })
}

/// The task whose response takes the largest share of its deadline; one without a bound comes before all.
fn most_demanding(analysed: &Analysed) -> Option<usize> {
    (0..analysed.tasks.len()).max_by(|&a, &b| share(analysed, a).cmp(&share(analysed, b)).then(b.cmp(&a)))
}

fn share(analysed: &Analysed, k: usize) -> u128 {
    let deadline_ns = u128::from(analysed.tasks[k].deadline_ns).max(1);
    let bound = analysed.responses[k].bound();
    bound.map_or(u128::MAX, |bound| u128::from(bound.response_ns) * 1_000_000 / deadline_ns)
}

/// The corners of the least supply up to `horizon_ns`. Every start's supply is flat or rises by one ns a ns between two
/// window edges, so between two neighbouring edges of all starts the least of them bends once at the most.
fn corners(supply: &Supply, horizon_ns: u64) -> Vec<(u64, u64)> {
    let mut at: BTreeSet<u64> = [0, horizon_ns].into();
    for start in supply.busy_starts() {
        at.extend(edges_after(supply, start.at_ns(), horizon_ns).take(MOST_CORNERS));
    }
    let edges: Vec<u64> = at.into_iter().take(MOST_CORNERS).collect();
    let mut corners = vec![(0, 0)];
    for pair in edges.windows(2) {
        let bend = bend(supply, pair[0], pair[1]);
        corners.extend(bend.into_iter().chain([(pair[1], supply.least_supply_ns(pair[1]))]));
    }
    corners
}

/// The window edges after an instant, counted from it, behind the lead.
fn edges_after(supply: &Supply, start_ns: u64, horizon_ns: u64) -> impl Iterator<Item = u64> {
    let frame_ns = supply.frame_ns();
    let frames = 0..(horizon_ns / frame_ns).saturating_add(3);
    let edges = frames.flat_map(move |frame| {
        let at = frame.saturating_mul(frame_ns);
        supply.windows().iter().flat_map(move |w| [at.saturating_add(w.start_ns), at.saturating_add(w.end_ns)])
    });
    let lead_ns = supply.lead_ns();
    edges.filter_map(move |edge| Some(edge.checked_sub(start_ns)? + lead_ns)).filter(move |&t| t > 0 && t < horizon_ns)
}

/// Where between two neighbouring edges a rising supply overtakes the lowest flat one.
fn bend(supply: &Supply, from_ns: u64, to_ns: u64) -> Option<(u64, u64)> {
    let values = supply
        .busy_starts()
        .iter()
        .map(|start| (supply.supply_ns(start.at_ns(), from_ns), supply.supply_ns(start.at_ns(), to_ns)));
    let (flat, rising): (Vec<_>, Vec<_>) = values.partition(|(at_from, at_to)| at_from == at_to);
    let flat_ns = flat.iter().map(|(at_from, _)| *at_from).min()?;
    let rising_ns = rising.iter().map(|(at_from, _)| *at_from).min()?;
    let reached = from_ns + flat_ns.checked_sub(rising_ns)?;
    (from_ns < reached && reached < to_ns).then_some((reached, flat_ns))
}

/// The demand of a task and all more or equally urgent ones, one step at each arrival that can come; by deadline that of all
/// tasks.
fn steps(analysed: &Analysed, level: usize, horizon_ns: u64) -> Vec<(u64, u64)> {
    let (tasks, policy) = (&analysed.tasks, analysed.set.policy());
    let counts = |task: &&Task| policy == Policy::EarliestDeadline || task.priority >= tasks[level].priority;
    let (urgent, others): (Vec<&Task>, Vec<&Task>) = tasks.iter().partition(counts);
    let blocking_ns = match policy {
        Policy::Cooperative => others.iter().map(|task| task.charged_ns - 1).fold(0, u64::max),
        Policy::FixedPriority | Policy::EarliestDeadline => tasks[level].blocking_ns,
    };
    let mut at: BTreeSet<u64> = [0].into();
    for task in &urgent {
        let arrivals = (1..).map_while(|k: u64| task.period_ns.checked_mul(k)?.checked_sub(task.jitter_ns));
        at.extend(arrivals.take_while(|&t| t < horizon_ns).take(MOST_CORNERS));
    }
    let demand_behind = |t: u64| {
        let jobs =
            urgent.iter().map(|task| ((t + task.jitter_ns) / task.period_ns + 1).saturating_mul(task.charged_ns));
        jobs.fold(blocking_ns, u64::saturating_add)
    };
    at.into_iter().take(MOST_CORNERS).map(|t| (t, demand_behind(t))).collect()
}

/// The first `t` at which the least supply reaches the demand that holds up to `t`.
fn meeting(supply: &Supply, demand: &[(u64, u64)], horizon_ns: u64) -> Option<u64> {
    let ends = demand.iter().skip(1).map(|step| step.0).chain([horizon_ns]);
    demand.iter().zip(ends).find_map(|(&(_, work_ns), end_ns)| {
        let reached = supply.busy_starts().iter().map(|start| supply.span_for_ns(start.at_ns(), work_ns));
        let latest = reached.collect::<Option<Vec<_>>>()?.into_iter().max()?;
        (latest <= end_ns).then_some(latest)
    })
}
