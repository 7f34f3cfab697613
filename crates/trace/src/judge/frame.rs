//! The windows that the plan asks for, and which of them a window seen is.

use crate::rebuilt::Window;
use model::System;
use plan::Plan;
use quantity::{CoreId, PartitionId, ScheduleId};

/// A window of the plan: touching ones of a partition are one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Planned {
    pub(super) start_ns: u64,
    pub(super) length_ns: u64,
    pub(super) partition: PartitionId,
}

/// The tables of every module schedule and core.
#[derive(Debug, Clone)]
pub(super) struct Tables {
    pub(super) frame_ns: u64,
    /// By schedule and core; empty where the core has no table.
    windows: Vec<Vec<Vec<Planned>>>,
}

/// A window seen, matched with one that was planned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Match {
    /// Which of the core's windows, counted from the frame that begins at the origin.
    pub(super) ordinal: i128,
    /// When it was to begin, in nanoseconds of the common clock.
    pub(super) start_ns: i128,
    /// When it was to end.
    pub(super) end_ns: i128,
}

impl Tables {
    pub(super) fn new(system: &System, plan: &Plan) -> Self {
        let cores = system.board.cores.len();
        let mut windows = vec![vec![Vec::new(); cores]; system.schedules.len()];
        for table in &plan.schedules {
            for core in &table.cores {
                windows[table.schedule.index()][core.core.index()] = planned(core, system);
            }
        }
        Self { frame_ns: system.frame.value.ns(), windows }
    }

    /// How many module schedules there are.
    pub(super) fn schedules(&self) -> usize {
        self.windows.len()
    }

    /// The windows of a core, by start.
    pub(super) fn of(&self, schedule: ScheduleId, core: CoreId) -> &[Planned] {
        &self.windows[schedule.index()][core.index()]
    }

    /// The planned window of the same partition and core that begins nearest to the one seen.
    pub(super) fn nearest(&self, schedule: ScheduleId, window: &Window, origin_ns: i128) -> Option<Match> {
        let list = self.of(schedule, window.core);
        let frame = i128::from(self.frame_ns);
        let since = i128::from(window.from_ns) - origin_ns;
        let (phase, round) = (since.rem_euclid(frame), since.div_euclid(frame));
        let mine = list.iter().enumerate().filter(|(_, planned)| planned.partition == window.partition);
        let (off, index) = mine
            .map(|(index, planned)| (off_by(phase, i128::from(planned.start_ns), frame), index))
            .min_by_key(|(off, index)| (off.abs(), *index))?;
        // A window near the frame's border may belong to the frame before or after the one in which it was seen.
        let start = phase - off;
        let rounds = round + start.div_euclid(frame);
        let planned = list[index];
        let start_ns = i128::from(window.from_ns) - off;
        Some(Match {
            ordinal: rounds * list.len() as i128 + index as i128,
            start_ns,
            end_ns: start_ns + i128::from(planned.length_ns),
        })
    }

    /// When the window of that ordinal was to begin.
    pub(super) fn start_of(
        &self,
        schedule: ScheduleId,
        core: CoreId,
        ordinal: i128,
        origin_ns: i128,
    ) -> Option<(i128, Planned)> {
        let list = self.of(schedule, core);
        let count = i128::try_from(list.len()).ok().filter(|count| *count > 0)?;
        let planned = *list.get(usize::try_from(ordinal.rem_euclid(count)).ok()?)?;
        let round = ordinal.div_euclid(count) * i128::from(self.frame_ns);
        Some((origin_ns + round + i128::from(planned.start_ns), planned))
    }

    /// The origin that puts the windows seen nearest to their plan: the largest distance of a start is as small as it can be.
    ///
    /// What is left over then is left over with every origin, so what it violates is violated; a lag that all windows share
    /// cannot be seen.
    pub(super) fn fit(&self, schedule: ScheduleId, seen: &[Window]) -> Option<u64> {
        let frame = i128::from(self.frame_ns);
        let first = seen
            .iter()
            .find(|window| self.of(schedule, window.core).iter().any(|p| p.partition == window.partition))?;
        let mine = self.of(schedule, first.core).iter().filter(|planned| planned.partition == first.partition);
        let candidates =
            mine.map(|planned| (i128::from(first.from_ns) - i128::from(planned.start_ns)).rem_euclid(frame));
        let spread = |origin: i128| {
            let offs = seen.iter().filter_map(|window| {
                let found = self.nearest(schedule, window, origin)?;
                Some(i128::from(window.from_ns) - found.start_ns)
            });
            let (least, most) = offs.fold((i128::MAX, i128::MIN), |(least, most), off| (least.min(off), most.max(off)));
            Some((most.checked_sub(least)?, least, origin))
        };
        let (spread, least, origin) = candidates.filter_map(spread).min()?;
        u64::try_from((origin + least + spread / 2).rem_euclid(frame)).ok()
    }
}

/// By how much `phase` is later than `start`, the short way round a frame.
fn off_by(phase: i128, start: i128, frame: i128) -> i128 {
    let ahead = (phase - start).rem_euclid(frame);
    if ahead * 2 > frame { ahead - frame } else { ahead }
}

fn planned(core: &plan::CoreTable, system: &System) -> Vec<Planned> {
    let mut keys: Vec<_> = core.windows.iter().map(|window| (window.partition, window.virtual_core)).collect();
    keys.sort_unstable();
    keys.dedup();
    let merged = keys.into_iter().flat_map(|(partition, virtual_core)| {
        let merged = core.merged(partition, virtual_core, system.frame.value);
        merged.into_iter().map(move |window| Planned {
            start_ns: window.start.ns(),
            length_ns: window.length.ns(),
            partition,
        })
    });
    let mut list: Vec<Planned> = merged.collect();
    list.sort_unstable();
    list
}
