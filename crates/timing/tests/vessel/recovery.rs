//! What boot, restarts, health and changes of schedule say of the vessel beside their figures, which `corpus/cases`
//! holds.

use super::claims::{changed, find};
use super::system::{at, duration_us, id_of, partition, schedule, task};
use claim::{Kind, Status, Verdict, sum_of_parts};
use model::System;
use model::system::{ChangeAction, Exchange, ScheduledPartition};
use plan::Plan;
use quantity::ScheduleId;

fn reason<'a>(verdicts: &'a [Verdict], id: &str) -> &'a str {
    find(verdicts, id).reason.as_deref().unwrap_or("")
}

#[test]
fn every_bound_is_the_sum_of_its_parts() {
    let verdicts = changed(|_, _| {});
    let kinds = [Kind::Boot, Kind::Restart];
    let claims: Vec<_> = verdicts.iter().filter(|verdict| kinds.contains(&verdict.kind)).collect();
    assert_eq!(claims.len(), 12 + 24);
    for verdict in claims {
        assert_eq!(verdict.bound, Some(sum_of_parts(&verdict.parts)), "{}", verdict.id);
        assert_eq!(verdict.status, Status::Shown, "{}", verdict.id);
    }
}

/// Stated: SONR is up a second before BATH, so CH14 then loses messages. 52 periods of 20 ms begin in 1021.52 ms.
#[test]
fn queues_lose_at_boot_what_comes_before_their_readers() {
    let verdicts = changed(|_, _| {});
    let told = "`CH14` has its writer 1.02152 s before its reader: 52 messages come, 12 fit, 40 are lost";
    assert_eq!(reason(&verdicts, "boot/BATH"), told);
    assert_eq!(reason(&verdicts, "boot/TRAK"), "`CH05` has readers 225.72 ms before its writer is up");
}

/// Worked out by hand for a warm start of BATH: from the action on 558.758 - 20 - 20 ms of initialisation, up to 100 ms
/// to the next point and 68.158 ms to respond leave the queue unread for 658.758 ms; SONR.beam writes every 20 ms,
/// up to 19.226 - 1.38 ms earlier.
#[test]
fn others_see_an_outage() {
    let verdicts = changed(|_, _| {});
    let bath = reason(&verdicts, "restart/BATH/warm");
    assert!(bath.contains("`CH14` loses up to 22 of 34 messages, the first 222.154 ms after the action"), "{bath}");
    assert!(bath.contains("what reads `CH15` finds nothing"), "{bath}");
    // The gap of CH17 is 191.354 ms; to it come 510.6 ms until BATH is up, 100 and 93.454 ms, and 200 ms are allowed.
    assert!(bath.contains("`CH17` is stale for up to 695.408 ms"), "{bath}");
}

/// With logical execution time the first output comes with the deadline, however soon the job completes.
#[test]
fn logical_outputs_end_outages_with_the_deadline() {
    let before = changed(|_, _| {});
    let logical = changed(|system, _| task(system, "STOP.estop").exchange = Exchange::Logical);
    let bound = |verdicts| find(verdicts, "restart/STOP/warm").bound.expect("bounded");
    assert_eq!(bound(&logical) - bound(&before), 10_000_000 - 9_378_000);
}

#[test]
fn needs_are_passed_in_two_ways() {
    let within = |us: u64| {
        let verdicts = changed(|system, _| {
            let restart = partition(system, "STOP").restart.as_mut().expect("declared");
            restart.warm_need = Some(duration_us(us));
        });
        let verdict = find(&verdicts, "restart/STOP/warm");
        (verdict.status, verdict.witness.is_some())
    };
    // 20 ms of detection and 49.2 ms of initialisation are sure; the rest is a bound.
    assert_eq!(within(88_578), (Status::Shown, false));
    assert_eq!(within(88_577), (Status::NotShown, false));
    assert_eq!(within(69_201), (Status::NotShown, false));
    assert_eq!(within(69_200), (Status::Violated, true));
}

#[test]
fn what_a_throttled_core_adds_is_not_shown() {
    let verdicts = changed(|system, _| system.tasks.iter_mut().for_each(|task| task.peak_rate = None));
    let verdict = find(&verdicts, "restart/STOP/warm");
    assert_eq!((verdict.status, verdict.bound), (Status::NotShown, Some(88_578_000)));
    assert_eq!(find(&verdicts, "health/escalation/STOP").status, Status::NotShown);
}

/// Two schedules that are alike but for what `change` makes of the second one.
fn two_schedules(change: impl FnOnce(&mut System, &mut Plan)) -> Vec<Verdict> {
    changed(|system, plan| {
        system.schedules = vec![schedule("Survey"), schedule("Other")];
        let mut other = plan.schedules[0].clone();
        other.schedule = ScheduleId::new(1);
        plan.schedules.push(other);
        for partition in &mut system.partitions {
            partition.schedule_change = Some(at(ChangeAction::None));
        }
        change(system, plan);
    })
}

#[test]
fn a_change_that_changes_nothing_takes_a_frame() {
    let verdicts = two_schedules(|_, _| {});
    for id in ["schedule_change/Survey/Other", "schedule_change/Other/Survey"] {
        let verdict = find(&verdicts, id);
        assert_eq!((verdict.status, verdict.bound, verdict.exact), (Status::Shown, Some(100_000_000), true));
        assert_eq!(verdict.reason, None);
    }
    assert!(changed(|_, _| {}).iter().all(|verdict| verdict.kind != Kind::ScheduleChange), "there is one alone");
}

#[test]
fn only_what_may_follow_is_judged() {
    let verdicts = two_schedules(|system, _| system.schedules[1].may_follow = vec![at("Other".to_owned())]);
    let ids = verdicts.iter().filter(|verdict| verdict.kind == Kind::ScheduleChange).map(|verdict| &verdict.id);
    assert_eq!(ids.collect::<Vec<_>>(), ["schedule_change/Survey/Other"]);
}

#[test]
fn what_a_partition_does_at_a_change_must_be_given() {
    let verdicts = two_schedules(|system, _| partition(system, "TRAK").schedule_change = None);
    let verdict = find(&verdicts, "schedule_change/Survey/Other");
    assert_eq!((verdict.status, verdict.bound), (Status::NotAnalysed, None));
    assert_eq!(verdict.reason.as_deref(), Some("`schedule_change` of `TRAK` is not given"));
}

/// From the last window of the frame, which ends at 91 ms and begins 9 ms later in the other schedule, 18 ms pass until
/// the next one begins, where 9 did; STOP.estop then needs 18.04 ms, 268 us and 70 us.
#[test]
fn a_window_that_moves_back_is_waited_for() {
    let verdicts = two_schedules(|_, plan| {
        let windows = &mut plan.schedules[1].cores[0].windows;
        for window in windows.iter_mut() {
            let moved_us = if window.start.ns() % 10_000_000 == 0 { 9_000 } else { 0 };
            window.start = quantity::Instant::from_ns(window.start.ns() + moved_us * 1_000);
        }
        windows.sort_by_key(|window| window.start);
    });
    assert_eq!(find(&verdicts, "response/STOP.estop@Other").status, Status::Shown);
    let verdict = find(&verdicts, "schedule_change/Survey/Other");
    assert_eq!(verdict.status, Status::NotShown);
    let told = "a job of `STOP.estop` may respond after 18.378 ms across the change, and 10 ms are allowed";
    assert!(verdict.reason.as_ref().is_some_and(|reason| reason.contains(told)), "{verdict:?}");
    assert_eq!(find(&verdicts, "schedule_change/Other/Survey").status, Status::Shown, "sooner than in either");
}

#[test]
fn partitions_that_stop_leave_their_channels() {
    let verdicts = two_schedules(|system, plan| {
        let bath = id_of(system, "BATH");
        let idle = ScheduledPartition { partition: at(bath), idle: true, active_tasks: None, grant: None };
        system.schedules[1].changes.push(idle);
        plan.schedules[1].cores[3].windows.retain(|window| window.partition != bath);
    });
    let away = reason(&verdicts, "schedule_change/Survey/Other");
    assert!(away.contains("`BATH` stops"), "{away}");
    assert!(away.contains("`CH14` has no reader in `Other`, is full after at most 260 ms and then loses"), "{away}");
    assert!(away.contains("`CH17` is written no more in `Other`"), "{away}");
    let back = find(&verdicts, "schedule_change/Other/Survey");
    assert_eq!(back.status, Status::NotShown);
    assert!(
        back.reason.as_ref().is_some_and(|reason| reason.contains("`BATH` comes back without a warm or cold start"))
    );
}
