//! A run whose times are drawn, told job by job.

use crate::draw::{Draw, Purpose};
use crate::engine::spread;
use crate::machine::{Arrivals, Guest, Task};
use crate::scenario::{Contention, Drawn, GivenJob, Times};
use crate::{Machine, Scenario};

impl Scenario {
    /// The same run with every job given: it stays the same on a machine whose tasks have other arrivals. What belongs to no job
    /// is not told: phases of cores without a common clock are then 0, and every boundary slip is taken in full.
    #[must_use]
    pub fn given(&self, machine: &Machine) -> Self {
        let Times::Drawn(drawn) = &self.times else { return self.clone() };
        let of_task = |(index, task): (usize, &Task)| {
            let (draw, goes_on_ns, contention) =
                (Draw::of(self.seed, self.run), goes_on(machine, index), self.contention);
            let one = OfTask { draw, drawn, index, task, goes_on_ns, contention };
            one.jobs(self.span_ns)
        };
        let active = |task: &usize| {
            let tables = machine.schedules.get(self.schedule);
            tables.is_none_or(|tables| tables.active.get(*task).copied().unwrap_or(true))
        };
        let tasks = machine.tasks.iter().enumerate().filter(|(index, _)| active(index));
        let mut jobs: Vec<_> = tasks.flat_map(of_task).collect();
        jobs.sort_unstable();
        Self { times: Times::Given(jobs), ..self.clone() }
    }
}

/// How long a job of the task may at most keep a more urgent one waiting.
fn goes_on(machine: &Machine, index: usize) -> u64 {
    let own = &machine.tasks[index];
    let partition = &machine.partitions[own.partition];
    let above = |other: &&Task| match partition.guest {
        Guest::Edf => other.deadline_ns < own.deadline_ns,
        Guest::FixedPriority | Guest::Opaque { .. } => other.priority > own.priority,
        Guest::Cooperative => false,
    };
    let others = machine.tasks[partition.tasks.clone()].iter().filter(|other| other.lane == own.lane);
    others.filter(above).map(|other| other.blocking_ns).max().unwrap_or(0)
}

struct OfTask<'a> {
    draw: Draw,
    drawn: &'a Drawn,
    index: usize,
    task: &'a Task,
    goes_on_ns: u64,
    contention: Contention,
}

impl OfTask<'_> {
    fn jobs(&self, span_ns: u64) -> Vec<GivenJob> {
        let period_ns = self.task.period_ns.max(1);
        let mut arrival_ns = match self.task.arrivals {
            Arrivals::Aligned { offset_ns } => offset_ns,
            Arrivals::Free | Arrivals::Sporadic => {
                spread(self.draw, self.drawn.phases, Purpose::Phase, self.index as u64, 0, 0, period_ns - 1)
            }
        };
        let mut jobs = Vec::new();
        for number in 0.. {
            if arrival_ns >= span_ns {
                break;
            }
            jobs.push(self.job(number, arrival_ns));
            let gap_ns = match self.task.arrivals {
                Arrivals::Sporadic => self.one(self.drawn.jitters, Purpose::Gap, number, (0, period_ns)),
                Arrivals::Free | Arrivals::Aligned { .. } => 0,
            };
            arrival_ns = arrival_ns.saturating_add(period_ns).saturating_add(gap_ns);
        }
        jobs
    }

    fn job(&self, number: u64, arrival_ns: u64) -> GivenJob {
        let task = self.task;
        let jitter_ns = self.one(self.drawn.jitters, Purpose::Jitter, number, (0, task.jitter_ns));
        let range = (task.least_ns(self.contention), task.most_ns(self.contention));
        GivenJob {
            arrival_ns,
            task: self.index,
            release_ns: arrival_ns.saturating_add(jitter_ns),
            execution_ns: self.one(self.drawn.executions, Purpose::Execution, number, range),
            goes_on_ns: self.one(self.drawn.blocking, Purpose::Blocking, number, (0, self.goes_on_ns)),
        }
    }

    fn one(&self, how: crate::scenario::Spread, purpose: Purpose, number: u64, (least, most): (u64, u64)) -> u64 {
        spread(self.draw, how, purpose, self.index as u64, number, least, most)
    }
}
