//! Responses with the waiting for memory counted from the other masters' side too.
//!
//! Computes: for each task on one virtual core the latest response by `crate::interference`, and never more than the request-driven
//! one.
//! Source: as the kernel.
//! Assumptions: as the kernel; of a partition elsewhere only what is trusted, not opaque and known counts by its jobs.
//! Symbols: times in ns.
//! Fixed point: others' jobs are counted by their responses, and theirs depend on these. Begun with the request-driven
//! responses, which hold whatever others do, every round gives responses that hold: each is computed from ones that do. So the
//! rounds may end anywhere; they end where nothing changes or after [`ROUNDS`]. Begun from zero, only a fixed point would hold.
//! Invariants and why it ends: a limited number of rounds; no response grows from one to the next.
//! Differs from the source: as the kernel.
//! Checked by: as the kernel, and the vessel's responses through this door.

use super::responses::Analysed;
use super::results::Results;
use super::scope::Scope;
use super::{bus, charge, response_parts};
use crate::interference::{Bus, Latest, Own, Presence, Work, latest_response, latest_response_below};
use crate::response::Response;
use crate::task_set::Policy;
use claim::Assumption;
use quantity::{PartitionId, TaskId};
use std::collections::BTreeMap;
use std::rc::Rc;

/// Rounds towards the fixed point.
const ROUNDS: usize = 8;

/// What is known of one task.
#[derive(Clone, Debug)]
pub(super) struct Waited {
    /// The response, at most the request-driven one; in ns.
    pub(super) response_ns: u64,
    /// What is behind it, where it is below the request-driven one.
    pub(super) gain: Option<Gain>,
}

/// A busy window whose response is below the request-driven one.
#[derive(Clone, Debug)]
pub(super) struct Gain {
    pub(super) latest: Latest,
    pub(super) bus: Rc<Bus>,
    /// What the responses of others rest on that can be counted by their jobs.
    pub(super) others_rest_on: Rc<[Assumption]>,
}

/// Each task's response, or why it is only the request-driven one.
pub(super) type Waits = BTreeMap<TaskId, Result<Waited, String>>;

/// Responses that are proven, in ns.
pub(super) type Proven = BTreeMap<TaskId, u64>;

/// The responses of every task that runs in the schedule; none of a task that waits for no memory.
pub(super) fn of(scope: &Scope<'_>, results: &Results) -> Waits {
    let cores: Vec<_> = analysed(scope, results).collect();
    let mut proven: Proven = cores.iter().flat_map(|(_, core)| request_driven(core)).collect();
    let others_rest_on: Rc<[Assumption]> = all_assumptions(cores.iter().map(|(_, core)| *core)).into();
    let mut waits = Waits::new();
    for _ in 0..ROUNDS {
        let each = cores.iter();
        waits = each.flat_map(|(partition, core)| of_core(scope, *partition, core, &proven, &others_rest_on)).collect();
        let mut settled = true;
        for (id, proven_ns) in &mut proven {
            if let Some(Ok(found)) = waits.get(id) {
                settled &= *proven_ns == found.response_ns;
                *proven_ns = found.response_ns;
            }
        }
        if settled {
            break;
        }
    }
    waits
}

/// What the responses on all cores rest on together, where these can be counted by their jobs.
fn all_assumptions<'a>(cores: impl Iterator<Item = &'a Analysed>) -> Vec<Assumption> {
    let counted = cores.filter(|core| core.supply.kind().is_exact());
    let mut all: Vec<_> = counted.flat_map(|core| core.basis.assumptions.iter().copied()).collect();
    all.sort_unstable();
    all.dedup();
    all
}

fn analysed<'a>(scope: &Scope<'_>, results: &'a Results) -> impl Iterator<Item = (PartitionId, &'a Analysed)> {
    let partitions: Vec<_> = scope.running_partitions().collect();
    partitions.into_iter().flat_map(|partition| {
        let known = results.cores(partition).iter().filter_map(|(_, found)| found.as_ref().ok());
        known.map(move |core| (partition, core))
    })
}

/// The responses that hold whatever others do, where nothing throttles the core.
fn request_driven(core: &Analysed) -> Vec<(TaskId, u64)> {
    if core.throttled.is_some() {
        return Vec::new();
    }
    let bounded = |(&id, response): (&TaskId, &Response)| Some((id, response.bound()?.response_ns));
    core.ids.iter().zip(&core.responses).filter_map(bounded).collect()
}

fn of_core(
    scope: &Scope<'_>,
    partition: PartitionId,
    core: &Analysed,
    proven: &Proven,
    others_rest_on: &Rc<[Assumption]>,
) -> Vec<(TaskId, Result<Waited, String>)> {
    let bus = match require_analysable(scope, core).and_then(|()| bus::seen_by(scope, partition, core, proven)) {
        Ok(Some(bus)) => Rc::new(bus),
        Ok(None) => return Vec::new(),
        Err(why) => return core.ids.iter().map(|&id| (id, Err(why.clone()))).collect(),
    };
    let waiting = (0..core.ids.len()).filter(|&k| waits_at_all(scope, core, k));
    waiting.map(|k| (core.ids[k], of_task(scope, core, k, &bus, others_rest_on))).collect()
}

/// # Errors
/// Why only the request-driven bound is known.
fn require_analysable(scope: &Scope<'_>, core: &Analysed) -> Result<(), String> {
    let only = |what: &str| Err(format!("{what} only the request-driven bound is known"));
    match scope.system.board.interconnect {
        _ if !core.cluster.is_empty() => only("of tasks on whichever virtual core is free"),
        None => only("without an interconnect"),
        Some(_) => Ok(()),
    }
}

/// Whether any job that a response counts waits for memory.
fn waits_at_all(scope: &Scope<'_>, core: &Analysed, k: usize) -> bool {
    let delaying = match core.set.policy() {
        Policy::FixedPriority => core.set.level(core.set.position[k]),
        // All can go before, or have begun.
        Policy::Cooperative | Policy::EarliestDeadline => 0..core.set.len(),
    };
    let mut given = delaying.map(|position| core.set.given[position]);
    given.any(|other| response_parts::jobs_waiting(scope, core, other) > 0)
}

fn of_task(
    scope: &Scope<'_>,
    core: &Analysed,
    k: usize,
    bus: &Rc<Bus>,
    others_rest_on: &Rc<[Assumption]>,
) -> Result<Waited, String> {
    let jobs: Vec<Work> = (0..core.ids.len()).map(|k| alone(scope, core, k)).collect::<Result<_, _>>()?;
    let own = Own::new(&core.supply, &core.set, k, &jobs);
    let driven = core.responses[k].bound();
    let latest = match driven.filter(|bound| !bound.at_boot) {
        Some(bound) => latest_response_below(&core.supply, &own, bus, bound),
        None => latest_response(&core.supply, &own, bus),
    };
    let driven_ns = driven.map(|bound| bound.response_ns);
    let latest = latest.filter(|latest| driven_ns.is_none_or(|driven_ns| latest.response_ns < driven_ns));
    let response_ns = latest.map(|latest| latest.response_ns).or(driven_ns);
    let response_ns = response_ns.ok_or("no response is found within the limits of the search")?;
    let gain = |latest| Gain { latest, bus: Rc::clone(bus), others_rest_on: Rc::clone(others_rest_on) };
    Ok(Waited { response_ns, gain: latest.map(gain) })
}

/// What a job of task `k` takes but for waiting, its stalls included, and asks for.
fn alone(scope: &Scope<'_>, core: &Analysed, k: usize) -> Result<Work, String> {
    let task = scope.system.task(core.ids[k]);
    let (requests, sensitivity_ns) = (charge::requests_of(task).unwrap_or(0), charge::sensitivity_ns(task));
    match core.tasks[k].charged_ns - response_parts::jobs_waiting(scope, core, k) {
        0 => Err(format!("`{}` takes no time but to wait", scope.system.task_label(core.ids[k]))),
        alone_ns => Ok(Work { alone_ns, requests, sensitivity_ns }),
    }
}

/// Whether some other partition is counted by its jobs.
pub(super) fn counts_jobs(bus: &Bus) -> bool {
    bus.masters.iter().any(|master| match &master.presence {
        Presence::Always => false,
        Presence::Jobs(_) => true,
        Presence::Windows(residents) => residents.iter().any(|resident| resident.jobs.is_some()),
    })
}
