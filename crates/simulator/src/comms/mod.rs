//! Messages: ports, queues, chains, the internal network.

use crate::engine::{NEVER, Out, World};
use crate::{Machine, Recorder, Scenario};

/// The messages of a run under way.
#[derive(Debug)]
pub(crate) struct Comms<'m> {
    machine: &'m Machine,
}

impl<'m> Comms<'m> {
    /// The messages of a machine.
    pub(crate) fn new(machine: &'m Machine) -> Self {
        Self { machine }
    }

    /// A run begins: no message anywhere.
    pub(crate) fn begin(&mut self, _scenario: &Scenario, _world: &mut World) {}

    /// When something here happens next by itself.
    pub(crate) fn next_ns(&self) -> u64 {
        NEVER
    }

    /// Does what happens by itself at `now`.
    pub(crate) fn act<R: Recorder>(&mut self, _now: u64, _world: &mut World, _out: &mut Out<'_, R>) {}

    /// A job reads its inputs.
    pub(crate) fn read<R: Recorder>(
        &mut self,
        task: usize,
        _job: u64,
        _now: u64,
        _world: &mut World,
        out: &mut Out<'_, R>,
    ) {
        out.seen.counts.reads += self.machine.tasks[task].reads.len() as u64;
    }

    /// A job writes its outputs.
    pub(crate) fn write<R: Recorder>(
        &mut self,
        task: usize,
        _job: u64,
        _now: u64,
        _world: &mut World,
        out: &mut Out<'_, R>,
    ) {
        out.seen.counts.writes += self.machine.tasks[task].writes.len() as u64;
    }

    /// How long a job that begins executes, where its messages say it: a job of the forwarding task.
    pub(crate) fn load(&mut self, _task: usize, _job: u64, _now: u64) -> Option<u64> {
        None
    }

    /// The work on a frame is done, where no task forwards: asked for by `World::add_duty` with `Duty::Frame`.
    pub(crate) fn frame_done<R: Recorder>(&mut self, _now: u64, _world: &mut World, _out: &mut Out<'_, R>) {}

    /// The run ends.
    pub(crate) fn end<R: Recorder>(&mut self, _now: u64, _out: &mut Out<'_, R>) {}
}
