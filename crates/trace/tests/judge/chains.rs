//! Chains followed through recordings made by hand, with their reactions and ages worked out beside them.

use crate::common::{Recording, a, core, finding, frames, log, read, system_with, work, written};
use trace::judge::{Allowed, Judgement, Most, Status};
use trace::seen::{Happening, Start};

/// `A.work` begins 10 us into each frame; what it reads then comes out of `B.log` at 460 us: the stimulus just after its read
/// waits for the output of the next frame, 1,450 us. `B.log` begins at 410 us, and what it queues is put out by `A.work` at
/// 110 us of the next frame and held for another one: 1,700 us.
const CHAINS: &str = r#"
[[chain]]
name = "THERE"
path = ["A.work", "B.log"]
reaction = "1450 us"

[[chain]]
name = "BACK"
path = ["B.log", "A.work"]
data_age = "1750 us"
before = "20 us"
after = "30 us"
"#;

fn judged(recording: &Recording) -> Judgement {
    recording.judged_in(&system_with(CHAINS), Allowed { window_ns: Some(0), origin_ns: Some(0) })
}

fn values(judgement: &Judgement) -> Vec<[Option<(u64, u64)>; 2]> {
    let value = |most: Option<Most>| most.map(|most| (most.value, most.seen));
    judgement.chains.iter().map(|chain| [value(chain.reaction), value(chain.age)]).collect()
}

#[test]
fn a_chain_is_followed_from_the_first_read_to_the_last_output() {
    let judgement = judged(&frames(6, |_| {}));
    // A job of the first frame may have been under way before, so that its data is not known. Of five outputs four end an age.
    assert_eq!(
        values(&judgement),
        [[Some((1_450_000, 4)), Some((1_450_000, 4))], [Some((1_750_000, 3)), Some((1_750_000, 3))]]
    );
    assert_eq!(finding(&judgement, "reaction/THERE").status, Status::Kept);
    assert_eq!(finding(&judgement, "data-age/BACK").status, Status::Kept, "with 50 us outside the board");
    let of_chains = judgement.findings.iter().filter(|found| found.subject == "THERE" || found.subject == "BACK");
    assert_eq!(of_chains.count(), 2, "a chain is judged by the one need that it declares");
}

#[test]
fn one_step_beyond_its_need_is_found_where_it_came_out() {
    // The last task of frame 3 completes 1 ns later.
    let recording = frames(6, |recording| {
        let last =
            |seen: &&mut trace::seen::Seen| seen.at_ns == 3_460_000 && !matches!(seen.what, Happening::Writes { .. });
        recording.seen.iter_mut().filter(last).for_each(|seen| seen.at_ns += 1);
    });
    let judgement = judged(&recording);
    let found = finding(&judgement, "reaction/THERE");
    assert_eq!((found.status.clone(), found.broken, found.seen), (Status::Violated, 1, 4));
    let first = found.first.as_ref().expect("a counter-example");
    assert_eq!((first.at_ns, first.value), (3_460_001, 1_450_001));
}

#[test]
fn a_message_that_is_not_written_leaves_the_old_one_to_be_read() {
    // The write of frame 3 is left out: frame 3 puts out the data of frame 2 again, and frame 4 answers two stimuli.
    let recording = frames(6, |recording| {
        recording.seen.retain(|seen| !(seen.at_ns == 3_110_000 && seen.what == written("VALUE")));
    });
    let there = values(&judged(&recording))[0];
    // At 4,460 us data of 2,010 us is replaced, and the stimulus that came just after 2,010 us answered.
    assert_eq!(there, [Some((2_450_000, 3)), Some((2_450_000, 4))]);
}

#[test]
fn a_job_that_does_not_read_says_nothing() {
    let recording = frames(8, |recording| {
        recording.seen.retain(|seen| !(seen.at_ns == 4_410_000 && seen.what == read("VALUE")));
    });
    let judgement = judged(&recording);
    // Outputs of frames 1 to 3 and 5 to 7: two and two ages, and nothing across.
    assert_eq!(values(&judgement)[0], [Some((1_450_000, 4)), Some((1_450_000, 4))]);
    assert_eq!(finding(&judgement, "reaction/THERE").in_gaps, 1);
}

#[test]
fn nothing_is_followed_across_a_gap() {
    let recording = frames(9, |recording| {
        recording.seen.retain(|seen| !(4_050_000..4_300_000).contains(&seen.at_ns));
        recording.at(4_300, Happening::Gap { core: Some(core()), ends: true });
    });
    let judgement = judged(&recording);
    // Outputs of frames 1 to 3 and of 6 to 8: the first job after the gap may have begun within it.
    assert_eq!(values(&judgement)[0], [Some((1_450_000, 4)), Some((1_450_000, 4))]);
    assert_eq!(finding(&judgement, "reaction/THERE").in_gaps, 1);
}

#[test]
fn a_chain_is_not_judged_across_the_failure_of_one_of_its_partitions() {
    // A starts anew at 4,050 us, and may have failed 1 ms before: what came out from then on is taken back. B puts out old
    // data in frame 4; that of frame 5 is the first that was read after the start.
    let failing = |recording: &mut Recording| {
        recording.seen.retain(|seen| !(4_050_000..4_400_000).contains(&seen.at_ns));
        recording.at(4_050, Happening::Restarts { partition: a(), start: Start::Warm });
        recording.idles(4_050).at(4_400, Happening::WindowEnds { core: core(), partition: a() });
    };
    let judgement = judged(&frames(8, failing));
    // Ages end in frames 2, and 6 and 7.
    assert_eq!(values(&judgement)[0], [Some((1_450_000, 3)), Some((1_450_000, 3))]);
    let found = finding(&judgement, "reaction/THERE");
    assert_eq!((found.status.clone(), found.in_gaps), (Status::Kept, 2), "what frame 3 ended, and what was to come");
}

#[test]
fn a_task_that_goes_on_without_being_seen_to_begin_again_has_unknown_data() {
    // In frame 3 the next job of the first task follows at once: that it begins then is not said.
    let recording = frames(6, |recording| {
        recording.at(3_105, Happening::Arrives { task: work(), number: None });
        recording.at(3_115, written("VALUE")).at(3_115, Happening::Completes { task: work(), number: None });
        recording.seen.retain(|seen| {
            !(seen.at_ns == 3_110_000 && matches!(seen.what, Happening::Runs { .. } | Happening::Reads { .. }))
        });
    });
    let judgement = judged(&recording);
    assert!(finding(&judgement, "reaction/THERE").in_gaps > 0);
    assert_eq!(values(&judgement)[0][0].map(|(most, _)| most), Some(1_450_000));
}

#[test]
fn why_nothing_was_measured_is_said() {
    let without = |what: fn(&Happening) -> bool| {
        let judgement = judged(&frames(4, |recording| recording.seen.retain(|seen| !what(&seen.what))));
        match &finding(&judgement, "reaction/THERE").status {
            Status::NotAnalysed(why) => why.clone(),
            other => panic!("{other:?}"),
        }
    };
    let value = |what: &Happening| matches!(what, Happening::Writes { channel, .. } if channel.index() == 0);
    assert_eq!(without(value), "no write of `VALUE` is recorded");
    let reads = |what: &Happening| matches!(what, Happening::Reads { channel, .. } if channel.index() == 0);
    assert_eq!(without(reads), "no read of `VALUE` by `B.log` is recorded");
    let completes = |what: &Happening| matches!(what, Happening::Completes { task, .. } if *task == log());
    assert_eq!(without(completes), "no job of `B.log` was seen to complete");
}
