//! The draft: a system file of what was measured, and the list of what stayed unknown.
//!
//! A number that was measured stands beside its samples; what the file needs and no recording tells is marked as chosen. An
//! element that lacks a value which the file needs is written as a comment, to be completed.

mod channel;
mod partition;
mod plan;
mod sheet;
mod task;

use crate::draft::found::Found;
use crate::draft::measure::{Measures, OfPartition};
use crate::draft::pattern::{Pattern, frame, pattern};
use crate::draft::table::table;
use model::System;
use quantity::{PartitionId, TaskId};
use std::collections::BTreeSet;

/// Where the recordings come from, in words for the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Origin {
    /// The names of the recordings.
    pub recordings: String,
}

/// A value that no recording tells.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unknown {
    /// Of what.
    pub of: String,
    /// What is missing, or was chosen.
    pub what: String,
    /// What it decides.
    pub decides: &'static str,
}

/// A draft of a system.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Draft {
    /// The system file.
    pub system: String,
    /// The plan file: the windows as they were told.
    pub plan: String,
    /// The table of everything that was measured.
    pub measured: String,
    /// What stayed unknown.
    pub unknown: Vec<Unknown>,
    /// How many partitions, tasks and channels the file declares, and how many of each were found.
    pub declared: [(usize, usize); 3],
}

/// The draft of a system of those names and measures.
pub(in crate::draft) fn draft(system: &System, found: &Found, measures: &Measures, origin: &Origin) -> Draft {
    let mut writer = Writer { system, found, measures, origin, text: String::new(), unknown: Vec::new() };
    writer.write()
}

struct Writer<'a> {
    system: &'a System,
    found: &'a Found,
    measures: &'a Measures,
    origin: &'a Origin,
    text: String,
    unknown: Vec<Unknown>,
}

impl Writer<'_> {
    fn write(&mut self) -> Draft {
        let partitions: BTreeSet<PartitionId> = self.system.partition_ids().filter(|id| self.is_known(*id)).collect();
        let is_declared =
            |task: &TaskId| self.period(*task).is_some() && partitions.contains(&self.system.task(*task).partition);
        let tasks: BTreeSet<TaskId> = self.system.task_ids().filter(is_declared).collect();
        let patterns: Vec<Option<Pattern>> = self.measures.partitions.iter().map(only_pattern).collect();
        let windows = frame(patterns.iter().flatten().map(|pattern| pattern.period_ns));
        let plan = plan::plan(self.system, self.measures, &patterns, windows);
        self.head();
        self.system_table(windows, &tasks);
        self.board();
        self.platform();
        for id in self.system.partition_ids() {
            let pattern = patterns[id.index()].filter(|_| windows.is_some());
            self.partition(id, pattern, &tasks, partitions.contains(&id));
        }
        let channels =
            (0..self.system.channels.len()).filter(|index| self.channel(*index, &tasks, &partitions)).count();
        self.never_recorded();
        Draft {
            system: std::mem::take(&mut self.text),
            plan,
            measured: table(self.system, self.measures),
            unknown: std::mem::take(&mut self.unknown),
            declared: [
                (partitions.len(), self.system.partitions.len()),
                (tasks.len(), self.system.tasks.len()),
                (channels, self.system.channels.len()),
            ],
        }
    }

    fn line(&mut self, line: &str) {
        self.text.push_str(line);
        self.text.push('\n');
    }

    fn miss(&mut self, of: &str, what: impl Into<String>, decides: &'static str) {
        self.unknown.push(Unknown { of: of.to_owned(), what: what.into(), decides });
    }

    /// Puts an element into the file; one that is not complete as a comment.
    fn put(&mut self, lines: &[String], is_complete: bool) {
        for line in lines.iter().flat_map(|line| line.split('\n')) {
            if is_complete || line.is_empty() {
                self.line(line);
            } else {
                self.line(&format!("# {}", line.trim_start_matches("# ")));
            }
        }
    }

    /// Whether enough is known of a partition to declare it: what it executes, on no more than one core at a time.
    fn is_known(&self, id: PartitionId) -> bool {
        let most = self.measures.busy(id).most();
        most.is_some_and(|most| most > 0 && most <= self.measures.even_span_ns())
    }
}

/// The pattern of a partition's windows, where it has such on one core alone.
fn only_pattern(measured: &OfPartition) -> Option<Pattern> {
    let mut told = measured.windows.iter().filter(|windows| windows.length.samples > 0);
    let only = told.next()?;
    if told.next().is_some() { None } else { pattern(only) }
}
