//! The draft: a system file of what was measured, and the list of what stayed unknown.
//!
//! A number that was measured stands beside its samples; what the file needs and no recording tells is marked as chosen. An
//! element that lacks a value which the file needs is written as a comment, to be completed.

mod channel;
mod plan;

use crate::draft::found::Found;
use crate::draft::measure::{Measures, OfPartition, OfTask};
use crate::draft::pattern::{LONGEST_FRAME_NS, Pattern, frame, pattern};
use crate::draft::rhythm::Rhythm;
use crate::draft::table::table;
use crate::draft::text::{counted, quoted, time, times};
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

    fn head(&mut self) {
        let span = self.measures.span_ns.map_or(0, |(from, to)| to - from);
        let gaps = if self.measures.gaps == 0 { "no gap".to_owned() } else { counted(self.measures.gaps, "gap") };
        self.line(&format!("# Drafted from {}: {}, {gaps}.", one_line(&self.origin.recordings), time(span)));
        self.line("# A draft, no evidence. What was measured holds for what was recorded: the highest execution time seen is no WCET,");
        self.line(
            "# the least time between two arrivals no promise. measured.csv holds all of it, arrival curves included.",
        );
        self.line(
            "# `measured:` says how a value was found, `chosen:` that nobody measured it, `unknown:` what to find out.",
        );
    }

    fn system_table(&mut self, windows: Option<u64>, tasks: &BTreeSet<TaskId>) {
        self.line("\n[system]");
        self.line(&format!("name = {}", quoted(&format!("Draft from {}", self.origin.recordings))));
        if let Some(windows) = windows {
            self.line("# measured: the least time that holds whole periods of all windows that were told");
            self.line(&format!("frame = {}", quoted(&time(windows))));
        } else {
            let of_tasks = frame(tasks.iter().filter_map(|task| self.period(*task).map(|period| period.ns)));
            self.line("# chosen: no windows were told that come again in a common frame");
            self.line(&format!("frame = {}", quoted(&time(of_tasks.unwrap_or(LONGEST_FRAME_NS / 10)))));
            self.miss(
                "system",
                "frame: chosen, and no windows",
                "every window table and all that is analysed under it",
            );
        }
        self.line("plan = \"plan.toml\"\n# unknown: levels, milestone, deadlines_hold_in");
    }

    fn board(&mut self) {
        self.line("\n[board]\n# chosen\nname = \"board\"");
        let used = |core: usize| self.measures.partitions.iter().any(|partition| partition.seen_on[core]);
        let used: Vec<usize> = (0..self.system.board.cores.len()).filter(|core| used(*core)).collect();
        let used = if used.is_empty() { (0..self.system.board.cores.len()).collect() } else { used };
        for core in &used {
            self.line(&format!("\n[[board.core]]\nname = {}", quoted(&self.system.board.cores[*core].name.value)));
        }
        if used.len() < self.system.board.cores.len() {
            let what = format!("cores: {} seen with nobody of the map", self.system.board.cores.len() - used.len());
            self.miss("board", what, "whether anything is planned on them");
        }
        self.line("# unknown: memory, caches, interconnect, devices, clocks");
    }

    fn platform(&mut self) {
        self.line("\n[platform]");
        let marks = self.measures.switch;
        if let Some((least, most)) = marks.range() {
            let samples = counted(marks.samples, "window");
            let seen = times((least, most));
            self.line(&format!(
                "# measured: from a window's begin to the first execution of waiting work {seen}, {samples};"
            ));
            self.line("# as far as a refill comes before that execution it is in it");
            self.line(&format!("switch = {}", quoted(&time(most))));
            self.line(&format!(
                "provenance = {}",
                quoted(&format!("measured: highest of {samples}, {}", self.origin.recordings))
            ));
        } else {
            self.line("# unknown: switch");
            self.miss("platform", "switch: no told window began with work waiting", "every response and margin");
        }
        self.line(
            "# unknown: refill, context_switch, release_jitter, nonpreemptable, boundary_slip, synchronised, port_cost",
        );
        self.miss(
            "platform",
            "refill, context_switch, nonpreemptable, boundary_slip",
            "responses, which stay not analysed until the sheet is complete",
        );
    }

    fn partition(&mut self, id: PartitionId, windows: Option<Pattern>, tasks: &BTreeSet<TaskId>, is_known: bool) {
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

    fn task(&mut self, id: TaskId, is_known: bool) {
        let measured = &self.measures.tasks[id.index()];
        let label = self.system.task_label(id);
        let mut lines = vec![
            String::new(),
            "[[partition.task]]".to_owned(),
            format!("name = {}", quoted(&self.system.task(id).name.value)),
        ];
        lines.push(rhythm_words(measured));
        match self.period(id) {
            Some(period) => {
                lines.push(format!("period = {}", quoted(&time(period.ns))));
                lines.extend(period.jitter_ns.map(|jitter| format!("jitter = {}", quoted(&time(jitter)))));
                lines.extend(period.jitter_ns.is_none().then(|| "sporadic = true".to_owned()));
            }
            None => {
                lines.push("# unknown: period".to_owned());
                self.miss(
                    &label,
                    "period: too few arrivals, several at once, or a job that executed for longer",
                    "whether the task is in the system: it is left out as a comment",
                );
            }
        }
        match (measured.execution.range(), measured.execution.samples) {
            (Some((least, most)), samples) => {
                lines.push(format!(
                    "# measured: {} executed {}; the highest seen is no WCET",
                    counted(samples, "job"),
                    times((least, most))
                ));
                lines.push(format!("wcet = {}", quoted(&time(most))));
                let (source, most) = (quoted(&self.origin.recordings), quoted(&time(most)));
                lines.push(format!(
                    "provenance = {{ class = \"measured\", source = {source}, measured_max = {most}, samples = {samples} }}"
                ));
            }
            (None, _) => {
                lines.push("# unknown: wcet: no job was seen from arrival to completion with its execution".to_owned());
                self.miss(&label, "wcet: no whole job was seen to execute", "its response and those that it delays");
            }
        }
        if let Some(range) = measured.response.range() {
            let samples = counted(measured.response.samples, "job");
            lines.push(format!("# measured: {samples} completed {} after arrival, which is no bound", times(range)));
        }
        lines.push("# unknown: priority, deadline (the period until it is given), bcet, line_requests".to_owned());
        self.put(&lines, is_known);
    }

    fn never_recorded(&mut self) {
        let all = "all of it";
        self.miss(all, "deadline of each task: its period until it is given", "whether its response is short enough");
        self.miss(
            all,
            "how each guest schedules its tasks, and their priorities",
            "the response of each task, which is not analysed until then",
        );
        self.miss(all, "WCET of each task: the highest seen stands there", "every response; no measurement is a bound");
        self.miss(all, "levels, zones, flows", "criticality and information flow");
        self.miss(all, "memory: RAM, images, caches, interconnect, line requests", "the memory map and interference");
        self.miss(all, "chains, boot, health monitor, restart needs", "what is claimed of these: nothing until then");
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

    /// What is declared of a task's arrivals. The file takes the period as deadline, so no job may have executed for longer.
    fn period(&self, id: TaskId) -> Option<Period> {
        let measured = &self.measures.tasks[id.index()];
        let period = match measured.arrivals.rhythm() {
            Rhythm::Periodic { period_ns, jitter_ns, .. } => Period { ns: period_ns, jitter_ns: Some(jitter_ns) },
            Rhythm::Sporadic { least_ns, .. } => Period { ns: least_ns, jitter_ns: None },
            Rhythm::Bursts | Rhythm::TooFew { .. } => return None,
        };
        Some(period).filter(|period| measured.execution.most().is_none_or(|most| most <= period.ns))
    }

    /// Whether enough is known of a partition to declare it: what it executes, on no more than one core at a time.
    fn is_known(&self, id: PartitionId) -> bool {
        let most = self.measures.busy(id).most();
        most.is_some_and(|most| most > 0 && most <= self.measures.even_span_ns())
    }
}

/// What is declared of a task's arrivals; without jitter they are sporadic.
struct Period {
    ns: u64,
    jitter_ns: Option<u64>,
}

/// The pattern of a partition's windows, where it has such on one core alone.
fn only_pattern(measured: &OfPartition) -> Option<Pattern> {
    let mut told = measured.windows.iter().filter(|windows| windows.length.samples > 0);
    let only = told.next()?;
    if told.next().is_some() { None } else { pattern(only) }
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

fn rhythm_words(measured: &OfTask) -> String {
    let range = measured.arrivals.curve.steps(1).range().map_or_else(String::new, times);
    match measured.arrivals.rhythm() {
        Rhythm::Periodic { step_ns, steps, pauses, .. } => {
            let pauses = match pauses {
                0 => String::new(),
                count => format!("; {} longer by half, not counted for the jitter", counted(count, "step")),
            };
            let steps = counted(steps, "step");
            format!("# measured: {steps} of {range} between arrivals, the period rounded to {}{pauses}", time(step_ns))
        }
        Rhythm::Sporadic { steps, .. } => {
            format!(
                "# measured: {} of {range} between arrivals, without a period; the least is no promise",
                counted(steps, "step")
            )
        }
        Rhythm::Bursts => format!("# measured: steps of {range} between arrivals, several at one instant"),
        Rhythm::TooFew { steps } => format!("# measured: {} between arrivals, too few to tell", counted(steps, "step")),
    }
}

/// A text on one line, for a comment.
fn one_line(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect()
}
