//! Execution inside somebody else's window, by a partition or by somebody whom the map does not name.

use super::tally::{Finding, Rule, Tally};
use super::{Allowed, partition_name};
use crate::moment::{Clock, Reading};
use crate::rebuilt::Observer;
use crate::seen::{Happening, Seen, Who};
use model::System;
use quantity::{CoreId, PartitionId};

#[derive(Debug)]
pub(super) struct Foreign {
    /// By core.
    lines: Vec<Line>,
    /// The partition of each task.
    home: Vec<PartitionId>,
    /// By partition whose window it is.
    tallies: Vec<Tally>,
}

#[derive(Debug, Clone, Copy, Default)]
struct Line {
    /// Whose window is open, and by whose clock.
    open: Option<(PartitionId, Clock)>,
    /// Who executes, and by whose clock.
    runs: Option<(Who, Clock)>,
    /// Since when somebody else than the window's partition executes.
    foreign_since: Option<u64>,
}

impl Foreign {
    pub(super) fn new(system: &System, allowed: Allowed) -> Self {
        let limit = allowed.window_ns.unwrap_or(0);
        Self {
            lines: vec![Line::default(); system.board.cores.len()],
            home: system.tasks.iter().map(|task| task.partition).collect(),
            tallies: vec![Tally::new(Rule::Foreign, Ok(limit)); system.partitions.len()],
        }
    }

    pub(super) fn findings(&self, system: &System) -> Vec<Finding> {
        let silent = "the recording tells of no window of it, or not who executes there";
        let tallies = self.tallies.iter().enumerate();
        tallies.map(|(index, tally)| tally.finding(partition_name(system, index), silent)).collect()
    }

    /// Takes the end of the recording: whoever executes did so until then.
    pub(super) fn finish(&mut self, last_ns: u64) {
        (0..self.lines.len()).map(CoreId::new).for_each(|core| self.settle(core, last_ns));
    }

    /// The stretch under way on a core ends, as its window or whoever executes changes.
    fn settle(&mut self, core: CoreId, at_ns: u64) {
        let line = &mut self.lines[core.index()];
        let (Some((owner, of_window)), Some((_, of_runs))) = (line.open, line.runs) else { return };
        let Some(since) = line.foreign_since.take() else { return };
        let length = at_ns.saturating_sub(since);
        if length > 0 {
            self.tallies[owner.index()].note(Reading::off_by(length, of_runs.error_to_ns(of_window)), since, || {
                "somebody else executed inside a window of this partition".to_owned()
            });
        }
    }

    /// A stretch begins.
    fn begin(&mut self, core: CoreId, at_ns: u64) {
        let line = self.lines[core.index()];
        let (Some((owner, of_window)), Some((who, of_runs))) = (line.open, line.runs) else { return };
        let foreign = match who {
            Who::Task(task) => self.home[task.index()] != owner,
            Who::Partition(partition) => partition != owner,
            Who::Foreign(_) => true,
            Who::Platform => false,
        };
        if foreign {
            self.lines[core.index()].foreign_since = Some(at_ns);
        } else {
            // Where another source tells who executes, whoever does so beside the window may do so within it.
            let inside = Reading::off_by(0, of_runs.error_to_ns(of_window));
            self.tallies[owner.index()].note(inside, at_ns, String::new);
        }
    }

    fn change(&mut self, core: CoreId, at_ns: u64, change: impl FnOnce(&mut Line)) {
        self.settle(core, at_ns);
        change(&mut self.lines[core.index()]);
        self.begin(core, at_ns);
    }
}

impl Observer for Foreign {
    fn seen(&mut self, seen: &Seen) {
        match seen.what {
            Happening::WindowBegins { core, partition } => {
                self.change(core, seen.at_ns, |line| line.open = Some((partition, seen.clock)));
            }
            Happening::WindowEnds { core, partition } => {
                self.change(core, seen.at_ns, |line| _ = line.open.take_if(|(open, _)| *open == partition));
            }
            Happening::Runs { core, who, .. } => {
                self.change(core, seen.at_ns, |line| line.runs = who.map(|who| (who, seen.clock)))
            }
            Happening::Gap { core: Some(core), .. } => self.lines[core.index()] = Line::default(),
            Happening::Gap { core: None, .. } => self.lines.fill(Line::default()),
            _ => {}
        }
    }
}
