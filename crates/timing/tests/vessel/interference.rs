//! What the vessel's tasks wait for at the memory, by request and by what others can ask for.

use super::claims::{changed, find};
use super::system::{at, duration_us, task, us, vessel};
use claim::{Assumption, Kind, PartKind, Status, Verdict, sum_of_parts};
use model::System;
use model::system::{CorePolicy, DeadlinePhase, Guest, Waiting};
use quantity::Bytes;
use timing::claims::check;

/// Nobody but the object tracking asks for lines.
fn quiet_others(system: &mut System) {
    let others: Vec<_> = system.task_ids().filter(|&id| !system.task_label(id).starts_with("OBJT.")).collect();
    for id in others {
        system.tasks[id.index()].line_requests = Some(at(0));
    }
}

fn by_overlap(system: &mut System) {
    system.board.interconnect.as_mut().expect("the vessel has one").waiting = Some(at(Waiting::WindowOverlap));
}

fn trk(change: impl FnOnce(&mut System)) -> Verdict {
    find(&changed(|system, _| change(system)), "response/OBJT.trk").clone()
}

fn interference(verdict: &Verdict) -> Vec<(&str, u64)> {
    let parts = verdict.parts.iter().filter(|part| part.kind == PartKind::Interference);
    parts.map(|part| (part.what.as_str(), part.ns)).collect()
}

#[test]
fn every_bound_is_told_by_its_parts() {
    let (system, plan) = vessel();
    let verdicts = check(&system, &plan);
    for verdict in verdicts.iter().filter(|verdict| verdict.kind == Kind::Response) {
        assert_eq!(Some(sum_of_parts(&verdict.parts)), verdict.bound, "{verdict:#?}");
    }
    // 12,000 + 14,000 + 5,500 requests, each of which waits for a line of 50 ns of every other master.
    let trk = find(&verdicts, "response/OBJT.trk");
    assert_eq!(interference(trk), ["core0", "core2", "core3", "DMA"].map(|master| (master, us(1_575))));
    let part = |kind| trk.parts.iter().filter(|part| part.kind == kind).map(|part| part.ns).collect::<Vec<_>>();
    assert_eq!(part(PartKind::Executing), [us(1_800)]);
    assert_eq!(part(PartKind::Blocking), [us(60)]);
    assert_eq!(part(PartKind::Switches), [us(24)], "three jobs of two switches of 4 us");
    assert_eq!(part(PartKind::Blackout), [us(23_680)], "2 x (20 - 8.2) ms and two heads of 40 us");
}

#[test]
fn so_it_is_where_arrivals_keep_to_the_frame() {
    let verdicts = changed(|system, _| system.deadline_phase = DeadlinePhase::Frame);
    let responses: Vec<_> = verdicts.iter().filter(|verdict| verdict.kind == Kind::Response).collect();
    assert!(responses.iter().filter(|verdict| verdict.basis.analysis == "frame-aligned").count() > 30);
    for verdict in responses {
        assert_eq!(Some(sum_of_parts(&verdict.parts)), verdict.bound, "{verdict:#?}");
    }
}

#[test]
fn requests_wait_for_no_more_than_others_ask_for() {
    let plain = trk(|_| {});
    assert_eq!(
        (plain.generic, plain.table_aware),
        (plain.bound, plain.bound),
        "everyone asks for much: nothing is gained"
    );
    let quiet = trk(quiet_others);
    assert_eq!((quiet.status, quiet.bound, quiet.generic), (Status::Shown, plain.bound, plain.bound));
    let gained = quiet.generic.zip(quiet.table_aware).map(|(generic, aware)| generic - aware);
    // Three cores ask in their switches and refills only, of 40 us. Beside each of two windows of the tracking are four windows of core 0
    // and two each of the cores 2 and 3, beside the end of the one before at most as many again.
    let heads = gained.map(|ns| (3 * us(1_575) - ns) / us(40));
    assert!(heads.is_some_and(|heads| (16..=24).contains(&heads)), "{gained:?}");
    let judged = trk(|system| {
        quiet_others(system);
        by_overlap(system);
    });
    assert_eq!((judged.bound, judged.exact, judged.basis.analysis), (quiet.table_aware, false, "interference"));
    for assumption in [Assumption::FramesSynchronised, Assumption::OthersSteady, Assumption::BudgetsRegulated] {
        assert!(judged.basis.assumptions.contains(&assumption), "{assumption:?}");
    }
    assert_eq!(Some(sum_of_parts(&judged.parts)), judged.bound);
    assert_eq!(interference(&judged).last(), Some(&("DMA", us(1_575))), "its budget is far above");
}

#[test]
fn so_it_is_under_other_policies() {
    for guest in [Guest::Edf, Guest::Cooperative] {
        let verdicts = changed(|system, _| {
            system.partitions.iter_mut().for_each(|partition| partition.guest = at(guest.clone()));
        });
        let bounded = verdicts.iter().filter(|verdict| verdict.kind == Kind::Response && verdict.bound.is_some());
        let (told, untold): (Vec<_>, Vec<_>) = bounded.partition(|verdict| verdict.untold.is_none());
        assert!(told.len() > 30 && untold.is_empty(), "{guest:?}: {} {untold:#?}", told.len());
        for verdict in told {
            assert_eq!(Some(sum_of_parts(&verdict.parts)), verdict.bound, "{verdict:#?}");
        }
    }
}

/// The tasks of which less is known to wait, where the tracking alone asks for lines; each bound is told by its parts.
fn gained(change: impl Fn(&mut System)) -> Vec<Verdict> {
    let verdicts = changed(|system, _| {
        by_overlap(system);
        quiet_others(system);
        change(system);
    });
    let judged = verdicts.into_iter().filter(|verdict| verdict.basis.analysis == "interference");
    let checked = judged.inspect(|verdict| {
        assert_eq!(Some(sum_of_parts(&verdict.parts)), verdict.bound, "{verdict:#?}");
        assert!(verdict.table_aware < verdict.generic, "{verdict:#?}");
    });
    checked.collect()
}

#[test]
fn so_it_is_with_the_waiting_that_others_leave() {
    let guest = |guest: Guest| {
        move |system: &mut System| {
            system.partitions.iter_mut().for_each(|partition| partition.guest = at(guest.clone()))
        }
    };
    let plain = gained(|_| {}).len();
    let in_phase = gained(|system| system.deadline_phase = DeadlinePhase::Frame);
    assert!(in_phase.iter().all(|verdict| verdict.basis.assumptions.contains(&Assumption::ReleasedAsDeclared)));
    let others = [in_phase.len(), gained(guest(Guest::Edf)).len(), gained(guest(Guest::Cooperative)).len()];
    assert_eq!((plain, others), (4, [4; 3]), "all four tasks of the tracking");
}

/// All seven devices that move memory at 1 MB/s each, which ask for 4 KiB at once.
fn slow_devices(system: &mut System) {
    for device in system.board.devices.iter_mut().filter(|device| device.moves_memory()) {
        device.dma_rate = Some(at("1 MB/s".parse().expect("a rate")));
        device.dma_burst = Some(at(Bytes::new(4096)));
    }
}

#[test]
fn devices_count_by_their_bursts_and_rates() {
    let dma = |change: &dyn Fn(&mut System)| {
        let judged = trk(|system| {
            quiet_others(system);
            by_overlap(system);
            slow_devices(system);
            change(system);
        });
        let wait_ns = interference(&judged).last().map(|(master, ns)| (master.to_string(), *ns));
        (wait_ns.expect("the DMA is a master").1, judged.basis.assumptions.contains(&Assumption::DevicesKeepToRates))
    };
    let (ns, assumed) = dma(&|_| {});
    // 28 KiB at once and 7 MB/s through a busy window of 34.02 ms and two regulation periods of 1 ms are 280,843 bytes: 4,389 lines, and
    // one is under way; of 50 ns each.
    assert_eq!((ns, assumed), (us(4_390) / 20, true));
    let forgets = |system: &mut System| {
        system.board.devices.iter_mut().find(|device| device.moves_memory()).expect("a device").dma_burst = None;
    };
    assert_eq!(dma(&forgets), (us(1_575), false), "one device of which no burst is known may ask for anything");
    let fast = |system: &mut System| {
        let first = system.board.devices.iter_mut().find(|device| device.moves_memory()).expect("a device");
        first.dma_rate = Some(at("1000 MB/s".parse().expect("a rate")));
    };
    assert_eq!(dma(&fast), (us(1_575), false), "more than its budget serves may wait for ever");
    let no_device = |system: &mut System| system.board.devices.clear();
    assert_eq!(dma(&no_device), (us(1_575), false), "nothing says what asks through that master");
}

#[test]
fn the_reason_says_which_bound_would_hold() {
    let tight = |system: &mut System| {
        quiet_others(system);
        task(system, "OBJT.trk").deadline = duration_us(37_000);
    };
    let driven = trk(tight);
    assert_eq!((driven.status, driven.witness.is_some()), (Status::NotShown, false), "{driven:#?}");
    assert!(driven.reason.is_some_and(|reason| reason.contains("`waiting = \"window-overlap\"`")));
    let judged = trk(|system| {
        tight(system);
        by_overlap(system);
    });
    assert_eq!((judged.status, judged.limit), (Status::Shown, Some(us(37_000))));
    let hopeless = trk(|system| {
        tight(system);
        by_overlap(system);
        task(system, "OBJT.trk").deadline = duration_us(20_000);
    });
    assert_eq!(hopeless.status, Status::Violated, "{hopeless:#?}");
    assert!(hopeless.reason.is_some_and(|reason| reason.starts_with("even without waiting for memory")));
}

#[test]
fn frames_that_do_not_begin_together_gain_nothing() {
    let apart = trk(|system| {
        quiet_others(system);
        let sets = system.core_sets.iter_mut();
        sets.for_each(|set| set.policy = CorePolicy::WindowTable { synchronised: false, drift_ppm: None });
    });
    assert_eq!((apart.table_aware, apart.generic), (apart.bound, apart.bound));
    let untrusted = trk(|system| {
        quiet_others(system);
        system.partitions.iter_mut().for_each(|partition| partition.untrusted = partition.name.value != "OBJT");
    });
    assert_eq!(untrusted.table_aware, untrusted.generic, "what they declare is not believed");
}
