//! What runs saw, as rows beside the bounds of the claims about it.

use super::above::{Above, above, bound_of};
use super::observed::{boot_id, boots, id, is_read};
use claim::{Kind, Relation, Verdict};
use evidence::run::{ChainSeen, Observation, Observed, PortSeen, TaskSeen};
use model::System;
use simulator::machine::{Input, Port};
use simulator::{Machine, Scenario, Seen, seen};
use std::collections::BTreeMap;

/// What runs that differ from `scenario` in their number alone have seen, beside the claims.
pub fn beside(system: &System, machine: &Machine, scenario: &Scenario, seen: &Seen, verdicts: &[Verdict]) -> Observed {
    let by_id = verdicts.iter().map(|verdict| (verdict.id.as_str(), verdict)).collect();
    // No claim speaks of runs that change their schedule.
    let schedule = scenario.changes.is_empty().then_some(scenario.schedule);
    let rows = Rows { system, machine, scenario, schedule, seen, by_id };
    let passed = schedule.map_or_else(Vec::new, |_| above(machine, scenario, seen, verdicts));
    Observed {
        runs: seen.runs,
        tasks: rows.tasks(),
        ports: rows.ports(),
        chains: rows.chains(),
        boots: rows.boots(),
        above: passed.into_iter().map(|one| one.id).collect(),
    }
}

struct Rows<'a> {
    system: &'a System,
    machine: &'a Machine,
    scenario: &'a Scenario,
    /// The module schedule that all runs keep, where they keep one.
    schedule: Option<usize>,
    seen: &'a Seen,
    by_id: BTreeMap<&'a str, &'a Verdict>,
}

impl Rows<'_> {
    /// The value beside what is claimed of the subject under the schedule.
    fn row(&self, kind: Kind, subject: &str, seen: Option<u64>, limit: Option<u64>) -> Observation {
        let claim = self.schedule.map(|schedule| id(self.machine, schedule, kind, subject));
        self.of_claim(claim.as_deref(), seen, limit)
    }

    fn of_claim(&self, claim: Option<&str>, seen: Option<u64>, limit: Option<u64>) -> Observation {
        let verdict = claim.and_then(|id| self.by_id.get(id)).filter(|verdict| verdict.relation == Relation::AtMost);
        let Some(verdict) = verdict else { return Observation { seen, limit, ..Observation::default() } };
        let is_above = seen.is_some_and(|seen| Above::of(verdict, self.scenario, seen).is_some());
        Observation { seen, bound: bound_of(verdict, self.scenario), limit: verdict.limit.or(limit), is_above }
    }

    fn tasks(&self) -> Vec<TaskSeen> {
        let all = self.machine.tasks.iter().zip(&self.seen.tasks);
        let row = |(task, seen): (&simulator::machine::Task, &seen::TaskSeen)| {
            let most = (seen.jobs > 0).then_some(seen.most_ns);
            let response = self.row(Kind::Response, &task.label, most, Some(task.deadline_ns));
            TaskSeen {
                label: task.label.clone(),
                jobs: seen.jobs,
                missed: seen.missed,
                dropped: seen.dropped,
                response,
            }
        };
        all.map(row).collect()
    }

    fn ports(&self) -> Vec<PortSeen> {
        self.machine.inputs.iter().zip(&self.seen.inputs).map(|(input, seen)| self.port(input, seen)).collect()
    }

    fn port(&self, input: &Input, seen: &seen::InputSeen) -> PortSeen {
        let channel = &self.machine.channels[input.channel];
        let partition = &self.machine.partitions[input.partition].name;
        let most_age = (seen.messages > 0).then_some(seen.most_age_ns);
        let (age, held) = match channel.port {
            Port::Sampling { refresh_ns } => {
                (self.row(Kind::Refresh, &channel.name, most_age, refresh_ns), Observation::default())
            }
            Port::Queuing { depth, .. }
                if self.schedule.is_some_and(|schedule| !is_read(self.machine, schedule, input)) =>
            {
                (Observation::default(), self.of_claim(None, Some(seen.most_held), Some(depth)))
            }
            // Of the age of a queued message there is no claim.
            Port::Queuing { depth, .. } => (
                self.of_claim(None, most_age, None),
                self.row(Kind::QueueDepth, &channel.name, Some(seen.most_held), Some(depth)),
            ),
        };
        PortSeen {
            channel: channel.name.clone(),
            reader: input.task.map_or(partition, |task| &self.machine.tasks[task].label).clone(),
            queues: matches!(channel.port, Port::Queuing { .. }),
            messages: seen.messages,
            stale: seen.stale,
            empty: seen.empty,
            lost: seen.lost,
            age,
            held,
        }
    }

    fn chains(&self) -> Vec<ChainSeen> {
        let all = self.machine.chains.iter().zip(&self.seen.chains);
        let row = |(chain, seen): (&simulator::machine::Chain, &seen::ChainSeen)| ChainSeen {
            name: chain.name.clone(),
            reaction: self.row(Kind::Reaction, &chain.name, seen.reaction_ns, None),
            age: self.row(Kind::DataAge, &chain.name, seen.age_ns, None),
        };
        all.map(row).collect()
    }

    fn boots(&self) -> Vec<(String, Observation)> {
        let row = |(partition, value): (usize, u64)| {
            let claim = boot_id(self.machine, partition);
            (self.machine.partitions[partition].name.clone(), self.of_claim(Some(&claim), Some(value), None))
        };
        boots(self.system, self.machine, self.seen, None).into_iter().map(row).collect()
    }
}
