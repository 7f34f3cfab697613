//! The vessel with its shore link as the forwarder of two channels, worked by hand.
//!
//! LINK.rx (T 20 ms, R 17.918 ms, WCET 0.5 ms) moves the frames of CH01 (8 B each 10 ms, 9.27 ms of jitter) and of CH13
//! (24,576 B each 20 ms, 13.638 ms of jitter), at 20 us and 1 ns a byte: 20.008 us and 44.576 us a frame. So a job moves
//! at least 500,000 - 44,575 ns, rounded up to a multiple of 8 ns, the costs' common divisor: 455.432 us.

use super::system::{at, forward_over_link, id_of, task, us, vessel};
use claim::{PartKind, Status, Verdict, sum_of_parts};
use model::System;
use model::system::{Network, Release};
use quantity::Duration;
use timing::claims::check;

type Change = fn(&mut System);

fn verdicts(change: impl FnOnce(&mut System)) -> Vec<Verdict> {
    let (mut system, plan) = vessel();
    forward_over_link(&mut system);
    change(&mut system);
    check(&system, &plan)
}

fn network(system: &mut System) -> &mut Network {
    system.network.as_mut().expect("the vessel has one here")
}

fn find<'a>(verdicts: &'a [Verdict], id: &str) -> &'a Verdict {
    verdicts.iter().find(|verdict| verdict.id == id).unwrap_or_else(|| panic!("no verdict {id}"))
}

fn says(verdict: &Verdict, words: &str) -> bool {
    verdict.reason.as_ref().is_some_and(|reason| reason.contains(words))
}

#[test]
fn what_the_link_carries() {
    let found = verdicts(|_| {});
    let load = find(&found, "forwarding/LINK/load");
    let (asked, moved) = (2 * 20_008 + 44_576, 455_432);
    assert_eq!((load.status, load.bound), (Status::Shown, Some((asked * 1_000_000u64).div_ceil(moved))));
    assert!(says(load, "one point of common failure: CH01, CH13 all pass through `LINK`"), "{:?}", load.reason);
    // All frames that can wait fit into one job, which comes within 20 ms and is done 17.918 ms later.
    for id in ["forwarding/CH01", "forwarding/CH13"] {
        let way = find(&found, id);
        assert_eq!(way.bound, Some(us(37_918)), "{id}");
    }
    assert_eq!(find(&found, "forwarding/CH13").status, Status::Shown, "a queue declares no limit");
    let late = find(&found, "forwarding/CH01");
    assert_eq!((late.status, late.limit), (Status::NotShown, Some(us(25_000))));
    assert!(says(late, "12.918 ms after its refresh period"), "{:?}", late.reason);
}

#[test]
fn queues_at_the_link_and_behind_it() {
    let found = verdicts(|_| {});
    // (37.918 + 9.27) / 10 and (37.918 + 13.638) / 20, rounded up.
    assert_eq!(find(&found, "queue_depth/LINK/STOP").bound, Some(5));
    assert_eq!(find(&found, "queue_depth/LINK/SONR").bound, Some(3));
    // Behind the link a message is up to 37.918 - 0.044576 ms later than another:
    // (85.118 + 13.638 + 37.873424) / 20 are 7 messages, and the queue holds 6.
    let depth = find(&found, "queue_depth/CH13");
    assert_eq!((depth.status, depth.bound), (Status::NotShown, Some(7)));
    let age = find(&found, "refresh/CH01");
    assert_eq!((age.status, age.bound), (Status::NotShown, Some(us(19_270 + 37_918))));
    assert_eq!(age.parts.last().map(|part| (part.kind, part.ns)), Some((PartKind::Port, us(37_918))));
    assert_eq!(age.bound, Some(sum_of_parts(&age.parts)));
}

#[test]
fn what_a_restart_of_the_link_loses_is_told() {
    let found = verdicts(|system| task(system, "LINK.rx").release = at(Release::FreeRunning));
    let queue = find(&found, "queue_depth/LINK/STOP");
    assert_eq!(queue.status, Status::Shown);
    // The page of the vessel: 516.9 ms and 2,415.7 ms of outage; a frame each 10 ms with 9.27 ms of jitter.
    for words in
        ["516.878 ms of a warm restart up to 53 frames come, 45 may", "2.415678 s of a cold restart up to 243 frames"]
    {
        assert!(says(queue, words), "{words}: {:?}", queue.reason);
    }
    let silent = verdicts(|system| {
        let link = id_of(system, "LINK");
        system.partitions[link.index()].restart.as_mut().expect("declared").detection = None;
    });
    assert!(says(find(&silent, "queue_depth/LINK/STOP"), "`detection` of `LINK` is not given"));
}

#[test]
fn what_is_not_known_of_the_network_is_named() {
    let cases: [(Change, &str); 5] = [
        (|system| network(system).task = None, "`network.task` is not given"),
        (|system| network(system).fixed = None, "`network.fixed` is not given"),
        (|system| network(system).per_byte_ps = None, "`network.per_byte_ps` is not given"),
        (|system| task(system, "LINK.hb").wcet = None, "`wcet` of `LINK.hb`"),
        (|system| task(system, "SONR.ping").wcet = None, "`wcet` of `SONR.ping`"),
    ];
    for (change, named) in cases {
        let found = verdicts(change);
        for id in ["forwarding/LINK/load", "forwarding/CH01", "refresh/CH01", "queue_depth/CH13"] {
            let verdict = find(&found, id);
            assert_eq!((verdict.status, verdict.bound), (Status::NotAnalysed, None), "{id}: {named}");
            assert!(says(verdict, named), "{id}, {named}: {:?}", verdict.reason);
        }
    }
    let no_depth = verdicts(|system| network(system).depth = None);
    assert_eq!(find(&no_depth, "queue_depth/LINK/STOP").status, Status::NotAnalysed);
    let way = find(&no_depth, "forwarding/CH13");
    assert_eq!((way.status, way.bound), (Status::NotShown, Some(us(37_918))), "lost or not, nobody knows");
}

#[test]
fn more_than_the_link_moves_is_violated_with_the_shortfall() {
    // A job moves 0.5 ms in 20 ms; the frames ask for 2 * 240.008 us and 264.576 us in 20 ms.
    let fixed = |us| move |system: &mut System| network(system).fixed = Some(at(Duration::from_us(us)));
    let found = verdicts(fixed(240));
    let load = find(&found, "forwarding/LINK/load");
    assert_eq!(load.status, Status::Violated);
    // 244.592 us each 20 ms are 12.2296 ms each second.
    assert!(says(load, "12.2296 ms more in each second"), "{:?}", load.reason);
    assert_eq!(find(&found, "forwarding/CH13").status, Status::NotShown);
    assert_eq!(find(&found, "queue_depth/LINK/STOP").status, Status::NotShown);
    let too_long = verdicts(fixed(500));
    let load = find(&too_long, "forwarding/LINK/load");
    assert!(load.status == Status::Violated && says(load, "a frame of `CH13` takes 524.576 us"), "{:?}", load.reason);
}

#[test]
fn a_queue_at_the_link_smaller_than_one_broadcast_loses_frames() {
    let of = |depth| {
        let found = verdicts(|system| {
            network(system).depth = Some(at(depth));
            let other = system.channels[2].destinations[0];
            system.channels[0].destinations.push(other);
        });
        let verdict = find(&found, "queue_depth/LINK/STOP");
        (verdict.status, verdict.bound, find(&found, "forwarding/CH13").status)
    };
    // Two frames a message now: ten within the longest delay.
    assert_eq!(of(1), (Status::Violated, None, Status::NotShown));
    assert_eq!(of(9), (Status::NotShown, Some(10), Status::Shown));
    assert_eq!(of(10), (Status::Shown, Some(10), Status::Shown));
}

#[test]
fn a_partition_without_tasks_forwards_in_all_its_windows() {
    let found = verdicts(|system| {
        network(system).task = None;
        let link = id_of(system, "LINK");
        system.partitions[link.index()].tasks.clear();
        system.channels.retain(|channel| ["CH01", "CH13"].contains(&channel.name.value.as_str()));
        system.chains.clear();
    });
    // The frames that can come before the first one is through: one of CH01, and two of CH13 as its jitter lets two come
    // within 17 ms; the window opens 17.04 ms after it ended.
    assert_eq!(find(&found, "forwarding/CH01").bound, Some(us(17_040) + 20_008 + 2 * 44_576));
    assert_eq!(find(&found, "forwarding/LINK/load").status, Status::Shown);
}
