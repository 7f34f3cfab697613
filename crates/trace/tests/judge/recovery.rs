//! Outages and boots measured as bounds count them.

use crate::common::{Recording, a, b, frames, work};
use trace::judge::{Judgement, Since};
use trace::names::Name;
use trace::seen::{Happening, Start};

/// A is away from 1,200 us, and back with the completion at 4,110 us; an error was noticed at 1,100 us.
fn away(change: impl FnOnce(&mut Recording)) -> Judgement {
    let recording = frames(6, |recording| {
        recording.seen.retain(|seen| {
            let of_work = matches!(seen.what, Happening::Arrives { task, .. } | Happening::Completes { task, .. } if task == work());
            !(of_work && (1_050_000..4_000_000).contains(&seen.at_ns))
        });
        recording.at(1_100, Happening::Noticed { partition: a() });
        recording.at(1_200, Happening::Restarts { partition: a(), start: Start::Warm });
        change(recording);
    });
    recording.judged(0)
}

fn outages(judgement: &Judgement) -> Vec<(Since, u64, u64)> {
    judgement.outages.iter().map(|seen| (seen.since, seen.most.value, seen.most.at_ns)).collect()
}

fn fault(recording: &mut Recording, us: u64) {
    recording.at(us, Happening::FaultBegins { fault: Name(0), of: None });
}

#[test]
fn an_outage_counts_from_the_fault_where_it_may_be_the_one_that_was_noticed() {
    // The declared detection takes 1 ms.
    let found = |us| outages(&away(|recording| fault(recording, us)));
    assert_eq!(found(100), [(Since::Fault, 4_010_000, 4_110_000)]);
    assert_eq!(found(99), [(Since::Noticed, 3_010_000, 4_110_000)], "noticed later than declared: of something else");
    assert_eq!(outages(&away(|_| {})), [(Since::Noticed, 3_010_000, 4_110_000)]);
    assert_eq!(found(1_150), [(Since::Noticed, 3_010_000, 4_110_000)], "it began after the error was noticed");
}

#[test]
fn an_outage_with_two_starts_or_a_gap_in_it_is_not_measured() {
    let again = |recording: &mut Recording| {
        recording.at(2_000, Happening::Restarts { partition: a(), start: Start::Cold });
    };
    assert_eq!(outages(&away(again)), []);
    let gap = |recording: &mut Recording| _ = recording.at(2_000, Happening::Gap { core: None, ends: true });
    assert_eq!(outages(&away(gap)), []);
}

#[test]
fn a_boot_counts_from_the_begin_of_the_first_frame_that_was_seen() {
    let judged = |from_us: u64| {
        let mut recording = frames(9, |recording| {
            recording.at(4_200, Happening::Operational { partition: a() });
            recording.at(5_000, Happening::Restarts { partition: b(), start: Start::Warm });
            recording.at(5_500, Happening::Operational { partition: b() });
        });
        recording.seen.retain(|seen| seen.at_ns >= from_us * 1000);
        let judgement = recording.judged(0);
        judgement.boots.iter().map(|most| most.map(|most| most.value)).collect::<Vec<_>>()
    };
    assert_eq!(judged(2_000), [Some(2_200_000), None], "what has started anew does not boot");
    // Of the frame that begins at 2,000 us the window at 2,400 us is the first that is seen.
    assert_eq!(judged(2_390), [Some(2_200_000), None]);
    assert_eq!(judged(3_500), [Some(1_200_000), None]);
}
