//! Items that share a core, and items that must not.

use crate::allocation::Unit;
use crate::answer::Report;
use crate::bandwidth::peak_of_item;
use crate::problem::Problem;
use crate::text::list;
use quantity::PartitionId;

/// The units of a problem; contradictions go into the report.
///
/// Partitions kept together share the core of each virtual core that both have.
pub(crate) fn units(problem: &Problem<'_>, report: &mut Report) -> Vec<Unit> {
    let groups = groups(problem);
    let mut units: Vec<Unit> = groups.iter().map(|items| unit(problem, items)).collect();
    for (index, items) in groups.iter().enumerate() {
        let apart = |other: &usize| *other != index && any_apart(problem, items, &groups[*other]);
        units[index].apart = (0..groups.len()).filter(apart).collect();
        report_contradictions(problem, items, &units[index], report);
    }
    units
}

/// Items by the partitions they must share a core with, each group in item order.
fn groups(problem: &Problem<'_>) -> Vec<Vec<usize>> {
    let count = problem.items.len();
    let mut root: Vec<usize> = (0..count).collect();
    for (index, item) in problem.items.iter().enumerate() {
        for other in &problem.system.partition(item.partition).together_with {
            let same = |o: &crate::problem::Item| o.partition == other.value && o.virtual_core == item.virtual_core;
            if let Some(at) = problem.items.iter().position(same) {
                let (keep, drop) = (root[index].min(root[at]), root[index].max(root[at]));
                root.iter_mut().filter(|r| **r == drop).for_each(|r| *r = keep);
            }
        }
    }
    let members = |r: usize| (0..count).filter(|item| root[*item] == r).collect::<Vec<_>>();
    (0..count).filter(|item| root[*item] == *item).map(members).collect()
}

/// The same units with what they take of a frame in any plan, in place of the windows that they ask for.
pub(crate) fn needing(problem: &Problem<'_>, units: &[Unit]) -> Vec<Unit> {
    let needed = |items: &[usize], schedule: usize| {
        items.iter().fold(0u64, |sum, i| sum.saturating_add(problem.needed_ns(*i, schedule)))
    };
    let unit = |unit: &Unit| {
        let load_ns = (0..problem.schedules()).map(|schedule| needed(&unit.items, schedule)).collect();
        Unit { load_ns, ..unit.clone() }
    };
    units.iter().map(unit).collect()
}

fn unit(problem: &Problem<'_>, items: &[usize]) -> Unit {
    let cores = problem.capacity_ns.len();
    let load = |schedule: usize| items.iter().fold(0u64, |sum, i| sum.saturating_add(problem.load_ns(*i, schedule)));
    let peak = |i: &usize| {
        let item = &problem.items[*i];
        peak_of_item(problem.system, item.partition, item.virtual_core)
    };
    Unit {
        items: items.to_vec(),
        allowed: (0..cores).map(|core| items.iter().all(|i| problem.items[*i].allowed[core])).collect(),
        load_ns: (0..problem.schedules()).map(load).collect(),
        peak: items.iter().map(peak).max().unwrap_or(0),
        apart: Vec::new(),
    }
}

fn any_apart(problem: &Problem<'_>, some: &[usize], others: &[usize]) -> bool {
    some.iter().any(|one| others.iter().any(|other| are_apart(problem, *one, *other)))
}

/// Virtual cores of one partition have cores of their own; partitions are apart where either says so.
fn are_apart(problem: &Problem<'_>, one: usize, other: usize) -> bool {
    let (a, b) = (problem.items[one].partition, problem.items[other].partition);
    let says = |from: PartitionId, of: PartitionId| {
        problem.system.partition(from).apart_from.iter().any(|apart| apart.value == of)
    };
    if a == b { one != other } else { says(a, b) || says(b, a) }
}

fn report_contradictions(problem: &Problem<'_>, items: &[usize], unit: &Unit, report: &mut Report) {
    let names: Vec<String> = items.iter().map(|i| problem.items[*i].name.clone()).collect();
    for (at, one) in items.iter().enumerate() {
        for other in items[at + 1..].iter().filter(|other| are_apart(problem, *one, **other)) {
            let (one, other) = (&problem.items[*one].name, &problem.items[*other].name);
            report.impossible(format!("{one} and {other} must share a core and must not share one"));
        }
    }
    if !unit.allowed.contains(&true) {
        report.impossible(format!("{} must share a core, and no core may hold all of them", list(&names)));
    }
}
