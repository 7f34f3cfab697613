//! Responses with the waiting for memory counted from the other masters' side too.
//!
//! Computes: for each fixed-priority task under a window table, released in any phase, the latest response by
//! `crate::interference`, and never more than the request-driven one.
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
use super::{bus, charge};
use crate::interference::{Bus, Latest, Own, Presence, Rival, latest_response, latest_response_below};
use crate::response::Response;
use crate::supply::SupplyKind;
use crate::task_set::Policy;
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
    pub(super) own: Own,
    pub(super) bus: Rc<Bus>,
}

/// Each task's response, or why it is only the request-driven one.
pub(super) type Waits = BTreeMap<TaskId, Result<Waited, String>>;

/// Responses that are proven, in ns.
pub(super) type Proven = BTreeMap<TaskId, u64>;

/// The responses of every task that runs in the schedule; none of a task that waits for no memory.
pub(super) fn of(scope: &Scope<'_>, results: &Results) -> Waits {
    let cores: Vec<_> = analysed(scope, results).collect();
    let mut proven: Proven = cores.iter().flat_map(|(_, core)| request_driven(core)).collect();
    let mut waits = Waits::new();
    for _ in 0..ROUNDS {
        waits = cores.iter().flat_map(|(partition, core)| of_core(scope, *partition, core, &proven)).collect();
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
) -> Vec<(TaskId, Result<Waited, String>)> {
    let bus = match require_analysable(scope, core).and_then(|()| bus::seen_by(scope, partition, core, proven)) {
        Ok(Some(bus)) => Rc::new(bus),
        Ok(None) => return Vec::new(),
        Err(why) => return core.ids.iter().map(|&id| (id, Err(why.clone()))).collect(),
    };
    let waiting = (0..core.ids.len()).filter(|&k| waits_at_all(scope, core, k));
    waiting.map(|k| (core.ids[k], of_task(scope, core, k, &bus))).collect()
}

/// # Errors
/// Which guest or supply it is that only the request-driven bound speaks of.
fn require_analysable(scope: &Scope<'_>, core: &Analysed) -> Result<(), String> {
    let only = |what: &str| Err(format!("{what} only the request-driven bound is known"));
    match (core.set.policy(), core.supply.kind()) {
        _ if !core.cluster.is_empty() => only("of tasks on whichever virtual core is free"),
        (Policy::EarliestDeadline, _) => only("under earliest deadline first"),
        (Policy::Cooperative, _) => only("of a cooperative guest"),
        (_, kind) if kind != SupplyKind::WindowTable => only("without a window table"),
        _ if !core.as_free_running => only("of frame-aligned release"),
        _ if core.without_losses.is_some() => only("where interrupts handled at once or stalls are charged"),
        _ if scope.system.board.interconnect.is_none() => only("without an interconnect"),
        _ => Ok(()),
    }
}

/// Whether any job that a response counts waits for memory.
fn waits_at_all(scope: &Scope<'_>, core: &Analysed, k: usize) -> bool {
    let level = core.set.level(core.set.position[k]);
    let given = level.map(|position| core.set.given[position]);
    given.into_iter().any(|other| charge::waiting_of(scope, core.ids[other], core.tasks[other].charged_ns) > 0)
}

fn of_task(scope: &Scope<'_>, core: &Analysed, k: usize, bus: &Rc<Bus>) -> Result<Waited, String> {
    let own = own_of(scope, core, k)?;
    let driven = core.responses[k].bound();
    let latest = match driven.filter(|bound| !bound.at_boot) {
        Some(bound) => {
            let begin_ns = bound.busy_start_ns.rem_euclid(scope.frame_ns() as i64) as u64; // A frame is at most 2^53 ns.
            latest_response_below(&core.supply, &own, bus, (begin_ns, bound.response_ns))
        }
        None => latest_response(&core.supply, &own, bus),
    };
    let driven_ns = driven.map(|bound| bound.response_ns);
    let latest = latest.filter(|latest| driven_ns.is_none_or(|driven_ns| latest.response_ns < driven_ns));
    let response_ns = latest.map(|latest| latest.response_ns).or(driven_ns);
    let response_ns = response_ns.ok_or("no response is found within the limits of the search")?;
    let gain = latest.map(|latest| Gain { latest, own, bus: Rc::clone(bus) });
    Ok(Waited { response_ns, gain })
}

/// The task and those of its level, waiting left out.
fn own_of(scope: &Scope<'_>, core: &Analysed, k: usize) -> Result<Own, String> {
    let position = core.set.position[k];
    let alone = |k: usize| {
        let charged_ns = core.tasks[k].charged_ns;
        let requests = scope.system.task(core.ids[k]).line_requests.map_or(0, |requests| requests.value);
        match charged_ns - charge::waiting_of(scope, core.ids[k], charged_ns) {
            0 => Err(format!("`{}` takes no time but to wait", scope.system.task_label(core.ids[k]))),
            alone_ns => Ok((alone_ns, requests)),
        }
    };
    let rival = |k: usize| {
        let (alone_ns, requests) = alone(k)?;
        let task = &core.tasks[k];
        Ok(Rival { period_ns: task.period_ns, jitter_ns: task.jitter_ns, alone_ns, requests })
    };
    let others = core.set.level(position).map(|position| core.set.given[position]).filter(|&other| other != k);
    let (alone_ns, requests) = alone(k)?;
    Ok(Own {
        period_ns: core.tasks[k].period_ns,
        jitter_ns: core.tasks[k].jitter_ns,
        blocking_ns: core.set.blocking_ns[position] as u64, // Times are not negative.
        alone_ns,
        requests,
        others: others.map(rival).collect::<Result<_, String>>()?,
    })
}

/// Whether some other partition is counted by its jobs.
pub(super) fn counts_jobs(bus: &Bus) -> bool {
    let residents = bus.masters.iter().flat_map(|master| match &master.presence {
        Presence::Always => &[][..],
        Presence::Windows(residents) => residents,
    });
    residents.into_iter().any(|resident| resident.jobs.is_some())
}
