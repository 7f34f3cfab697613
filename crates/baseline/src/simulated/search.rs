//! Runs drawn by seed, each within what the claims take for granted.

use super::observed::{boot_id, boots, id, observed};
use super::verdicts::Comparison;
use claim::{FoundBy, Kind};
use model::System;
use model::system::DeadlinePhase;
use quantity::PartitionId;
use simulator::draw::{Draw, Purpose};
use simulator::event::Start;
use simulator::fault::{self, Fault, Target};
use simulator::machine::Arrivals;
use simulator::scenario::{Begin, Contention, Drawn, Spread, Times};
use simulator::{Engine, Machine, Nobody, Protections, Scenario, Seen};

/// How much is searched.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Search {
    /// The seed of every draw.
    pub seed: u64,
    /// How many runs of each kind: as declared, in any phase, from the first frame, with one restart of each partition, and with
    /// line requests that wait only for concurrent ones.
    pub runs: u64,
    /// About how many jobs a run has.
    pub jobs: u64,
}

impl Search {
    /// As much as a report waits for.
    pub const SHORT: Self = Self { seed: 1, runs: 4, jobs: 4096 };
}

/// In which phases a run has its tasks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Phases {
    /// As the system declares: what keeps to the frame does.
    Declared,
    /// Where deadlines must hold in any phase, every task in any.
    Any,
}

/// Makes all runs and compares what they see.
pub(super) fn run(
    system: &System,
    machine: &Machine,
    search: &Search,
    protections: Protections,
    comparison: &mut Comparison<'_>,
) {
    let free = in_any_phase(system, machine);
    let machines = [(Phases::Declared, Some(machine)), (Phases::Any, free.as_ref())];
    for (phases, machine) in machines.into_iter().filter_map(|(phases, machine)| Some((phases, machine?))) {
        let mut runs = Runs { system, machine, engine: Engine::new(machine), phases, search, protections, comparison };
        (0..search.runs).for_each(|run| runs.make(run));
    }
    if waits_for_memory(machine) {
        let engine = Engine::new(machine);
        let mut runs = Runs { system, machine, engine, phases: Phases::Declared, search, protections, comparison };
        (0..search.runs).for_each(|run| runs.make_concurrent(run));
    }
}

/// Whether jobs wait for memory at all, so that it matters for what.
fn waits_for_memory(machine: &Machine) -> bool {
    machine.bus.is_some() && machine.tasks.iter().any(|task| task.interference_ns > 0)
}

/// The machine with every task free of the frame whose partition's deadlines must hold so; none where that changes nothing.
fn in_any_phase(system: &System, machine: &Machine) -> Option<Machine> {
    let mut free = machine.clone();
    for task in &mut free.tasks {
        let any = system.deadline_phase(PartitionId::new(task.partition)) == DeadlinePhase::Any;
        if any && matches!(task.arrivals, Arrivals::Aligned { .. }) {
            task.arrivals = Arrivals::Free;
        }
    }
    (free != *machine).then_some(free)
}

struct Runs<'a, 'v> {
    system: &'a System,
    machine: &'a Machine,
    engine: Engine<'a>,
    phases: Phases,
    search: &'a Search,
    protections: Protections,
    comparison: &'a mut Comparison<'v>,
}

impl Runs<'_, '_> {
    fn make(&mut self, run: u64) {
        for schedule in 0..self.machine.schedules.len() {
            let scenario = Scenario { schedule, ..self.scenario(run) };
            let seen = self.seen(&scenario);
            observed(self.machine, schedule, &seen).iter().for_each(|(id, value)| self.take(id, *value, &scenario));
        }
        self.boot(run);
        (0..self.machine.partitions.len()).for_each(|partition| self.restart(run, partition));
    }

    /// The same runs under each module schedule, with line requests that wait only for what others ask for at the same time.
    fn make_concurrent(&mut self, run: u64) {
        for schedule in 0..self.machine.schedules.len() {
            let scenario = Scenario { schedule, contention: Contention::Concurrent, ..self.scenario(run) };
            let seen = self.seen(&scenario);
            for (id, value) in observed(self.machine, schedule, &seen) {
                let told = || simulator::fault::write_scenario(&scenario, self.machine);
                self.comparison.take_concurrent(&id, value, &scenario, told);
            }
        }
    }

    fn take(&mut self, id: &str, value: u64, scenario: &Scenario) {
        let (machine, phases) = (self.machine, self.phases);
        let told = || match phases {
            Phases::Declared => simulator::fault::write_scenario(scenario, machine),
            Phases::Any => simulator::fault::write_scenario(&scenario.given(machine), machine),
        };
        self.comparison.take(id, value, FoundBy::Search, phases, told);
    }

    fn seen(&mut self, scenario: &Scenario) -> Seen {
        let mut seen = Seen::nothing(self.machine);
        self.engine.run(scenario, &mut seen, &mut Nobody);
        self.comparison.looked.runs += 1;
        self.comparison.looked.jobs += seen.counts.completions;
        seen
    }

    /// A run without faults, everything up from the begin.
    fn scenario(&self, run: u64) -> Scenario {
        Scenario {
            seed: self.search.seed,
            run,
            begin: Begin::Running,
            schedule: 0,
            span_ns: self.frames().saturating_mul(self.machine.frame_ns),
            times: Times::Drawn(drawn(run)),
            faults: Vec::new(),
            protections: self.protections,
            changes: Vec::new(),
            contention: Contention::Full,
        }
    }

    /// The frames that hold about as many jobs as are wanted; at least two.
    fn frames(&self) -> u64 {
        let in_frame = |period_ns: u64| self.machine.frame_ns.div_ceil(period_ns.max(1));
        let each: u64 = self.machine.tasks.iter().map(|task| in_frame(task.period_ns)).fold(0, u64::saturating_add);
        (self.search.jobs / each.max(1)).max(2)
    }

    /// From the first frame until everything is operational.
    fn boot(&mut self, run: u64) {
        let bound = |partition: usize| self.comparison.bound(&boot_id(self.machine, partition));
        let Some(latest_ns) = (0..self.machine.partitions.len()).filter_map(bound).max() else { return };
        let span_ns = latest_ns.saturating_add(self.machine.frame_ns);
        let scenario = Scenario { begin: Begin::FirstFrame, span_ns, ..self.scenario(run) };
        let seen = self.seen(&scenario);
        // Longer than the run is longer than any bound.
        for (partition, value) in boots(self.system, self.machine, &seen, Some(span_ns)) {
            self.take(&boot_id(self.machine, partition), value, &scenario);
        }
    }

    /// A partition fails once and starts again, warm and cold in turn.
    fn restart(&mut self, run: u64, partition: usize) {
        let (start, word) = if run.is_multiple_of(2) { (Start::Warm, "warm") } else { (Start::Cold, "cold") };
        let subject = format!("{}/{word}", self.machine.partitions[partition].name);
        let id = id(self.machine, 0, Kind::Restart, &subject);
        let Some(bound_ns) = self.comparison.bound(&id) else { return };
        let frame_ns = self.machine.frame_ns;
        let chance = Draw::of(self.search.seed, run);
        let at_ns = chance.between(Purpose::FaultInstant, partition as u64, 0, frame_ns, frame_ns.saturating_mul(4));
        let crash =
            Fault { kind: fault::Kind::Crash { start: Some(start) }, target: Target::Partition(partition), at_ns };
        let span_ns = at_ns.saturating_add(bound_ns).saturating_add(frame_ns);
        let scenario = Scenario { faults: vec![crash], span_ns, ..self.scenario(run) };
        let seen = self.seen(&scenario).partitions[partition];
        let (starts, outage) = match start {
            Start::Warm => (seen.warm_starts, seen.warm_outage_ns),
            Start::Cold => (seen.cold_starts, seen.cold_outage_ns),
        };
        // An outage that has begun and not ended by the run's end is longer than the bound.
        if let Some(ns) = outage.or((starts > 0).then_some(span_ns - at_ns)) {
            self.take(&id, ns, &scenario);
        }
    }
}

/// Extremes meet the more often where all are drawn from the ends; even draws find what lies between.
const fn drawn(run: u64) -> Drawn {
    match run % 4 {
        0 => Drawn { executions: Spread::Most, phases: Spread::Even, jitters: Spread::Ends, blocking: Spread::Most },
        1 => Drawn { executions: Spread::Ends, phases: Spread::Even, jitters: Spread::Ends, blocking: Spread::Ends },
        2 => Drawn { executions: Spread::Even, phases: Spread::Even, jitters: Spread::Even, blocking: Spread::Even },
        _ => Drawn { executions: Spread::Most, phases: Spread::Even, jitters: Spread::Most, blocking: Spread::Ends },
    }
}
