//! A recording that was judged, as it is told. A clean recording is not a proof, and nothing here says that it is.

mod measured;
pub(crate) mod sentences;
mod shape;
mod victims;
mod words;

pub use measured::{Level, Measured, measured};
pub use shape::{Histogram, Shape};
pub use victims::{Compared, Pair, Spread, Victims, compare};
pub use words::{
    alarm_words, beside_words, extent_words, level_words, limit_words, matter_words, nearness_words, place_words,
    shift_words, shifts_word, unit_of, worst_words,
};

use model::System;
use quantity::TaskId;
use trace::judge::{Finding, Judgement, Status, Supply};
use trace::recording::Taking;

/// What every answer about recordings says of itself.
pub const CAUTION: &str = "A clean recording is not a proof: it shows what happened while it was made, and nothing of what may \
                           happen. Nothing is concluded from gaps. Recordings may hold confidential or personal data: strip \
                           them before they leave the house. Inputs are taken as valid. Results support an engineering \
                           argument; acceptance rests with the certification authority or the assessor. The tool is not \
                           qualified.";

/// What every answer about a rehearsal says of itself.
pub const REHEARSAL: &str = "A rehearsal on another machine: processes and loads stood in for partitions and jobs, and shared \
                             this machine's cpus as its kernel let them. It shows whether plan and recovery work together; it \
                             is no statement about the target, and no figure of it is one of the target.";

/// What came of recordings.
#[derive(Debug, Clone)]
pub struct RecordingFound {
    /// The name and the format of each source.
    pub sources: Vec<(String, &'static str)>,
    /// How they were taken in.
    pub taking: Taking,
    /// What was found.
    pub judgement: Judgement,
    /// What was seen of claims with a bound.
    pub beside: Vec<Beside>,
    /// Who was how different while a fault lasted and after it; `None` where there was no fault.
    pub victims: Option<Victims>,
    /// What the times of each task say as samples; empty where that is not asked for.
    pub measured: Vec<Measured>,
    /// Whether processes on another machine stood in for the target, which must be said with it.
    pub is_rehearsal: bool,
}

impl RecordingFound {
    /// As a recording of `system`.
    pub fn judged<'a>(&'a self, system: &'a System) -> Judged<'a> {
        Judged { system, found: self }
    }
}

/// A recording that was judged.
#[derive(Debug, Clone, Copy)]
pub struct Judged<'a> {
    /// Of what.
    pub system: &'a System,
    /// What came of it.
    pub found: &'a RecordingFound,
}

/// The most that a recording shows of something that has a bound.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Beside {
    /// The id of the claim.
    pub claim: String,
    /// The most that was seen.
    pub seen: u64,
    /// What that surely was at least, where the clocks that tell of it are off.
    pub surely: u64,
    /// Its unit.
    pub unit: claim::Unit,
    /// How often it was seen.
    pub count: u64,
    /// When it was that much, in nanoseconds of the common clock.
    pub at_ns: u64,
    /// The bound; `None` where analysis has none.
    pub bound: Option<u64>,
    /// Whether the recording is of what the bound speaks of: no fault, nothing that starts anew, one schedule.
    pub is_claimed: bool,
}

impl Beside {
    /// Whether more was surely seen than can be.
    pub fn is_alarm(&self) -> bool {
        self.is_claimed && self.bound.is_some_and(|bound| self.surely > bound)
    }
}

impl Judged<'_> {
    /// The findings of a status, those that are broken most first.
    pub fn violated(&self) -> Vec<&Finding> {
        let mut list: Vec<_> =
            self.found.judgement.findings.iter().filter(|found| found.status == Status::Violated).collect();
        list.sort_by_key(|found| found.first.as_ref().map(|first| first.at_ns));
        list
    }

    /// The findings of which the recording says nothing, and why.
    pub fn not_analysed(&self) -> Vec<(&Finding, &str)> {
        self.with_reason(|status| matches!(status, Status::NotAnalysed(_)))
    }

    /// The findings that may be broken or not, and why that is open.
    pub fn not_shown(&self) -> Vec<(&Finding, &str)> {
        self.with_reason(|status| matches!(status, Status::NotShown(_)))
    }

    fn with_reason(&self, is_wanted: impl Fn(&Status) -> bool) -> Vec<(&Finding, &str)> {
        let findings = self.found.judgement.findings.iter().filter(|found| is_wanted(&found.status));
        findings.filter_map(|found| Some((found, found.status.reason()?))).collect()
    }

    /// The findings that were kept.
    pub fn kept(&self) -> Vec<&Finding> {
        self.found.judgement.findings.iter().filter(|found| found.status == Status::Kept).collect()
    }

    /// What each partition was given, where anything was seen of it.
    pub fn supply(&self) -> Vec<(&str, Supply)> {
        let list = self.found.judgement.supply.iter().zip(&self.system.partitions);
        let seen = list.filter(|(supply, _)| **supply != Supply::default());
        seen.map(|(supply, partition)| (partition.name.value.as_str(), *supply)).collect()
    }

    /// Tasks of which no job was seen from its arrival to its completion.
    pub fn unseen_tasks(&self) -> Vec<String> {
        let seen = self.found.judgement.coverage.tasks.iter().enumerate();
        seen.filter(|(_, seen)| seen.whole == 0).map(|(task, _)| self.system.task_label(TaskId::new(task))).collect()
    }
}
