//! What the recording leaves open: nothing that may be right is called violated, and nothing that is already broken waits for an end
//! that does not come.

use crate::common::{a, b, core, counted, finding, frames, log, read, work, written};
use trace::judge::{Allowed, Finding, Judgement, Status};
use trace::seen::{Happening, Seen, Start, Who};

fn gap() -> Happening {
    Happening::Gap { core: None, ends: true }
}

/// Whether an instant lies in the stretch in us.
fn within(seen: &Seen, from: u64, to: u64) -> bool {
    (from * 1000..to * 1000).contains(&seen.at_ns)
}

fn nothing_violated(judgement: &Judgement) {
    let broken: Vec<&Finding> =
        judgement.findings.iter().filter(|finding| finding.status == Status::Violated).collect();
    assert!(broken.is_empty(), "{broken:#?}");
}

#[test]
fn windows_lost_behind_one_that_a_gap_cuts_are_not_missed() {
    for origin_ns in [Some(0), None] {
        let recording = frames(8, |recording| {
            recording.seen.retain(|seen| !within(seen, 2_050, 5_200));
            recording.at(5_200, gap());
        });
        let judgement = recording.judged_by(Allowed { window_ns: Some(0), origin_ns });
        nothing_violated(&judgement);
        assert_eq!(finding(&judgement, "window-order/core 0").status, Status::Kept);
    }
}

#[test]
fn a_window_where_the_plan_has_none_is_found_without_an_origin() {
    let judgement = frames(0, |recording| _ = recording.window(10, 20, b(), |_| {}));
    let mut strange = judgement.seen;
    strange.retain(|seen| matches!(seen.what, Happening::WindowBegins { .. } | Happening::WindowEnds { .. }));
    let (system, plan) = crate::common::system_with_plan(
        "[[window]]\ncore = \"0\"\npartition = \"A\"\nstart = \"0 us\"\nlength = \"400 us\"\n",
    );
    let recording = crate::common::Recording { seen: strange };
    let allowed = Allowed { window_ns: Some(0), origin_ns: None };
    let judgement = recording.judged_in(&(system, plan), allowed);
    assert_eq!(finding(&judgement, "window-order/core 0").status, Status::Violated);
}

#[test]
fn a_fitted_origin_moves_while_all_that_was_seen_lies_within_the_tolerance_of_another() {
    // The clock of the recorder is slow: each frame seems 10 ns longer, which after 1,000 frames makes 10 us.
    let drifting = |tolerance_ns| {
        let recording = frames(1_000, |recording| {
            recording.seen.iter_mut().for_each(|seen| seen.at_ns += seen.at_ns / 1_000_000 * 10);
        });
        recording.judged_by(Allowed { window_ns: Some(tolerance_ns), origin_ns: None })
    };
    // With the best origin the first and the last window are 4,995 ns off.
    nothing_violated(&drifting(5_000));
    assert_eq!(finding(&drifting(4_900), "window-start/A").status, Status::Violated);
}

#[test]
fn a_job_that_never_completes_misses_its_deadline() {
    let starved = |last_us: u64| {
        frames(3, |recording| {
            recording.seen.retain(|seen| match seen.what {
                Happening::Completes { task, .. } => task != work() || seen.at_ns < 2_000_000,
                _ => true,
            });
            recording.at(last_us, Happening::Frame);
        })
        .judged(0)
    };
    // It arrives at 2,000 us and is due at 2,800 us; the recording goes on until its last window ends at 2,900 us.
    let judgement = starved(2_900);
    let found = finding(&judgement, "deadline/A.work");
    assert_eq!(found.first.as_ref().map(|first| (first.at_ns, first.value)), Some((2_900_000, 900_000)));
    let cut = frames(3, |recording| recording.seen.retain(|seen| seen.at_ns <= 2_100_000)).judged(0);
    let found = finding(&cut, "deadline/A.work");
    assert_eq!((&found.status, found.seen, found.in_gaps), (&Status::Kept, 2, 1), "100 us are no 800");
}

#[test]
fn whose_completions_nobody_tells_is_not_late() {
    let judgement = frames(5, |recording| {
        recording.seen.retain(|seen| !matches!(seen.what, Happening::Completes { .. }));
    })
    .judged(0);
    nothing_violated(&judgement);
    assert!(matches!(finding(&judgement, "deadline/A.work").status, Status::NotAnalysed(_)));
    assert!(matches!(finding(&judgement, "switch/A").status, Status::NotAnalysed(_)), "what is under way is not known");
}

#[test]
fn a_job_that_executes_for_ever_executes_too_long() {
    let judgement = frames(3, |recording| {
        let of_last = |seen: &Seen| seen.at_ns == 2_110_000;
        let ends = |what| matches!(what, Happening::Completes { .. } | Happening::Runs { .. });
        recording.seen.retain(|seen| !(of_last(seen) && ends(seen.what)));
    })
    .judged(0);
    let found = finding(&judgement, "execution/A.work");
    assert_eq!(found.status, Status::Violated, "{found:?}");
}

#[test]
fn a_completion_of_an_unseen_job_is_not_taken_for_that_of_the_next() {
    // The recording begins while job 4 is under way; job 5 arrives then and completes 900 us later, too late by 100 us.
    let mut recording = crate::common::Recording::default();
    let arrives = |number| Happening::Arrives { task: work(), number: counted(number) };
    let completes = |number| Happening::Completes { task: work(), number: counted(number) };
    recording.at(1_010, arrives(5)).runs(1_020, work()).at(1_050, completes(4)).runs(1_050, work());
    recording.at(1_910, completes(5)).idles(1_910);
    let judgement = recording.judged(0);
    let found = finding(&judgement, "deadline/A.work");
    assert_eq!(found.first.as_ref().map(|first| first.value), Some(900_000));
    assert_eq!(finding(&judgement, "execution/A.work").worst, Some(860_000), "what executed before was that of job 4");
}

#[test]
fn numbers_on_one_side_pair_nothing() {
    // Arrivals are counted and completions are not: the first completion is of a job before the recording.
    let judgement = frames(1, |recording| {
        recording.seen.clear();
        recording.at(10, Happening::Arrives { task: work(), number: counted(3) });
        recording.at(20, Happening::Completes { task: work(), number: None });
    })
    .judged(0);
    let found = finding(&judgement, "deadline/A.work");
    assert_eq!((found.seen, found.in_gaps), (0, 1));
}

#[test]
fn who_executes_in_anothers_window_to_the_end_of_the_recording_is_foreign() {
    let judgement = frames(1, |recording| {
        recording.seen.retain(|seen| seen.at_ns < 500_000);
        recording.at(600, Happening::Runs { core: core(), who: Some(Who::Task(work())), leaves: None });
        recording.at(650, written("VALUE"));
    })
    .judged(0);
    let found = finding(&judgement, "foreign-execution/B");
    assert_eq!(found.first.as_ref().map(|first| (first.at_ns, first.value)), Some((600_000, 50_000)));
}

#[test]
fn one_who_does_not_come_back_is_away_to_the_end() {
    let away = |to_us: u64| {
        frames(2, |recording| {
            let of_work = |what| matches!(what, Happening::Arrives { task, .. } | Happening::Completes { task, .. } if task == work());
            recording.seen.retain(|seen| seen.at_ns < 1_200_000 || !of_work(seen.what));
            recording.at(1_200, Happening::Restarts { partition: a(), start: Start::Warm });
            recording.at(to_us, read("VALUE"));
        })
        .judged(0)
    };
    assert_eq!(finding(&away(4_201), "outage/A/warm").worst, Some(3_001_000));
    assert!(matches!(finding(&away(4_200), "outage/A/warm").status, Status::NotAnalysed(_)));
}

#[test]
fn an_outage_counts_from_the_error_that_the_restart_answers() {
    let judgement = frames(6, |recording| {
        recording.at(200, Happening::Noticed { partition: a() });
        recording.at(4_950, Happening::Noticed { partition: a() });
        recording.at(4_960, Happening::Restarts { partition: a(), start: Start::Warm });
    })
    .judged(0);
    assert_eq!(finding(&judgement, "outage/A/warm").worst, Some(160_000));
    assert!(!judgement.is_undisturbed());
}

#[test]
fn an_error_that_leads_to_nothing_disturbs_all_the_same() {
    let judgement = frames(2, |recording| _ = recording.at(200, Happening::Noticed { partition: b() })).judged(0);
    assert!(!judgement.is_undisturbed());
    assert!(frames(2, |_| {}).judged(0).is_undisturbed());
}

#[test]
fn a_loss_on_one_core_puts_what_is_paired_in_order_out_of_step_everywhere() {
    // `log` is seen on core 0; who wakes it may be on another one, which is where events were lost.
    let (system, plan) = crate::common::two_cores();
    let mut recording = crate::common::Recording::default();
    let arrives = Happening::Arrives { task: log(), number: None };
    let completes = Happening::Completes { task: log(), number: None };
    for frame in 0..2 {
        let t = frame * 1_000;
        recording.at(t, arrives).runs(t + 10, log()).at(t + 60, completes).idles(t + 60);
    }
    // Two wake-ups, the first of which is lost; and then the completions of both.
    recording.at(2_200, Happening::Gap { core: Some(quantity::CoreId::new(1)), ends: true });
    recording.at(2_300, arrives).runs(2_310, log()).at(2_360, completes).idles(2_360);
    let judgement = recording.judged_in(&(system, plan), Allowed { window_ns: Some(0), origin_ns: Some(0) });
    let found = finding(&judgement, "deadline/B.log");
    assert_eq!((found.seen, found.in_gaps), (1, 2), "the job of 2,300 us may complete that of the lost wake-up");
}
