//! The scenarios that the analysis names, run by the simulator.

use super::observed::id;
use claim::{Kind, Verdict, Witness};
use model::System;
use model::system::DeadlinePhase;
use plan::Plan;
use quantity::PartitionId;
use simulator::machine::{Arrivals, Guest, Task};
use simulator::scenario::{Begin, GivenJob, Times};
use simulator::{Engine, Machine, Nobody, Protections, Scenario, Seen};
use std::collections::BTreeMap;

/// A scenario that was replayed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Replay {
    /// The id of the claim.
    pub id: String,
    /// The longest response of the claim's task that the run has, in nanoseconds.
    pub reached_ns: u64,
    /// The run.
    pub scenario: Scenario,
}

/// Frames that are tried for the begin of a scenario whose tasks keep to the frame: enough for a hyperperiod.
const MOST_FRAMES: u64 = 4096;

/// Replays every scenario that the analysis names for a response, and those of violated claims. A scenario that needs jobs at
/// instants at which they cannot arrive is left out.
pub fn replays(system: &System, plan: &Plan, machine: &Machine, verdicts: &[Verdict]) -> Vec<Replay> {
    let of_violated = verdicts.iter().filter_map(|verdict| Some((verdict.id.clone(), verdict.witness.clone()?)));
    let named = timing::claims::worst_scenarios(system, plan).into_iter().chain(of_violated);
    let subjects = subjects(machine);
    let mut engine = Engine::new(machine);
    let mut best: BTreeMap<String, Replay> = BTreeMap::new();
    for (id, witness) in named {
        let Some(&(schedule, task)) = subjects.get(&id) else { continue };
        let stage = Stage { system, machine, schedule, task, witness: &witness };
        if let Some(replay) = stage.replay(&mut engine, &id)
            && best.get(&id).is_none_or(|best| best.reached_ns < replay.reached_ns)
        {
            best.insert(id, replay);
        }
    }
    best.into_values().collect()
}

/// The module schedule and the task of each claim about a response.
fn subjects(machine: &Machine) -> BTreeMap<String, (usize, usize)> {
    let schedules = 0..machine.schedules.len();
    let all = schedules.flat_map(|schedule| (0..machine.tasks.len()).map(move |task| (schedule, task)));
    all.map(|(schedule, task)| (id(machine, schedule, Kind::Response, &machine.tasks[task].label), (schedule, task)))
        .collect()
}

/// A witness about a task, on the machine.
struct Stage<'a> {
    system: &'a System,
    machine: &'a Machine,
    schedule: usize,
    task: usize,
    witness: &'a Witness,
}

impl Stage<'_> {
    fn subject(&self) -> &Task {
        &self.machine.tasks[self.task]
    }

    /// The run that reaches the most; the first one that reaches what the witness says ends the search.
    fn replay(&self, engine: &mut Engine<'_>, id: &str) -> Option<Replay> {
        let mut best: Option<Replay> = None;
        for scenario in self.scenarios() {
            let mut seen = Seen::nothing(self.machine);
            engine.run(&scenario, &mut seen, &mut Nobody);
            let reached_ns = seen.tasks[self.task].most_ns;
            if seen.tasks[self.task].jobs > 0 && best.as_ref().is_none_or(|best| best.reached_ns < reached_ns) {
                best = Some(Replay { id: id.to_owned(), reached_ns, scenario });
            }
            if self.wanted_ns().is_some_and(|wanted_ns| reached_ns >= wanted_ns) {
                break;
            }
        }
        best
    }

    /// The response that the witness says.
    fn wanted_ns(&self) -> Option<u64> {
        let own = self.witness.releases.iter().filter(|release| release.task == self.subject().label);
        let last_ns = own.map(|release| release.arrival_ns).max()?;
        u64::try_from(i128::from(self.witness.completes_ns?) - i128::from(last_ns)).ok()
    }

    /// The runs that are the witness's scenario, with each task that may be the one that blocks.
    fn scenarios(&self) -> Vec<Scenario> {
        let (Some(phase_ns), false) = (self.witness.phase_ns, self.witness.releases.is_empty()) else {
            return Vec::new();
        };
        let Some(jobs) = self.jobs() else { return Vec::new() };
        let mut begun = self.begun();
        begun.push(None); // In its very first frame nobody has begun before.
        let first_ns = |begun: &Option<GivenBefore>| {
            let before = begun.as_ref().map_or(0, |_| -1);
            jobs.iter().map(|job| job.0).min().unwrap_or(0).min(before)
        };
        let of_begun = |begun: Option<GivenBefore>| {
            let frames = self.frames(phase_ns, first_ns(&begun), &jobs);
            frames.into_iter().map(move |at_ns| (at_ns, begun)).collect::<Vec<_>>()
        };
        let stages: Vec<_> = begun.into_iter().flat_map(of_begun).collect();
        stages.into_iter().map(|(at_ns, begun)| self.scenario(at_ns, &jobs, begun)).collect()
    }

    /// The witness's jobs: arrival, release, execution, task, from the scenario's begin.
    fn jobs(&self) -> Option<Vec<(i64, i64, u64, usize)>> {
        let job = |release: &claim::WitnessRelease| {
            let task = self.machine.tasks.iter().position(|task| task.label == release.task)?;
            Some((release.arrival_ns, release.release_ns, release.execution_ns, task))
        };
        self.witness.releases.iter().map(job).collect()
    }

    /// The less urgent tasks that may have begun 1 ns before, and for how long their jobs go on; none where nothing blocks.
    fn begun(&self) -> Vec<Option<GivenBefore>> {
        let blocks = self.witness.timeline.iter().filter(|segment| segment.what == "blocking");
        let goes_on_ns = blocks.map(|segment| segment.end_ns - segment.start_ns).sum();
        if goes_on_ns == 0 {
            return Vec::new();
        }
        let subject = self.subject();
        let tasks = self.machine.partitions[subject.partition].tasks.clone();
        let less_urgent = |&task: &usize| {
            let other = &self.machine.tasks[task];
            let by_deadline = self.machine.partitions[subject.partition].guest == Guest::Edf;
            other.lane == subject.lane
                && self.may_arrive_anywhere(other)
                && if by_deadline { other.deadline_ns > subject.deadline_ns } else { other.priority < subject.priority }
        };
        tasks.filter(less_urgent).map(|task| Some(GivenBefore { task, goes_on_ns })).collect()
    }

    /// Whether the claim holds wherever in the frame the task arrives.
    fn may_arrive_anywhere(&self, task: &Task) -> bool {
        let phase = self.system.deadline_phase(PartitionId::new(task.partition));
        phase == DeadlinePhase::Any || !matches!(task.arrivals, Arrivals::Aligned { .. })
    }

    /// Begins of the scenario in the run, with nothing before 0 and every task that keeps to the frame at its points: the
    /// first two, since heads that are paid only once make the first frame another than the second.
    fn frames(&self, phase_ns: u64, first_ns: i64, jobs: &[(i64, i64, u64, usize)]) -> Vec<u64> {
        let begins = (0..MOST_FRAMES).map(|frame| phase_ns.saturating_add(frame.saturating_mul(self.machine.frame_ns)));
        let in_time = begins.filter(|&at_ns| at_ns.checked_add_signed(first_ns).is_some());
        let in_place = in_time.filter(|&at_ns| {
            jobs.iter().all(|&(arrival_ns, _, _, task)| {
                let task = &self.machine.tasks[task];
                self.may_arrive_anywhere(task) || is_point(task, at_ns.saturating_add_signed(arrival_ns))
            })
        });
        in_place.take(2).collect()
    }

    fn scenario(&self, at_ns: u64, jobs: &[(i64, i64, u64, usize)], begun: Option<GivenBefore>) -> Scenario {
        let given = |&(arrival_ns, release_ns, execution_ns, task): &(i64, i64, u64, usize)| GivenJob {
            arrival_ns: at_ns.saturating_add_signed(arrival_ns),
            task,
            release_ns: at_ns.saturating_add_signed(release_ns),
            execution_ns,
            goes_on_ns: 0,
        };
        let before = begun.map(|GivenBefore { task, goes_on_ns }| GivenJob {
            arrival_ns: at_ns - 1, // A scenario with somebody begun before begins after 0.
            task,
            release_ns: at_ns - 1,
            execution_ns: self.machine.tasks[task].charged_ns,
            goes_on_ns,
        });
        let mut given: Vec<_> = before.into_iter().chain(jobs.iter().map(given)).collect();
        given.sort_unstable();
        Scenario {
            seed: 0,
            run: 0,
            begin: Begin::Running,
            schedule: self.schedule,
            span_ns: at_ns.saturating_add(self.witness.completes_ns.unwrap_or(0)).saturating_add(self.machine.frame_ns),
            times: Times::Given(given),
            faults: Vec::new(),
            protections: Protections::ALL,
            changes: Vec::new(),
            contention: Default::default(),
        }
    }
}

/// A job that has begun before a scenario, and how long it goes on.
#[derive(Debug, Clone, Copy)]
struct GivenBefore {
    task: usize,
    goes_on_ns: u64,
}

/// Whether a task that keeps to the frame arrives at that instant.
fn is_point(task: &Task, at_ns: u64) -> bool {
    match task.arrivals {
        Arrivals::Aligned { offset_ns } => at_ns >= offset_ns && (at_ns - offset_ns).is_multiple_of(task.period_ns),
        Arrivals::Free | Arrivals::Sporadic => true,
    }
}
