//! Faults, the health monitor, restart, boot, changes of the module schedule, regulation.

use crate::engine::{NEVER, Run};
use crate::{Machine, Recorder};

/// What goes wrong in a run under way, and what is done about it.
#[derive(Debug)]
pub(crate) struct Conduct {}

impl Conduct {
    /// For runs of a machine.
    pub(crate) fn new(_machine: &Machine) -> Self {
        Self {}
    }

    /// A run begins, before its first instant.
    pub(crate) fn begin<R: Recorder>(&mut self, _run: &mut Run<'_, '_, R>) {}

    /// When something here happens next.
    pub(crate) fn next_ns(&self) -> u64 {
        NEVER
    }

    /// Does what happens at `run.now`: after completions and window ends, before arrivals, releases and window starts.
    pub(crate) fn act<R: Recorder>(&mut self, _run: &mut Run<'_, '_, R>) {}

    /// A job passed its deadline.
    pub(crate) fn missed<R: Recorder>(&mut self, _task: usize, _job: u64, _run: &mut Run<'_, '_, R>) {}

    /// A job passed its charged time without having completed.
    pub(crate) fn overran<R: Recorder>(&mut self, _task: usize, _job: u64, _run: &mut Run<'_, '_, R>) {}

    /// A job wrote its outputs.
    pub(crate) fn wrote<R: Recorder>(&mut self, _task: usize, _job: u64, _run: &mut Run<'_, '_, R>) {}

    /// Work that was asked for by `Run::add_duty` with `Duty::Conduct(tag)` is done.
    pub(crate) fn duty_done<R: Recorder>(&mut self, _partition: usize, _tag: u32, _run: &mut Run<'_, '_, R>) {}

    /// From `run.now` on the core executes this task, or none. Told only where `run.world.tell_runs` is set.
    pub(crate) fn runs<R: Recorder>(&mut self, _core: usize, _task: Option<usize>, _run: &mut Run<'_, '_, R>) {}

    /// The run ends.
    pub(crate) fn end<R: Recorder>(&mut self, _run: &mut Run<'_, '_, R>) {}
}
