//! The jobs of a recording around something that was seen above its bound, so that they can be replayed.

use claim::Kind;
use evidence::recording::Beside;
use model::System;
use plan::Plan;
use quantity::TaskId;
use simulator::fault::write_scenario;
use simulator::scenario::{GivenJob, Times};
use simulator::{Scenario, compile};
use trace::rebuilt::{Job, Observer};

/// Collects the jobs of a recording around a response or a way through a chain that was too long.
#[derive(Debug)]
pub struct Cut {
    /// By task: whether its partition has to do with what was seen.
    is_near: Vec<bool>,
    from_ns: u64,
    to_ns: u64,
    jobs: Vec<Job>,
}

impl Cut {
    /// Around what was seen of a claim about a response or a chain: the frame before it and all until then. `None` for other
    /// claims.
    pub fn of(system: &System, beside: &Beside) -> Option<Self> {
        let tasks = tasks(system, &beside.claim)?;
        let is_near = |partition| tasks.iter().any(|task| system.task(*task).partition == partition);
        let earliest = beside.at_ns.saturating_sub(beside.seen);
        Some(Self {
            is_near: system.tasks.iter().map(|task| is_near(task.partition)).collect(),
            from_ns: earliest.saturating_sub(system.frame.value.ns()),
            to_ns: beside.at_ns,
            jobs: Vec::new(),
        })
    }

    /// The jobs as a scenario file, which `simulate --scenario` runs. Instants count from the last frame's begin before the
    /// first of them, where frames begin at `origin_ns`; how long a job executed is as it was recorded, waiting for memory
    /// included.
    pub fn scenario(&self, system: &System, plan: &Plan, origin_ns: u64) -> String {
        let machine = compile::machine(system, plan);
        let frame = system.frame.value.ns();
        let first = self.jobs.iter().filter_map(|job| job.arrived_ns).min().unwrap_or(self.from_ns);
        let begin = first.saturating_sub((first % frame + frame - origin_ns % frame) % frame);
        let given = self.jobs.iter().filter_map(|job| {
            let arrival_ns = job.arrived_ns?.checked_sub(begin)?;
            let execution_ns = job.executed_ns.max(1);
            Some(GivenJob { arrival_ns, task: job.task.index(), release_ns: arrival_ns, execution_ns, goes_on_ns: 0 })
        });
        let mut jobs: Vec<GivenJob> = given.collect();
        jobs.sort_by_key(|job| (job.arrival_ns, job.task));
        let span_ns = (self.to_ns - begin).saturating_add(frame);
        write_scenario(&Scenario { times: Times::Given(jobs), span_ns, ..Scenario::plain(&machine) }, &machine)
    }
}

impl Observer for Cut {
    fn job(&mut self, job: &Job) {
        let inside = |at: Option<u64>| at.is_some_and(|at| (self.from_ns..=self.to_ns).contains(&at));
        if self.is_near[job.task.index()] && inside(job.arrived_ns) {
            self.jobs.push(*job);
        }
    }
}

/// The tasks that a claim about a response or a chain is about.
fn tasks(system: &System, claim: &str) -> Option<Vec<TaskId>> {
    let (kind, subject) = claim.split_once('/')?;
    if kind == Kind::Response.key() {
        return system.task_ids().find(|task| system.task_label(*task) == subject).map(|task| vec![task]);
    }
    let is_of_chain = [Kind::Reaction, Kind::DataAge].iter().any(|of_chain| of_chain.key() == kind);
    let chain = system.chains.iter().find(|chain| is_of_chain && chain.name.value == subject)?;
    Some(chain.steps.iter().map(|step| step.task.value).collect())
}
