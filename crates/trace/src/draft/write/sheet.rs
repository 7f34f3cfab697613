//! What stands once in the file: its head, the system, the board, the platform sheet; and what no recording tells of any.

use super::Writer;
use crate::draft::pattern::{LONGEST_FRAME_NS, frame};
use crate::draft::text::{counted, quoted, time, times};
use quantity::TaskId;
use std::collections::BTreeSet;

impl Writer<'_> {
    pub(super) fn head(&mut self) {
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

    pub(super) fn system_table(&mut self, windows: Option<u64>, tasks: &BTreeSet<TaskId>) {
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

    pub(super) fn board(&mut self) {
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

    pub(super) fn platform(&mut self) {
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

    pub(super) fn never_recorded(&mut self) {
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
}

/// A text on one line, for a comment.
fn one_line(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect()
}
