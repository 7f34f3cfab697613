//! A system and its plan become a [`Machine`]: names become indices, charges are worked out once, and what lacks a datum
//! is left out and said.

mod board;
mod channels;
mod charge;
mod cores;
mod monitor;
mod partitions;
mod windows;

use crate::Machine;
use crate::machine::LeftOut;
use model::System;
use plan::Plan;
use quantity::PartitionId;

/// The machine of a system under a plan.
///
/// The two are taken as their readers give them. A partition of which a datum is missing is in [`Machine::left_out`].
pub fn machine(system: &System, plan: &Plan) -> Machine {
    let mut missing = Missing::default();
    let lanes = cores::lanes(system, plan);
    let tasks = partitions::tasks(system, &lanes, &mut missing);
    let partitions = partitions::partitions(system, &lanes, &mut missing);
    let inputs = channels::inputs(system);
    Machine {
        frame_ns: system.frame.ns().max(1),
        cores: cores::cores(system, &mut missing),
        schedules: windows::schedules(system, plan, &lanes),
        chains: channels::chains(system, &inputs),
        channels: channels::channels(system, &mut missing),
        inputs,
        network: channels::network(system),
        devices: board::devices(system),
        bus: board::bus(system, plan),
        monitor: monitor::monitor(system),
        until_first_frame_ns: board::until_first_frame(system),
        lanes,
        partitions,
        tasks,
        left_out: missing.into_list(),
    }
}

/// What lacks which datum; the first one of each partition is said.
#[derive(Default)]
struct Missing {
    found: std::collections::BTreeMap<usize, String>,
}

impl Missing {
    fn add(&mut self, partition: PartitionId, reason: impl FnOnce() -> String) {
        self.found.entry(partition.index()).or_insert_with(reason);
    }

    /// The value; where there is none, the partition is left out for that reason.
    fn need<T>(&mut self, value: Option<T>, partition: PartitionId, reason: impl FnOnce() -> String) -> Option<T> {
        if value.is_none() {
            self.add(partition, reason);
        }
        value
    }

    fn into_list(self) -> Vec<LeftOut> {
        self.found.into_iter().map(|(partition, reason)| LeftOut { partition, reason }).collect()
    }
}
