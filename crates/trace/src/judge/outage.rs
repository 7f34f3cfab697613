//! How long a partition is away when it starts again: from its fault, else from the error noticed, else from the restart, to the
//! first completed job of its declared task.
//!
//! A need counts from the fault: where the recording tells of one of the partition, after which that task completed nothing, so
//! does the outage. Else what passes before the first that is told, the detection and without a notice the action too, is taken as
//! declared: where the need would not bear it, or it is not declared, nothing is concluded from an outage within the need.

use super::partition_name;
use super::tally::{Finding, Limit, Rule, Status, Tally};
use crate::moment::{Moment, Reading};
use crate::rebuilt::{Job, Observer};
use crate::seen::{Happening, Seen, Start};
use model::System;
use quantity::{PartitionId, TaskId};

/// Why an outage within its need may not keep it.
const DOUBT: &str = "the recording tells an outage only from when it was noticed, and with the time before, as declared, the need may be \
                     passed or that time is not declared";

#[derive(Debug)]
pub(super) struct Outages {
    /// The task whose first completed job ends an outage, by partition.
    ends_with: Vec<Option<TaskId>>,
    /// When a fault of it began since which its declared task has completed nothing.
    fault: Vec<Option<Moment>>,
    /// When an error of it was noticed that no restart has answered yet.
    noticed: Vec<Option<Moment>>,
    away: Vec<Option<Away>>,
    /// What passes at most before an error is noticed, and between that and the restart, by partition, as declared.
    unseen_ns: Vec<(Option<u64>, Option<u64>)>,
    /// Whether the recording tells when jobs of that task complete.
    told: Vec<bool>,
    last: Moment,
    warm: Vec<Kept>,
    cold: Vec<Kept>,
}

/// A partition that is away.
#[derive(Debug, Clone, Copy)]
struct Away {
    since: Moment,
    start: Start,
    /// What may have passed before that, as declared; `None`: it is not declared.
    unseen_ns: Option<u64>,
}

/// What was seen of one need.
#[derive(Debug, Clone)]
struct Kept {
    tally: Tally,
    /// Whether some outage keeps it only as far as the recording tells.
    is_doubtful: bool,
}

impl Outages {
    pub(super) fn new(system: &System) -> Self {
        let partitions = &system.partitions;
        let need = |given: Option<u64>, key: &str| -> Limit { given.ok_or_else(|| format!("no `{key}` is declared")) };
        let warm = partitions.iter().map(|partition| {
            let given = partition.restart.as_ref().and_then(|restart| restart.warm_need);
            Kept::new(need(given.map(|need| need.value.ns()), "warm_need"))
        });
        let cold = partitions.iter().map(|partition| {
            let given = partition.restart.as_ref().and_then(|restart| restart.cold_need);
            Kept::new(need(given.map(|need| need.value.ns()), "cold_need"))
        });
        let unseen = |partition: &model::system::Partition| {
            let restart = partition.restart.as_ref();
            let detection = restart.and_then(|restart| restart.detection).map(|time| time.value.ns());
            let action = restart.and_then(|restart| restart.action).map(|time| time.value.ns());
            (detection, action)
        };
        let ends = |partition: &model::system::Partition| Some(partition.restart.as_ref()?.ends_with?.value);
        Self {
            ends_with: partitions.iter().map(ends).collect(),
            fault: vec![None; partitions.len()],
            noticed: vec![None; partitions.len()],
            away: vec![None; partitions.len()],
            unseen_ns: partitions.iter().map(unseen).collect(),
            told: vec![false; partitions.len()],
            last: Moment::default(),
            warm: warm.collect(),
            cold: cold.collect(),
        }
    }

    pub(super) fn findings(&self, system: &System) -> Vec<Finding> {
        let of = |list: &[Kept], how: &str| -> Vec<Finding> {
            let name = |index: usize| format!("{}/{how}", partition_name(system, index));
            let declared = |index: &usize| system.partitions[*index].restart.is_some();
            let indices = (0..list.len()).filter(declared);
            indices.map(|index| list[index].finding(name(index))).collect()
        };
        [of(&self.warm, "warm"), of(&self.cold, "cold")].concat()
    }

    /// Takes the end of the recording: whoever is away has been so until then.
    pub(super) fn finish(&mut self) {
        let last = self.last;
        for index in 0..self.away.len() {
            let Some(Away { since, start, .. }) = self.away[index].take() else { continue };
            let told = self.told[index];
            let tally = &mut self.kept(index, start).tally;
            let outage = last.since(since);
            if told && tally.limit().is_some_and(|limit| outage.most > limit) {
                tally.note(outage, since.at_ns, || {
                    format!("it was away for {} ns, and was not seen to come back", outage.value)
                });
            } else {
                tally.note_gap();
            }
        }
    }

    fn kept(&mut self, index: usize, start: Start) -> &mut Kept {
        match start {
            Start::Warm => &mut self.warm[index],
            Start::Cold => &mut self.cold[index],
        }
    }

    fn restarts(&mut self, at: Moment, partition: PartitionId, start: Start) {
        let index = partition.index();
        let noticed = self.noticed[index].take();
        let told = noticed.unwrap_or(at);
        let (detection, action) = self.unseen_ns[index];
        let action = if noticed.is_some() { Some(0) } else { action };
        let declared = || detection.zip(action).map(|(detection, action)| detection.saturating_add(action));
        // A fault that began after the error was noticed is another one.
        let anew = match self.fault[index].take_if(|fault| fault.at_ns <= told.at_ns) {
            Some(since) => Away { since, start, unseen_ns: Some(0) },
            None => Away { since: told, start, unseen_ns: declared() },
        };
        // A second start before the first output lengthens the same outage.
        self.away[index] = Some(Away { start, ..self.away[index].unwrap_or(anew) });
    }
}

impl Kept {
    fn new(limit: Limit) -> Self {
        Self { tally: Tally::new(Rule::Outage, limit), is_doubtful: false }
    }

    /// An outage was seen that long, and what came before it is no longer than `unseen_ns`.
    fn note(&mut self, outage: Reading, since: Moment, unseen_ns: Option<u64>) {
        let bears = |limit: u64| unseen_ns.is_some_and(|unseen_ns| outage.most.saturating_add(unseen_ns) <= limit);
        self.is_doubtful |= self.tally.limit().is_some_and(|limit| !bears(limit));
        self.tally.note(outage, since.at_ns, || format!("it was away for {} ns", outage.value));
    }

    fn finding(&self, name: String) -> Finding {
        let finding = self.tally.finding(name, "it was not seen to start again and come back");
        match finding.status {
            Status::Kept if self.is_doubtful => Finding { status: Status::NotAnalysed(DOUBT.to_owned()), ..finding },
            _ => finding,
        }
    }
}

impl Observer for Outages {
    fn seen(&mut self, seen: &Seen) {
        match seen.what {
            Happening::FaultBegins { of: Some(partition), .. } => {
                let fault = &mut self.fault[partition.index()];
                *fault = fault.or(Some(seen.moment()));
            }
            Happening::Noticed { partition } => {
                // The error noticed last is the one that a restart answers: those before it may have needed none.
                self.noticed[partition.index()] = Some(seen.moment());
            }
            Happening::Restarts { partition, start } => self.restarts(seen.moment(), partition, start),
            Happening::Gap { .. } => {
                self.fault.fill(None);
                self.noticed.fill(None);
                self.finish();
            }
            _ => {}
        }
        self.last = seen.moment();
    }

    fn job(&mut self, job: &Job) {
        let Some(completed) = job.completed() else { return };
        let Some(index) = self.ends_with.iter().position(|task| *task == Some(job.task)) else { return };
        self.told[index] = true;
        self.fault[index].take_if(|fault| fault.at_ns < completed.at_ns);
        let is_later = |away: &mut Away| away.since.at_ns < completed.at_ns;
        let Some(Away { since, start, unseen_ns }) = self.away[index].take_if(is_later) else { return };
        match completed.may_swap_with(since) {
            // It may have been the last one before.
            Some(error_ns) => self.kept(index, start).tally.note_undecided(error_ns),
            None => self.kept(index, start).note(completed.since(since), since, unseen_ns),
        }
    }
}
