//! What the bound of a response is made of, and whose each part is.
//!
//! Computes: for the busy window behind a bound on one virtual core the time of each kind, from the arrival to the completion, so that
//! the parts add up to the bound.
//! Source: the terms of the busy window's equation.
//! Assumptions: those of the bound.
//! Symbols: times in ns.
//! Invariants and why it ends: one pass over the jobs counted. Where the job arrives within the busy window, what was done before
//! is taken off in this order: less urgent jobs, more urgent ones, earlier own jobs, switches, stalls, waiting.
//! Differs from the source: nothing.
//! Checked by: the alarm on parts that do not add up.

use super::jobs_counted::{JobsCounted, Window};
use super::responses::Analysed;
use super::scope::Scope;
use super::waits::Gain;
use super::{bus, charge, cluster_parts, throttling};
use crate::interference::waits_ns;
use crate::response::Bound;
use crate::supply::Supply;
use claim::{Part, PartKind};
use model::system::Interconnect;
use quantity::CoreId;

/// The parts of the request-driven `bound` of task `k`.
///
/// # Errors
/// Why its busy window is not told job by job.
pub(super) fn of_bound(scope: &Scope<'_>, core: &Analysed, k: usize, bound: &Bound) -> Result<Vec<Part>, &'static str> {
    if !core.cluster.is_empty() {
        return cluster_parts::of_bound(scope, core, k, bound.response_ns);
    }
    // The supply is the same in every frame.
    let start_ns = bound.busy_start_ns.rem_euclid(core.supply.frame_ns() as i64) as u64;
    let arrival_ns = bound.arrival_ns - bound.busy_start_ns;
    let finish_ns = (arrival_ns + bound.response_ns as i64) as u64; // The busy window's length.
    let window = Window { start_ns, arrival_ns, finish_ns, at_boot: bound.at_boot };
    let jobs = JobsCounted::of_window(core, k, &window, bound.busy_start_ns);
    let jobs = jobs.ok_or("the jobs that its busy window counts are not told apart")?;
    let waits = jobs
        .each
        .iter()
        .fold(0, |sum: u64, (other, jobs)| sum.saturating_add(jobs * jobs_waiting(scope, core, *other)));
    Ok(jobs.parts(scope, core, &window, shared_evenly(waits, &other_masters(scope, core))))
}

/// The parts of the bound of task `k` that counts what other masters can ask for.
pub(super) fn of_gain(scope: &Scope<'_>, core: &Analysed, k: usize, gain: &Gain) -> Vec<Part> {
    let latest = &gain.latest;
    let start_ns = core.supply.table_begin_ns(latest.start_ns);
    let (arrival_ns, finish_ns, at_boot) = (latest.arrival_ns, latest.finish_ns, latest.at_boot);
    let window = Window { start_ns, arrival_ns, finish_ns, at_boot };
    let each = waits_ns(&gain.bus, latest);
    let waits = other_masters(scope, core).into_iter().map(str::to_owned).zip(each).collect();
    JobsCounted::of_latest(core, k, &window, latest).parts(scope, core, &window, waits)
}

/// How long a job of task `k` waits for memory, where each of its requests waits for one of every other master.
pub(super) fn jobs_waiting(scope: &Scope<'_>, core: &Analysed, k: usize) -> u64 {
    charge::waiting_of(scope, core.ids[k], core.tasks[k].charged_ns) - stalled_ns(scope, core, k)
}

/// How long a job of task `k` is charged to stall on its core, whose bandwidth budget may run out.
fn stalled_ns(scope: &Scope<'_>, core: &Analysed, k: usize) -> u64 {
    let id = core.ids[k];
    let on = bus::only_core(scope, scope.system.task(id).partition, core).filter(|_| core.losses.stalled);
    on.map_or(0, |on| throttling::stall_ns(scope, id, Some(on)).unwrap_or(0))
}

fn other_masters<'a>(scope: &Scope<'a>, core: &Analysed) -> Vec<&'a str> {
    let partition = core.ids.first().map(|&id| scope.system.task(id).partition);
    let own = partition.and_then(|partition| bus::only_core(scope, partition, core));
    let masters =
        scope.system.board.interconnect.as_ref().map_or(&[][..], |interconnect: &Interconnect| &interconnect.masters);
    let others = masters.iter().filter(|master| !is_own(master.core, own));
    others.map(|master| &*master.name.value).collect()
}

fn is_own(core: Option<CoreId>, own: Option<CoreId>) -> bool {
    core.is_some() && core == own
}

/// A wait of which every master causes as much, in whole ns.
pub(super) fn shared_evenly(waits_ns: u64, masters: &[&str]) -> Vec<(String, u64)> {
    let count = masters.len() as u128;
    let up_to = |at: usize| (u128::from(waits_ns) * at as u128 / count) as u64; // At most the whole.
    masters.iter().enumerate().map(|(at, name)| ((*name).to_owned(), up_to(at + 1) - up_to(at))).collect()
}

impl JobsCounted {
    fn parts(&self, scope: &Scope<'_>, core: &Analysed, window: &Window, waits: Vec<(String, u64)>) -> Vec<Part> {
        let label = |k: usize| scope.system.task_label(core.ids[k]);
        let own = label(self.k);
        let switch_ns = scope.system.platform.context_switch.map_or(0, |switch| switch.value.ns().saturating_mul(2));
        let jobs = self.each.iter().fold(0_u64, |sum, (_, jobs)| sum.saturating_add(*jobs));
        let blocking = if window.at_boot { PartKind::Blackout } else { PartKind::Blocking };
        let stalled = |k: usize| stalled_ns(scope, core, k);
        let executes = |k: usize| core.tasks[k].charged_ns - jobs_waiting(scope, core, k) - switch_ns - stalled(k);
        let stalls_ns = self.each.iter().fold(0_u64, |sum, (other, jobs)| sum.saturating_add(jobs * stalled(*other)));
        let others = self.each.iter().filter(|(other, _)| *other != self.k);
        let mut work = vec![Part::new(&*own, blocking, self.blocking_ns)];
        work.extend(others.map(|&(other, jobs)| Part::new(label(other), PartKind::Delay, jobs * executes(other))));
        let own_jobs = self.each.iter().find(|(other, _)| *other == self.k).map_or(0, |(_, jobs)| *jobs);
        work.push(Part::new(&*own, PartKind::Executing, own_jobs * executes(self.k)));
        work.push(Part::new(&*own, PartKind::Switches, jobs * switch_ns));
        if core.losses.stalled {
            work.push(Part::new("the core's bandwidth budget", PartKind::Blackout, stalls_ns));
        }
        work.extend(waits.into_iter().map(|(name, ns)| Part::new(name, PartKind::Interference, ns)));
        let before_ns = u64::try_from(window.arrival_ns).unwrap_or(0);
        take_off(&mut work, core.supply.supply_ns(window.start_ns, before_ns));
        let blackout_ns = blackout_ns(&core.supply, window.start_ns, before_ns, window.finish_ns);
        let late_ns = u64::try_from(-window.arrival_ns).unwrap_or(0);
        let mut parts =
            vec![Part::new(&*own, PartKind::Delay, late_ns), Part::new(own, PartKind::Blackout, blackout_ns)];
        parts.append(&mut work);
        parts
    }
}

fn blackout_ns(supply: &Supply, start_ns: u64, from_ns: u64, to_ns: u64) -> u64 {
    let until = |span_ns: u64| span_ns - supply.supply_ns(start_ns, span_ns);
    until(to_ns) - until(from_ns)
}

/// Takes so much off the parts, from the first on.
fn take_off(parts: &mut [Part], mut ns: u64) {
    for part in parts {
        let less_ns = ns.min(part.ns);
        part.ns -= less_ns;
        ns -= less_ns;
    }
}
