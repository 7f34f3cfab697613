//! Chains of the vessel with one thing changed each.

use super::system::{at, duration_us, forward_over_link, id_of, partition, schedule, task, us, vessel};
use claim::{Assumption, Part, PartKind, Status, Verdict, sum_of_parts};
use model::System;
use model::system::{ChannelKind, CorePolicy, Exchange, Guest, Need, PortEnd, QueueRead, Release, ScheduledPartition};
use plan::Plan;
use quantity::{Duration, Instant};
use timing::claims::{alarms, check};

/// The verdict of that id once something is changed; no verdict of the run may contradict another.
fn changed(id: &str, change: impl FnOnce(&mut System, &mut Plan)) -> Verdict {
    let (mut system, mut plan) = vessel();
    change(&mut system, &mut plan);
    let verdicts = check(&system, &plan);
    assert_eq!(alarms(&verdicts), [""; 0]);
    verdicts.into_iter().find(|verdict| verdict.id == id).unwrap_or_else(|| panic!("no verdict {id}"))
}

fn reason(verdict: &Verdict) -> &str {
    verdict.reason.as_deref().unwrap_or_default()
}

fn chain<'a>(system: &'a mut System, name: &str) -> &'a mut model::system::Chain {
    system.chains.iter_mut().find(|chain| chain.name.value == name).expect("a chain of the vessel")
}

fn need(system: &mut System, name: &str, need_us: u64) {
    chain(system, name).need = Need::Reaction(duration_us(need_us));
}

fn queue<'a>(system: &'a mut System, name: &str) -> (&'a mut u64, &'a mut QueueRead) {
    let channel = system.channels.iter_mut().find(|channel| channel.name.value == name);
    match &mut channel.expect("a channel of the vessel").kind {
        ChannelKind::Queuing { depth, read, .. } => (&mut depth.value, read),
        ChannelKind::Sampling { .. } => panic!("{name} is no queue"),
    }
}

const ESTOP: [&str; 3] = ["STOP.estop", "PROP.arb", "PROP.ctrl"];

fn unsynchronised(system: &mut System) {
    system.core_sets[0].policy = CorePolicy::WindowTable { synchronised: false, drift_ppm: None };
}

fn logical(system: &mut System) {
    ESTOP.iter().for_each(|label| task(system, label).exchange = Exchange::Logical);
}

#[test]
fn the_table_is_taken_for_granted_only_where_it_decides() {
    let (aligned, any) =
        (changed("reaction/E1", |_, _| {}), changed("reaction/E1", |system, _| unsynchronised(system)));
    let alignment = [Assumption::FramesSynchronised, Assumption::ReleasedAsDeclared];
    assert!(alignment.iter().all(|assumption| aligned.basis.assumptions.contains(assumption)));
    assert!(!alignment.iter().any(|assumption| any.basis.assumptions.contains(assumption)));
    assert_eq!((any.generic, any.table_aware, any.bound), (aligned.generic, None, aligned.generic));
    assert_eq!(any.status, Status::NotShown, "66.962 ms pass 60 ms");
    assert!(reason(&any).contains("core 0 is not declared synchronised"), "{any:?}");
}

#[test]
fn a_chain_is_cut_at_a_free_running_task() {
    let free = |label: &'static str| {
        changed("reaction/E1", move |system, _| task(system, label).release = at(Release::FreeRunning))
    };
    let last = free("PROP.ctrl");
    assert!(reason(&last).contains("cut at `PROP.ctrl`: it is free-running"), "{last:?}");
    // estop and arb by their job chains; 10 ms and a response of 8.578 ms for ctrl.
    let cut = last.table_aware.expect("two neighbours keep to the frame");
    assert_eq!(cut - us(18_578), 28_966_000);
    assert!(last.bound < last.generic && last.bound == last.table_aware);
    let middle = free("PROP.arb");
    assert_eq!(middle.table_aware, None);
    assert!(reason(&middle).contains("no two neighbours keep to the frame; at `PROP.arb`: it is free-running"));
    let cooperative = changed("reaction/E1", |system, _| partition(system, "STOP").guest = at(Guest::Cooperative));
    assert!(
        reason(&cooperative).contains("cut at `STOP.estop`: the single jobs of `STOP` are not followed"),
        "{cooperative:?}"
    );
    let beside = free("PROP.diag");
    assert!(beside.table_aware > changed("reaction/E1", |_, _| {}).table_aware, "responses count in any phase there");
}

#[test]
fn logical_execution_time_is_exact_and_may_be_violated() {
    let kept = changed("reaction/E1", |system, _| logical(system));
    // Reads at 0, 10 and 20 ms of each 20 or 10; written 10, 20 and 10 ms later.
    assert_eq!((kept.bound, kept.exact, kept.status), (Some(us(60_000)), true, Status::Shown));
    let passed = changed("reaction/E1", |system, _| {
        logical(system);
        need(system, "E1", 59_999);
    });
    assert_eq!(passed.status, Status::Violated);
    let witness = passed.witness.expect("what is violated has a witness");
    assert_eq!(witness.completes_ns, Some(us(60_000)));
    let jobs: Vec<_> = witness.releases.iter().map(|release| (&*release.task, release.arrival_ns)).collect();
    assert_eq!(jobs, [("STOP.estop", 10_000_000), ("PROP.arb", 30_000_000), ("PROP.ctrl", 50_000_000)]);
    let throttled = changed("reaction/E1", |system, _| {
        logical(system);
        need(system, "E1", 59_999);
        partition(system, "NAVF").untrusted = true;
    });
    assert_eq!((throttled.status, throttled.exact), (Status::NotShown, false), "a write may be late");
}

#[test]
fn devices_count_in_full() {
    let plain = changed("reaction/E1", |_, _| {});
    let with = changed("reaction/E1", |system, _| {
        let chain = chain(system, "E1");
        (chain.before, chain.after) = (Some(duration_us(1000)), Some(duration_us(2000)));
    });
    for (plain, with) in
        [(plain.bound, with.bound), (plain.generic, with.generic), (plain.table_aware, with.table_aware)]
    {
        assert_eq!(plain.map(|bound| bound + us(3000)), with);
    }
    assert_eq!(with.parts.first(), Some(&Part::new("before", PartKind::Device, us(1000))));
    assert_eq!(with.parts.last(), Some(&Part::new("after", PartKind::Device, us(2000))));
}

/// E1 by hand: a stimulus just after the read of the job that arrived at 0, at 0.04 ms; the job of 10 ms, in the
/// window at 10.04 ms; the arbiter of 20 ms in the window at 23.64 ms, behind `ctrl`; `ctrl` of 30 ms at 33.64 ms.
#[test]
fn parts_of_the_emergency_stop() {
    let verdict = changed("reaction/E1", |_, _| {});
    let of = |what: &str| -> Vec<_> {
        verdict.parts.iter().filter(|part| part.what == what).map(|part| (part.kind, part.ns / 1000)).collect()
    };
    use PartKind::{Blackout, Delay, Executing, Waiting};
    assert_eq!(of("STOP.estop"), [(Waiting, 9960), (Blackout, 40), (Delay, 60), (Executing, 268)]);
    assert_eq!(of("PROP.arb"), [(Waiting, 9632), (Blackout, 3640), (Delay, 1128), (Executing, 428)]);
    assert_eq!(of("PROP.ctrl"), [(Waiting, 4804), (Blackout, 3640), (Delay, 60), (Executing, 1068)]);
    assert_eq!(Some(sum_of_parts(&verdict.parts)), verdict.bound);
}

#[test]
fn messages_that_may_be_lost_are_not_shown_to_arrive() {
    let full = changed("reaction/E6", |system, _| *queue(system, "CH13").0 = 5);
    assert_eq!(full.status, Status::Shown, "exactly as deep as needed");
    let short = changed("reaction/E6", |system, _| *queue(system, "CH13").0 = 4);
    assert_eq!((short.status, short.bound), (Status::NotShown, full.bound));
    assert!(reason(&short).contains("`CH13`: it may have to hold 5 and holds 4"), "{short:?}");
    let whole = changed("reaction/E6", |_, _| {});
    let pieces = changed("reaction/E6", |system, _| *queue(system, "CH13").1 = QueueRead::AtMost(3));
    assert_eq!(pieces.generic, whole.generic.map(|bound| bound + us(50_000)), "one more read");
    let unnamed = changed("reaction/E6", |system, _| {
        let sonr = id_of(system, "SONR");
        let channel = system.channels.iter_mut().find(|channel| channel.name.value == "CH13");
        channel.expect("a channel of the vessel").source = at(PortEnd::Partition(sonr));
    });
    assert_eq!(unnamed.status, Status::NotShown);
    assert!(reason(&unnamed).contains("`CH13` names no task that writes"), "{unnamed:?}");
}

#[test]
fn what_is_not_known_is_named_and_leaves_no_bound() {
    type Change = fn(&mut System);
    let cases: [(Change, &str); 3] = [
        (|system| task(system, "PROP.arb").sporadic = true, "`PROP.arb` is sporadic"),
        (|system| task(system, "PROP.diag").wcet = None, "`wcet` of `PROP.diag`"),
        (|system| system.channels[0].forwarded = true, "network"),
    ];
    for (change, names) in cases {
        let verdict = changed("reaction/E1", |system, _| change(system));
        assert_eq!((verdict.status, verdict.bound, verdict.generic), (Status::NotAnalysed, None, None), "{names}");
        assert!(reason(&verdict).contains(names), "{verdict:?}");
        assert_eq!(verdict.limit, Some(us(60_000)));
    }
}

/// The shore link carries CH01 as in `network.rs`: 37.918 ms at the most.
#[test]
fn a_chain_across_the_network_is_cut_there() {
    let carried = |change: fn(&mut System)| {
        changed("reaction/E1", move |system, _| {
            forward_over_link(system);
            change(system);
        })
    };
    let verdict = carried(|_| {});
    assert_eq!(verdict.generic, Some(66_962_000 + 37_918_000));
    // estop alone: from 0.04 to 10.368 ms. arb and ctrl: from the arbiter's read at 4.096 ms, behind the shortest job
    // of ctrl, to the end of the ctrl of 30 ms at 34.768 ms, which the arbiter of 20 ms has written by 25.196 ms.
    assert_eq!(verdict.table_aware, Some(us(10_328 + 37_918 + 30_672)));
    assert!(reason(&verdict).contains("cut at the internal network"), "{verdict:?}");
    let port = verdict.parts.iter().find(|part| part.kind == PartKind::Port);
    assert_eq!(port, Some(&Part::new("CH01", PartKind::Port, 37_918_000)));
    assert!(verdict.basis.assumptions.contains(&Assumption::ForwardedAsDeclared));
    let shallow = carried(|system| {
        need(system, "E1", 200_000);
        let network = system.network.as_mut().expect("it is given");
        network.depth = None;
    });
    assert_eq!(shallow.status, Status::NotShown);
    assert!(reason(&shallow).contains("`network.depth` is not given"), "{shallow:?}");
}

#[test]
fn possible_throttling_keeps_a_chain_from_being_shown() {
    let verdict = changed("reaction/E1", |system, _| partition(system, "NAVF").untrusted = true);
    assert_eq!((verdict.status, verdict.bound), (Status::NotShown, Some(34_728_000)));
    assert!(reason(&verdict).contains("`NAVF` is untrusted"), "{verdict:?}");
}

#[test]
fn chains_are_claimed_where_all_their_tasks_run() {
    let idle = |system: &System, name: &str| ScheduledPartition {
        partition: at(id_of(system, name)),
        idle: true,
        active_tasks: None,
        grant: None,
    };
    let two = |system: &mut System, plan: &mut Plan| {
        system.schedules = ["Survey", "Harbour"].map(schedule).into();
        let sonr = idle(system, "SONR");
        system.schedules[1].changes.push(sonr);
        let mut harbour = plan.schedules[0].clone();
        harbour.schedule = quantity::ScheduleId::new(1);
        plan.schedules.push(harbour);
    };
    assert_eq!(changed("reaction/E1@Harbour", two).bound, Some(34_728_000));
    assert_eq!(changed("reaction/E6@Survey", two).status, Status::Shown);
    let (mut system, mut plan) = vessel();
    two(&mut system, &mut plan);
    assert!(check(&system, &plan).iter().all(|verdict| verdict.id != "reaction/E6@Harbour"), "the sonar is idle there");
    let nowhere = changed("reaction/E6", |system, plan| {
        two(system, plan);
        let sonr = idle(system, "SONR");
        system.schedules[0].changes.push(sonr);
    });
    assert_eq!(nowhere.status, Status::NotAnalysed);
    assert!(reason(&nowhere).contains("in no module schedule"), "{nowhere:?}");
}

/// The recorder's 20 ms in two windows, as in the table of changes: it then answers later than its deadline, and the
/// queue before it has to hold what it holds.
#[test]
fn the_recorder_in_two_windows() {
    let verdict = changed("reaction/E6", |system, plan| {
        let recorder = id_of(system, "RECD");
        let core = &mut plan.schedules[0].cores[2];
        let like = core.windows.iter().find(|window| window.partition == recorder).copied().expect("it has windows");
        core.windows.retain(|window| window.partition != recorder);
        core.windows.extend([9, 49].map(|start_ms| plan::Window {
            start: Instant::from_ns(us(start_ms * 1000)),
            length: Duration::from_us(10_000),
            ..like
        }));
        core.windows.sort_by_key(|window| window.start);
    });
    // Periods and responses: 20 + 14.718 + 50 + 54.518 ms.
    assert_eq!((verdict.generic, verdict.status), (Some(139_236_000), Status::Shown));
    assert_eq!(verdict.table_aware, Some(73_468_000));
}

/// `ctrl` is the most urgent of its partition: in any phase it takes from 0.456 ms on up to its response of 8.578 ms;
/// with the frame from 0.456 to 1.128 ms after the window's begin.
#[test]
fn output_jitter_of_the_thruster_control() {
    let needs = |change: fn(&mut System)| {
        changed("output_jitter/PROP.ctrl", move |system, _| {
            task(system, "PROP.ctrl").output_jitter = Some(duration_us(1000));
            change(system);
        })
    };
    let aligned = needs(|_| {});
    assert_eq!((aligned.bound, aligned.status), (Some(us(672)), Status::Shown));
    let any = needs(unsynchronised);
    assert_eq!((any.bound, any.status), (Some(us(8578 - 456)), Status::NotShown));
    let logical = needs(|system| task(system, "PROP.ctrl").exchange = Exchange::Logical);
    assert_eq!((logical.bound, logical.status), (Some(0), Status::Shown));
    let unknown = needs(|system| task(system, "PROP.ctrl").bcet = None);
    assert!(unknown.bound > aligned.bound && reason(&unknown).contains("1 ns is taken"), "{unknown:?}");
    let none = needs(|system| task(system, "PROP.ctrl").wcet = None);
    assert_eq!((none.bound, none.status), (None, Status::NotAnalysed));
}
