//! Interrupt storms: kept until the owner's windows, or handled at once.

use super::Conduct;
use super::calendar::Happening;
use super::recovery::Work;
use crate::Recorder;
use crate::engine::Run;
use crate::event::Stall;
use crate::fault::{Kind, Target};
use crate::machine::{Interrupt, Machine};
use crate::protection::Protection;

/// The time of a handler that declares none.
const HANDLER_NS: u64 = 10_000;

/// Which lines wait for their handler. Lines are numbered over all devices.
#[derive(Debug, Default)]
pub(super) struct Pending {
    waits: Vec<bool>,
    owner: Vec<Option<usize>>,
}

impl Pending {
    pub(super) fn clear(&mut self, machine: &Machine) {
        let owners = machine.devices.iter().flat_map(|device| device.interrupts.iter().map(|_| device.owner));
        self.owner.clear();
        self.owner.extend(owners);
        self.waits.clear();
        self.waits.resize(self.owner.len(), false);
    }

    pub(super) fn handled(&mut self, line: usize) {
        self.waits[line] = false;
    }

    /// What a partition has waiting is forgotten.
    pub(super) fn dropped(&mut self, partition: usize) {
        for (waits, owner) in self.waits.iter_mut().zip(&self.owner) {
            *waits &= *owner != Some(partition);
        }
    }
}

/// The lines of a device, each with its number over all devices.
fn lines(machine: &Machine, device: usize) -> impl Iterator<Item = (usize, Interrupt)> {
    let first: usize = machine.devices[..device].iter().map(|before| before.interrupts.len()).sum();
    machine.devices[device].interrupts.iter().enumerate().map(move |(at, line)| (first + at, *line))
}

impl Conduct {
    pub(super) fn begin_storm<R: Recorder>(&mut self, index: usize, until_ns: u64, run: &mut Run<'_, '_, R>) {
        let Target::Device(device) = run.scenario.faults[index].target else { return };
        for (line, _) in lines(run.machine, device) {
            self.interrupt(index, line, until_ns, run);
        }
    }

    /// One interrupt of a line, and the next one in its time.
    pub(super) fn interrupt<R: Recorder>(
        &mut self,
        index: usize,
        line: usize,
        until_ns: u64,
        run: &mut Run<'_, '_, R>,
    ) {
        let fault = run.scenario.faults[index];
        let (Kind::InterruptStorm { every_ns, .. }, Target::Device(device)) = (fault.kind, fault.target) else {
            return;
        };
        if run.now >= until_ns {
            return;
        }
        let Some((_, declared)) = lines(run.machine, device).find(|(number, _)| *number == line) else { return };
        let protected = run.scenario.protections.has(Protection::InterruptPending);
        let handler_ns = declared.handler_ns.unwrap_or(HANDLER_NS);
        let owner = run.machine.devices[device].owner;
        match owner {
            Some(owner) if protected && !declared.immediate => self.keep(owner, line, handler_ns, run),
            _ => handle_at_once(declared.core.or_else(|| home(owner?, run.machine)), handler_ns, run),
        }
        let gap_ns = match declared.least_gap_ns {
            Some(least) if protected && declared.immediate => every_ns.max(least),
            _ => every_ns,
        };
        self.calendar.add(run.now.saturating_add(gap_ns.max(1)), Happening::Interrupt { fault: index, line, until_ns });
    }

    /// A kept interrupt: its handler goes first in the owner's next usable time. A line that waits already stays one.
    fn keep<R: Recorder>(&mut self, owner: usize, line: usize, handler_ns: u64, run: &mut Run<'_, '_, R>) {
        if self.lives[owner].is_up() && !std::mem::replace(&mut self.pending.waits[line], true) {
            run.add_duty(owner, handler_ns, Work::Interrupt(line).duty());
        }
    }
}

/// The core of a partition's first virtual core.
fn home(partition: usize, machine: &Machine) -> Option<usize> {
    machine.lanes[machine.partitions[partition].lanes.start].cores.first().copied()
}

/// A handler takes its time from whoever the core executes; while one runs, at most one waits.
fn handle_at_once<R: Recorder>(core: Option<usize>, handler_ns: u64, run: &mut Run<'_, '_, R>) {
    if let Some(core) = core
        && run.stalled_until(core) <= run.now.saturating_add(handler_ns)
    {
        run.steal(core, handler_ns, Stall::Interrupt);
    }
}
