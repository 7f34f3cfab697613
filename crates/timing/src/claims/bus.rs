//! The path to memory as one virtual core sees it: who else asks, when, and for how much.
//!
//! Only what is enforced or declared counts: the windows of cores whose frames begin together with this one's, budgets where
//! the platform regulates, the jobs of trusted partitions whose tasks are all known, rates and bursts of devices. Anything else asks
//! at any time.

use super::partition_supply;
use super::responses::{Analysed, virtual_core_of};
use super::scope::Scope;
use super::waits::Proven;
use crate::interference::{Budget, Bus, Curve, Flow, Jobs, Known, LineTime, Master, Presence, Resident, Windows};
use crate::supply::Interval;
use model::system::{CorePolicy, Guest, Interconnect, InterruptPolicy};
use plan::MergedWindow;
use quantity::{CoreId, PartitionId, TaskId};

const NS_PER_S: u128 = 1_000_000_000;

/// The bus as the tasks of `own` see it; none where nobody else asks.
///
/// # Errors
/// Why nothing is known of it.
pub(super) fn seen_by(
    scope: &Scope<'_>,
    partition: PartitionId,
    own: &Analysed,
    proven: &Proven,
) -> Result<Option<Bus>, String> {
    let interconnect = scope.system.board.interconnect.as_ref().ok_or("`board.interconnect` is not given")?;
    let homes = homes(scope, partition, own);
    if homes.len() > 1 && own.losses.stalled {
        return Err("where stalls are charged on several cores only the request-driven bound is known".to_owned());
    }
    let bytes = u128::from(interconnect.line.value.get());
    let rate = u128::from(interconnect.guaranteed.value.bytes_per_s());
    let line =
        LineTime::new(bytes * NS_PER_S, rate).ok_or("the time of one line request is no number that can be used")?;
    let late_ns = own.late_ns;
    // Without places any phase is counted, but where arrivals keep to a frame that nothing ties to the others'.
    let synchronised = || homes.iter().all(|&core| is_synchronised(scope, core));
    let keeps_frame = if own.supply.has_places() { synchronised() } else { own.as_free_running };
    let usable = usable(scope, own).ok_or("the usable windows are none of the frame")?;
    let own = (partition, virtual_core(scope, own));
    let view = View { scope, interconnect, line, own, usable, proven, keeps_frame, late_ns };
    let is_home = |index: &usize| interconnect.masters[*index].core.is_some_and(|core| homes.contains(&core));
    let others: Vec<usize> =
        (0..interconnect.masters.len()).filter(|index| homes.len() > 1 || !is_home(index)).collect();
    let own = (0..others.len()).filter(|&at| is_home(&others[at])).collect();
    let masters: Vec<_> = others.into_iter().map(|index| view.master(index)).collect();
    Ok((!masters.is_empty()).then_some(Bus { line, masters, own, late_ns }))
}

/// When the own partition may have usable time: no more than its windows behind their heads, whatever is lost of them by what need
/// not be, as much later as the bus tells all; at any time where it has no places in the frame.
fn usable(scope: &Scope<'_>, own: &Analysed) -> Option<Curve> {
    let frame_ns = scope.frame_ns();
    if !own.supply.has_places() {
        return Curve::new(frame_ns, [Interval { start_ns: 0, end_ns: frame_ns }]);
    }
    let later = |window: &Interval| later(*window, own.late_ns, frame_ns);
    Curve::new(frame_ns, own.sure().supply.windows().iter().map(later))
}

/// An interval that much later, begun in the frame again.
fn later(interval: Interval, late_ns: u64, frame_ns: u64) -> Interval {
    let start_ns = interval.start_ns.saturating_add(late_ns) % frame_ns.max(1);
    Interval { start_ns, end_ns: start_ns.saturating_add(interval.end_ns - interval.start_ns) }
}

/// The cores on which the tasks of a virtual core run.
fn homes(scope: &Scope<'_>, partition: PartitionId, own: &Analysed) -> Vec<CoreId> {
    scope.home_cores(partition, virtual_core(scope, own))
}

/// The one core on which they do; none where there are several.
pub(super) fn only_core(scope: &Scope<'_>, partition: PartitionId, own: &Analysed) -> Option<CoreId> {
    match homes(scope, partition, own)[..] {
        [core] => Some(core),
        _ => None,
    }
}

fn virtual_core(scope: &Scope<'_>, own: &Analysed) -> u32 {
    own.ids.first().and_then(|&id| virtual_core_of(scope, id)).unwrap_or(0)
}

fn is_synchronised(scope: &Scope<'_>, core: CoreId) -> bool {
    matches!(scope.policy(core), Some(CorePolicy::WindowTable { synchronised: true, .. }))
}

/// What is asked about every other master.
struct View<'a> {
    scope: &'a Scope<'a>,
    interconnect: &'a Interconnect,
    line: LineTime,
    own: (PartitionId, u32),
    usable: Curve,
    proven: &'a Proven,
    /// Whether the own frame begins with the others', or the own time and arrivals know of none.
    keeps_frame: bool,
    late_ns: u64,
}

impl View<'_> {
    fn master(&self, index: usize) -> Master {
        let core = self.interconnect.masters[index].core;
        Master {
            budget: self.budget(index),
            flow: if core.is_none() { self.flow(index) } else { None },
            presence: core.and_then(|core| self.presence(core)).unwrap_or(Presence::Always),
        }
    }

    /// What a master that is no core asks for at the most: the rates and bursts of all devices that move memory, since nothing
    /// says which one asks through which master. None where one of them does not declare both, where there are fewer such devices
    /// than such masters, or where as much may not be served.
    fn flow(&self, index: usize) -> Option<Flow> {
        let devices = self.scope.system.board.devices.iter().filter(|device| device.moves_memory());
        let declared: Option<Vec<_>> =
            devices.map(|device| Some((device.dma_rate?.value.bytes_per_s(), device.dma_burst?.value.get()))).collect();
        let no_cores = self.interconnect.masters.iter().filter(|master| master.core.is_none()).count();
        let declared = declared.filter(|declared| declared.len() >= no_cores)?;
        let of = |sum: u64, more: u64| sum.saturating_add(more);
        let bytes_per_s = declared.iter().map(|(rate, _)| *rate).fold(0, of);
        let burst_bytes = declared.iter().map(|(_, burst)| *burst).fold(0, of);
        let (lines, every_ns, late_ns) = self.service(index)?;
        let line_bytes = self.interconnect.line.value.get();
        // Served are so many whole lines in each span.
        let served = u128::from(lines) * u128::from(line_bytes) * NS_PER_S;
        let enough = u128::from(bytes_per_s) * u128::from(every_ns) <= served;
        enough.then_some(Flow { burst_bytes, bytes_per_s, line_bytes, late_ns })
    }

    /// While a master asks, it is served so many lines in each span of such a length, after a time at most. A turn comes once in
    /// a line of every master; where a budget holds it, a whole regulation period can have passed of which it has used all up.
    fn service(&self, index: usize) -> Option<(u64, u64, u64)> {
        let turn_ns = self.line.lines_ns(self.interconnect.masters.len() as u64);
        let Some(regulation) = self.scope.system.platform.regulation.as_ref() else {
            return Some((1, turn_ns, turn_ns));
        };
        let period_ns = regulation.period.value.ns();
        let budget = self.scope.plan.bandwidth.iter().find(|budget| budget.master == index);
        let Some(budget) = budget else { return Some((1, turn_ns, turn_ns)) };
        let bytes = u128::from(budget.budget.bytes_per_s()) * u128::from(period_ns) / NS_PER_S;
        let lines = bytes / u128::from(self.interconnect.line.value.get());
        let lines = u64::try_from(lines).unwrap_or(u64::MAX).min(period_ns.checked_div(turn_ns)?);
        Some((lines, period_ns, period_ns.saturating_mul(2)))
    }

    /// Who asks on an active core on which no interrupt is handled outside windows; none where it may be anything.
    fn presence(&self, core: CoreId) -> Option<Presence> {
        if !self.scope.system.core(core).active || self.interrupted(core) {
            return None;
        }
        match self.scope.policy(core)? {
            CorePolicy::Dedicated => self.only_member(core).map(Presence::Jobs),
            CorePolicy::WindowTable { synchronised: true, .. } if self.keeps_frame => {
                let sound = self.scope.table_faults(core).is_empty();
                sound.then(|| self.residents(core))?.map(Presence::Windows)
            }
            _ => None,
        }
    }

    /// The jobs of the one virtual core that has the core for itself.
    fn only_member(&self, core: CoreId) -> Option<Vec<Jobs>> {
        let virtual_cores = |partition: PartitionId| {
            let all = 0..self.scope.system.partition(partition).virtual_cores.value;
            all.map(move |virtual_core| (partition, virtual_core))
        };
        let here = |&(partition, virtual_core): &(PartitionId, u32)| {
            self.scope.home_cores(partition, virtual_core).contains(&core)
        };
        let members: Vec<_> = self.scope.running_partitions().flat_map(virtual_cores).filter(here).collect();
        match members[..] {
            [(partition, virtual_core)] => self.jobs(partition, virtual_core),
            _ => None,
        }
    }

    /// Whether some interrupt may be handled there outside all windows.
    fn interrupted(&self, core: CoreId) -> bool {
        self.scope
            .interrupts_on(core)
            .any(|interrupt| interrupt.policy.is_none_or(|policy| policy.value != InterruptPolicy::Pended))
    }

    /// What regulation lets the master move; a broken line is counted whole.
    fn budget(&self, index: usize) -> Option<Budget> {
        let period_ns = self.scope.system.platform.regulation.as_ref()?.period.value.ns();
        let budget = self.scope.plan.bandwidth.iter().find(|budget| budget.master == index)?;
        let scaled = u128::from(budget.budget.bytes_per_s()) * u128::from(period_ns);
        let lines = scaled.div_ceil(u128::from(self.interconnect.line.value.get()) * NS_PER_S);
        (period_ns > 0).then_some(Budget { period_ns, lines: u64::try_from(lines).unwrap_or(u64::MAX) })
    }

    /// Every partition with windows on the core; none where these are none of the frame.
    fn residents(&self, core: CoreId) -> Option<Vec<Resident>> {
        let windows = self.scope.windows_on(core).iter();
        let mut who: Vec<_> = windows.map(|window| (window.partition, window.virtual_core)).collect();
        who.sort_unstable();
        who.dedup();
        who.into_iter().map(|(partition, virtual_core)| self.resident(core, partition, virtual_core)).collect()
    }

    fn resident(&self, core: CoreId, partition: PartitionId, virtual_core: u32) -> Option<Resident> {
        let frame_ns = self.scope.frame_ns();
        let tables = self.scope.tables_of(partition, virtual_core).into_iter().filter(|table| table.core == core);
        let windows: Vec<_> =
            tables.flat_map(|table| table.merged(partition, virtual_core, self.scope.system.frame.value)).collect();
        let slip_ns = self.scope.system.platform.boundary_slip.map_or(0, |slip| slip.value.ns());
        let head_ns = partition_supply::head_ns(self.scope).ok()?;
        // A request is served so long after it is asked for at the latest.
        let served_ns = self.line.lines_ns(self.interconnect.masters.len() as u64);
        // Of the own windows on another core what is under way at their ends; while they last, nothing waits elsewhere.
        let is_own = (partition, virtual_core) == self.own;
        let whole = |window: &MergedWindow| {
            let start_ns = if is_own { window.end().ns() % frame_ns } else { window.start.ns() };
            let length_ns = if is_own { 0 } else { window.length.ns() };
            let end_ns = start_ns.saturating_add(length_ns).saturating_add(slip_ns).saturating_add(served_ns);
            later(Interval { start_ns, end_ns }, self.late_ns, frame_ns)
        };
        let whole: Vec<Interval> = windows.iter().map(whole).collect();
        let beside = |window: &&Interval| self.is_beside(**window);
        let met: Vec<Interval> = whole.iter().filter(beside).copied().collect();
        let jobs = if is_own { None } else { self.jobs(partition, virtual_core) };
        Some(Resident {
            jobs: match jobs {
                Some(jobs) => Some(Known { jobs, windows: Windows::new(frame_ns, &met)?, head_ns }),
                None => None,
            },
            overlap: Curve::new(frame_ns, whole)?.meet(&self.usable),
        })
    }

    /// Whether a window is beside some usable time of the own partition.
    fn is_beside(&self, window: Interval) -> bool {
        self.usable.between_ns(window.start_ns, window.end_ns) > 0
    }

    /// All that asks for memory in the windows of a virtual core; none where that is not known, or not believed.
    fn jobs(&self, partition: PartitionId, virtual_core: u32) -> Option<Vec<Jobs>> {
        let found = self.scope.system.partition(partition);
        let tasks = self.scope.tasks(partition);
        if found.untrusted || matches!(found.guest.value, Guest::Opaque(_)) || tasks.is_empty() {
            return None;
        }
        let can_be_here = |id: &&TaskId| virtual_core_of(self.scope, **id).is_none_or(|core| core == virtual_core);
        tasks.iter().filter(can_be_here).map(|&id| self.jobs_of(id)).collect()
    }

    fn jobs_of(&self, id: TaskId) -> Option<Jobs> {
        let task = self.scope.system.task(id);
        let (requests, stress) = (task.line_requests, task.stress);
        Some(Jobs {
            period_ns: task.period.value.ns(),
            response_ns: *self.proven.get(&id)?,
            requests: requests.map(|requests| requests.value),
            stress_ns: stress.map(|stress| stress.value.ns()),
        })
    }
}
