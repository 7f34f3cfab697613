//! The window tables of all cores: allocation and placement together.

use crate::allocation::{Cores, Search, Unit, largest_first};
use crate::answer::{Clock, Options, Report};
use crate::conflict;
use crate::core_plan::{CorePlan, plan_core};
use crate::problem::{Problem, load_text};
use crate::random::Random;
use crate::repair::repair;
use crate::text::list;
use crate::units::{needing, units};
use plan::{CoreTable, ScheduleTable};
use quantity::{CoreId, PartitionId, ScheduleId};
use std::collections::BTreeMap;

/// What the search for tables found.
pub(crate) struct Tables {
    pub(crate) schedules: Vec<ScheduleTable>,
    pub(crate) extra_windows: u64,
    /// The partitions on each core, those without windows too, with their virtual core.
    pub(crate) on_core: Vec<Vec<(PartitionId, u32)>>,
}

/// The searches in other orders that may follow the first.
const RESTARTS: u64 = 8;

/// Allocates the items and places their windows; what stands in the way goes into the report.
pub(crate) fn tables(
    problem: &Problem<'_>,
    options: Options,
    clock: &mut Clock<'_>,
    report: &mut Report,
) -> Option<Tables> {
    let units = units(problem, report);
    if report.is_impossible() {
        return None;
    }
    let cores = Cores::of(problem, crate::bandwidth::limit_for_cores(problem.system));
    let by_sums = allocation_by_sums(problem, &units, &cores, options, clock, report)?;
    let mut bench = CorePlans { problem, units: &units, known: BTreeMap::new() };
    let Some((core_of, extra_windows)) = allocation_with_windows(&mut bench, &cores, &by_sums, options, clock) else {
        report.open(why_not_placed(&mut bench, &by_sums, clock));
        return None;
    };
    let plans = bench.of_allocation(&core_of)?;
    note_loads(problem, &plans, report);
    Some(assembled(problem, &plans, extra_windows, &units, &core_of))
}

/// An allocation that the sums allow: by search, and by repair where the search reaches its limit. Without one, whether
/// that is proven.
fn allocation_by_sums(
    problem: &Problem<'_>,
    units: &[Unit],
    cores: &Cores,
    options: Options,
    clock: &mut Clock<'_>,
    report: &mut Report,
) -> Option<Vec<usize>> {
    let steps = clock.limit / 4;
    let ending = Search::new(units, largest_first(units), cores, None, &mut |_, _| Some(0), clock, steps).run();
    clock.extra_windows = None;
    if let Some((core_of, _)) = ending.best {
        return Some(core_of);
    }
    if ending.complete {
        if !conflict::explain(problem, &needing(problem, units), cores, clock, report) {
            report.open(
                "no allocation of partitions to cores was found for the windows that keep their deadlines: equal ones, \
                 one in each period; other windows may do with less",
            );
        }
        return None;
    }
    let repaired = repair(units, cores, &mut Random::new(options.seed), clock, steps);
    if repaired.is_none() {
        let why = if clock.is_over() {
            clock.why_over()
        } else {
            format!("{steps} steps of search and of repair ended without one")
        };
        report.open(format!("no allocation of partitions to cores was found: {why}"));
    }
    repaired
}

/// The allocation with the fewest windows that can be found, and its windows beyond one a period.
fn allocation_with_windows(
    bench: &mut CorePlans<'_>,
    cores: &Cores,
    by_sums: &[usize],
    options: Options,
    clock: &mut Clock<'_>,
) -> Option<(Vec<usize>, u64)> {
    let units = bench.units;
    let mut random = Random::new(options.seed);
    let mut order = largest_first(units);
    for restart in 0..=RESTARTS {
        let steps = (clock.limit - clock.steps.min(clock.limit)).div_ceil(2);
        // Every other search begins with the allocation that is known to keep the sums.
        let first = (restart % 2 == 1).then_some(by_sums);
        let mut cost = |core: usize, on_core: &[usize]| bench.extra_windows(core, on_core);
        let ending = Search::new(units, order.clone(), cores, first, &mut cost, clock, steps).run();
        if ending.best.is_some() || ending.complete || clock.is_over() {
            return ending.best;
        }
        for _ in 0..order.len() / 4 + 1 {
            let (a, b) = (random.below(order.len()), random.below(order.len()));
            order.swap(a, b);
        }
    }
    None
}

/// Core plans made so far: equal cores with equal items have equal plans.
struct CorePlans<'a> {
    problem: &'a Problem<'a>,
    units: &'a [Unit],
    known: BTreeMap<(usize, Vec<usize>), Result<CorePlan, String>>,
}

impl CorePlans<'_> {
    fn extra_windows(&mut self, core: usize, on_core: &[usize]) -> Option<u64> {
        self.plan(core, on_core).as_ref().ok().map(|plan| plan.extra_windows)
    }

    fn plan(&mut self, core: usize, on_core: &[usize]) -> &Result<CorePlan, String> {
        let mut items: Vec<usize> = on_core.iter().flat_map(|unit| &self.units[*unit].items).copied().collect();
        items.sort_unstable();
        let like = (0..core).find(|other| self.problem.capacity_ns[*other] == self.problem.capacity_ns[core]);
        let problem = self.problem;
        let key = (like.unwrap_or(core), items);
        self.known.entry(key).or_insert_with_key(|(core, items)| plan_core(problem, *core, items))
    }

    fn of_allocation(&mut self, core_of: &[usize]) -> Option<Vec<CorePlan>> {
        let cores = 0..self.problem.capacity_ns.len();
        cores.map(|core| self.plan(core, &on(core, core_of)).clone().ok()).collect()
    }
}

fn on(core: usize, core_of: &[usize]) -> Vec<usize> {
    (0..core_of.len()).filter(|unit| core_of[*unit] == core).collect()
}

/// The sums allow an allocation, the windows none that was tried: name what stood in the way in that one.
fn why_not_placed(bench: &mut CorePlans<'_>, by_sums: &[usize], clock: &Clock<'_>) -> String {
    let problem = bench.problem;
    let mut troubles = Vec::new();
    for core in 0..problem.capacity_ns.len() {
        let here = on(core, by_sums);
        if let Err(why) = bench.plan(core, &here) {
            troubles.push(format!("on {}, {why}", problem.core_name(core)));
        }
    }
    let tried = if clock.is_over() { clock.why_over() } else { "the search came to its end".to_owned() };
    match troubles.is_empty() {
        true => format!("no windows were found in which all deadlines hold: {tried}"),
        false => format!("no windows were found in which all deadlines hold ({tried}): {}", troubles.join("; ")),
    }
}

fn note_loads(problem: &Problem<'_>, plans: &[CorePlan], report: &mut Report) {
    for (core, plan) in plans.iter().enumerate() {
        let Some(capacity) = &problem.capacity_ns[core] else { continue };
        for (schedule, windows) in plan.windows.iter().enumerate() {
            let load = windows.iter().map(|w| w.length.ns()).sum();
            let mut names: Vec<String> =
                windows.iter().map(|w| problem.system.partition(w.partition).name.value.clone()).collect();
            names.sort_unstable();
            names.dedup();
            let place = format!("{}{}", problem.core_name(core), problem.in_schedule(schedule));
            report.note(match names.is_empty() {
                true => format!("On {place} no partition runs."),
                false => format!(
                    "On {place} run {}: {} windows take {}, of {} that they may take.",
                    list(&names),
                    windows.len(),
                    load_text(load, problem.frame_ns),
                    load_text(capacity[schedule], problem.frame_ns)
                ),
            });
        }
    }
}

fn assembled(
    problem: &Problem<'_>,
    plans: &[CorePlan],
    extra_windows: u64,
    units: &[Unit],
    core_of: &[usize],
) -> Tables {
    let table = |schedule: usize| {
        let with_windows = plans.iter().enumerate().filter(|(_, plan)| !plan.windows[schedule].is_empty());
        let cores = with_windows
            .map(|(core, plan)| CoreTable { core: CoreId::new(core), windows: plan.windows[schedule].clone() });
        ScheduleTable { schedule: ScheduleId::new(schedule), cores: cores.collect() }
    };
    let mut on_core = vec![Vec::new(); problem.capacity_ns.len()];
    for (unit, core) in units.iter().zip(core_of) {
        on_core[*core].extend(unit.items.iter().map(|i| (problem.items[*i].partition, problem.items[*i].virtual_core)));
    }
    problem.without_windows.iter().for_each(|(core, who)| on_core[core.index()].push(*who));
    on_core.iter_mut().for_each(|here: &mut Vec<(PartitionId, u32)>| here.sort_unstable());
    let schedules = (0..problem.schedules()).map(table).filter(|table| !table.cores.is_empty()).collect();
    Tables { schedules, extra_windows, on_core }
}
