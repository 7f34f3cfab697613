//! What recordings show, held against the bounds of analysis: the third witness meets the first.

use claim::{Unit, Verdict};
use evidence::recording::Beside;
use model::System;
use plan::Plan;
use quantity::{ChannelId, PartitionId, TaskId};
use simulator::fault::write_scenario;
use simulator::scenario::{GivenJob, Times};
use simulator::{Scenario, compile};
use trace::judge::{Judgement, Most};
use trace::rebuilt::{Job, Observer};

/// The most that a recording shows of responses and queues, beside the bounds of `verdicts`.
///
/// A bound speaks of a system in which nothing fails and one schedule is in force: elsewhere more may be seen without alarm.
pub fn beside(system: &System, judgement: &Judgement, verdicts: &[Verdict]) -> Vec<Beside> {
    let is_claimed = judgement.is_undisturbed();
    let row = |claim: String, most: Most, unit: Unit| {
        // Claims of one of several module schedules have its name behind: the first is in force at the beginning.
        let within = format!("{claim}@{}", system.schedules[0].name.value);
        let verdict = verdicts.iter().find(|verdict| verdict.id == claim || verdict.id == within);
        let bound = verdict.and_then(|verdict| verdict.bound);
        Beside { claim, seen: most.value, unit, count: most.seen, at_ns: most.at_ns, bound, is_claimed }
    };
    let responses = judgement.responses.iter().enumerate().filter_map(|(task, most)| {
        Some(row(format!("response/{}", system.task_label(TaskId::new(task))), (*most)?, Unit::Nanoseconds))
    });
    let depths = judgement.depths.iter().enumerate().filter_map(|(channel, receivers)| {
        let most = receivers.iter().flatten().copied().max_by_key(|most| most.value)?;
        let name = &system.channel(ChannelId::new(channel)).name.value;
        Some(row(format!("queue_depth/{name}"), most, Unit::Messages))
    });
    responses.chain(depths).collect()
}

/// Collects the jobs of a recording around a response that was too long, so that they can be replayed.
#[derive(Debug)]
pub struct Cut {
    task: TaskId,
    home: Vec<PartitionId>,
    from_ns: u64,
    to_ns: u64,
    jobs: Vec<Job>,
}

impl Cut {
    /// Around what was seen of a claim about a response: the frame before it and all until then. `None` for other claims.
    pub fn of(system: &System, beside: &Beside) -> Option<Self> {
        let label = beside.claim.strip_prefix("response/")?;
        let task = system.task_ids().find(|task| system.task_label(*task) == label)?;
        let earliest = beside.at_ns.saturating_sub(beside.seen);
        Some(Self {
            task,
            home: system.tasks.iter().map(|task| task.partition).collect(),
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
        let is_neighbour = self.home[job.task.index()] == self.home[self.task.index()];
        let inside = |at: Option<u64>| at.is_some_and(|at| (self.from_ns..=self.to_ns).contains(&at));
        if is_neighbour && inside(job.arrived_ns) {
            self.jobs.push(*job);
        }
    }
}
