//! From a system's demands to a plan.
//!
//! Computes: partitions on cores, windows in the frame of every module schedule, places in memory, cache ways or page
//! colours, banks, and bandwidth budgets; or the few demands that cannot all hold, with their numbers.
//! Source: see the modules; allocation is bin packing with conflicts, placement is first fit of strictly periodic windows.
//! Assumptions: none that a check would take on trust: the plan is judged afterwards like one typed by hand.
//! Invariants and why it ends: the search counts its steps and ends at a limit; no clock and no hash order takes part, so
//! the same input and seed give the same plan.
//! Checked by: the survey vessel's demands, published packings, and an independent reader of plans over generated systems.

#![deny(clippy::float_arithmetic, clippy::disallowed_types, clippy::disallowed_methods, clippy::disallowed_macros)]

mod allocation;
mod answer;
mod ask;
mod bandwidth;
mod banks;
mod cache;
mod colours;
mod conflict;
mod core_plan;
mod free_time;
mod judge;
mod memory;
mod need;
pub mod packing;
mod problem;
mod random;
mod repair;
mod tables;
mod text;
mod units;
mod workload;

pub use answer::{Answer, Options, Outcome, Progress};

use answer::{Clock, Report};
use diagnostic::{Located, Span};
use model::System;
use plan::Plan;
use problem::Problem;
use std::ops::ControlFlow;
use tables::Tables;

/// Makes a plan for `system`.
///
/// Windows and placements that `keep` marks as pinned stay exactly as they are; everything else of it is planned anew.
/// `progress` is called now and then; where it breaks, the run ends with what it has. Nothing is read or written.
pub fn plan(
    system: &System,
    keep: Option<&Plan>,
    options: Options,
    progress: &mut dyn FnMut(Progress) -> ControlFlow<()>,
) -> Outcome {
    let mut report = Report::default();
    let mut clock = Clock::new(options.step_limit, progress);
    let tables = planned_tables(system, keep, options, &mut clock, &mut report);
    let found = tables.map(|tables| {
        let extra_windows = tables.extra_windows;
        (completed(system, keep, tables, &mut report), extra_windows)
    });
    if let Some((plan, _)) = &found {
        judge::judge(system, plan, &mut report);
    }
    let answer = answer(found, &report);
    Outcome { answer, notes: report.notes }
}

fn planned_tables(
    system: &System,
    keep: Option<&Plan>,
    options: Options,
    clock: &mut Clock<'_>,
    report: &mut Report,
) -> Option<Tables> {
    let problem = Problem::new(system, keep, report)?;
    if report.is_impossible() {
        return None;
    }
    tables::tables(&problem, options, clock, report)
}

/// The tables with memory, cache ways, page colours, banks and bandwidth.
fn completed(system: &System, keep: Option<&Plan>, tables: Tables, report: &mut Report) -> Plan {
    let made_for = Some(Located::new(system.digest(), Span::NOWHERE));
    let windows = Plan { made_for, schedules: tables.schedules, ..Plan::default() };
    let (mut colours, mut coloured) = colours::colour_grants(system, &windows, &tables.on_core, report);
    let (banks, banked) = banks::bank_grants(system, &windows, &tables.on_core, &colours, report);
    colours.extend(banks);
    coloured.extend(banked);
    Plan {
        memory: memory::placements(system, keep, &coloured, report),
        cache: cache::way_grants(system, &tables.on_core, report),
        colours,
        bandwidth: bandwidth::budgets(system, &tables.on_core, report),
        ..windows
    }
}

fn answer(found: Option<(Plan, u64)>, report: &Report) -> Answer {
    let plan = found.as_ref().map(|(plan, _)| plan.clone());
    match (report.verdict(plan), found) {
        (Some(answer), _) => answer,
        (None, Some((plan, 0))) => Answer::Optimal(plan),
        (None, Some((plan, _))) => Answer::Feasible(plan),
        (None, None) => Answer::GaveUp { reasons: vec!["no window table was found".to_owned()], best: None },
    }
}
