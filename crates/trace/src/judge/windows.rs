//! Windows against the plan: when they begin and end, and that each comes once.
//!
//! Only windows that the recording tells of speak here: who executes when does not say when a window began.

use super::frame::{Match, Tables};
use super::tally::{Finding, Limit, Rule, Tally};
use super::{Allowed, partition_name};
use crate::rebuilt::{Observer, Window};
use crate::seen::{Happening, Seen};
use model::System;
use model::system::CorePolicy;
use quantity::{CoreId, ScheduleId};

/// So many windows are kept to fit the frame's origin to, where none is given or told.
const TO_FIT: usize = 512;

/// Why nothing is said of a core set's windows.
const APART: &str = "its frames are not synchronised with the others', and where they begin is not known";

#[derive(Debug)]
pub(super) struct Windows {
    tables: Tables,
    schedule: ScheduleId,
    origin_ns: Option<u64>,
    waiting: Vec<Window>,
    /// By core.
    lines: Vec<Line>,
    /// By partition.
    starts: Vec<Tally>,
    ends: Vec<Tally>,
    /// By core: how many windows out of their order; `None` where no window table says when who is served.
    order: Vec<Option<Tally>>,
}

/// What was last seen on a core.
#[derive(Debug, Clone, Copy, Default)]
struct Line {
    last: Option<i128>,
    first_frame: Option<i128>,
    last_frame: Option<i128>,
}

impl Windows {
    pub(super) fn new(system: &System, tables: Tables, allowed: Allowed) -> Self {
        let limit: Limit = allowed
            .window_ns
            .ok_or_else(|| "no tolerance is given: by how much may windows begin and end off their plan?".to_owned());
        let partitions = system.partitions.len();
        let cores = system.board.cores.len();
        Self {
            tables,
            schedule: ScheduleId::new(0),
            origin_ns: allowed.origin_ns,
            waiting: Vec::new(),
            lines: vec![Line::default(); cores],
            starts: vec![Tally::new(Rule::WindowStart, limit.clone()); partitions],
            ends: vec![Tally::new(Rule::WindowEnd, limit); partitions],
            order: (0..cores).map(|core| has_table(system, core)).collect(),
        }
    }

    /// Judges what waits for the frame's origin, fitted to what has been seen.
    pub(super) fn finish(&mut self) {
        if self.origin_ns.is_none() {
            self.origin_ns = self.tables.fit(self.schedule, &self.waiting);
        }
        for window in std::mem::take(&mut self.waiting) {
            self.judge(&window);
        }
    }

    /// An instant at which a frame begins.
    pub(super) fn origin_ns(&self) -> Option<u64> {
        self.origin_ns
    }

    /// How many frames lie between the first window seen and the last, on the core that was seen longest.
    pub(super) fn frames(&self) -> u64 {
        let span = |line: &Line| Some(line.last_frame? - line.first_frame? + 1);
        let most = self.lines.iter().filter_map(span).max().unwrap_or(0);
        u64::try_from(most).unwrap_or(u64::MAX)
    }

    pub(super) fn findings(&self, system: &System) -> Vec<Finding> {
        let silent = "the recording tells of no window of it";
        let of = |tallies: &[Tally]| -> Vec<Finding> {
            let tallies = tallies.iter().enumerate();
            tallies.map(|(index, tally)| tally.finding(partition_name(system, index), silent)).collect()
        };
        let order = self.order.iter().enumerate().filter_map(|(core, tally)| Some((core, tally.as_ref()?)));
        let core_name = |core: usize| format!("core {}", system.board.cores[core].name.value);
        let silent = |tally: &Tally| if tally.has_limit() { "the recording tells of no window there" } else { APART };
        let order = order.map(|(core, tally)| tally.finding(core_name(core), silent(tally)));
        [of(&self.starts), of(&self.ends), order.collect()].concat()
    }

    fn judge(&mut self, window: &Window) {
        let Some(origin_ns) = self.origin_ns else { return };
        let found = self.tables.nearest(self.schedule, window, origin_ns);
        let Some(found) = found else {
            if let Some(tally) = &mut self.order[window.core.index()] {
                tally.note(1, window.from_ns, || "a window of a partition that has none on this core".to_owned());
            }
            return;
        };
        self.judge_times(window, found);
        self.judge_order(window, found, origin_ns);
    }

    fn judge_times(&mut self, window: &Window, found: Match) {
        let index = window.partition.index();
        let (start, end) = (&mut self.starts[index], &mut self.ends[index]);
        if !window.whole {
            start.note_gap();
            end.note_gap();
            return;
        }
        let off = i128::from(window.from_ns) - found.start_ns;
        start.note(magnitude(off), window.from_ns, || format!("a window began {} it was planned", off_words(off)));
        let off = i128::from(window.to_ns) - found.end_ns;
        end.note(magnitude(off), window.to_ns, || format!("a window ended {} it was planned", off_words(off)));
    }

    fn judge_order(&mut self, window: &Window, found: Match, origin_ns: u64) {
        let (core, schedule) = (window.core, self.schedule);
        let count = self.tables.of(schedule, core).len() as i128;
        let line = &mut self.lines[core.index()];
        let frame = found.ordinal.div_euclid(count);
        line.first_frame = line.first_frame.or(Some(frame));
        line.last_frame = Some(frame);
        let last = line.last.replace(found.ordinal);
        let Some(last) = last else { return };
        let Some(tally) = &mut self.order[core.index()] else { return };
        let missing = found.ordinal - last - 1;
        if missing == 0 {
            tally.note(0, window.from_ns, String::new);
        } else if missing < 0 {
            tally.note(1, window.from_ns, || "a window began again, or out of the order of the plan".to_owned());
        } else {
            let skipped = self.tables.start_of(schedule, core, last + 1, origin_ns);
            let at_ns = skipped.and_then(|(at, _)| u64::try_from(at).ok()).unwrap_or(window.from_ns);
            tally.note(magnitude(missing), at_ns, || format!("{missing} planned windows in a row did not come"));
        }
    }

    fn forget_order(&mut self, core: Option<CoreId>) {
        match core {
            Some(core) => self.lines[core.index()].last = None,
            None => self.lines.iter_mut().for_each(|line| line.last = None),
        }
    }
}

impl Observer for Windows {
    fn seen(&mut self, seen: &Seen) {
        match seen.what {
            Happening::Frame => self.origin_ns = self.origin_ns.or(Some(seen.at_ns)),
            Happening::Schedule { schedule } => {
                // What waits was seen under the schedule before.
                self.origin_ns = self.origin_ns.or(Some(seen.at_ns));
                self.finish();
                self.schedule = schedule;
                self.forget_order(None);
            }
            Happening::Gap { core } => self.forget_order(core),
            _ => {}
        }
    }

    fn window(&mut self, window: &Window) {
        let is_judged = self.order[window.core.index()].as_ref().is_some_and(Tally::has_limit);
        if !window.told || !is_judged {
            return;
        }
        if self.origin_ns.is_some() {
            self.finish();
            self.judge(window);
            return;
        }
        self.waiting.push(*window);
        if self.waiting.len() >= TO_FIT {
            self.finish();
        }
    }
}

/// A tally for a core whose partitions are served by a window table.
fn has_table(system: &System, core: usize) -> Option<Tally> {
    let core = CoreId::new(core);
    let set = system.core_sets.iter().find(|set| set.cores.contains(&core))?;
    let CorePolicy::WindowTable { synchronised, .. } = set.policy else { return None };
    let limit = if synchronised { Ok(0) } else { Err(APART.to_owned()) };
    Some(Tally::new(Rule::WindowOrder, limit))
}

fn magnitude(value: i128) -> u64 {
    u64::try_from(value.unsigned_abs()).unwrap_or(u64::MAX)
}

fn off_words(off: i128) -> String {
    let side = if off > 0 { "later than" } else { "earlier than" };
    format!("{} ns {side}", off.unsigned_abs())
}
