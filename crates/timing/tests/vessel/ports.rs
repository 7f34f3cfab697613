//! The vessel's ports with one thing changed each; what is stated of them as they are is in `corpus/cases`.

use super::system::{at, id_of, rule, task, us, vessel};
use claim::{Status, Verdict, sum_of_parts};
use model::System;
use model::system::{Channel, ChannelKind, Exchange, GrowthSubject, PortEnd, QueueRead, ScheduledPartition};
use quantity::{Bytes, DeviceId, Duration, Rate, TaskId};
use timing::claims::check;

type Change = fn(&mut System);

fn verdicts(change: impl FnOnce(&mut System)) -> Vec<Verdict> {
    let (mut system, plan) = vessel();
    change(&mut system);
    check(&system, &plan)
}

fn find<'a>(verdicts: &'a [Verdict], id: &str) -> &'a Verdict {
    verdicts.iter().find(|verdict| verdict.id == id).unwrap_or_else(|| panic!("no verdict {id}"))
}

fn channel<'a>(system: &'a mut System, name: &str) -> &'a mut Channel {
    system.channels.iter_mut().find(|channel| channel.name.value == name).expect("a channel of the vessel")
}

fn task_id(system: &System, label: &str) -> TaskId {
    system.task_ids().find(|&id| system.task_label(id) == label).expect("a task of the vessel")
}

/// The depth and the read of a queuing channel.
fn queue(channel: &mut Channel) -> (&mut u64, &mut QueueRead) {
    match &mut channel.kind {
        ChannelKind::Queuing { depth, read, .. } => (&mut depth.value, read),
        ChannelKind::Sampling { .. } => panic!("{} is sampling", channel.name.value),
    }
}

fn says(verdict: &Verdict, words: &str) -> bool {
    verdict.reason.as_ref().is_some_and(|reason| reason.contains(words))
}

#[test]
fn the_parts_of_a_gap_add_up_to_it() {
    let found = verdicts(|_| {});
    let gap = find(&found, "refresh/CH05");
    assert_eq!(gap.bound, Some(sum_of_parts(&gap.parts)));
    assert_eq!(gap.parts.iter().map(|part| part.ns).collect::<Vec<_>>(), [us(20_000), us(18_546)]);
}

#[test]
fn what_is_not_known_of_a_sampling_channel_is_named() {
    let cases: [(Change, &str); 5] = [
        (|system| task(system, "STOP.estop").sporadic = true, "`STOP.estop` is sporadic"),
        (|system| channel(system, "CH01").kind = ChannelKind::Sampling { refresh: None }, "`refresh` of `CH01`"),
        (
            |system| channel(system, "CH01").source = at(PortEnd::Partition(id_of(system, "STOP"))),
            "which task of `STOP` writes",
        ),
        (
            |system| channel(system, "CH01").source = at(PortEnd::Device(DeviceId::new(0))),
            "when the device `GPIO` writes",
        ),
        (|system| task(system, "STOP.estop").wcet = None, "`wcet` of `STOP.estop`"),
    ];
    for (change, named) in cases {
        let found = verdicts(change);
        let verdict = find(&found, "refresh/CH01");
        assert_eq!((verdict.status, verdict.bound), (Status::NotAnalysed, None), "{named}");
        assert!(says(verdict, named), "{named}: {:?}", verdict.reason);
    }
}

#[test]
fn a_writer_slower_than_the_refresh_period_surely_violates_it() {
    let refresh = |ns| ChannelKind::Sampling { refresh: Some(at(Duration::from_ns(ns))) };
    let status = |ns| {
        let found = verdicts(|system| channel(system, "CH01").kind = refresh(ns));
        let verdict = find(&found, "refresh/CH01");
        assert_eq!(verdict.witness.is_some(), verdict.status == Status::Violated);
        verdict.status
    };
    // STOP.estop writes every 10 ms and up to 19.27 ms apart.
    let statuses = [us(19_270), us(19_270) - 1, us(10_000), us(10_000) - 1].map(status);
    assert_eq!(statuses, [Status::Shown, Status::NotShown, Status::NotShown, Status::Violated]);
}

#[test]
fn with_logical_execution_time_the_gap_is_the_period() {
    let found = verdicts(|system| task(system, "STOP.estop").exchange = Exchange::Logical);
    let verdict = find(&found, "refresh/CH01");
    assert_eq!((verdict.bound, verdict.exact), (Some(us(10_000)), true));
    // A reader with logical execution time reads once a period: (10 + 9.59 ms) of jitter and gap hold two messages.
    let found = verdicts(|system| task(system, "MAIN.log").exchange = Exchange::Logical);
    assert_eq!(find(&found, "queue_depth/CH19").bound, Some(11), "100 ms and 9.59 ms of jitter, one each 10 ms");
}

#[test]
fn a_writer_without_bound_leaves_the_gap_not_shown() {
    let found = verdicts(|system| {
        let interconnect = system.board.interconnect.as_mut().expect("the vessel has one");
        interconnect.guaranteed = at(Rate::from_bytes_per_s(64_000_000_000 / 60));
    });
    let verdict = find(&found, "refresh/CH16");
    assert_eq!((verdict.status, verdict.bound), (Status::NotShown, None));
    assert!(says(verdict, "`SONR.svp` has no bound"), "{:?}", verdict.reason);
}

#[test]
fn throttled_writers_and_readers_are_not_shown() {
    let found = verdicts(|system| task(system, "STOP.estop").peak_rate = None);
    assert_eq!(find(&found, "refresh/CH01").status, Status::NotShown);
    assert_eq!(find(&found, "queue_depth/CH19").status, Status::NotShown);
    assert_eq!(find(&found, "queue_depth/CH13").status, Status::Shown);
}

#[test]
fn a_queue_too_small_for_the_long_run_surely_loses_messages() {
    // SONR.ping sends 5 messages in 100 ms, RECD.writer reads twice.
    let of = |depth, read| {
        let found = verdicts(|system| {
            let (holds, takes) = queue(channel(system, "CH13"));
            (*holds, *takes) = (depth, read);
        });
        let verdict = find(&found, "queue_depth/CH13").clone();
        assert_eq!(verdict.witness.is_some(), verdict.status == Status::Violated);
        verdict
    };
    assert_eq!(of(2, QueueRead::All).status, Status::Violated);
    let tight = of(3, QueueRead::All);
    assert_eq!((tight.status, tight.bound), (Status::NotShown, Some(5)));
    // With 13.638 ms of jitter the fourth message may come 3 periods less the jitter after the first.
    assert!(says(&tight, "46.362 ms after the first message"), "{:?}", tight.reason);
    let slow = of(100, QueueRead::AtMost(2));
    assert_eq!((slow.status, slow.bound), (Status::Violated, None));
    let just_enough = of(100, QueueRead::AtMost(3));
    assert_eq!((just_enough.status, just_enough.bound), (Status::Shown, Some(5)));
    assert_eq!(of(5, QueueRead::All).status, Status::Shown, "exactly full");
}

#[test]
fn what_is_not_known_of_a_queue_is_named() {
    let cases: [(Change, &str); 3] = [
        (|system| task(system, "RECD.writer").sporadic = true, "`RECD.writer` is sporadic"),
        (
            |system| channel(system, "CH13").destinations = vec![at(PortEnd::Partition(id_of(system, "RECD")))],
            "which task of `RECD` reads",
        ),
        (|system| channel(system, "CH13").destinations = vec![at(PortEnd::Device(DeviceId::new(0)))], "`GPIO` reads"),
    ];
    for (change, named) in cases {
        let found = verdicts(change);
        let verdict = find(&found, "queue_depth/CH13");
        assert_eq!((verdict.status, verdict.bound), (Status::NotAnalysed, None), "{named}");
        assert!(says(verdict, named), "{named}: {:?}", verdict.reason);
    }
}

#[test]
fn a_device_that_keeps_a_distance_fills_a_queue_without_jitter() {
    // At most one message each 20 ms and a gap of 85.118 ms between reads; with 13.638 ms of jitter it is 5 too.
    let found = verdicts(|system| channel(system, "CH13").source = at(PortEnd::Device(DeviceId::new(0))));
    assert_eq!(find(&found, "queue_depth/CH13").bound, Some(5));
    let burst = verdicts(|system| {
        let ChannelKind::Queuing { burst, .. } = &mut channel(system, "CH13").kind else { panic!("queuing") };
        *burst = Some(at(2));
    });
    let verdict = find(&burst, "queue_depth/CH13");
    assert_eq!((verdict.status, verdict.bound), (Status::NotShown, Some(7)));
}

#[test]
fn every_destination_has_a_queue_and_the_worst_one_counts() {
    let found = verdicts(|system| {
        let link = task_id(system, "LINK.tx");
        channel(system, "CH19").destinations.insert(0, at(PortEnd::Task(link)));
    });
    let verdict = find(&found, "queue_depth/CH19");
    assert_eq!((verdict.status, verdict.bound), (Status::Shown, Some(21)));
    assert!(says(verdict, "2 queues of 32 messages of 64 B take 4 KiB"), "{:?}", verdict.reason);
}

#[test]
fn what_does_not_run_in_a_schedule_makes_no_claim_there() {
    let found = verdicts(|system| {
        let sonr = at(id_of(system, "SONR"));
        let change = ScheduledPartition { partition: sonr, idle: true, active_tasks: None, grant: None };
        system.schedules[0].changes.push(change);
    });
    let about = |id: &str| found.iter().any(|verdict| verdict.id == id);
    assert!(!about("queue_depth/CH13") && !about("refresh/CH16"), "their source is idle");
    assert!(about("refresh/CH02"), "COLA.assess still reads it");
}

#[test]
fn the_margin_of_ports_is_what_no_message_uses() {
    let found = verdicts(|system| system.growth_rules.push(rule(GrowthSubject::Ports, 30)));
    let of = |name: &str| {
        let margin = find(&found, &format!("margin/port/{name}"));
        (margin.status, margin.bound)
    };
    assert_eq!(of("CH09"), (Status::Shown, Some(500_000)), "4 of 8");
    assert_eq!(of("CH13"), (Status::NotShown, Some(166_666)), "1 of 6");
    assert_eq!(of("CH15"), (Status::NotShown, Some(0)), "0 of 2");
    let lost = verdicts(|system| {
        system.growth_rules.push(rule(GrowthSubject::Ports, 30));
        *queue(channel(system, "CH13")).0 = 2;
    });
    assert_eq!(find(&lost, "margin/port/CH13").status, Status::Violated, "what loses messages is full");
}

#[test]
fn port_calls_are_charged_where_execution_times_do_not_hold_them() {
    let charged = |included| {
        let found = verdicts(|system| {
            system.platform.port_cost.as_mut().expect("the sheet has one").included.value = included;
        });
        ["STOP.estop", "RECD.writer", "RECD.index"].map(|label| {
            let verdict = find(&found, &format!("response/{label}"));
            verdict.growth.map_or(0, |growth| growth.charged_ns)
        })
    };
    let (held, added) = (charged(true), charged(false));
    // By hand: one write of 8 B is 2 us and 8/1024 us; 6 reads of 24 KiB and 2 of 64 KiB are 6 * 26 us and 2 * 66 us.
    assert_eq!(added[0] - held[0], us(2) + 8);
    assert_eq!(added[1] - held[1], us(6 * 26 + 2 * 66));
    assert_eq!(added[2], held[2], "it has no ports");
}

#[test]
fn a_device_carries_at_most_its_capacity() {
    let of = |capacity, change: fn(&mut System)| {
        let found = verdicts(|system| {
            let device = system.board.devices.iter_mut().find(|device| device.name.value == "ETH2");
            device.expect("the radio link").capacity = Some(at(Rate::from_bytes_per_s(capacity)));
            change(system);
        });
        let verdict = find(&found, "bandwidth/ETH2");
        assert_eq!(verdict.witness.is_some(), verdict.status == Status::Violated);
        (verdict.status, verdict.bound, verdict.reason.clone())
    };
    fn to_the_link(system: &mut System) {
        // LINK.tx sends 8 bytes each 20 ms, 400 B/s beside the 2 MB/s of its own transfers.
        let device =
            system.board.devices.iter().position(|device| device.name.value == "ETH2").expect("the radio link");
        let mut added = channel(system, "CH01").clone();
        added.name.value = "CH99".to_owned();
        added.source = at(PortEnd::Task(task_id(system, "LINK.tx")));
        added.destinations = vec![at(PortEnd::Device(DeviceId::new(device)))];
        added.size = at(Bytes::new(8));
        system.channels.push(added);
    }
    assert_eq!(of(2_000_000, |_| {}), (Status::Shown, Some(1_000_000), None), "exactly full");
    assert_eq!(of(2_000_400, to_the_link), (Status::Shown, Some(1_000_000), None));
    let over = of(2_000_399, to_the_link);
    assert_eq!((over.0, over.1), (Status::Violated, Some(1_000_001)));
    assert!(over.2.is_some_and(|reason| reason.contains("through `ETH2` asks for 2000400 B/s of its 2000399 B/s")));
    let sporadic = of(2_000_399, |system| {
        to_the_link(system);
        task(system, "LINK.tx").sporadic = true;
    });
    assert_eq!(sporadic.0, Status::NotShown, "a sporadic sender may send less");
    let unknown: [Change; 2] = [
        |system| {
            to_the_link(system);
            let added = channel(system, "CH99");
            std::mem::swap(&mut added.source, &mut added.destinations[0]);
        },
        |system| {
            let devices = system.board.devices.iter_mut();
            devices.for_each(|device| (device.dma_rate, device.dma_stream) = (None, None));
        },
    ];
    for change in unknown {
        let (status, bound, _) = of(2_000_000, change);
        assert_eq!((status, bound), (Status::NotAnalysed, None), "what is not given is not zero");
    }
}
