//! What the data of the board and the plan tell of shared resources.

use crate::bandwidth;
use crate::cache::why_not_apart;
use crate::colours;
use crate::homes::{active_cores, homes};
use claim::{Status, Verdict};
use diagnostic::Span;
use model::System;
use model::system::{Cache, Device, Interconnect, Memory, SharedKind, Task};
use plan::Plan;
use quantity::{Bytes, CacheId, CoreId, PartitionId};
use std::collections::BTreeSet;

/// What is told of the interference through a resource, with the words for it.
pub(super) enum Told {
    Mitigated(String),
    Bounded(String),
    /// The integrator's word where it is a datum of the resource itself: it mitigates.
    Word(String),
    /// A datum shows that it passes.
    Fault(String),
    /// No datum tells.
    Nothing(String),
}

/// A shared resource before the integrator's word is joined to it.
pub(super) struct Derived {
    pub kind: SharedKind,
    /// The name of the cache, memory or device.
    pub name: Option<String>,
    pub subject: String,
    pub sharers: Vec<String>,
    pub arbiter: Option<String>,
    pub told: Told,
    pub rests_on: Option<String>,
    pub partitions: Vec<PartitionId>,
    pub place: Span,
}

/// Every shared resource that the data tell of.
pub(super) fn all(system: &System, plan: &Plan) -> Vec<Derived> {
    let board = &system.board;
    let (masters, cores) = (masters(system), active_cores(system));
    let mut found: Vec<Derived> =
        (0..board.caches.len()).filter_map(|index| of_cache(system, plan, CacheId::new(index))).collect();
    if masters.len() > 1 {
        found.push(of_interconnect(system, &masters));
        for memory in board.memories.iter().filter(|memory| memory.placeable) {
            found.push(of_controller(system, plan, memory, &masters));
            found.push(of_banks(system, memory, &masters));
        }
    }
    found.extend(board.devices.iter().filter_map(|device| of_device(system, device)));
    found.extend(of_translation(system));
    found.extend(of_interrupts(system, plan));
    if cores.len() > 1 {
        let of = |kind, subject: &str, why: &str| Derived {
            told: Told::Nothing(why.to_owned()),
            ..of_cores(system, plan, kind, subject.to_owned(), &cores)
        };
        let coherency = "whether one core's stores make another one wait is no datum of the board";
        found.push(of(SharedKind::Coherency, "coherency", coherency));
        found.push(of(
            SharedKind::Power,
            "power",
            "whether one core's load slows another one is no datum of the board",
        ));
    }
    found
}

/// A resource that only a declaration tells of.
pub(super) fn only_declared(system: &System, plan: &Plan, index: usize) -> Derived {
    let shared = &system.board.shared[index];
    let (kind, name) = (shared.kind.value, &shared.name.value);
    let why = || Told::Nothing("no datum of the board tells of it".to_owned());
    let subject = format!("declared/{name}");
    match kind {
        SharedKind::Cache | SharedKind::Coherency | SharedKind::Power | SharedKind::InterruptController => {
            Derived { told: why(), ..of_cores(system, plan, kind, subject, &active_cores(system)) }
        }
        SharedKind::Translation => Derived { told: why(), ..of_all(system, kind, subject, &streams(system)) },
        SharedKind::Interconnect
        | SharedKind::MemoryController
        | SharedKind::Banks
        | SharedKind::Device
        | SharedKind::Other => Derived { told: why(), ..of_all(system, kind, subject, &masters(system)) },
    }
}

fn core_name(system: &System, core: CoreId) -> String {
    format!("core {}", system.core(core).name.value)
}

fn moves_memory(device: &Device) -> bool {
    device.dma_stream.is_some() || device.dma_rate.is_some()
}

/// Whatever asks for memory lines: the masters of the interconnect, or where none is declared, cores and devices.
fn masters(system: &System) -> Vec<String> {
    let board = &system.board;
    if let Some(interconnect) = &board.interconnect {
        let listed = interconnect.masters.iter();
        return listed
            .filter(|m| m.core.is_none_or(|core| system.core(core).active))
            .map(|m| m.name.value.clone())
            .collect();
    }
    let cores = active_cores(system).into_iter().map(|core| core_name(system, core));
    cores
        .chain(board.devices.iter().filter(|device| moves_memory(device)).map(|device| device.name.value.clone()))
        .collect()
}

fn streams(system: &System) -> Vec<String> {
    let names = system.board.devices.iter().filter_map(|device| device.dma_stream.as_ref());
    names.map(|stream| format!("stream {}", stream.value)).collect::<BTreeSet<_>>().into_iter().collect()
}

fn of_all(system: &System, kind: SharedKind, subject: String, sharers: &[String]) -> Derived {
    Derived {
        kind,
        name: None,
        subject,
        sharers: sharers.to_vec(),
        arbiter: None,
        told: Told::Nothing(String::new()),
        rests_on: None,
        partitions: system.partition_ids().collect(),
        place: system.board.name.span,
    }
}

fn of_cores(system: &System, plan: &Plan, kind: SharedKind, subject: String, cores: &[CoreId]) -> Derived {
    let sharers: Vec<String> = cores.iter().map(|core| core_name(system, *core)).collect();
    let meets = |id: &PartitionId| homes(system, plan, *id).iter().any(|home| cores.contains(home));
    Derived { partitions: system.partition_ids().filter(meets).collect(), ..of_all(system, kind, subject, &sharers) }
}

fn of_cache(system: &System, plan: &Plan, id: CacheId) -> Option<Derived> {
    let cache = &system.board.caches[id.index()];
    let cores: Vec<CoreId> = cache.cores.iter().copied().filter(|core| system.core(*core).active).collect();
    if cores.len() < 2 {
        return None;
    }
    let name = cache.name.value.clone();
    let by_colours = plan.cache.iter().all(|grant| grant.cache != id) && colours::are_planned(plan, id);
    let ((told, rests_on), own) = match by_colours {
        true => (colours_of(system, plan, id, cache), "sets"),
        false => (ways_of(system, plan, id, cache), "ways"),
    };
    let arbiter = format!("each master allocates in its own {own}");
    Some(Derived {
        name: Some(name.clone()),
        arbiter: Some(arbiter).filter(|_| matches!(told, Told::Mitigated(_))),
        told,
        rests_on,
        place: cache.name.span,
        ..of_cores(system, plan, SharedKind::Cache, format!("cache/{name}"), &cores)
    })
}

fn colours_of(system: &System, plan: &Plan, id: CacheId, cache: &Cache) -> (Told, Option<String>) {
    let verdict = colours::of_cache(system, plan, id);
    let why = verdict.reason.unwrap_or_default();
    let told = match verdict.status {
        Status::Shown => Told::Mitigated("those who may run at once have pages of colours of their own".to_owned()),
        Status::NotAnalysed => Told::Nothing(why),
        Status::NotShown | Status::Violated => Told::Fault(why),
    };
    (told, Some(format!("cache/{}/colours", cache.name.value)))
}

fn ways_of(system: &System, plan: &Plan, id: CacheId, cache: &Cache) -> (Told, Option<String>) {
    if !cache.partitionable {
        return (Told::Nothing("its ways cannot be given apart".to_owned()), None);
    }
    let rests_on = Some(format!("cache/{}", cache.name.value));
    let told = match why_not_apart(system, plan, id) {
        None => Told::Nothing("the plan gives none of its ways".to_owned()),
        Some(faults) if faults.is_empty() => {
            Told::Mitigated("those who may run at once have ways of their own".to_owned())
        }
        Some(faults) => Told::Fault(faults.join("; ")),
    };
    (told, rests_on)
}

fn of_interconnect(system: &System, masters: &[String]) -> Derived {
    let base = of_all(system, SharedKind::Interconnect, "interconnect".to_owned(), masters);
    let Some(interconnect) = &system.board.interconnect else {
        let told = Told::Nothing("`board.interconnect` is not given".to_owned());
        return Derived { told, ..base };
    };
    let place = interconnect.guaranteed.span;
    Derived { told: waits(system, interconnect, masters.len()), arbiter: Some("round-robin".to_owned()), place, ..base }
}

/// A request waits for one of every other master, as long as all are listed and it is known how many requests there are.
fn waits(system: &System, interconnect: &Interconnect, masters: usize) -> Told {
    let listed = |core: &CoreId| interconnect.masters.iter().any(|master| master.core == Some(*core));
    if let Some(missing) = active_cores(system).into_iter().find(|core| !listed(core)) {
        return Told::Fault(format!("{} is active and no master of the interconnect", core_name(system, missing)));
    }
    let is_known = |task: &Task| task.line_requests.is_some() || task.sensitivity.is_some();
    let mut unknown = system.task_ids().filter(|id| !is_known(system.task(*id)));
    if let Some(first) = unknown.next() {
        let others = unknown.count();
        let more = if others == 0 { String::new() } else { format!(" nor that of {others} others") };
        return Told::Nothing(format!(
            "neither `line_requests` nor `sensitivity` of `{}` is given{more}",
            system.task_label(first)
        ));
    }
    let others = masters.saturating_sub(1) as u64;
    let bytes = interconnect.line.value.get().saturating_mul(others);
    match interconnect.guaranteed.value.time_for(Bytes::new(bytes)) {
        Some(wait) => Told::Bounded(format!(
            "a line request waits for at most one of every other master, {others} in all, {wait}, which every charged time holds"
        )),
        None => Told::Nothing("the time of a line is too large".to_owned()),
    }
}

/// The rate that the memory keeps up whoever asks is declared; what is asked for under regulation must fit into it.
fn of_controller(system: &System, plan: &Plan, memory: &Memory, masters: &[String]) -> Derived {
    let name = &memory.name.value;
    let base = of_all(system, SharedKind::MemoryController, format!("memory/{name}"), masters);
    let regulated: Option<Verdict> =
        bandwidth::check(system, plan).into_iter().find(|verdict| verdict.subject == "memory");
    let told = match (&system.board.interconnect, &regulated) {
        (None, _) => Told::Nothing("`board.interconnect` is not given".to_owned()),
        (Some(_), Some(budgets)) if budgets.status != Status::Shown => {
            let reason = budgets.reason.clone().unwrap_or_default();
            let why = format!("{} is {}: {reason}", budgets.id, budgets.status.words());
            if budgets.status == Status::NotAnalysed { Told::Nothing(why) } else { Told::Fault(why) }
        }
        (Some(interconnect), _) => {
            let rate = interconnect.guaranteed.value;
            Told::Bounded(format!(
                "{rate} are declared as kept up whoever asks, and the time of a line is taken from them"
            ))
        }
    };
    let rests_on = regulated.map(|verdict| verdict.id);
    Derived { name: Some(name.clone()), told, rests_on, place: memory.name.span, ..base }
}

fn of_banks(system: &System, memory: &Memory, masters: &[String]) -> Derived {
    let name = &memory.name.value;
    let told = Told::Nothing("its banks and open rows are no datum of the board".to_owned());
    let base = of_all(system, SharedKind::Banks, format!("banks/{name}"), masters);
    Derived { name: Some(name.clone()), told, place: memory.name.span, ..base }
}

/// A device that its owner serves for others.
fn of_device(system: &System, device: &Device) -> Option<Derived> {
    let owner = device.owner.as_ref().filter(|_| !device.shared_with.is_empty())?.value;
    let partitions: Vec<PartitionId> =
        std::iter::once(owner).chain(device.shared_with.iter().map(|sharer| sharer.value)).collect();
    let name = &device.name.value;
    Some(Derived {
        kind: SharedKind::Device,
        name: Some(name.clone()),
        subject: format!("device/{name}"),
        sharers: partitions.iter().map(|id| system.partition(*id).name.value.clone()).collect(),
        arbiter: Some("its owner".to_owned()),
        told: match &device.service {
            Some(service) => {
                Told::Word(format!("declared by the integrator: its owner lets through: {}", service.value))
            }
            None => Told::Nothing("no `service` says what its owner lets through".to_owned()),
        },
        rests_on: Some(format!("device/{name}")),
        partitions,
        place: device.name.span,
    })
}

fn of_translation(system: &System) -> Option<Derived> {
    let streams = streams(system);
    let told = Told::Nothing("how long a walk of one stream keeps another waiting is no datum of the board".to_owned());
    let derived = || Derived { told, ..of_all(system, SharedKind::Translation, "translation".to_owned(), &streams) };
    (streams.len() > 1).then(derived)
}

fn of_interrupts(system: &System, plan: &Plan) -> Option<Derived> {
    let lines = system.board.devices.iter().flat_map(|device| &device.interrupts);
    let cores: BTreeSet<CoreId> = lines.filter_map(|line| line.core.as_ref().map(|core| core.value)).collect();
    let cores: Vec<CoreId> = cores.into_iter().collect();
    let told =
        Told::Nothing("how long lines of one core keep those of another waiting is no datum of the board".to_owned());
    let kind = SharedKind::InterruptController;
    (cores.len() > 1).then(|| Derived { told, ..of_cores(system, plan, kind, "interrupts".to_owned(), &cores) })
}
