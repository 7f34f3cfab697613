//! A partition of the file, with its tasks behind it.

use super::Writer;
use crate::draft::measure::OfPartition;
use crate::draft::pattern::Pattern;
use crate::draft::text::{counted, quoted, time, times};
use model::System;
use quantity::{PartitionId, TaskId};
use std::collections::BTreeSet;

impl Writer<'_> {
    pub(super) fn partition(
        &mut self,
        id: PartitionId,
        windows: Option<Pattern>,
        tasks: &BTreeSet<TaskId>,
        is_known: bool,
    ) {
        let (system, measures) = (self.system, self.measures);
        let name = &system.partition(id).name.value;
        let (measured, busy) = (&measures.partitions[id.index()], measures.busy(id));
        let mut lines = vec![String::new(), "[[partition]]".to_owned(), format!("name = {}", quoted(name))];
        let mine: Vec<TaskId> = system.partition(id).tasks.clone();
        lines.extend(seen_lines(system, measured));
        let span = time(measures.even_span_ns());
        if let Some(range) = busy.range() {
            lines.push(format!(
                "# measured: executed {} in each of {} of {span}",
                times(range),
                counted(busy.samples, "span")
            ));
        }
        lines.push("# chosen: a recording does not tell how tasks are scheduled inside. Say how, with a priority for each task where".to_owned());
        lines.push("# it is by priority, and leave out the need: then what it needs follows from its tasks.\nguest = \"opaque\"".to_owned());
        if let Some(pattern) = windows {
            let (windows, samples) = (counted(pattern.windows as u64, "window"), pattern.samples);
            lines.push(format!("# measured: {windows} in a period, which came again {samples} times; it is what was given, not what is needed"));
            lines.push(format!("period = {}", quoted(&time(pattern.period_ns))));
            lines.push(format!("budget = {}", quoted(&time(pattern.budget_ns))));
        } else {
            self.miss(name, "period and budget of windows", "when it runs; a planner finds them from the demands");
        }
        lines.push("# unknown: level, zone, role, ram, image, restart needs".to_owned());
        if let Some(most) = busy.most() {
            lines.push("\n[partition.need]\n# measured: the highest of these spans, no bound".to_owned());
            lines.push(format!("budget = {}\nperiod = {}", quoted(&time(most)), quoted(&span)));
        }
        if !is_known {
            let what = format!(
                "need: no execution of it was seen in whole spans of {span}, or more than one core gives; left out as a comment"
            );
            self.miss(name, what, "whether the partition is in the system at all");
        }
        self.put(&lines, is_known);
        mine.iter().for_each(|task| self.task(*task, tasks.contains(task)));
    }
}

fn seen_lines(system: &System, measured: &OfPartition) -> Vec<String> {
    let mut lines = Vec::new();
    for ((core, windows), seen) in system.board.cores.iter().zip(&measured.windows).zip(&measured.seen_on) {
        let core = &core.name.value;
        if let Some(length) = windows.length.range() {
            let samples = counted(windows.length.samples, "whole window");
            lines.push(format!("# measured: {samples} on core {core}, {} long", times(length)));
        } else if *seen {
            lines.push(format!("# measured: executed on core {core}"));
        }
    }
    for (kind, marks) in [("warm", measured.warm), ("cold", measured.cold)] {
        if let Some(range) = marks.range() {
            let starts = counted(marks.samples, "start");
            lines.push(format!("# measured: {starts} {kind}, operational again after {}", times(range)));
        }
    }
    lines
}
