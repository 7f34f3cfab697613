//! What runs gave, for programs.

use super::SCHEMA_VERSION;
use crate::run::{CAUTION, Observation, Observed, Told, event_words};
use serde_json::{Value, json};

/// What a call of the simulator asked for and got.
#[derive(Debug, Clone, Copy)]
pub struct Ran<'a> {
    /// The version of the program.
    pub tool_version: &'a str,
    /// The exit status.
    pub exit_status: u8,
    /// The name and digest of every input.
    pub inputs: &'a [(String, model::Digest)],
    /// The digest of the system.
    pub system: Option<model::Digest>,
    /// The scenario as a file; of many runs that of the first.
    pub scenario: &'a str,
    /// How many runs were asked for.
    pub asked: u64,
    /// Whether the user stopped before all were made.
    pub interrupted: bool,
    /// What the runs saw.
    pub observed: &'a Observed,
    /// The run, where it is one.
    pub told: Option<Told<'a>>,
    /// Partitions that do not run, and why.
    pub left_out: &'a [(String, String)],
    /// What is wrong with the inputs.
    pub diagnostics: &'a [diagnostic::Plain],
}

/// The answer of runs as a JSON text with a final line break.
pub fn ran(ran: &Ran<'_>) -> String {
    let observed = ran.observed;
    let inputs = ran.inputs.iter().map(|(name, digest)| json!({ "name": name, "digest": digest }));
    let left_out = ran.left_out.iter().map(|(name, why)| json!({ "partition": name, "reason": why }));
    let object = json!({
        "schema_version": SCHEMA_VERSION,
        "tool_version": ran.tool_version,
        "exit_status": ran.exit_status,
        "baseline": { "system": ran.system, "inputs": inputs.collect::<Vec<_>>() },
        "caution": CAUTION,
        "scenario": ran.scenario,
        "runs": observed.runs,
        "runs_asked": ran.asked,
        "interrupted": ran.interrupted,
        "left_out": left_out.collect::<Vec<_>>(),
        "tasks": tasks(observed),
        "ports": ports(observed),
        "chains": observed.chains.iter().map(|chain| json!({
            "chain": chain.name,
            "reaction_ns": observation(&chain.reaction),
            "data_age_ns": observation(&chain.age),
        })).collect::<Vec<_>>(),
        "operational_ns": observed.boots.iter().map(|(name, boot)| json!({
            "partition": name,
            "latest": observation(boot),
        })).collect::<Vec<_>>(),
        "above_bound": observed.above,
        "events": ran.told.map(|told| events(&told)),
        "events_left_out": ran.told.map(|told| told.timeline.remarkable_left_out),
        "diagnostics": ran.diagnostics,
    });
    format!("{object:#}\n")
}

fn tasks(observed: &Observed) -> Vec<Value> {
    let task = |task: &crate::run::TaskSeen| {
        json!({
            "task": task.label,
            "jobs": task.jobs,
            "missed": task.missed,
            "dropped": task.dropped,
            "response_ns": observation(&task.response),
        })
    };
    observed.tasks.iter().map(task).collect()
}

fn ports(observed: &Observed) -> Vec<Value> {
    let port = |port: &crate::run::PortSeen| {
        json!({
            "port": port.channel,
            "reader": port.reader,
            "kind": if port.queues { "queuing" } else { "sampling" },
            "messages": port.messages,
            "empty": port.empty,
            "stale": port.stale,
            "lost": port.lost,
            "age_ns": observation(&port.age),
            "held": port.queues.then(|| observation(&port.held)),
        })
    };
    observed.ports.iter().map(port).collect()
}

/// What was seen beside the bound and the limit, each `null` where there is none.
fn observation(one: &Observation) -> Value {
    json!({ "largest_seen": one.seen, "bound": one.bound, "limit": one.limit })
}

fn events(told: &Told<'_>) -> Vec<Value> {
    let event = |event: &simulator::Event| json!({ "at_ns": event.at_ns, "what": event_words(event.what, told.machine, told.scenario) });
    told.timeline.remarkable.iter().map(event).collect()
}
