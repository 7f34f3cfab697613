//! The general engine: every policy, every guest, every fault, one event after the other.
//!
//! **Computes** one run of a machine: what happens when, in integer nanoseconds.
//! **Source.** Event-driven simulation, common practice, no source; the order within an instant is that of
//! `docs/semantics.md`.
//! **Invariants and why it ends.** Each pass of the loop takes the least instant of the agenda, and every source that is due
//! moves to a later one or to never: a job executes 1 ns at least, windows, turns and periods are longer than nothing.
//! **Checked by** systems worked by hand, the survey vessel against responses worked out apart, any order of runs.

mod agenda;
mod build;
mod control;
mod dispatch;
mod jobs;
mod opaque;
mod pace;
mod pick;
mod run;
mod servers;
mod turns;
mod windows;
mod world;

pub(crate) use agenda::NEVER;
pub(crate) use control::Doing;
pub(crate) use jobs::spread;
pub(crate) use pace::WHOLE;
pub(crate) use run::{Out, Run};
pub(crate) use world::{Duty, World};

use crate::comms::Comms;
use crate::conduct::Conduct;
use crate::{Machine, Nobody, Recorder, Scenario, Seen};

/// A machine and the room that its runs need, kept from run to run.
#[derive(Debug)]
pub struct Engine<'m> {
    machine: &'m Machine,
    world: World,
    comms: Comms<'m>,
    conduct: Conduct,
}

impl<'m> Engine<'m> {
    /// An engine for runs of `machine`.
    pub fn new(machine: &'m Machine) -> Self {
        Self { machine, world: World::new(machine), comms: Comms::new(machine), conduct: Conduct::new(machine) }
    }

    /// Runs one scenario and adds what it saw to `seen`. Compiled once, here: the loop is one function, not one per caller.
    pub fn run_unrecorded(&mut self, scenario: &Scenario, seen: &mut Seen) {
        self.run(scenario, seen, &mut Nobody);
    }

    /// Runs one scenario, adds what it saw to `seen`, and tells `recorder` what happened.
    pub fn run<R: Recorder>(&mut self, scenario: &Scenario, seen: &mut Seen, recorder: &mut R) {
        debug_assert_eq!(seen.tasks.len(), self.machine.tasks.len(), "what was seen is of this machine");
        let mut run = Run {
            now: 0,
            machine: self.machine,
            scenario,
            world: &mut self.world,
            comms: &mut self.comms,
            out: Out { seen, recorder },
        };
        run.whole(&mut self.conduct);
    }
}
