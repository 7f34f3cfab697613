//! The vessel through the door that commands use, whole and with one thing changed each.

use super::system::{at, duration_us, id_of, partition, rule, schedule, task, us, vessel};
use claim::{Kind, Status, Verdict};
use model::System;
use model::system::{
    CorePolicy, CoreSet, CriticalSection, DeadlinePhase, GrowthSubject, Guest, PeakRate, Release, ScheduledPartition,
};
use plan::Plan;
use quantity::{Bytes, CoreId, Duration, Instant, Rate};
use timing::claims::check;

pub fn find<'a>(verdicts: &'a [Verdict], id: &str) -> &'a Verdict {
    verdicts.iter().find(|verdict| verdict.id == id).unwrap_or_else(|| panic!("no verdict {id}"))
}

pub fn changed(change: impl FnOnce(&mut System, &mut Plan)) -> Vec<Verdict> {
    let (mut system, mut plan) = vessel();
    change(&mut system, &mut plan);
    check(&system, &plan)
}

#[test]
fn everything_about_the_vessel_is_shown() {
    let verdicts = changed(|_, _| {});
    let of = |kind| verdicts.iter().filter(move |verdict| verdict.kind == kind);
    let analysed = || [Kind::Response, Kind::Window, Kind::Margin].into_iter().flat_map(of);
    assert!(analysed().all(|verdict| verdict.status == Status::Shown), "{verdicts:#?}");
    let counts = [Kind::Response, Kind::Window, Kind::Margin].map(|kind| of(kind).count());
    assert_eq!(counts, [39, 4 + 12, 4 + 12 + 6 + 4]);
    let (system, _) = vessel();
    for id in system.task_ids() {
        let verdict = find(&verdicts, &format!("response/{}", system.task_label(id)));
        assert_eq!(verdict.limit, Some(system.task(id).deadline.ns()));
        assert!(verdict.exact, "priorities differ and some less urgent job goes on for 60 us: {}", verdict.id);
        let growth = verdict.growth.expect("every task has room to grow");
        assert!(growth.largest_charged_ns > growth.charged_ns);
    }
    let budgets: Vec<_> = of(Kind::Window).filter(|verdict| verdict.subject.contains('/')).collect();
    assert_eq!(budgets.len(), 12);
    assert!(budgets.iter().all(|verdict| verdict.bound.is_some() && verdict.bound == verdict.limit), "{budgets:#?}");
}

#[test]
fn slower_lines_violate_with_a_scenario() {
    // Slower RAM: 60 ns a line.
    let verdicts = changed(|system, _| {
        let interconnect = system.board.interconnect.as_mut().expect("the vessel has one");
        interconnect.guaranteed = at(Rate::from_bytes_per_s(64_000_000_000 / 60));
        interconnect.line = at(Bytes::new(64));
    });
    let trk = find(&verdicts, "response/OBJT.trk");
    assert_eq!((trk.status, trk.exact), (Status::Violated, true));
    let witness = trk.witness.as_ref().expect("a violation has a witness");
    assert_eq!(witness.timeline.last().map(|last| last.end_ns), witness.completes_ns);
    let own = witness.releases.iter().rfind(|job| job.task == "OBJT.trk").expect("the job itself");
    let response_ns = witness.completes_ns.map(|end_ns| end_ns as i64 - own.arrival_ns);
    assert_eq!(response_ns, trk.bound.map(|bound_ns| bound_ns as i64));
    let svp = find(&verdicts, "response/SONR.svp");
    assert_eq!((svp.status, svp.bound), (Status::Violated, None));
    assert!(svp.reason.as_ref().is_some_and(|reason| reason.contains("passes the supply")), "{:?}", svp.reason);
    let late = svp.witness.as_ref().expect("its first late job");
    let own = late.releases.iter().rfind(|job| job.task == "SONR.svp").expect("the job itself");
    assert!(late.completes_ns.is_some_and(|end_ns| end_ns as i64 - own.arrival_ns > us(100_000) as i64));
    assert_eq!(find(&verdicts, "margin/partition/OBJT").status, Status::Violated);
    assert_eq!(find(&verdicts, "response/STOP.estop").status, Status::Shown);
}

#[test]
fn a_missing_datum_is_named_and_never_a_pass() {
    type Change = fn(&mut System);
    let cases: [(Change, &str); 6] = [
        (|system| system.platform.switch = None, "platform.switch"),
        (|system| system.platform.refill = None, "platform.refill"),
        (|system| system.platform.context_switch = None, "platform.context_switch"),
        (|system| system.platform.release_jitter = None, "platform.release_jitter"),
        (|system| system.platform.nonpreemptable = None, "platform.nonpreemptable"),
        (|system| system.board.interconnect = None, "board.interconnect"),
    ];
    for (change, named) in cases {
        let verdicts = changed(|system, _| change(system));
        let estop = find(&verdicts, "response/STOP.estop");
        assert_eq!((estop.status, estop.bound), (Status::NotAnalysed, None), "{named}");
        assert!(estop.reason.as_ref().is_some_and(|reason| reason.contains(named)), "{named}: {:?}", estop.reason);
        assert_eq!(find(&verdicts, "margin/partition/STOP").status, Status::NotAnalysed);
    }
}

#[test]
fn a_missing_datum_of_a_task_stays_in_its_partition() {
    let changes: [fn(&mut model::system::Task); 4] = [
        |task| task.wcet = None,
        |task| task.line_requests = None,
        |task| task.priority = None,
        |task| task.sections.push(CriticalSection { resource: at("bus".to_owned()), length: duration_us(5) }),
    ];
    for change in changes {
        let verdicts = changed(|system, _| change(task(system, "STOP.selftest")));
        assert_eq!(find(&verdicts, "response/STOP.estop").status, Status::NotAnalysed);
        // On the same core the bound stands; only throttling may no longer be excluded.
        let imu = find(&verdicts, "response/NAVF.imu");
        assert!(imu.bound == Some(us(8_278)) && matches!(imu.status, Status::Shown | Status::NotShown));
        assert_eq!(find(&verdicts, "response/OBJT.trk").status, Status::Shown);
    }
}

#[test]
fn possible_throttling_is_not_shown() {
    let burst = changed(|system, _| task(system, "STOP.estop").peak_rate = None);
    let too_fast = changed(|system, _| {
        task(system, "STOP.estop").peak_rate = Some(at(PeakRate::AtMost(Rate::from_bytes_per_s(160_000_001))));
    });
    let no_budget = changed(|_, plan| plan.bandwidth.clear());
    for verdicts in [&burst, &too_fast, &no_budget] {
        let integ = find(verdicts, "response/NAVF.integ");
        assert_eq!((integ.status, integ.exact), (Status::NotShown, false), "the core is one");
        assert!(integ.bound.is_some() && integ.reason.is_some());
    }
    // A miss without any stall is one with it; what the response then is nobody knows.
    let late = changed(|system, plan| {
        plan.bandwidth.clear();
        task(system, "STOP.estop").deadline = duration_us(9_000);
    });
    for id in ["response/STOP.estop", "margin/partition/STOP"] {
        let verdict = find(&late, id);
        assert_eq!((verdict.status, verdict.exact), (Status::Violated, false), "{id}");
    }
    assert_eq!(find(&burst, "response/OBJT.radar").status, Status::Shown);
    assert!(find(&no_budget, "response/OBJT.radar").reason.as_ref().is_some_and(|reason| reason.contains("budget")));
}

/// Nobody knows what an untrusted partition really asks memory for: only the responses of its own core suffer.
#[test]
fn an_untrusted_partition_may_have_its_core_throttled() {
    let on_its_core =
        |verdict: &Verdict| ["STOP", "NAVF", "PROP", "ENGM"].iter().any(|name| verdict.subject.starts_with(name));
    let verdicts = changed(|system, _| partition(system, "NAVF").untrusted = true);
    let (its, others): (Vec<_>, Vec<_>) =
        verdicts.iter().filter(|verdict| verdict.kind == Kind::Response).partition(|verdict| on_its_core(verdict));
    assert_eq!((its.len(), others.len()), (14, 25));
    for verdict in its {
        assert_eq!((verdict.status, verdict.exact), (Status::NotShown, false), "{}", verdict.id);
        assert!(verdict.bound.is_some(), "the bound without throttling stands: {}", verdict.id);
        let reason = verdict.reason.as_ref().expect("what is not shown has a reason");
        assert!(reason.contains("`NAVF` is untrusted"), "{}: {reason}", verdict.id);
    }
    assert!(others.iter().all(|verdict| verdict.status == Status::Shown), "{others:#?}");
    let unregulated = changed(|system, _| {
        partition(system, "NAVF").untrusted = true;
        system.platform.regulation = None;
    });
    assert_eq!(find(&unregulated, "response/NAVF.integ").status, Status::Shown, "without a budget none runs out");
}

#[test]
fn a_bound_that_may_not_be_attained_is_not_shown_rather_than_violated() {
    // Equals counted both ways, with deadlines that only the count of both misses.
    let verdicts = changed(|system, _| {
        for label in ["STOP.estop", "STOP.superv"] {
            task(system, label).priority = Some(at(3));
            task(system, label).deadline = duration_us(9_500);
        }
    });
    for task in ["estop", "superv"] {
        let verdict = find(&verdicts, &format!("response/STOP.{task}"));
        assert_eq!((verdict.status, verdict.exact, verdict.bound), (Status::NotShown, false, Some(us(9_746))));
        assert!(verdict.witness.is_none());
    }
    // With a deadline that is missed without the equal too, the miss is certain.
    let certain = changed(|system, _| {
        for label in ["STOP.estop", "STOP.superv"] {
            task(system, label).priority = Some(at(3));
            task(system, label).deadline = duration_us(9_200);
        }
    });
    let verdict = find(&certain, "response/STOP.estop");
    assert_eq!((verdict.status, verdict.exact), (Status::Violated, false));
    assert!(verdict.witness.as_ref().is_some_and(|witness| witness.completes_ns.is_some()));
}

#[test]
fn deadlines_in_the_frame_phase_take_release_points_as_declared() {
    let verdicts = changed(|system, _| system.deadline_phase = DeadlinePhase::Frame);
    for (label, expected_us) in [("STOP.estop", 368), ("TRAK.guid", 848), ("LINK.rx", 908)] {
        let verdict = find(&verdicts, &format!("response/{label}"));
        assert_eq!((verdict.bound, verdict.basis.analysis), (Some(us(expected_us)), "frame-aligned"));
        assert!(!verdict.exact && verdict.status == Status::Shown, "blocking is a bound there");
    }
    // A frame in no known phase against the others: release points in any phase cover the ones declared.
    let drifting = changed(|system, _| {
        system.deadline_phase = DeadlinePhase::Frame;
        system.core_sets[0].policy = CorePolicy::WindowTable { synchronised: false, drift_ppm: None };
        task(system, "STOP.superv").deadline = duration_us(1_000);
    });
    let estop = find(&drifting, "response/STOP.estop");
    assert_eq!((estop.status, estop.bound, estop.exact), (Status::Shown, Some(us(9_378)), false));
    assert!(estop.reason.as_ref().is_some_and(|reason| reason.contains("free-running")), "{:?}", estop.reason);
    let superv = find(&drifting, "response/STOP.superv");
    assert_eq!((superv.status, superv.exact), (Status::NotShown, false), "no release in the frame may come so late");
    let mixed = changed(|system, _| {
        system.deadline_phase = DeadlinePhase::Frame;
        task(system, "STOP.superv").release = at(Release::FreeRunning);
    });
    let estop = find(&mixed, "response/STOP.estop");
    assert_eq!((estop.bound, estop.exact, estop.basis.analysis), (Some(us(9_378)), false, "free-running"));
    assert!(estop.reason.as_ref().is_some_and(|reason| reason.contains("free-running")), "{:?}", estop.reason);
}

#[test]
fn tables_at_their_edges() {
    let stop = |plan: &mut Plan| plan.schedules[0].cores[0].windows.remove(0);
    // Exactly one head long: no usable time in that window.
    let head_long = changed(|_, plan| plan.schedules[0].cores[0].windows[0].length = Duration::from_us(40));
    assert_eq!(find(&head_long, "window/0").status, Status::Violated);
    assert_eq!(find(&head_long, "response/STOP.estop").status, Status::NotAnalysed);
    let longer = changed(|_, plan| plan.schedules[0].cores[0].windows[0].length = Duration::from_ns(40_001));
    assert_eq!(find(&longer, "window/0").status, Status::Shown);
    assert_eq!(find(&longer, "window/0/STOP").bound, Some(40_001));
    assert_eq!(find(&longer, "window/0/STOP").status, Status::Violated);
    // One tick into the next window.
    let overlap = changed(|_, plan| plan.schedules[0].cores[0].windows[0].length = Duration::from_ns(1_000_001));
    assert_eq!(find(&overlap, "window/0").status, Status::Violated);
    assert_eq!(find(&overlap, "response/NAVF.imu").status, Status::NotAnalysed);
    assert_eq!(find(&overlap, "response/OBJT.trk").status, Status::Shown);
    // Up to the frame's end, and one tick over.
    for (length_us, expected) in [(5_000, Status::Shown), (5_001, Status::Violated)] {
        let end = changed(|_, plan| {
            let mut window = stop(plan);
            window.start = Instant::from_ns(us(95_000) + us(3_000));
            window.length = Duration::from_us(length_us - 3_000);
            let windows = &mut plan.schedules[0].cores[0].windows;
            windows.push(window);
            windows.sort_by_key(|window| window.start);
        });
        assert_eq!(find(&end, "window/0").status, expected, "{length_us}");
    }
}

/// Two touching windows of one partition have one head; only together can they be too short for it.
#[test]
fn touching_windows_that_their_one_head_uses_up() {
    for (second_us, expected) in [(20, Status::Violated), (21, Status::Shown)] {
        let verdicts = changed(|_, plan| {
            let windows = &mut plan.schedules[0].cores[0].windows;
            let mut second = windows[0];
            windows[0].length = Duration::from_us(20);
            second.start = windows[0].end();
            second.length = Duration::from_us(second_us);
            windows.insert(1, second);
        });
        assert_eq!(find(&verdicts, "window/0").status, expected, "{second_us}");
    }
}

/// A window that fills the frame pays its head at the very first instant, where a task may arrive.
#[test]
fn a_window_that_never_ends_pays_its_head_once() {
    let verdicts = changed(|_, plan| {
        let windows = &mut plan.schedules[0].cores[0].windows;
        windows.truncate(1);
        windows[0].length = duration_us(100_000).value;
    });
    let estop = find(&verdicts, "response/STOP.estop");
    // A job waits for 10 us of jitter and 60 us of blocking, in the first frame for 40 us of head.
    let charged_ns = estop.growth.expect("it meets its deadline").charged_ns;
    let (any_ns, first_ns) = (us(10 + 60) + charged_ns, us(40) + charged_ns);
    assert_eq!(estop.bound, Some(any_ns.max(first_ns)));
    let slow = changed(|system, plan| {
        system.platform.refill = Some(duration_us(400));
        let windows = &mut plan.schedules[0].cores[0].windows;
        windows.truncate(1);
        windows[0].length = duration_us(100_000).value;
        task(system, "STOP.estop").deadline = at(Duration::from_ns(us(415) + charged_ns - 1));
    });
    let late = find(&slow, "response/STOP.estop");
    assert_eq!((late.bound, late.exact, late.status), (Some(us(415) + charged_ns), true, Status::Violated));
    let witness = late.witness.as_ref().expect("the first frame");
    assert!(witness.summary.contains("first frame"), "{}", witness.summary);
    assert_eq!((witness.timeline[0].end_ns, witness.completes_ns), (us(415), late.bound));
}

/// Windows on a core that knows none, or of a partition that belongs to another set of cores.
#[test]
fn windows_on_cores_that_do_not_run_them() {
    let set = |cores: std::ops::Range<usize>, policy| CoreSet {
        name: at(format!("from {}", cores.start)),
        cores: cores.map(CoreId::new).collect(),
        policy,
    };
    let tables = || CorePolicy::WindowTable { synchronised: true, drift_ppm: None };
    let inactive = changed(|system, _| {
        system.board.cores[0].active = false;
        system.core_sets[0].cores.remove(0);
    });
    let dedicated = changed(|system, _| {
        system.core_sets = vec![set(0..1, CorePolicy::Dedicated), set(1..4, tables())];
    });
    for verdicts in [&inactive, &dedicated] {
        assert_eq!(find(verdicts, "window/0").status, Status::Violated);
        assert_eq!(find(verdicts, "response/STOP.estop").status, Status::NotAnalysed);
        assert_eq!(find(verdicts, "response/OBJT.trk").status, Status::Shown);
    }
    let other_set = changed(|system, _| {
        system.core_sets = vec![set(0..1, tables()), set(1..4, tables())];
        partition(system, "STOP").core_set = Some(at(quantity::CoreSetId::new(1)));
    });
    let table = find(&other_set, "window/0");
    assert!(table.status == Status::Violated && table.reason.as_ref().is_some_and(|reason| reason.contains("from 1")));
    // Without windows a dedicated core gives a partition all of its time: the task waits for the jitter and the section that
    // cannot be preempted, at most.
    let bare = changed(|system, plan| {
        partition(system, "STOP").cores = vec![at(CoreId::new(0))];
        system.core_sets = vec![set(0..1, CorePolicy::Dedicated), set(1..4, tables())];
        plan.schedules[0].cores.remove(0);
    });
    let estop = find(&bare, "response/STOP.estop");
    let whole = changed(|_, _| {});
    let in_windows = find(&whole, "response/STOP.estop");
    assert_eq!((estop.status, estop.exact), (Status::Shown, true));
    let (charged_ns, jitter_and_section_ns) = (estop.growth.expect("it has room").charged_ns, us(20 + 60));
    assert!(estop.bound < in_windows.bound && estop.bound <= Some(charged_ns + jitter_and_section_ns), "{estop:?}");
    assert_eq!(find(&bare, "window/set/from 0").status, Status::Shown);
}

/// The guest's policy changes who waits for whom, not whether it is known.
#[test]
fn every_guest_of_the_vessel_is_analysed() {
    let analysis = |guest: Guest| {
        let verdicts = changed(|system, _| partition(system, "OBJT").guest = at(guest));
        let of_partition = verdicts.iter().filter(|v| v.kind == Kind::Response && v.subject.starts_with("OBJT"));
        let of_partition: Vec<_> = of_partition.cloned().collect();
        assert!(of_partition.iter().all(|verdict| verdict.bound.is_some()), "{of_partition:#?}");
        assert!(find(&verdicts, "margin/partition/OBJT").bound.is_some());
        of_partition
    };
    let [edf, cooperative] = [Guest::Edf, Guest::Cooperative].map(analysis);
    assert!(edf.iter().all(|verdict| verdict.basis.analysis == "edf"));
    assert!(cooperative.iter().all(|verdict| verdict.basis.analysis == "cooperative" && verdict.exact));
}

#[test]
fn a_core_that_is_no_master_leaves_no_bound_on_waiting() {
    let verdicts = changed(|system, _| {
        let interconnect = system.board.interconnect.as_mut().expect("the vessel has one");
        interconnect.masters.remove(3);
    });
    let trk = find(&verdicts, "response/OBJT.trk");
    assert_eq!((trk.status, trk.bound), (Status::NotAnalysed, None));
    assert!(trk.reason.as_ref().is_some_and(|reason| reason.contains("core 3 is active and no master")));
}

#[test]
fn windows_where_they_must_not_be() {
    let elsewhere = changed(|system, _| {
        let (apart, together) = (id_of(system, "PROP"), id_of(system, "LINK"));
        let stop = partition(system, "STOP");
        stop.cores = vec![at(CoreId::new(1))];
        stop.apart_from = vec![at(apart)];
        stop.together_with = vec![at(together)];
    });
    let table = find(&elsewhere, "window/0");
    assert_eq!((table.status, table.bound), (Status::Violated, Some(3)), "{:?}", table.reason);
    let twice = changed(|_, plan| {
        let window = plan.schedules[0].cores[0].windows[0];
        let other = &mut plan.schedules[0].cores[3].windows;
        other.insert(0, window);
        other[1].start = window.end();
        other[1].length = Duration::from_us(2_000);
    });
    assert_eq!(find(&twice, "window/0").status, Status::Violated);
    assert_eq!(find(&twice, "window/3").status, Status::Violated);
    let frame = changed(|system, _| system.frame = duration_us(110_000));
    let none = find(&frame, "window/1/OBJT");
    assert_eq!((none.status, none.bound), (Status::Violated, None));
    assert!(none.reason.as_ref().is_some_and(|reason| reason.contains("no multiple")));
}

#[test]
fn schedules_are_told_apart_and_a_missing_one_is_not_analysed() {
    let verdicts = changed(|system, plan| {
        system.schedules = ["Survey", "Transit", "Harbour"].map(schedule).into();
        partition(system, "LINK").cores = vec![at(CoreId::new(3))];
        let bath = id_of(system, "BATH");
        let idle = ScheduledPartition { partition: at(bath), idle: true, active_tasks: None, grant: None };
        system.schedules[1].changes.push(idle);
        let mut transit = plan.schedules[0].clone();
        transit.schedule = quantity::ScheduleId::new(1);
        transit.cores[3].windows.retain(|window| window.partition != bath);
        plan.schedules.push(transit);
    });
    assert_eq!(find(&verdicts, "response/BATH.grid@Survey").status, Status::Shown);
    assert!(verdicts.iter().all(|verdict| verdict.id != "response/BATH.grid@Transit"), "idle there");
    assert_eq!(find(&verdicts, "response/LINK.rx@Transit").status, Status::Shown);
    assert_eq!(find(&verdicts, "margin/core/3@Transit").bound, Some(750_000));
    for id in ["response/LINK.rx@Harbour", "window/3@Harbour", "window/3/LINK@Harbour", "margin/core/3@Harbour"] {
        let verdict = find(&verdicts, id);
        assert_eq!((verdict.status, verdict.bound), (Status::NotAnalysed, None), "{id}");
    }
}

#[test]
fn a_growth_rule_is_the_limit_of_the_margin() {
    let verdicts = changed(|system, _| system.growth_rules.push(rule(GrowthSubject::Partitions, 10)));
    for (partition, status) in [("OBJT", Status::Violated), ("SONR", Status::Violated), ("LINK", Status::Shown)] {
        let margin = find(&verdicts, &format!("margin/partition/{partition}"));
        assert_eq!((margin.status, margin.limit), (status, Some(1_100_000)), "{partition}");
        assert_eq!(margin.witness.is_some(), status == Status::Violated);
    }
}

#[test]
fn a_partition_without_windows_has_no_bound() {
    let verdicts = changed(|system, plan| {
        partition(system, "STOP").cores = vec![at(CoreId::new(0))];
        let stop = id_of(system, "STOP");
        plan.schedules[0].cores[0].windows.retain(|window| window.partition != stop);
    });
    let estop = find(&verdicts, "response/STOP.estop");
    assert_eq!((estop.status, estop.bound), (Status::Violated, None));
    assert_eq!(find(&verdicts, "window/0/STOP").bound, Some(0));
    let margin = find(&verdicts, "margin/partition/STOP");
    assert_eq!((margin.bound, margin.status), (Some(0), Status::Violated), "its deadlines are surely missed");
}
