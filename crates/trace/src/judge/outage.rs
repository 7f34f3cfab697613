//! How long a partition is away when it starts again: from the fault where it is told, else from the restart, to the first
//! message of its declared task.

use super::partition_name;
use super::tally::{Finding, Limit, Rule, Tally};
use crate::rebuilt::{Job, Observer};
use crate::seen::{Happening, Seen, Start};
use model::System;
use quantity::{PartitionId, TaskId};

#[derive(Debug)]
pub(super) struct Outages {
    /// The task whose first completed job ends an outage, by partition.
    ends_with: Vec<Option<TaskId>>,
    /// When an error of it was noticed that no restart has answered yet.
    noticed: Vec<Option<u64>>,
    away: Vec<Option<(u64, Start)>>,
    /// Whether the recording tells when jobs of that task complete.
    told: Vec<bool>,
    last_ns: u64,
    warm: Vec<Tally>,
    cold: Vec<Tally>,
}

impl Outages {
    pub(super) fn new(system: &System) -> Self {
        let partitions = &system.partitions;
        let need = |given: Option<u64>, key: &str| -> Limit { given.ok_or_else(|| format!("no `{key}` is declared")) };
        let warm = partitions.iter().map(|partition| {
            let given = partition.restart.as_ref().and_then(|restart| restart.warm_need);
            Tally::new(Rule::Outage, need(given.map(|need| need.value.ns()), "warm_need"))
        });
        let cold = partitions.iter().map(|partition| {
            let given = partition.restart.as_ref().and_then(|restart| restart.cold_need);
            Tally::new(Rule::Outage, need(given.map(|need| need.value.ns()), "cold_need"))
        });
        let ends = |partition: &model::system::Partition| Some(partition.restart.as_ref()?.ends_with?.value);
        Self {
            ends_with: partitions.iter().map(ends).collect(),
            noticed: vec![None; partitions.len()],
            away: vec![None; partitions.len()],
            told: vec![false; partitions.len()],
            last_ns: 0,
            warm: warm.collect(),
            cold: cold.collect(),
        }
    }

    pub(super) fn findings(&self, system: &System) -> Vec<Finding> {
        let of = |tallies: &[Tally], how: &str| -> Vec<Finding> {
            let name = |index: usize| format!("{}/{how}", partition_name(system, index));
            let declared = |index: &usize| system.partitions[*index].restart.is_some();
            let indices = (0..tallies.len()).filter(declared);
            let silent = "it was not seen to start again and come back";
            indices.map(|index| tallies[index].finding(name(index), silent)).collect()
        };
        [of(&self.warm, "warm"), of(&self.cold, "cold")].concat()
    }

    /// Takes the end of the recording: whoever is away has been so until then.
    pub(super) fn finish(&mut self, last_ns: u64) {
        for index in 0..self.away.len() {
            let Some((since, start)) = self.away[index].take() else { continue };
            let told = self.told[index];
            let tally = self.tally(index, start);
            let outage = last_ns.saturating_sub(since);
            if told && tally.limit().is_some_and(|limit| outage > limit) {
                tally.note(outage, since, || format!("it was away for {outage} ns, and was not seen to come back"));
            } else {
                tally.note_gap();
            }
        }
    }

    fn tally(&mut self, index: usize, start: Start) -> &mut Tally {
        match start {
            Start::Warm => &mut self.warm[index],
            Start::Cold => &mut self.cold[index],
        }
    }

    fn restarts(&mut self, at: u64, partition: PartitionId, start: Start) {
        let index = partition.index();
        let noticed = self.noticed[index].take();
        // A second start before the first output lengthens the same outage.
        let (since, _) = self.away[index].unwrap_or((noticed.unwrap_or(at), start));
        self.away[index] = Some((since, start));
    }
}

impl Observer for Outages {
    fn seen(&mut self, seen: &Seen) {
        match seen.what {
            Happening::Noticed { partition } => {
                // The error noticed last is the one that a restart answers: those before it may have needed none.
                self.noticed[partition.index()] = Some(seen.at_ns);
            }
            Happening::Restarts { partition, start } => self.restarts(seen.at_ns, partition, start),
            Happening::Gap { .. } => {
                self.noticed.fill(None);
                self.finish(self.last_ns);
            }
            _ => {}
        }
        self.last_ns = seen.at_ns;
    }

    fn job(&mut self, job: &Job) {
        let Some(completed) = job.completed_ns else { return };
        let Some(index) = self.ends_with.iter().position(|task| *task == Some(job.task)) else { return };
        self.told[index] = true;
        let Some(index) = Some(index).filter(|index| self.away[*index].is_some_and(|(since, _)| since < completed))
        else {
            return;
        };
        let Some((since, start)) = self.away[index].take() else { return };
        let outage = completed - since;
        self.tally(index, start).note(outage, since, || format!("it was away for {outage} ns"));
    }
}
