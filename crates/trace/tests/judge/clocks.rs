//! Recordings of two sources whose clocks are known to within an error: what the error could turn is not shown.

use crate::common::{Recording, a, core, finding, frames, log, read, system_with, work};
use proptest::prelude::*;
use trace::judge::{Allowed, Judgement, Rule, Status};
use trace::moment::Clock;
use trace::names::Name;
use trace::seen::{Happening, Seen, Start, Who};

/// The needs of both chains are what they take where all is as planned.
const CHAINS: &str = r#"
[[chain]]
name = "THERE"
path = ["A.work", "B.log"]
reaction = "1450 us"

[[chain]]
name = "BACK"
path = ["B.log", "A.work"]
data_age = "1700 us"
"#;

fn judged(recording: &Recording) -> Judgement {
    recording.judged_in(&system_with(CHAINS), Allowed { window_ns: Some(20_000), origin_ns: Some(0) })
}

/// The second source tells of all that is `told` of it; its clock is off by up to so much.
fn by_two(recording: &mut Recording, error_ns: u32, told: impl Fn(&Happening) -> bool) {
    let second = recording.seen.iter_mut().filter(|seen| told(&seen.what));
    second.for_each(|seen| seen.clock = Clock { source: 1, error_ns });
}

fn is_completion(what: &Happening) -> bool {
    matches!(what, Happening::Completes { .. })
}

/// The last job of `A.work` completes so long after its arrival, which has to be 800 us.
fn answered(response_ns: u64, error_ns: u32, told: impl Fn(&Happening) -> bool) -> (Status, u64, Option<u64>) {
    let mut recording = frames(3, |recording| {
        let last = |seen: &&mut Seen| is_completion(&seen.what) && seen.at_ns == 2_110_000;
        recording.seen.iter_mut().filter(last).for_each(|seen| seen.at_ns = 2_000_000 + response_ns);
    });
    by_two(&mut recording, error_ns, told);
    let judgement = judged(&recording);
    let found = finding(&judgement, "deadline/A.work");
    (found.status.clone(), found.undecided, found.worst)
}

#[test]
fn a_response_nearer_to_its_deadline_than_the_clocks_are_known_is_not_shown() {
    assert_eq!(answered(790_000, 10_000, is_completion), (Status::Kept, 0, Some(790_000)));
    let (status, undecided, worst) = answered(790_000, 10_001, is_completion);
    let Status::NotShown(why) = &status else { panic!("{status:?}") };
    assert!(why.contains("1 of 3") && why.contains("up to 10001 ns"), "{why}");
    assert_eq!((undecided, worst), (1, Some(790_000)));
    assert!(matches!(answered(810_000, 10_000, is_completion).0, Status::NotShown(_)));
    assert_eq!(answered(810_001, 10_000, is_completion).0, Status::Violated);
    // Of one source it is known, however far off its clock is.
    assert_eq!(answered(800_000, 10_000, |_| true).0, Status::Kept);
    assert_eq!(answered(800_001, 10_000, |_| true).0, Status::Violated);
}

#[test]
fn an_error_that_is_not_known_decides_nothing_between_two_sources() {
    let (status, undecided, _) = answered(110_000, Clock::UNKNOWN, is_completion);
    assert!(matches!(&status, Status::NotShown(why) if why.contains("takes three common marks")), "{status:?}");
    assert_eq!(undecided, 3);
}

/// The message was written 300 us before it is read, and the one before it 1,300 us: where the order of the last write and the read is
/// open, it may be either, and both are young enough.
#[test]
fn a_read_that_may_have_found_the_message_before_is_kept_where_that_was_young_enough() {
    let age = |error_ns: u32| {
        let mut recording = frames(4, |_| {});
        by_two(&mut recording, error_ns, |what| matches!(what, Happening::Reads { .. }));
        let judgement = judged(&recording);
        finding(&judgement, "age/VALUE").status.clone()
    };
    assert_eq!(age(299_999), Status::Kept);
    assert!(matches!(age(300_000), Status::NotShown(_)), "of the first read it is not known what was written before");
}

#[test]
fn an_order_that_is_open_counts_no_messages() {
    // The queue is read 50 us after it was written, in frame 2 alone; the clocks are off by as much.
    let depth = |error_ns: u32| {
        let mut recording =
            frames(4, |recording| recording.ns(2_510_000, read("ORDERS")).seen.sort_by_key(|seen| seen.at_ns));
        by_two(&mut recording, error_ns, |what| *what == read("ORDERS"));
        let judgement = judged(&recording);
        let found = finding(&judgement, "depth/ORDERS");
        (found.status == Status::Kept, found.undecided)
    };
    assert_eq!((depth(49_999), depth(50_000)), ((true, 0), (false, 1)));
}

/// What the second source tells of.
fn told(mask: u32, what: &Happening) -> bool {
    let kind = match what {
        Happening::WindowBegins { .. } | Happening::WindowEnds { .. } => 0,
        Happening::Runs { .. } => 1,
        Happening::Arrives { .. } => 2,
        Happening::Completes { .. } => 3,
        Happening::Writes { .. } => 4,
        Happening::Reads { .. } => 5,
        Happening::Noticed { .. } | Happening::FaultBegins { .. } => 6,
        _ => 7,
    };
    mask >> kind & 1 == 1
}

/// Frames in which every event may come a little earlier or later, and some far from where they belong.
fn disturbed(moves: &[(u8, i64)], numbered: bool, restart_us: Option<u64>) -> Recording {
    let mut recording = frames(8, |recording| {
        if let Some(us) = restart_us {
            recording.at(us - 90, Happening::FaultBegins { fault: Name(0), of: Some(a()) });
            recording.at(us - 40, Happening::Noticed { partition: a() });
            recording.at(us, Happening::Restarts { partition: a(), start: Start::Warm });
        }
    });
    let mut moves = moves.iter().cycle();
    let far = |kind: u8, what: &Happening| match (kind, what) {
        // Near to a limit: the deadline of the work, the need of a chain, the refresh period.
        (0, Happening::Completes { task, .. }) if *task == work() => 690_000,
        (1, Happening::Reads { .. }) => 200_000,
        (2, Happening::Writes { .. }) => 250_000,
        (3, Happening::Completes { task, .. }) if *task == log() => 530_000,
        _ => 0,
    };
    recording.seen.retain_mut(|seen| {
        let (kind, by) = *moves.next().expect("there is no end");
        // What a job does keeps its order.
        let is_early = matches!(seen.what, Happening::Arrives { .. } | Happening::Runs { .. });
        let by = if is_early { by / 8 } else { by };
        seen.at_ns = (seen.at_ns + 200_000 + far(kind, &seen.what)).saturating_add_signed(by);
        if let Happening::Arrives { number, .. } | Happening::Completes { number, .. } = &mut seen.what {
            *number = number.filter(|_| numbered);
        }
        kind < 250 || !matches!(seen.what, Happening::Writes { .. } | Happening::Reads { .. })
    });
    recording.seen.sort_by_key(|seen| seen.at_ns);
    recording
}

/// The same with the second source's clock set right, if it was off by so much.
fn set_right(recording: &Recording, off_ns: i64) -> Recording {
    let right = |seen: &Seen| {
        let at_ns = if seen.clock.source == 1 { seen.at_ns.saturating_add_signed(off_ns) } else { seen.at_ns };
        Seen { at_ns, clock: Clock::exact(0), ..*seen }
    };
    let mut seen: Vec<Seen> = recording.seen.iter().map(right).collect();
    seen.sort_by_key(|seen| seen.at_ns);
    Recording { seen }
}

/// Whether jobs arrive before they execute, and execute before they complete, as they do whatever a recording says.
fn can_be(recording: &Recording) -> bool {
    [work(), log()].into_iter().all(|task| {
        let (mut under_way, mut has_run) = (0, false);
        recording.seen.iter().all(|seen| {
            match seen.what {
                Happening::Restarts { .. } if task == work() => (under_way, has_run) = (0, false),
                Happening::Arrives { task: of, .. } if of == task => under_way += 1,
                Happening::Runs { who: Some(Who::Task(of)), .. } if of == task => {
                    has_run = true;
                    return under_way > 0;
                }
                Happening::Completes { task: of, .. } if of == task => {
                    under_way -= 1;
                    return under_way >= 0 && std::mem::take(&mut has_run);
                }
                _ => {}
            }
            true
        })
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(512))]

    /// However far off the clock was, within its error: what is kept is not violated then, and what is violated is not kept.
    #[test]
    fn no_clock_within_the_error_turns_a_verdict(
        moves in proptest::collection::vec((any::<u8>(), -30_000i64..30_000), 1..400),
        mask in 1u32..255,
        error_ns in 1u32..60_000,
        shares in proptest::collection::vec(-1_000i64..=1_000, 4),
        numbered: bool,
        restart_us in proptest::option::of(1_500u64..4_500),
    ) {
        let mut recording = disturbed(&moves, numbered, restart_us);
        by_two(&mut recording, error_ns, |what| told(mask, what));
        let found = judged(&recording).findings;
        for share in shares.into_iter().chain([-1_000, 1_000]) {
            let right = set_right(&recording, i64::from(error_ns) * share / 1_000);
            if !can_be(&right) {
                continue;
            }
            let right = judged(&right).findings;
            // A start cuts what is under way, and with other clocks it cuts something else.
            let is_compared = |rule| restart_us.is_none() || matches!(rule, Rule::Arrival | Rule::Outage | Rule::Reaction | Rule::DataAge);
            for (found, right) in found.iter().zip(&right).filter(|(found, _)| is_compared(found.rule)) {
                let turned = match found.status {
                    Status::Kept => right.status == Status::Violated,
                    Status::Violated => right.status == Status::Kept,
                    Status::NotShown(_) | Status::NotAnalysed(_) => false,
                };
                prop_assert!(!turned, "{share}: {found:?}\n{right:?}");
            }
        }
    }
}

#[test]
fn who_executes_beside_a_window_may_execute_within_it() {
    // A.work executes 1 ns after its window has ended, by another source's clock, which is off by more than the tolerance of 20 us.
    let foreign = |error_ns: u32| {
        let mut recording = frames(3, |recording| {
            recording.ns(1_400_001, Happening::Runs { core: core(), who: Some(Who::Task(work())), leaves: None });
            recording.ns(1_400_002, Happening::Runs { core: core(), who: None, leaves: None });
        });
        by_two(&mut recording, error_ns, |what| matches!(what, Happening::Runs { .. }));
        let judgement = judged(&recording);
        finding(&judgement, "foreign-execution/B").status.clone()
    };
    assert_eq!(foreign(19_999), Status::Kept);
    assert!(matches!(foreign(20_001), Status::NotShown(_)));
}
