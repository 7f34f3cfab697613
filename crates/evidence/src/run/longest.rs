//! The run that the report draws: every job takes its longest time.

use super::Told;
use campaign::{Carried, Settings, Summary};
use model::System;
use plan::Plan;
use simulator::scenario::{Begin, Drawn, Spread, Times};
use simulator::{Engine, Keeper, Machine, Protections, Scenario, Seen, Timeline, compile};

/// The frames drawn.
const FRAMES: u64 = 2;

/// A run with what it needs to be told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RunDrawn {
    machine: Machine,
    scenario: Scenario,
    timeline: Timeline,
    shades: Vec<usize>,
}

impl RunDrawn {
    /// The first two frames with everything operational, every job at its longest time, arrivals at the frame's begin.
    pub fn longest(system: &System, plan: &Plan) -> Self {
        let machine = compile::machine(system, plan);
        let times =
            Drawn { executions: Spread::Most, phases: Spread::Least, jitters: Spread::Least, blocking: Spread::Least };
        let scenario = Scenario {
            seed: 1,
            run: 0,
            begin: Begin::Running,
            schedule: 0,
            span_ns: machine.frame_ns.saturating_mul(FRAMES),
            times: Times::Drawn(times),
            faults: Vec::new(),
            protections: Protections::ALL,
            changes: Vec::new(),
            contention: Default::default(),
        };
        let span = (0, scenario.span_ns);
        Self::of(machine, scenario, span, super::shades(system))
    }

    /// The part of a run of a scenario.
    pub(crate) fn of(machine: Machine, scenario: Scenario, (from, to): (u64, u64), shades: Vec<usize>) -> Self {
        let mut keeper = Keeper::new(machine.cores.len(), from, to);
        Engine::new(&machine).run(&scenario, &mut Seen::nothing(&machine), &mut keeper);
        let timeline = keeper.finish(scenario.span_ns);
        Self { machine, scenario, timeline, shades }
    }

    /// The run as it is told.
    pub fn told(&self) -> Told<'_> {
        let Self { machine, scenario, timeline, shades } = self;
        Told { machine, scenario, timeline, shades }
    }
}

/// A campaign that a report tells of.
#[derive(Debug, Clone)]
pub struct CampaignFound {
    /// The machine.
    pub machine: Machine,
    /// What was drawn from, with every protection on.
    pub settings: Settings,
    /// What the runs come to; the twins without fault are not told of.
    pub summary: Summary,
    /// What each protection carries, where the campaign was made again without.
    pub carried: Vec<Carried>,
}
