//! Bursts of memory traffic, by a partition or a device.
//!
//! Unregulated, a burst moves `lines` in each of its turns, and each line request of another core waits for `lines - 1`
//! more of them than it is charged for. Jobs are taken to ask for their lines evenly over their charged time.

use super::Conduct;
use super::calendar::Happening;
use super::recovery::Work;
use crate::engine::{NEVER, Run};

use crate::Recorder;
use crate::event::{Stall, What};
use crate::machine::{Bus, Machine};
use crate::protection::Protection;

/// One burst that goes on.
#[derive(Debug, Clone, Copy)]
struct Burst {
    fault: usize,
    /// The partition that bursts; a device where there is none.
    partition: Option<usize>,
    /// What each request of others waits for beyond what is charged; 0 where regulation holds it.
    lines: u64,
}

/// All bursts that go on.
#[derive(Debug, Default)]
pub(super) struct Bursts {
    under_way: Vec<Burst>,
    /// The partition that each core serves, as far as was told.
    served: Vec<Option<usize>>,
    /// Partitions that are to fetch their working set anew.
    refills: Vec<bool>,
}

impl Bursts {
    pub(super) fn clear(&mut self, machine: &Machine) {
        self.under_way.clear();
        self.served.clear();
        self.served.resize(machine.cores.len(), None);
        self.refills.clear();
        self.refills.resize(machine.partitions.len(), false);
    }

    pub(super) fn refilled(&mut self, partition: usize) {
        self.refills[partition] = false;
    }

    /// How many lines more each request on a core waits for: those of bursts that run elsewhere.
    fn extra_lines(&self, core: usize) -> u64 {
        let waits = |burst: &&Burst| match burst.partition {
            None => true,
            Some(_) => self.served.iter().enumerate().any(|(other, one)| other != core && *one == burst.partition),
        };
        self.under_way.iter().filter(waits).fold(0, |sum, burst| sum.saturating_add(burst.lines))
    }
}

impl Conduct {
    pub(super) fn begin_memory_burst<R: Recorder>(
        &mut self,
        index: usize,
        lines: u64,
        for_ns: u64,
        run: &mut Run<'_, '_, R>,
    ) {
        let Some(partition) = run.scenario.faults[index].target.partition(run.machine) else { return };
        let held = held_by_budget(partition, run);
        self.bursts.under_way.push(Burst {
            fault: index,
            partition: Some(partition),
            lines: if held { 0 } else { lines.saturating_sub(1) },
        });
        if held {
            self.regulate(index, run.now.saturating_add(for_ns), run);
        }
        (run.world.tell_runs, run.world.quiet) = (true, false);
        for core in 0..run.machine.cores.len() {
            self.bursts.served[core] = self.lives_on(core, run);
        }
        if self.bursts.served.contains(&Some(partition)) {
            self.evict(partition, run);
        }
        self.apply(run);
    }

    pub(super) fn begin_dma_burst<R: Recorder>(&mut self, index: usize, lines: u64, run: &mut Run<'_, '_, R>) {
        let regulated = run.scenario.protections.has(Protection::Regulation)
            && run.machine.bus.as_ref().is_some_and(|bus| {
                let devices = bus.masters.iter().filter(|master| master.core.is_none());
                bus.regulation_ns.is_some() && devices.clone().all(|master| master.budget_lines.is_some())
            });
        let lines = if regulated { 0 } else { lines.saturating_sub(1) };
        self.bursts.under_way.push(Burst { fault: index, partition: None, lines });
        self.apply(run);
    }

    pub(super) fn end_burst<R: Recorder>(&mut self, index: usize, run: &mut Run<'_, '_, R>) {
        self.bursts.under_way.retain(|burst| burst.fault != index);
        run.world.tell_runs =
            self.watches_cores() || self.bursts.under_way.iter().any(|burst| burst.partition.is_some());
        self.apply(run);
    }

    /// A regulation period begins: once the time of its budget's lines has passed, the partition that bursts executes
    /// nothing until the next one.
    pub(super) fn regulate<R: Recorder>(&mut self, index: usize, until_ns: u64, run: &mut Run<'_, '_, R>) {
        let Some(partition) = run.scenario.faults[index].target.partition(run.machine) else { return };
        let Some(bus) = &run.machine.bus else { return };
        let period_ns = bus.regulation_ns.unwrap_or(NEVER).max(1);
        let budget = budget_of(partition, run.machine).unwrap_or(0);
        if run.now >= until_ns {
            return;
        }
        let begin = run.now / period_ns * period_ns;
        let end = begin.saturating_add(period_ns);
        let used_up = begin.saturating_add(budget.saturating_mul(bus.line_ns())).max(run.now);
        let next = if used_up > run.now && used_up < end.min(until_ns) {
            used_up
        } else {
            if used_up <= run.now && self.lives[partition].is_up() {
                throttle(partition, end.min(until_ns), run);
            }
            end
        };
        self.calendar.add(next, Happening::Regulation { fault: index, until_ns });
    }

    /// The partition that a core serves, where it is up.
    fn lives_on<R: Recorder>(&self, core: usize, run: &Run<'_, '_, R>) -> Option<usize> {
        run.partition_on(core).filter(|&partition| self.lives[partition].is_up())
    }

    /// A partition is up or is no longer: if it bursts, what others wait for changes.
    pub(super) fn look_at_bursts<R: Recorder>(&mut self, run: &mut Run<'_, '_, R>) {
        if run.world.tell_runs {
            (0..run.machine.cores.len()).for_each(|core| self.serves(core, run));
        }
    }

    /// A core serves another lane, or none: what others wait for may change.
    pub(super) fn serves<R: Recorder>(&mut self, core: usize, run: &mut Run<'_, '_, R>) {
        let now_on = self.lives_on(core, run);
        if self.bursts.served[core] == now_on {
            return;
        }
        self.bursts.served[core] = now_on;
        let bursting = now_on.filter(|one| self.bursts.under_way.iter().any(|burst| burst.partition == Some(*one)));
        if let Some(partition) = bursting {
            self.evict(partition, run);
        }
        self.apply(run);
    }

    fn apply<R: Recorder>(&mut self, run: &mut Run<'_, '_, R>) {
        for core in 0..run.machine.cores.len() {
            let line_ns = run.machine.bus.as_ref().map_or(0, Bus::line_ns);
            run.slow_core(core, self.bursts.extra_lines(core).saturating_mul(line_ns));
        }
    }

    /// Where caches are not partitioned, a partition that bursts leaves nobody's working set in them.
    fn evict<R: Recorder>(&mut self, by: usize, run: &mut Run<'_, '_, R>) {
        if run.scenario.protections.has(Protection::CachePartition) {
            return;
        }
        let Some(bus) = &run.machine.bus else { return };
        let full_wait_ns = bus.line_ns().saturating_mul(bus.masters.len() as u64);
        for partition in (0..run.machine.partitions.len()).filter(|&partition| partition != by) {
            let lines = bus.working_set_lines.get(partition).copied().unwrap_or(0);
            if lines > 0
                && self.lives[partition].is_up()
                && !std::mem::replace(&mut self.bursts.refills[partition], true)
            {
                run.add_duty_now(partition, lines.saturating_mul(full_wait_ns), Work::Refill.duty());
            }
        }
    }
}

/// The partition executes nothing until then.
fn throttle<R: Recorder>(partition: usize, until_ns: u64, run: &mut Run<'_, '_, R>) {
    for lane in run.machine.partitions[partition].lanes.clone() {
        run.stall_lane(lane, until_ns);
    }
    for core in 0..run.machine.cores.len() {
        if run.partition_on(core) == Some(partition) {
            run.tell(What::Stalls { core, until_ns, why: Stall::Throttled });
        }
    }
}

/// The budget of the core that a partition is served on.
fn budget_of(partition: usize, machine: &Machine) -> Option<u64> {
    let bus = machine.bus.as_ref()?;
    let cores = &machine.lanes.get(machine.partitions[partition].lanes.start)?.cores;
    let budget = |core: &usize| bus.masters.iter().find(|master| master.core == Some(*core))?.budget_lines;
    // Of several cores that may serve it, the least budget; where one has none, none.
    cores.iter().map(budget).try_fold(None, |least: Option<u64>, one| {
        let one = one?;
        Some(Some(least.map_or(one, |least| least.min(one))))
    })?
}

/// Whether regulation holds the traffic of a partition.
fn held_by_budget<R: Recorder>(partition: usize, run: &Run<'_, '_, R>) -> bool {
    run.scenario.protections.has(Protection::Regulation)
        && run.machine.bus.as_ref().is_some_and(|bus| bus.regulation_ns.is_some())
        && budget_of(partition, run.machine).is_some()
}
