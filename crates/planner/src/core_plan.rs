//! The windows of one core.
//!
//! Computes: windows in the frame for the items on one core, such that each gets its usable time in every period and
//! keeps its deadlines.
//! Source: strictly periodic placement, as in Korst, Aarts & Lenstra 1996 (Scheduling periodic tasks), by first fit with
//! the shortest period first; repair by order and length is our own.
//! Assumptions: every period divides the frame; other cores have no say (what they cost is in the execution times).
//! Symbols: a window of length `b` with a head `h` gives `b - h`; `k` pieces of it must give as much, so they take
//! `b + (k - 1) h`.
//! Invariants and why it ends: windows lie inside the period that they serve and never overlap; every repair moves one
//! item to the front once or makes one item longer, and the number of repairs is limited.
//! Checked by: an independent reader of the plan in `tests/`, over generated systems.

use crate::free_time::{FreeTime, Gap, pieces};
use crate::problem::Problem;
use crate::workload::Finding;
use plan::{CoreTable, Window};
use quantity::{CoreId, Duration, Instant};
use std::cmp::Reverse;
use timing::claims::supply_of;

/// Windows of one core, by schedule.
#[derive(Debug, Clone)]
pub(crate) struct CorePlan {
    pub(crate) windows: Vec<Vec<Window>>,
    /// Windows beyond one for each declared period.
    pub(crate) extra_windows: u64,
}

/// How often one core is placed anew, longer or in another order.
const REPAIRS: usize = 24;

/// The windows of `core` with these items on it; where no way was found, what stood in it.
pub(crate) fn plan_core(problem: &Problem<'_>, core: usize, items: &[usize]) -> Result<CorePlan, String> {
    let mut whole = CorePlan { windows: Vec::new(), extra_windows: 0 };
    for schedule in 0..problem.schedules() {
        let mut bench = Bench::new(problem, core, schedule, items);
        let (windows, extra) = bench.plan()?;
        whole.windows.push(windows);
        whole.extra_windows += extra;
    }
    Ok(whole)
}

/// One core in one schedule, under repair.
struct Bench<'a> {
    problem: &'a Problem<'a>,
    core: CoreId,
    schedule: usize,
    capacity_ns: u64,
    /// The items in the order in which they are placed.
    order: Vec<usize>,
    /// Items that had their turn at the front.
    moved: Vec<usize>,
    /// By place in `items`: usable time a period beyond what is asked.
    longer_ns: Vec<(usize, u64)>,
}

impl<'a> Bench<'a> {
    fn new(problem: &'a Problem<'a>, core: usize, schedule: usize, items: &[usize]) -> Self {
        let runs = |item: &usize| problem.items[*item].asks[schedule].is_some();
        let mut order: Vec<usize> = items.iter().copied().filter(runs).collect();
        order.sort_by_key(|item| {
            let ask = problem.items[*item].asks[schedule];
            (ask.map(|a| a.period_ns), Reverse(ask.map(|a| a.length_ns)), *item)
        });
        Self {
            problem,
            core: CoreId::new(core),
            schedule,
            capacity_ns: problem.capacity_ns[core].as_ref().map_or(0, |by_schedule| by_schedule[schedule]),
            longer_ns: order.iter().map(|item| (*item, 0)).collect(),
            order,
            moved: Vec::new(),
        }
    }

    /// Places and judges until every item keeps its deadlines.
    fn plan(&mut self) -> Result<(Vec<Window>, u64), String> {
        let mut why = String::new();
        for _ in 0..REPAIRS {
            let windows = match self.place_all() {
                Ok(windows) => windows,
                Err(item) if self.move_to_front(item) => continue,
                Err(item) => return Err(self.no_room(item, &why)),
            };
            let Some((item, misses)) = self.first_missed(&windows) else {
                return Ok((windows.clone(), self.extra_windows(&windows)));
            };
            why = misses;
            if !self.move_to_front(item) {
                self.lengthen(item);
            }
        }
        Err(why)
    }

    fn no_room(&self, item: usize, missed_before: &str) -> String {
        let room = format!(
            "the windows of {} find no room{}",
            self.problem.items[item].name,
            self.problem.in_schedule(self.schedule)
        );
        if missed_before.is_empty() { room } else { format!("{missed_before}; with longer windows for it, {room}") }
    }

    fn move_to_front(&mut self, item: usize) -> bool {
        if self.order.first() == Some(&item) || self.moved.contains(&item) {
            return false;
        }
        self.moved.push(item);
        self.order.retain(|other| *other != item);
        self.order.insert(0, item);
        true
    }

    /// Gives the item an eighth more usable time.
    fn lengthen(&mut self, item: usize) {
        let usable_ns = self.usable_ns(item);
        let grid_ns = self.problem.grid_ns;
        let step_ns = (usable_ns / 8).div_ceil(grid_ns).max(1) * grid_ns;
        if let Some((_, longer_ns)) = self.longer_ns.iter_mut().find(|(other, _)| *other == item) {
            *longer_ns += step_ns;
        }
    }

    /// The usable time that an item must get in each of its periods.
    fn usable_ns(&self, item: usize) -> u64 {
        let asked =
            self.problem.items[item].asks[self.schedule].map_or(0, |ask| self.usable_of(ask.length_ns, ask.period_ns));
        let longer = self.longer_ns.iter().find(|(other, _)| *other == item).map_or(0, |(_, longer)| *longer);
        asked + longer
    }

    /// A window that fills its period has no head after the first.
    fn usable_of(&self, length_ns: u64, period_ns: u64) -> u64 {
        if length_ns == period_ns { length_ns } else { length_ns.saturating_sub(self.problem.head_ns) }
    }

    /// All windows in order of start; an error names the first item without room.
    fn place_all(&self) -> Result<Vec<Window>, usize> {
        let mut free = FreeTime::whole(self.problem.frame_ns);
        let mut windows: Vec<Window> = Vec::new();
        for item in &self.order {
            for window in &self.problem.items[*item].pinned[self.schedule] {
                free.take(window.start.ns(), window.end().ns());
                windows.push(*window);
            }
        }
        for item in &self.order {
            let gaps = self.place(*item, &free).ok_or(*item)?;
            gaps.iter().for_each(|gap| free.take(gap.0, gap.1));
            windows.extend(gaps.iter().map(|gap| self.window(*item, *gap)));
        }
        windows.sort_by_key(|window| window.start);
        let taken: u64 = windows.iter().map(|window| window.length.ns()).sum();
        if taken > self.capacity_ns {
            return Err(self.order.last().copied().unwrap_or(0));
        }
        Ok(windows)
    }

    fn window(&self, item: usize, gap: Gap) -> Window {
        let item = &self.problem.items[item];
        Window {
            partition: item.partition,
            virtual_core: item.virtual_core,
            start: Instant::from_ns(gap.0),
            length: Duration::from_ns(gap.1 - gap.0),
            pinned: false,
            span: None,
        }
    }

    /// The windows of one item in the time that is free, touching ones joined.
    fn place(&self, item: usize, free: &FreeTime) -> Option<Vec<Gap>> {
        let ask = self.problem.items[item].asks[self.schedule]?;
        let usable_ns = self.usable_ns(item);
        let full = ask.length_ns == ask.period_ns;
        let head_ns = if full { 0 } else { self.problem.head_ns };
        let each = if self.problem.items[item].pinned[self.schedule].is_empty() {
            let periodic = pieces(&free.in_every(ask.period_ns), usable_ns, head_ns);
            let periodic = periodic.map(|gaps| self.repeated(&gaps, ask.period_ns));
            match periodic {
                Some(gaps) if gaps.len() as u64 == self.problem.frame_ns / ask.period_ns => gaps,
                periodic => fewer(periodic, self.period_by_period(item, ask.period_ns, usable_ns, head_ns, free))?,
            }
        } else {
            self.period_by_period(item, ask.period_ns, usable_ns, head_ns, free)?
        };
        Some(joined(each))
    }

    fn repeated(&self, gaps: &[Gap], period_ns: u64) -> Vec<Gap> {
        let begins = (0..self.problem.frame_ns).step_by(period_ns.max(1) as usize);
        begins.flat_map(|begin| gaps.iter().map(move |gap| (gap.0 + begin, gap.1 + begin))).collect()
    }

    /// Every period for itself, beside the pinned windows of the item.
    fn period_by_period(
        &self,
        item: usize,
        period_ns: u64,
        usable_ns: u64,
        head_ns: u64,
        free: &FreeTime,
    ) -> Option<Vec<Gap>> {
        let mut all = Vec::new();
        for begin in (0..self.problem.frame_ns).step_by(period_ns.max(1) as usize) {
            let end = begin + period_ns;
            let pinned_ns = self.pinned_usable_ns(item, begin, end);
            if pinned_ns < usable_ns {
                all.extend(pieces(&free.within(begin, end), usable_ns - pinned_ns, head_ns)?);
            }
        }
        Some(all)
    }

    /// The usable time that the item's pinned windows give in `[begin, end)`, each with a head of its own; all that is
    /// asked for where they are as long as the budget, which holds their heads however many they are.
    fn pinned_usable_ns(&self, item: usize, begin: u64, end: u64) -> u64 {
        let windows = &self.problem.items[item].pinned[self.schedule];
        let inside = |w: &Window, head_ns: u64| {
            let from = w.start.ns().saturating_add(head_ns).max(begin);
            w.end().ns().min(end).saturating_sub(from)
        };
        let ask = self.problem.items[item].asks[self.schedule];
        let whole = ask.is_some_and(|ask| windows.iter().map(|w| inside(w, 0)).sum::<u64>() >= ask.length_ns);
        let usable_ns = windows.iter().map(|w| inside(w, self.problem.head_ns)).sum();
        let asked_ns = ask.map_or(0, |ask| self.usable_of(ask.length_ns, ask.period_ns));
        if whole { asked_ns.max(usable_ns) } else { usable_ns }
    }

    /// The first item in order that is known to miss something, and what.
    fn first_missed(&self, windows: &[Window]) -> Option<(usize, String)> {
        self.order.iter().find_map(|item| match self.judge(*item, windows) {
            Finding::Missed(misses) => Some((*item, misses.join("; "))),
            Finding::Met | Finding::Unknown(_) => None,
        })
    }

    fn judge(&self, item: usize, windows: &[Window]) -> Finding {
        let one = &self.problem.items[item];
        let table = CoreTable { core: self.core, windows: windows.to_vec() };
        let merged = table.merged(one.partition, one.virtual_core, Duration::from_ns(self.problem.frame_ns));
        match supply_of(&merged, self.problem.frame_ns, self.problem.head_ns) {
            Ok(supply) => one.workloads[self.schedule].judge(&supply),
            Err(_) => Finding::Missed(vec![format!("the windows of {} overlap", one.name)]),
        }
    }

    fn extra_windows(&self, windows: &[Window]) -> u64 {
        let fewest: u64 = self
            .order
            .iter()
            .filter_map(|item| self.problem.items[*item].asks[self.schedule])
            .map(|ask| self.problem.frame_ns / ask.period_ns / ask.parts)
            .sum();
        (windows.len() as u64).saturating_sub(fewest)
    }
}

/// The shorter of two lists of windows; the first where both are as long.
fn fewer(one: Option<Vec<Gap>>, other: Option<Vec<Gap>>) -> Option<Vec<Gap>> {
    [one, other].into_iter().flatten().min_by_key(Vec::len)
}

fn joined(gaps: Vec<Gap>) -> Vec<Gap> {
    let mut joined: Vec<Gap> = Vec::with_capacity(gaps.len());
    for gap in gaps {
        match joined.last_mut() {
            Some(last) if last.1 == gap.0 => last.1 = gap.1,
            _ => joined.push(gap),
        }
    }
    joined
}
