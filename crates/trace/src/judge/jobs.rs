//! Execution and response of jobs, against what is claimed and asked of their tasks.

use super::tally::{Finding, Limit, Rule, Tally};
use super::{Most, task_name};
use crate::moment::Reading;
use crate::rebuilt::{Job, Observer};
use model::System;
use model::system::{Interconnect, Task};
use quantity::TaskId;

#[derive(Debug)]
pub(super) struct JobTimes {
    executions: Vec<Tally>,
    responses: Vec<Tally>,
}

impl JobTimes {
    pub(super) fn new(system: &System) -> Self {
        let tasks = || system.task_ids();
        let deadline = |task: TaskId| Tally::new(Rule::Deadline, Ok(system.task(task).deadline.value.ns()));
        Self {
            executions: tasks().map(|task| Tally::new(Rule::Execution, claimed(system, task))).collect(),
            responses: tasks().map(deadline).collect(),
        }
    }

    pub(super) fn findings(&self, system: &System) -> Vec<Finding> {
        let of = |tallies: &[Tally], silent: &str| -> Vec<Finding> {
            let tallies = tallies.iter().enumerate();
            tallies.map(|(index, tally)| tally.finding(task_name(system, index), silent)).collect()
        };
        let executions = of(&self.executions, "no job of it was seen from beginning to end");
        let responses = of(&self.responses, "no job of it was seen from arrival to completion");
        [executions, responses].concat()
    }

    /// The longest response of each task.
    pub(super) fn longest(&self) -> Vec<Option<Most>> {
        self.responses.iter().map(Tally::most).collect()
    }
}

impl Observer for JobTimes {
    fn job(&mut self, job: &Job) {
        let (execution, response) = (&mut self.executions[job.task.index()], &mut self.responses[job.task.index()]);
        let Some(completed) = job.completed_ns.filter(|_| job.whole) else {
            note_open(job, execution, response);
            return;
        };
        if job.began_ns.is_some() {
            execution.note(job.executed(), completed, || format!("a job executed for {} ns", job.executed_ns));
        }
        if let Some(took) = job.response() {
            response.note(took, completed, || format!("a job completed {} ns after its arrival", took.value));
        }
    }
}

/// A job that is not seen to complete breaks what it has already broken when it is seen last, and is else not judged. One that was
/// given up lies in no gap: coverage counts it.
fn note_open(job: &Job, execution: &mut Tally, response: &mut Tally) {
    if job.unpaired_by_ns > 0 {
        [execution, response].into_iter().for_each(|tally| tally.note_undecided(job.unpaired_by_ns));
        return;
    }
    let may_pass = |tally: &Tally, seen: &Reading| tally.limit().is_some_and(|limit| seen.most > limit);
    let open_ns = job.open_ns.unwrap_or(0);
    match job.open_for().filter(|took| may_pass(response, took)) {
        Some(took) => {
            response.note(took, open_ns, || format!("a job was not completed {} ns after its arrival", took.value))
        }
        None if job.given_up => {}
        None => response.note_gap(),
    }
    let executed = job.open_ns.and(job.began_ns).map(|_| job.executed());
    match executed.filter(|executed| may_pass(execution, executed)) {
        Some(executed) => execution
            .note(executed, open_ns, || format!("a job had executed for {} ns and not completed", executed.value)),
        None if job.given_up => {}
        None => execution.note_gap(),
    }
}

/// The longest time that a job may be seen to execute: what is claimed of it, two context switches, where it declares line
/// requests, the wait of each for one request of every other master, and what else each of these lengthens it by. What is not declared adds nothing: a job above
/// this is one that nothing declared explains.
fn claimed(system: &System, task: TaskId) -> Limit {
    let declared = system.task(task);
    let wcet = declared.wcet.ok_or_else(|| "no `wcet` is claimed".to_owned())?.value.ns();
    let switches = system.platform.context_switch.map_or(0, |cost| cost.value.ns().saturating_mul(2));
    let waits = system.board.interconnect.as_ref().map_or(0, |path| lengthened_ns(declared, path));
    Ok(wcet.saturating_add(switches).saturating_add(waits))
}

/// By how much all other masters lengthen a job at the most.
fn lengthened_ns(task: &Task, path: &Interconnect) -> u64 {
    let others = u128::try_from(path.masters.len().saturating_sub(1)).unwrap_or(u128::MAX);
    let lines = u128::from(task.line_requests.map_or(0, |requests| requests.value)).saturating_mul(others);
    let bytes = lines.saturating_mul(u128::from(path.line.value.get()));
    let rate = u128::from(path.guaranteed.value.bytes_per_s()).max(1);
    let requests_ns = bytes.saturating_mul(1_000_000_000).div_ceil(rate);
    let besides_ns = u128::from(task.sensitivity.map_or(0, |each| each.value.ns())).saturating_mul(others);
    u64::try_from(requests_ns.saturating_add(besides_ns)).unwrap_or(u64::MAX)
}
