//! What runs have seen beside what was claimed: the largest value of each thing, and the bound where one is known.

use claim::{Relation, Verdict};
use simulator::machine::Port;
use simulator::{Machine, Scenario, Seen};
use std::collections::BTreeMap;

/// What runs have seen, with names and bounds. It is no bound.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Observed {
    /// How many runs.
    pub runs: u64,
    /// The tasks, in the machine's order.
    pub tasks: Vec<TaskSeen>,
    /// The destinations of all channels.
    pub ports: Vec<PortSeen>,
    /// The chains.
    pub chains: Vec<ChainSeen>,
    /// The most time from the first frame's begin until a partition was operational, where runs begin there.
    pub boots: Vec<(String, Observation)>,
}

/// The largest value seen of something that a claim may be about.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Observation {
    /// The claim.
    pub claim: String,
    /// The largest value; `None` where nothing was seen.
    pub seen: Option<u64>,
    /// The bound of the claim, where it has one.
    pub bound: Option<u64>,
    /// What it must not pass, where something is said.
    pub limit: Option<u64>,
}

/// A task.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TaskSeen {
    /// Its label.
    pub label: String,
    /// Jobs completed.
    pub jobs: u64,
    /// Jobs that passed their deadline.
    pub missed: u64,
    /// Jobs dropped by a restart or a stop.
    pub dropped: u64,
    /// Its response, in nanoseconds.
    pub response: Observation,
}

/// A destination of a channel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PortSeen {
    /// The channel.
    pub channel: String,
    /// Who reads.
    pub reader: String,
    /// Whether it is a queue.
    pub queues: bool,
    /// Messages read.
    pub messages: u64,
    /// Reads of a message past its refresh period.
    pub stale: u64,
    /// Reads that found nothing.
    pub empty: u64,
    /// Messages lost because the queue was full.
    pub lost: u64,
    /// The age of what was read, in nanoseconds.
    pub age: Observation,
    /// The messages held, where it is a queue.
    pub held: Observation,
}

/// A chain.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChainSeen {
    /// Its name.
    pub name: String,
    /// Its reaction, in nanoseconds.
    pub reaction: Observation,
    /// Its data age, in nanoseconds.
    pub age: Observation,
}

/// The claims to look values up in.
struct Claims<'v> {
    by_id: BTreeMap<&'v str, &'v Verdict>,
    /// The module schedule that all runs keep, where they keep one.
    schedule: Option<&'v str>,
}

impl<'v> Claims<'v> {
    fn new(verdicts: &'v [Verdict], machine: &'v Machine, scenario: &Scenario) -> Self {
        let stays = scenario.changes.is_empty();
        let schedule = machine.schedules.get(scenario.schedule).filter(|_| stays);
        Self {
            by_id: verdicts.iter().map(|verdict| (verdict.id.as_str(), verdict)).collect(),
            schedule: schedule.map(|schedule| schedule.name.as_str()),
        }
    }

    /// The claim of that id, of the schedule that is kept where claims are of one each.
    fn of(&self, id: &str) -> Option<&'v Verdict> {
        let found = self.by_id.get(id).copied();
        found.or_else(|| self.by_id.get(format!("{id}@{}", self.schedule?).as_str()).copied())
    }

    fn observation(&self, id: String, seen: Option<u64>, limit: Option<u64>) -> Observation {
        let verdict = self.of(&id).filter(|verdict| verdict.relation == Relation::AtMost);
        let claim = verdict.map_or(id, |verdict| verdict.id.clone());
        let (bound, claimed) = (verdict.and_then(|v| v.bound), verdict.and_then(|v| v.limit));
        Observation { claim, seen, bound, limit: claimed.or(limit) }
    }
}

impl Observation {
    /// Whether more was seen than the bound.
    pub fn is_above(&self) -> bool {
        matches!((self.seen, self.bound), (Some(seen), Some(bound)) if seen > bound)
    }
}

impl Observed {
    /// What runs that differ from `scenario` in their number alone have seen, beside the claims.
    pub fn new(seen: &Seen, machine: &Machine, scenario: &Scenario, verdicts: &[Verdict]) -> Self {
        let claims = Claims::new(verdicts, machine, scenario);
        let tasks = machine.tasks.iter().zip(&seen.tasks).map(|(task, seen)| TaskSeen {
            label: task.label.clone(),
            jobs: seen.jobs,
            missed: seen.missed,
            dropped: seen.dropped,
            response: claims.observation(
                format!("response/{}", task.label),
                (seen.jobs > 0).then_some(seen.most_ns),
                Some(task.deadline_ns),
            ),
        });
        let chains = machine.chains.iter().zip(&seen.chains).map(|(chain, seen)| ChainSeen {
            name: chain.name.clone(),
            reaction: claims.observation(format!("reaction/{}", chain.name), seen.reaction_ns, None),
            age: claims.observation(format!("data_age/{}", chain.name), seen.age_ns, None),
        });
        let boots = machine.partitions.iter().zip(&seen.partitions).filter_map(|(partition, seen)| {
            let after_begin = seen.operational_ns?;
            let since_reset = machine.until_first_frame_ns.and_then(|first| first.checked_add(after_begin));
            Some((partition.name.clone(), claims.observation(format!("boot/{}", partition.name), since_reset, None)))
        });
        Self {
            runs: seen.runs,
            tasks: tasks.collect(),
            ports: ports(seen, machine, &claims),
            chains: chains.collect(),
            boots: boots.collect(),
        }
    }

    /// Whether a deadline was missed, a stale message read, or one lost.
    pub fn has_harm(&self) -> bool {
        self.tasks.iter().any(|task| task.missed > 0) || self.ports.iter().any(|port| port.stale > 0 || port.lost > 0)
    }

    /// Everything of which more was seen than its bound.
    pub fn above_bound(&self) -> Vec<&Observation> {
        let tasks = self.tasks.iter().map(|task| &task.response);
        let ports = self.ports.iter().flat_map(|port| [&port.age, &port.held]);
        let chains = self.chains.iter().flat_map(|chain| [&chain.reaction, &chain.age]);
        tasks.chain(ports).chain(chains).filter(|one| one.is_above()).collect()
    }
}

fn ports(seen: &Seen, machine: &Machine, claims: &Claims<'_>) -> Vec<PortSeen> {
    let port = |(input, seen): (&simulator::machine::Input, &simulator::seen::InputSeen)| {
        let channel = machine.channels.get(input.channel)?;
        let partition = machine.partitions.get(input.partition).map_or("?", |partition| &partition.name);
        let reader = input.task.and_then(|task| machine.tasks.get(task)).map_or(partition, |task| &task.label);
        let (refresh, depth) = match channel.port {
            Port::Sampling { refresh_ns } => (refresh_ns, None),
            Port::Queuing { depth, .. } => (None, Some(depth)),
        };
        let age = (seen.messages > 0).then_some(seen.most_age_ns);
        // What the claim is about is the age of a sampled message; of a queued one there is no claim.
        let age_claim = if depth.is_some() { String::new() } else { format!("refresh/{}", channel.name) };
        Some(PortSeen {
            channel: channel.name.clone(),
            reader: reader.to_owned(),
            queues: depth.is_some(),
            messages: seen.messages,
            stale: seen.stale,
            empty: seen.empty,
            lost: seen.lost,
            age: claims.observation(age_claim, age, refresh),
            held: claims.observation(
                depth.map_or_else(String::new, |_| format!("queue_depth/{}", channel.name)),
                depth.map(|_| seen.most_held),
                depth,
            ),
        })
    };
    machine.inputs.iter().zip(&seen.inputs).filter_map(port).collect()
}
