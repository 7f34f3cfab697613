//! When partitions are operational.

use super::system::{Draw, find, judge, preamble, reason, task, usable, window};
use claim::{PartKind, Status, sum_of_parts};

/// A partition of a small boot: its windows, initialisation, and who builds it at which cost.
#[derive(Clone, Debug)]
struct Booting {
    windows: Vec<(u64, u64)>,
    init: u64,
    built: Option<(usize, u64)>,
}

fn text(frame: u64, head: u64, stages: &str, partitions: &[Booting]) -> (String, String) {
    let mut system = preamble(frame, head, partitions.len()) + stages;
    let mut plan = String::new();
    for (k, partition) in partitions.iter().enumerate() {
        system += &format!("\n[[partition]]\nname = \"P{k}\"\nguest = \"fixed priority\"\nperiod = \"{frame} ns\"\n");
        if let Some((by, time)) = partition.built {
            system += &format!("built_by = \"P{by}\"\nbuild_time = \"{time} ns\"\n");
        }
        system += &format!("restart = {{ cold_init = \"{} ns\" }}\n", partition.init);
        system += &task("t", frame, 1, 1, "free-running");
        plan += &partition.windows.iter().map(|&own| window(k, &format!("P{k}"), own)).collect::<String>();
    }
    (system, plan)
}

/// Runs the first frames: each partition works off what is to be done, in order, in its usable ticks.
fn run(frame: u64, head: u64, partitions: &[Booting]) -> Vec<u64> {
    const TICKS: u64 = 4000;
    let usable: Vec<_> = partitions.iter().map(|p| usable(frame, head, &p.windows, TICKS)).collect();
    let mut exists: Vec<bool> = partitions.iter().map(|p| p.built.is_none()).collect();
    let mut left: Vec<u64> = partitions.iter().map(|p| p.init).collect();
    let mut ready = vec![None; partitions.len()];
    let mut to_build: Vec<Vec<(usize, u64)>> = vec![Vec::new(); partitions.len()];
    for (k, partition) in partitions.iter().enumerate() {
        if let Some((by, time)) = partition.built {
            to_build[by].push((k, time));
        }
    }
    for tick in 0..TICKS {
        // What is built at the end of a tick can begin with the next one.
        let existed = exists.clone();
        for k in 0..partitions.len() {
            if !existed[k] {
                continue;
            }
            if ready[k].is_none() && left[k] == 0 {
                ready[k] = Some(tick);
            }
            if !usable[k][tick as usize] {
                continue;
            }
            if ready[k].is_none() {
                left[k] -= 1;
                if left[k] == 0 {
                    ready[k] = Some(tick + 1);
                }
            } else if let Some((next, time)) = to_build[k].first_mut() {
                *time -= 1;
                if *time == 0 {
                    exists[*next] = true;
                    to_build[k].remove(0);
                }
            }
        }
    }
    ready.into_iter().map(|at| at.expect("there are ticks enough")).collect()
}

const STAGE: &str = "\n[[boot.stage]]\nname = \"loader\"\ntime = \"7 ns\"\n";

#[test]
fn partitions_are_operational_to_the_tick() {
    let mut crossing = 0;
    for seed in 0..150 {
        let mut draw = Draw::new(seed);
        let (frame, head) = (12 + draw.below(9), draw.below(3));
        let partitions: Vec<_> = (0..4)
            .map(|k| {
                let mut windows = draw.windows(frame, head);
                if draw.below(3) == 0 {
                    // One window that goes on across the frame's begin.
                    windows = vec![(0, head + 2), (frame - 2, frame)];
                    crossing += 1;
                }
                let built = (k > 0 && draw.below(2) == 0).then(|| (draw.below(k) as usize, 1 + draw.below(20)));
                Booting { windows, init: draw.below(30), built }
            })
            .collect();
        let (system, plan) = text(frame, head, STAGE, &partitions);
        let verdicts = judge(&system, &plan);
        for (k, at) in run(frame, head, &partitions).into_iter().enumerate() {
            let verdict = find(&verdicts, &format!("boot/P{k}"));
            assert_eq!((verdict.bound, verdict.exact), (Some(7 + at), true), "P{k} of {partitions:?}\n{verdict:?}");
            assert_eq!(sum_of_parts(&verdict.parts), 7 + at);
            assert_eq!(verdict.status, Status::Shown);
        }
    }
    assert!(crossing > 50);
}

fn alone(init: u64) -> [Booting; 1] {
    [Booting { windows: vec![(2, 6)], init, built: None }]
}

fn judged(stages: &str, needs: &str, init: u64) -> claim::Verdict {
    let (system, plan) = text(10, 1, &format!("{stages}{needs}"), &alone(init));
    find(&judge(&system, &plan), "boot/P0").clone()
}

fn need(within: u64, from: &str) -> String {
    format!("\n[[boot.need]]\npartitions = [\"P0\"]\nwithin = \"{within} ns\"\nfrom = \"{from}\"\n")
}

/// Usable `[3, 6)` of every 10; worked out by hand.
#[test]
fn a_need_is_met_by_the_tick() {
    for (init, done) in [(0, 0), (1, 4), (3, 6), (4, 14), (6, 16)] {
        for (within, status) in [(7 + done, Status::Shown), (6 + done, Status::Violated)] {
            let verdict = judged(STAGE, &need(within, "reset"), init);
            assert_eq!((verdict.status, verdict.bound), (status, Some(7 + done)), "{init} within {within}");
            assert_eq!(verdict.witness.is_some(), status == Status::Violated);
        }
    }
}

#[test]
fn stages_run_side_by_side_and_loads_round_up_once() {
    let stage = |name: &str, rest: &str| format!("\n[[boot.stage]]\nname = \"{name}\"\n{rest}\n");
    // 1000 B at 3 GB/s are 333.3 ns.
    let load = stage("load", "load = \"1000 B\"\nrate = \"3 GB/s\"\ntime = \"6 ns\"");
    let parts = |stages: &str| {
        let verdict = judged(stages, "", 3);
        let of_stages = verdict.parts.iter().filter(|part| part.kind == PartKind::Stage);
        let parts: Vec<_> = of_stages.map(|part| (part.what.clone(), part.ns)).collect();
        (parts, verdict.bound)
    };
    let named = |name: &str, ns| (name.to_owned(), ns);
    assert_eq!(parts(&load), (vec![named("load", 340)], Some(346)));
    let beside = load.clone() + &stage("clock", "time = \"339 ns\"");
    assert_eq!(parts(&beside), (vec![named("load", 340)], Some(346)));
    let then = beside + &stage("start", "time = \"0 ns\"\nafter = [\"clock\", \"load\"]");
    assert_eq!(parts(&then), (vec![named("load", 340), named("start", 0)], Some(346)));
}

#[test]
fn the_tightest_need_is_the_limit() {
    let both = need(100, "reset") + &need(6, "first frame") + &need(50, "reset");
    let verdict = judged(STAGE, &both, 3);
    assert_eq!((verdict.status, verdict.bound, verdict.limit), (Status::Shown, Some(6), Some(6)), "7 + 6 from reset");
    let verdict = judged(STAGE, &(need(12, "reset") + &need(6, "first frame")), 3);
    assert_eq!((verdict.status, verdict.bound, verdict.limit), (Status::Violated, Some(13), Some(12)));
}

#[test]
fn what_is_missing_is_named() {
    let verdict = judged("", &need(6, "first frame"), 3);
    assert_eq!((verdict.status, verdict.bound), (Status::Shown, Some(6)), "no stage is needed");
    let verdict = judged("", &need(6, "reset"), 3);
    assert_eq!((verdict.status, verdict.limit), (Status::NotAnalysed, Some(6)));
    assert!(reason(&verdict).contains("no boot stage is given"));
    let (system, plan) = text(10, 1, &format!("{STAGE}{}", need(20, "reset")), &alone(3));
    let verdicts = judge(&system.replace("restart = { cold_init = \"3 ns\" }", ""), &plan);
    let verdict = find(&verdicts, "boot/P0");
    assert_eq!(verdict.status, Status::NotAnalysed);
    assert!(reason(verdict).contains("`cold_init` of `P0` is not given"));
}

#[test]
fn a_built_partition_needs_what_its_builder_lacks() {
    let built = Booting { windows: vec![(2, 6)], init: 3, built: Some((0, 4)) };
    let (system, plan) = text(10, 1, STAGE, &[alone(3)[0].clone(), built.clone(), built]);
    // P0 is up at 6 and builds for 4 ticks each, of 3 in every 10 from 3 on: until 24 and 35; then come 3 more.
    let verdicts = judge(&system, &plan);
    assert_eq!(find(&verdicts, "boot/P1").bound, Some(7 + 34));
    assert_eq!(find(&verdicts, "boot/P2").bound, Some(7 + 45));
    let verdicts = judge(&system.replace("build_time = \"4 ns\"\n", ""), &plan);
    assert!(reason(find(&verdicts, "boot/P1")).contains("`build_time` of `P1` is not given"));
    let verdicts = judge(&system.replacen("restart = { cold_init = \"3 ns\" }", "", 1), &plan);
    assert!(reason(find(&verdicts, "boot/P2")).contains("`cold_init` of `P0` is not given"));
}
