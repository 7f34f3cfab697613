//! Why no allocation exists: a least set of demands that conflict, their numbers, and what would mend it.
//!
//! Computes: a set of units of which none can be left out without the rest fitting, and for one of them the longest
//! window with which all fit.
//! Source: deletion filter for irreducible conflicting sets: Chinneck & Dravnieks 1991.
//! Assumptions: loads and limits as in the search; heads of further windows are left out, so that the proof holds whatever
//! the table looks like.
//! Invariants and why it ends: one search a unit; a search that reaches its limit keeps its unit.
//! Checked by: the planner's tests on impossible systems.

use crate::allocation::{Cores, Ending, Search, Unit, largest_first};
use crate::answer::{Clock, Report};
use crate::packing;
use crate::problem::{Problem, load_text};
use crate::text::{list, share};
use quantity::{Duration, Rate};

/// Steps of one search of the explanation.
const STEPS: u64 = 20_000;

/// Tells why these units, each with what it takes in any plan, fit no cores. Returns whether that is proven.
pub(crate) fn explain(
    problem: &Problem<'_>,
    units: &[Unit],
    cores: &Cores,
    clock: &mut Clock<'_>,
    report: &mut Report,
) -> bool {
    let mut core_set: Vec<usize> = (0..units.len()).collect();
    let whole = search(units, &core_set, cores, clock);
    if !whole.complete || whole.best.is_some() {
        return false;
    }
    for unit in (0..units.len()).rev() {
        let without: Vec<usize> = core_set.iter().copied().filter(|other| *other != unit).collect();
        let ending = search(units, &without, cores, clock);
        if ending.complete && ending.best.is_none() {
            core_set = without;
        }
    }
    report.impossible(reason(problem, units, &core_set, cores, clock));
    if let Some(mend) = mend(problem, units, &core_set, cores, clock) {
        report.note(mend);
    }
    true
}

/// Looks for an allocation of some of the units by their loads alone, while the caller's steps last.
fn search(units: &[Unit], some: &[usize], cores: &Cores, clock: &mut Clock<'_>) -> Ending {
    let order = largest_first(units).into_iter().filter(|unit| some.contains(unit)).collect();
    let found_before = clock.extra_windows;
    let ending = Search::new(units, order, cores, None, &mut |_, _| Some(0), clock, STEPS).run();
    clock.extra_windows = found_before;
    ending
}

fn reason(problem: &Problem<'_>, units: &[Unit], set: &[usize], cores: &Cores, clock: &mut Clock<'_>) -> String {
    let names: Vec<String> =
        set.iter().flat_map(|unit| &units[*unit].items).map(|item| problem.items[*item].name.clone()).collect();
    let hosts: Vec<usize> = (0..cores.capacity_ns.len())
        .filter(|core| cores.capacity_ns[*core].is_some() && set.iter().any(|unit| units[*unit].allowed[*core]))
        .collect();
    let host_names = list(&hosts.iter().map(|core| problem.core_name(*core)).collect::<Vec<_>>());
    let all_apart = set.iter().all(|one| set.iter().all(|other| one == other || units[*one].apart.contains(other)));
    if all_apart && set.len() > hosts.len() {
        return format!("{} must each have a core of their own, and only {host_names} may hold them", list(&names));
    }
    let ask = if names.len() == 1 { "asks" } else { "ask" };
    let names = list(&names);
    let worst = (0..problem.schedules()).max_by_key(|s| std::cmp::Reverse(spare_ns(units, set, cores, &hosts, *s)));
    let schedule = worst.unwrap_or(0);
    let asked = set.iter().fold(0u64, |sum, unit| sum.saturating_add(units[*unit].load_ns[schedule]));
    let room = hosts.iter().filter_map(|core| cores.capacity_ns[*core].as_ref()).map(|c| c[schedule]);
    let room: u64 = room.fold(0, u64::saturating_add);
    let numbers = format!(
        "{names} {ask} for {} in all{}, and {host_names} may give {}",
        sum_text(asked, problem.frame_ns),
        problem.in_schedule(schedule),
        sum_text(room, problem.frame_ns)
    );
    if asked > room {
        return numbers;
    }
    let without_peaks = Cores { capacity_ns: cores.capacity_ns.clone(), peak_limit: None };
    if search(units, set, &without_peaks, clock).best.is_some() {
        let limit = Rate::from_bytes_per_s(cores.peak_limit.unwrap_or(0));
        return format!("{names} fit no cores such that the peaks of their memory traffic keep to {limit} in all");
    }
    match (0..problem.schedules()).find(|alone| never_fits_alone(units, set, cores, *alone, clock)) {
        Some(alone) => format!("{numbers}, but {}", why_unpacked(problem, units, set, cores, &hosts, alone)),
        None => format!(
            "{numbers}; {} could be shared out alone, but a partition stays on its core in all of them, and no way fits all",
            list(&problem.system.schedules.iter().map(|s| format!("schedule {}", s.name.value)).collect::<Vec<_>>())
        ),
    }
}

/// A time of all cores together, for sentences: `280 ms a frame (280 % of one core)`.
fn sum_text(load_ns: u64, frame_ns: u64) -> String {
    format!("{} a frame ({} of one core)", Duration::from_ns(load_ns), share(load_ns, frame_ns))
}

/// Whether it is proven that the units cannot be shared out even where only one schedule counts.
fn never_fits_alone(units: &[Unit], set: &[usize], cores: &Cores, schedule: usize, clock: &mut Clock<'_>) -> bool {
    let only =
        |loads: &mut Vec<u64>| loads.iter_mut().enumerate().filter(|(s, _)| *s != schedule).for_each(|(_, l)| *l = 0);
    let mut alone = units.to_vec();
    alone.iter_mut().for_each(|unit| only(&mut unit.load_ns));
    let ending = search(&alone, set, cores, clock);
    ending.complete && ending.best.is_none()
}

/// How much more the hosts bear than is asked, below zero where less.
fn spare_ns(units: &[Unit], set: &[usize], cores: &Cores, hosts: &[usize], schedule: usize) -> i128 {
    let room: i128 =
        hosts.iter().filter_map(|core| cores.capacity_ns[*core].as_ref()).map(|c| i128::from(c[schedule])).sum();
    room - set.iter().map(|unit| i128::from(units[*unit].load_ns[schedule])).sum::<i128>()
}

/// The sum would fit: say how many cores a packing needs, or that the wishes for cores stand in its way.
fn why_unpacked(
    problem: &Problem<'_>,
    units: &[Unit],
    set: &[usize],
    cores: &Cores,
    hosts: &[usize],
    schedule: usize,
) -> String {
    let loads: Vec<u64> = set.iter().map(|unit| units[*unit].load_ns[schedule]).collect();
    let largest = hosts.iter().filter_map(|core| cores.capacity_ns[*core].as_ref()).map(|c| c[schedule]).max();
    let capacity = largest.unwrap_or(0);
    match packing::pack(&loads, capacity, STEPS) {
        Ok(packing) if packing.lower_bound > hosts.len() => format!(
            "no way to share them out fits: {} cores of {} would be needed, there are {}",
            packing.lower_bound,
            load_text(capacity, problem.frame_ns),
            hosts.len()
        ),
        Ok(_) => "their wishes for cores, and to be together or apart, leave no way to share them out".to_owned(),
        Err(packing::PackingError::ItemTooLarge(_)) => {
            format!("one of them alone asks for more than the {} that a core may give", Duration::from_ns(capacity))
        }
    }
}

/// The least shortening of one demand of the set with which everything fits.
fn mend(problem: &Problem<'_>, units: &[Unit], set: &[usize], cores: &Cores, clock: &mut Clock<'_>) -> Option<String> {
    let all: Vec<usize> = (0..units.len()).collect();
    let ways = set.iter().filter_map(|unit| {
        let [item] = units[*unit].items.as_slice() else { return None };
        let length_ns = longest_that_fits(problem, units, &all, *unit, *item, cores, clock)?;
        let ask = problem.items[*item].asks.iter().flatten().next()?;
        Some(((ask.length_ns - length_ns) * (problem.frame_ns / ask.period_ns), *item, length_ns, ask))
    });
    let (_, item, length_ns, ask) = ways.min_by_key(|way| (way.0, way.1))?;
    Some(format!(
        "It would fit if {} asked for at most {} in every {} instead of {}.",
        problem.items[item].name,
        Duration::from_ns(length_ns),
        Duration::from_ns(ask.period_ns),
        Duration::from_ns(ask.length_ns)
    ))
}

/// By halving: the longest window of the item, the same in every schedule where it runs, with which all units fit.
fn longest_that_fits(
    problem: &Problem<'_>,
    units: &[Unit],
    all: &[usize],
    unit: usize,
    item: usize,
    cores: &Cores,
    clock: &mut Clock<'_>,
) -> Option<u64> {
    let declared = |schedule| problem.needed_ns(item, schedule) == problem.load_ns(item, schedule);
    if !(0..problem.schedules()).all(declared) {
        return None; // What it asks for is our choice and not in its way.
    }
    let mut asks = problem.items[item].asks.iter().flatten();
    let ask = asks.next()?;
    if asks.any(|other| other != ask) || problem.items[item].pinned.iter().any(|pinned| !pinned.is_empty()) {
        return None;
    }
    let mut fits = |length_ns: u64| {
        let mut shorter = units.to_vec();
        let load = length_ns * (problem.frame_ns / ask.period_ns);
        shorter[unit].load_ns.iter_mut().filter(|l| **l > 0).for_each(|l| *l = load);
        search(&shorter, all, cores, clock).best.is_some()
    };
    let (mut low, mut high) = (problem.head_ns / problem.grid_ns + 1, ask.length_ns / problem.grid_ns);
    if low >= high || !fits(low * problem.grid_ns) {
        return None;
    }
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if fits(middle * problem.grid_ns) { low = middle } else { high = middle }
    }
    Some(low * problem.grid_ns)
}
