//! The survey vessel: window table, tasks and published table of responses of the demo system, with the
//! figures typed from its page (all in us there). The page's numbers were computed apart from this program.

use super::figures::{self, LINE_REQUEST_NS, PARTITIONS, Variant, partition, us};
use timing::response::{self, Response, free_running};
use timing::{Release, Task, TaskSet, sensitivity};

fn responses(variant: &Variant, name: &str) -> Vec<(&'static str, Response)> {
    let partition = partition(name);
    let (supply, tasks) = variant.system(partition);
    let found = free_running::worst_responses(&supply, &tasks);
    partition.tasks.iter().map(|task| task.name).zip(found).collect()
}

fn response_ns(variant: &Variant, partition: &str, task: &str) -> Option<u64> {
    let all = responses(variant, partition);
    let (_, response) = all.iter().find(|(name, _)| *name == task).expect("a task of the page");
    response.bound().map(|bound| bound.response_ns)
}

/// Milliseconds with one digit, rounded to the nearest, as the page prints them.
fn tenths_of_ms(ns: Option<u64>) -> Option<u64> {
    ns.map(|ns| (ns + 50_000) / 100_000)
}

#[test]
fn all_responses_of_the_page() {
    let mut compared = 0;
    for partition in PARTITIONS {
        let found = responses(&Variant::default(), partition.name);
        for (task, (_, response)) in partition.tasks.iter().zip(found) {
            let bound = response.bound().expect("every task of the vessel is bounded");
            assert_eq!(bound.response_ns, us(task.response_us), "{}.{}", partition.name, task.name);
            assert!(bound.exactness.is_exact(), "priorities differ and every lower task passes 60 us");
            assert!(bound.response_ns <= us(task.period_us));
            compared += 1;
        }
    }
    assert_eq!(compared, 39);
}

#[test]
fn utilisation_of_usable_supply_and_blackouts_of_the_page() {
    for partition in PARTITIONS {
        let (supply, _) = Variant::default().system(partition);
        let demand_ns: u64 = partition.tasks.iter().map(|t| us(task_charged(t)) * 100_000 / t.period_us).sum();
        let per_mille = (demand_ns * 1000 + supply.per_frame_ns() / 2) / supply.per_frame_ns();
        assert_eq!(per_mille, partition.utilisation_per_mille, "{}", partition.name);
        assert_eq!(supply.blackout_ns(), Some(us(partition.blackout_us)), "{}", partition.name);
    }
}

fn task_charged(task: &figures::TaskRow) -> u64 {
    let charged_ns = Variant::default().charged_ns(task);
    assert_eq!(charged_ns, us(task.charged_us), "{}", task.name);
    task.charged_us
}

#[test]
fn more_demand_in_the_tracker_stays_inside_it() {
    let three = Variant { growth_per_mille: ("OBJT", 1030), ..Variant::default() };
    let eight = Variant { growth_per_mille: ("OBJT", 1080), ..Variant::default() };
    for (task, deadline_us) in [("radar", 50_000), ("cam", 50_000), ("trk", 50_000), ("ais", 100_000)] {
        assert!(response_ns(&three, "OBJT", task).is_some_and(|r| r <= us(deadline_us)), "{task}");
    }
    assert_eq!(tenths_of_ms(response_ns(&eight, "OBJT", "trk")), Some(783));
}

#[test]
fn the_same_recorder_budget_in_two_windows_misses() {
    let two = Variant { windows: Some(("RECD", &[(9_000, 10_000), (49_000, 10_000)])), ..Variant::default() };
    assert_eq!(tenths_of_ms(response_ns(&two, "RECD", "writer")), Some(545));
    // The page's figure is that of the first job; the whole busy window is examined here.
    assert!(tenths_of_ms(response_ns(&two, "RECD", "index")) >= Some(910));
}

#[test]
fn slower_lines() {
    let slow = Variant { line_request_ns: 240, ..Variant::default() };
    assert_eq!(tenths_of_ms(response_ns(&slow, "OBJT", "trk")), Some(783));
    assert!(tenths_of_ms(response_ns(&slow, "SONR", "beam")) >= Some(350));
    let all = responses(&slow, "SONR");
    let Response::Unbounded(shortfall) = &all[2].1 else { panic!("svp has no bound: {all:?}") };
    assert_eq!(shortfall.to_string(), "848 us");
}

#[test]
fn one_more_master() {
    let five = Variant { line_request_ns: LINE_REQUEST_NS / 4 * 5, ..Variant::default() };
    assert_eq!(tenths_of_ms(response_ns(&five, "OBJT", "trk")), Some(788));
    let all = responses(&five, "SONR");
    let Response::Unbounded(shortfall) = &all[2].1 else { panic!("svp has no bound: {all:?}") };
    assert_eq!(shortfall.ceil_ns(), 1_863_000);
}

#[test]
fn slower_refill_and_a_moved_window_still_hold() {
    let refill = Variant { head_us: 15 + 60, ..Variant::default() };
    let late: Vec<(u64, u64)> = (0..10).map(|k| (10_000 * k + 9_000, 1_000)).collect();
    let moved = Variant { windows: Some(("STOP", late.leak())), ..Variant::default() };
    for variant in [&refill, &moved] {
        for partition in PARTITIONS {
            for (task, (name, response)) in partition.tasks.iter().zip(responses(variant, partition.name)) {
                assert!(response.bound().is_some_and(|b| b.response_ns <= us(task.period_us)), "{name}");
            }
        }
    }
}

/// The page names these with everything aligned at offset 0; the tracker's first three are as free-running.
#[test]
fn aligned_responses_of_the_page() {
    let aligned = Variant { release: Release::FrameAligned { offset_ns: 0 }, ..Variant::default() };
    let named = [("STOP", "estop", 368), ("TRAK", "guid", 848), ("LINK", "rx", 908)];
    let same = ["radar", "cam", "trk"].map(|name| {
        let row = partition("OBJT").tasks.iter().find(|task| task.name == name).expect("a task of the page");
        ("OBJT", name, row.response_us)
    });
    for (partition_name, task, expected_us) in named.into_iter().chain(same) {
        let (supply, tasks) = aligned.system(partition(partition_name));
        let position =
            partition(partition_name).tasks.iter().position(|row| row.name == task).expect("a task of the page");
        let found = response::worst_responses(&supply, &tasks);
        let bound = found[position].bound().expect("bounded");
        assert_eq!(bound.response_ns, us(expected_us), "{partition_name}.{task}");
    }
}

#[test]
fn aligned_responses_are_never_above_free_running_ones() {
    let aligned = Variant { release: Release::FrameAligned { offset_ns: 0 }, ..Variant::default() };
    for partition in PARTITIONS {
        let (supply, tasks) = aligned.system(partition);
        for (task, found) in partition.tasks.iter().zip(response::worst_responses(&supply, &tasks)) {
            assert!(found.bound().is_some_and(|b| b.response_ns <= us(task.response_us)), "{}", task.name);
        }
    }
}

#[test]
fn growth_factors_of_the_page() {
    for partition in PARTITIONS {
        let (supply, tasks) = Variant::default().system(partition);
        let factor_ppm = sensitivity::common_factor_ppm(&supply, &tasks);
        assert_eq!(factor_ppm / 1000, partition.growth_per_mille, "{}", partition.name);
    }
}

/// The largest charged time of each task alone holds, and one ns more does not.
#[test]
fn largest_charged_times_are_the_last_that_hold() {
    let releases = [Release::FreeRunning, Release::FrameAligned { offset_ns: 0 }];
    for (partition, release) in PARTITIONS.iter().flat_map(|p| releases.map(|release| (p, release))) {
        let variant = Variant { release, ..Variant::default() };
        let (supply, tasks) = variant.system(partition);
        for (k, largest_ns) in sensitivity::largest_charged_ns(&supply, &tasks).into_iter().enumerate() {
            assert!(largest_ns >= variant.tasks(partition)[k].charged_ns);
            assert!(holds_with(&variant, partition, k, largest_ns), "{} {k}", partition.name);
            assert!(!holds_with(&variant, partition, k, largest_ns + 1), "{} {k}", partition.name);
        }
    }
}

fn holds_with(variant: &Variant, partition: &figures::PartitionRow, k: usize, charged_ns: u64) -> bool {
    let (supply, _) = variant.system(partition);
    let mut tasks = variant.tasks(partition);
    tasks[k].charged_ns = charged_ns;
    let set = TaskSet::new(&tasks).expect("well-formed tasks");
    let found = response::worst_responses(&supply, &set);
    let in_time = |(task, found): (&Task, &Response)| found.bound().is_some_and(|b| b.response_ns <= task.deadline_ns);
    tasks.iter().zip(&found).all(in_time)
}

/// The tracker at +8 % misses: its factor is now below 1 and restores the growth that the page allows.
#[test]
fn a_partition_that_misses_has_a_factor_below_one() {
    let eight = Variant { growth_per_mille: ("OBJT", 1080), ..Variant::default() };
    let (supply, tasks) = eight.system(partition("OBJT"));
    let factor_ppm = sensitivity::common_factor_ppm(&supply, &tasks);
    assert_eq!(factor_ppm * 1080 / 1_000_000, 1034);
    let (supply, nothing_helps) = Variant { head_us: 999, ..Variant::default() }.system(partition("STOP"));
    assert_eq!(sensitivity::common_factor_ppm(&supply, &nothing_helps), 0);
}
