//! What the bound of a response is made of, and whose each part is.
//!
//! Computes: for the busy window behind a bound of a fixed-priority task, in any phase or in the frame's, the time of each kind, from
//! the arrival to the completion, so that the parts add up to the bound.
//! Source: the terms of the busy window's equation.
//! Assumptions: those of the bound.
//! Symbols: times in ns.
//! Invariants and why it ends: one pass over the jobs counted. Where the job arrives within the busy window, what was done before
//! is taken off in this order: less urgent jobs, more urgent ones, earlier own jobs, switches, stalls, waiting.
//! Differs from the source: nothing.
//! Checked by: the alarm on parts that do not add up.

use super::responses::Analysed;
use super::scope::Scope;
use super::waits::Gain;
use super::{bus, charge, throttling};
use crate::interference::waits_ns;
use crate::response::Bound;
use crate::supply::Supply;
use crate::task_set::{Policy, Release, Task};
use claim::{Part, PartKind};
use model::system::Interconnect;
use quantity::CoreId;

/// A busy window up to the completion of the job looked at; instants from its begin.
struct Window {
    start_ns: u64,
    arrival_ns: i64,
    finish_ns: u64,
    job: u64,
    at_boot: bool,
    /// Where it begins in the hyperperiod, if arrivals keep to that.
    phase_ns: Option<i64>,
}

/// The parts of the request-driven `bound` of task `k`.
///
/// # Errors
/// Why its busy window is not told job by job.
pub(super) fn of_bound(scope: &Scope<'_>, core: &Analysed, k: usize, bound: &Bound) -> Result<Vec<Part>, &'static str> {
    let phase_ns = (!core.as_free_running).then_some(bound.busy_start_ns);
    let start_ns = match core.set.policy() {
        _ if !core.cluster.is_empty() => Err("jobs run on whichever virtual core is free"),
        Policy::EarliestDeadline => {
            Err("under earliest deadline first who goes before whom depends on the deadlines in each phase")
        }
        Policy::Cooperative => {
            Err("of a cooperative guest more urgent jobs count up to the begin of a job, not to its end")
        }
        // The supply is the same in every frame.
        Policy::FixedPriority => Ok(bound.busy_start_ns.rem_euclid(core.supply.frame_ns() as i64) as u64),
    }?;
    let arrival_ns = bound.arrival_ns - bound.busy_start_ns;
    let finish_ns = (arrival_ns + bound.response_ns as i64) as u64; // The busy window's length.
    let window = Window { start_ns, arrival_ns, finish_ns, job: bound.job, at_boot: bound.at_boot, phase_ns };
    let jobs = JobsCounted::of(core, k, &window);
    let waits = jobs
        .each
        .iter()
        .fold(0, |sum: u64, (other, jobs)| sum.saturating_add(jobs * jobs_waiting(scope, core, *other)));
    Ok(jobs.parts(scope, core, &window, shared_evenly(waits, &other_masters(scope, core))))
}

/// The parts of the bound of task `k` that counts what other masters can ask for.
pub(super) fn of_gain(scope: &Scope<'_>, core: &Analysed, k: usize, gain: &Gain) -> Vec<Part> {
    let latest = &gain.latest;
    let at_boot = latest.at_boot;
    let (start_ns, arrival_ns, finish_ns, job) = (latest.start_ns, latest.arrival_ns, latest.finish_ns, latest.job);
    let window = Window { start_ns, arrival_ns, finish_ns, job, at_boot, phase_ns: None };
    let each = waits_ns(&gain.own, &gain.bus, latest);
    let waits = other_masters(scope, core).into_iter().map(str::to_owned).zip(each).collect();
    JobsCounted::of(core, k, &window).parts(scope, core, &window, waits)
}

fn jobs_waiting(scope: &Scope<'_>, core: &Analysed, k: usize) -> u64 {
    charge::waiting_of(scope, core.ids[k], core.tasks[k].charged_ns) - stalled_ns(scope, core, k)
}

/// How long a job of task `k` is charged to stall on its core, whose bandwidth budget may run out.
fn stalled_ns(scope: &Scope<'_>, core: &Analysed, k: usize) -> u64 {
    let id = core.ids[k];
    let on = bus::core_of(scope, scope.system.task(id).partition, core).ok().filter(|_| core.losses.stalled);
    on.map_or(0, |on| throttling::stall_ns(scope, id, Some(on)).unwrap_or(0))
}

fn other_masters<'a>(scope: &Scope<'a>, core: &Analysed) -> Vec<&'a str> {
    let partition = core.ids.first().map(|&id| scope.system.task(id).partition);
    let own = partition.and_then(|partition| bus::core_of(scope, partition, core).ok());
    let masters =
        scope.system.board.interconnect.as_ref().map_or(&[][..], |interconnect: &Interconnect| &interconnect.masters);
    let others = masters.iter().filter(|master| !is_own(master.core, own));
    others.map(|master| &*master.name.value).collect()
}

fn is_own(core: Option<CoreId>, own: Option<CoreId>) -> bool {
    core.is_some() && core == own
}

/// A wait of which every master causes as much, in whole ns.
fn shared_evenly(waits_ns: u64, masters: &[&str]) -> Vec<(String, u64)> {
    let count = masters.len() as u128;
    let up_to = |at: usize| (u128::from(waits_ns) * at as u128 / count) as u64; // At most the whole.
    masters.iter().enumerate().map(|(at, name)| ((*name).to_owned(), up_to(at + 1) - up_to(at))).collect()
}

impl Window {
    /// How many jobs of a task that keeps to the frame count: those whose latest release is not before the window, and that arrive
    /// before its end, or of the task looked at up to the job looked at.
    fn jobs_in_phase(&self, phase_ns: i64, task: &Task, jitter_ns: u64, own: bool) -> u64 {
        let offset_ns = match task.release {
            Release::FrameAligned { offset_ns } => offset_ns,
            Release::FreeRunning => 0,
        };
        let since_first = |ns: i64| i128::from(phase_ns) + i128::from(ns) - i128::from(offset_ns);
        let period_ns = i128::from(task.period_ns);
        let before = |ns: i128| -(-ns).div_euclid(period_ns);
        let end_ns = if own { self.arrival_ns + 1 } else { self.finish_ns as i64 };
        let jobs = before(since_first(end_ns)) - before(since_first(0) - i128::from(jitter_ns));
        u64::try_from(jobs).unwrap_or(0)
    }
}

/// How many jobs of which task a busy window counts.
struct JobsCounted {
    /// The task looked at.
    k: usize,
    /// Each task that is counted, with its jobs.
    each: Vec<(usize, u64)>,
    blocking_ns: u64,
}

impl JobsCounted {
    fn of(core: &Analysed, k: usize, window: &Window) -> Self {
        let position = core.set.position[k];
        let jobs_of = |other: usize| {
            let task = &core.tasks[other];
            let jitter_ns = if window.at_boot { 0 } else { task.jitter_ns };
            match window.phase_ns {
                Some(phase_ns) => window.jobs_in_phase(phase_ns, task, jitter_ns, other == k),
                None if other == k => window.job + 1,
                None => window.finish_ns.saturating_add(jitter_ns).div_ceil(task.period_ns),
            }
        };
        let level = core.set.level(position).map(|position| core.set.given[position]);
        let blocking_ns = core.set.blocking_ns[position] as u64; // Times are not negative.
        Self {
            k,
            each: level.map(|other| (other, jobs_of(other))).collect(),
            blocking_ns: if window.at_boot { core.supply.boot_loss_ns() } else { blocking_ns },
        }
    }

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
