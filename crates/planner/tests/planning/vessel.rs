//! The survey vessel, planned from its demands.

use crate::checker;
use crate::common::{plan, plan_keeping, vessel_file, vessel_with};
use diagnostic::Sources;
use model::System;
use plan::{Plan, Window, read_plan, write_plan};
use planner::{Answer, Options};
use quantity::{Duration, PartitionId};
use std::ops::ControlFlow;
use timing::response::{Response, free_running::worst_responses};
use timing::supply::{Interval, Supply};
use timing::{Release, Task, TaskSet};

/// The platform sheet of the vessel: switch and refill, context switch, jitter, longest section, wait of a line request.
const HEAD_NS: u64 = 40_000;
const CONTEXT_SWITCH_NS: u64 = 4_000;
const JITTER_NS: u64 = 10_000;
const BLOCKING_NS: u64 = 60_000;
const LINE_WAIT_NS: u64 = 200;

fn published(system: &System) -> Plan {
    let (plan, diagnostics) = read_plan("plan.toml", &vessel_file("plan.toml"), system, &mut Sources::new());
    assert_eq!(diagnostics, []);
    plan.expect("the published plan")
}

/// Asserts that every response under the plan's windows keeps its deadline, with the charged times of the published table.
fn assert_deadlines(system: &System, plan: &Plan) {
    for id in system.partition_ids() {
        let supply = supply(system, plan, id);
        let mut tasks: Vec<Task> = system.partition(id).tasks.iter().map(|t| charged(system.task(*t))).collect();
        // Nothing less urgent blocks the least urgent task.
        if let Some(last) = tasks.iter_mut().min_by_key(|task| task.priority) {
            last.blocking_ns = 0;
        }
        let set = TaskSet::new(&tasks).expect("tasks of the vessel");
        for (task, response) in tasks.iter().zip(worst_responses(&supply, &set)) {
            let Response::Bounded(bound) = response else { panic!("a response without bound") };
            assert!(bound.response_ns <= task.deadline_ns, "{}: {bound:?}", system.partition(id).name.value);
        }
    }
}

fn charged(task: &model::system::Task) -> Task {
    let wcet = task.wcet.expect("given").ns();
    let requests = task.line_requests.expect("given").value;
    Task {
        priority: i64::from(task.priority.expect("given").value),
        period_ns: task.period.ns(),
        deadline_ns: task.deadline.ns(),
        charged_ns: wcet + requests * LINE_WAIT_NS + 2 * CONTEXT_SWITCH_NS,
        jitter_ns: JITTER_NS,
        blocking_ns: BLOCKING_NS,
        release: Release::FreeRunning,
    }
}

fn windows(plan: &Plan, id: PartitionId) -> Vec<Window> {
    let all = plan.schedules[0].cores.iter().flat_map(|core| &core.windows);
    all.copied().filter(|w| w.partition == id).collect()
}

/// Every window without its head: a lower bound of the supply where windows touch.
fn supply(system: &System, plan: &Plan, id: PartitionId) -> Supply {
    let usable =
        windows(plan, id).into_iter().map(|w| Interval { start_ns: w.start.ns() + HEAD_NS, end_ns: w.end().ns() });
    Supply::new(system.frame.ns(), &usable.collect::<Vec<_>>()).expect("windows in order")
}

#[test]
fn a_plan_is_found_and_keeps_every_deadline() {
    let system = vessel_with("");
    let outcome = plan(&system);
    let Answer::Feasible(plan) = &outcome.answer else { panic!("{:?}", outcome) };
    checker::assert_windows(&system, plan, 0, &checker::declared(&system), HEAD_NS);
    assert!(checker::loads(&system, plan, 0).iter().all(|load| *load <= 70_000_000), "30 % of each core are left");
    assert_deadlines(&system, plan);
    checker::assert_memory(&system, plan);
    assert!(plan.made_for.is_some_and(|digest| digest.value == system.digest()));
    assert!(outcome.notes.iter().any(|note| note.starts_with("On core 0 run ")), "{:?}", outcome.notes);
}

/// Peaks by the published table: 64 N / C of every task, the largest of each core; DMA 109 MB/s; 1,280 MB/s in all.
#[test]
fn budgets_and_ways_suffice_and_are_all_given_out() {
    let system = vessel_with("");
    let outcome = plan(&system);
    let plan = outcome.answer.plan().expect("a plan");
    let budgets: Vec<u64> = plan.bandwidth.iter().map(|b| b.budget.bytes_per_s()).collect();
    assert_eq!(budgets.len(), 5);
    assert!(budgets.iter().sum::<u64>() <= 1_280_000_000);
    assert!(budgets[4] >= 109_000_000, "DMA");
    for core in &plan.schedules[0].cores {
        let partitions = core.windows.iter().flat_map(|w| &system.partition(w.partition).tasks);
        let rates = partitions.map(|t| system.task(*t)).map(|t| {
            let bytes = 64 * t.line_requests.expect("given").value * 1_000_000_000;
            bytes.div_ceil(t.wcet.expect("given").ns())
        });
        assert!(budgets[core.core.index()] >= rates.max().expect("tasks"), "core {:?}", core.core);
    }
    let masks: Vec<u64> = plan.cache.iter().map(|grant| grant.mask).collect();
    assert_eq!(masks.iter().fold(0, |all, mask| all | mask), 0xFFFF);
    assert_eq!(masks.iter().map(|mask| mask.count_ones()).sum::<u32>(), 16, "no way twice");
    assert!(
        masks.iter().all(|mask| (mask >> mask.trailing_zeros()).trailing_ones() == mask.count_ones()),
        "in one piece"
    );
}

#[test]
fn the_same_seed_gives_the_same_bytes() {
    let system = vessel_with("");
    let options = Options { seed: 7, step_limit: 2_000 };
    let text = || {
        let outcome = planner::plan(&system, None, options, &mut |_| ControlFlow::Continue(()));
        (write_plan(outcome.answer.plan().expect("a plan"), &system), outcome.notes)
    };
    assert_eq!(text(), text());
}

#[test]
fn pinned_windows_and_places_stay_bit_for_bit() {
    let system = vessel_with("");
    let mut keep = published(&system);
    let names = ["STOP", "OBJT", "BATH"];
    let ids: Vec<PartitionId> = names.iter().map(|name| system.partition_named(name).expect("a partition")).collect();
    for core in keep.schedules.iter_mut().flat_map(|table| &mut table.cores) {
        core.windows.iter_mut().for_each(|w| w.pinned = ids.contains(&w.partition));
    }
    keep.memory[5].pinned = true;
    let outcome = plan_keeping(&system, Some(&keep));
    let Answer::Feasible(plan) = &outcome.answer else { panic!("{:?}", outcome) };
    for id in &ids {
        assert_eq!(windows(plan, *id), windows(&keep, *id));
        assert_eq!(checker::core_of(plan, *id, 0), checker::core_of(&keep, *id, 0));
    }
    assert!(plan.memory.contains(&keep.memory[5]));
    assert_deadlines(&system, plan);
    checker::assert_memory(&system, plan);
}

#[test]
fn a_plan_that_is_all_pinned_stays_whole() {
    let system = vessel_with("");
    let mut keep = published(&system);
    let cores = keep.schedules.iter_mut().flat_map(|table| &mut table.cores);
    cores.flat_map(|core| &mut core.windows).for_each(|w| w.pinned = true);
    let outcome = plan_keeping(&system, Some(&keep));
    let plan = outcome.answer.plan().unwrap_or_else(|| panic!("{outcome:?}"));
    assert_eq!(plan.schedules, keep.schedules);
    assert_deadlines(&system, plan);
}

/// From the vessel's seeded findings: the demand of OBJT grown by 8 % misses with its budget, so it gets more time.
#[test]
fn a_budget_that_is_too_small_is_enlarged_and_said() {
    let mut system = vessel_with("");
    let objt = system.partition_named("OBJT").expect("a partition");
    for id in system.partition(objt).tasks.clone() {
        let task = &mut system.tasks[id.index()];
        task.wcet = task.wcet.map(|wcet| wcet.map(|wcet| Duration::from_ns(wcet.ns() * 109 / 100)));
        task.line_requests = task.line_requests.map(|n| n.map(|n| n * 108 / 100));
    }
    let outcome = plan(&system);
    let said = "OBJT misses a deadline with its budget of 8.2 ms every 20 ms";
    assert!(outcome.notes.iter().any(|note| note.starts_with(said)), "{outcome:?}");
    if let Some(plan) = outcome.answer.plan() {
        assert_deadlines(&system, plan);
    }
}

fn listener(budget: &str) -> System {
    let more = format!("guest = \"fixed priority\"\nperiod = \"100 ms\"\nbudget = \"{budget}\"\nram = \"16 MiB\"\n");
    vessel_with(&format!("\n[[partition]]\nname = \"WHAL\"\nlevel = \"none\"\nzone = \"Z-SURVEY\"\n{more}"))
}

/// From the vessel's seeded findings: 6 ms for a new partition fit no core as they are allocated. Moved about, they do:
/// 277.5 of 280 ms. By arithmetic, 9 ms more are 280.5 ms.
#[test]
fn a_partition_more_fits_after_moving_others_about() {
    let system = listener("6 ms");
    let outcome = plan(&system);
    let Answer::Feasible(plan) = &outcome.answer else { panic!("{outcome:?}") };
    checker::assert_windows(&system, plan, 0, &checker::declared(&system), HEAD_NS);
    assert_deadlines(&system, plan);
    let outcome = crate::common::plan(&listener("9 ms"));
    let Answer::Impossible(reasons) = &outcome.answer else { panic!("{outcome:?}") };
    assert!(reasons[0].contains("ask for 280.5 ms a frame (280.5 % of one core) in all"), "{reasons:?}");
    assert!(reasons[0].contains("may give 280 ms a frame (280 % of one core)"), "{reasons:?}");
}

/// From the vessel's other schedules: OBJT grows to 9 ms in Transit, which needs the growth rule waived.
#[test]
fn every_schedule_is_planned_once_the_growth_rule_is_waived() {
    let outcome = plan(&vessel_with(SCHEDULES));
    let Answer::Impossible(reasons) = &outcome.answer else { panic!("{outcome:?}") };
    assert!(reasons[0].contains("a partition stays on its core in all of them, and no way fits all"), "{reasons:?}");
    let system = vessel_with(&(SCHEDULES.to_owned() + WAIVED));
    let outcome = plan(&system);
    let Answer::Feasible(plan) = &outcome.answer else { panic!("{outcome:?}") };
    let demands = checker::declared(&system);
    let named = |name: &str| system.partition_named(name).expect("a partition");
    let changed = |idle: &[&str], budgets: &[(&str, u64)]| -> Vec<checker::Demand> {
        let runs = demands.iter().filter(|d| idle.iter().all(|name| named(name) != d.0));
        let budget = |d: &checker::Demand| budgets.iter().find(|b| named(b.0) == d.0).map_or(d.3, |b| b.1);
        runs.map(|d| (d.0, d.1, d.2, budget(d))).collect()
    };
    checker::assert_windows(&system, plan, 0, &demands, HEAD_NS);
    let transit = changed(&["BATH"], &[("SONR", 2_000_000), ("OBJT", 9_000_000)]);
    checker::assert_windows(&system, plan, 1, &transit, HEAD_NS);
    let harbour = changed(&["TRAK", "OBJT", "COLA", "SONR", "BATH"], &[("MAIN", 42_000_000)]);
    checker::assert_windows(&system, plan, 2, &harbour, HEAD_NS);
}

const WAIVED: &str = r#"
[[accepted]]
claim = "margin/core/1@Transit"
reason = "no survey in transit, so SONR and BATH need little"
owner = "integrator"
until = "2030-12-31"
"#;

/// The vessel's other module schedules, as its designer gives them.
const SCHEDULES: &str = r#"
[[schedule]]
name = "Survey"

[[schedule]]
name = "Transit"

[[schedule.partition]]
name = "SONR"
budget = "2 ms"
active_tasks = ["SONR.svp"]

[[schedule.partition]]
name = "BATH"
idle = true

[[schedule.partition]]
name = "OBJT"
budget = "9 ms"

[[schedule]]
name = "Harbour maintenance"

[[schedule.partition]]
name = "TRAK"
idle = true

[[schedule.partition]]
name = "OBJT"
idle = true

[[schedule.partition]]
name = "COLA"
idle = true

[[schedule.partition]]
name = "SONR"
idle = true

[[schedule.partition]]
name = "BATH"
idle = true

[[schedule.partition]]
name = "MAIN"
budget = "42 ms"
"#;
