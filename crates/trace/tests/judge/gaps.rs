//! What a gap cuts speaks for nothing, and what comes after it is judged again.

use crate::common::{core, finding, frames, log, work};
use quantity::TaskId;
use std::num::NonZeroU32;
use trace::clock::Fit;
use trace::intake::lines::LineReader;
use trace::intake::text::SchedulerText;
use trace::judge::Status;
use trace::map::Map;
use trace::moment::Clock;
use trace::note::Matter;
use trace::rebuild::Rebuild;
use trace::rebuilt::{Job, Observer};
use trace::recording::{Source, Stream, take};
use trace::seen::{Happening, Seen};

#[test]
fn a_gap_is_never_bridged() {
    // All of frame 2's first half is lost, the completion of its job with it.
    let recording = frames(5, |recording| {
        recording.seen.retain(|seen| !(2_050_000..2_300_000).contains(&seen.at_ns));
        recording.at(2_300, Happening::Gap { core: Some(core()), ends: true });
    });
    let judgement = recording.judged(0);
    assert_eq!(judgement.coverage.gaps, 1);
    assert!(judgement.findings.iter().all(|finding| finding.status != Status::Violated), "{:#?}", judgement.findings);
    let deadline = finding(&judgement, "deadline/A.work");
    assert_eq!((deadline.seen, deadline.in_gaps), (4, 1));
    let start = finding(&judgement, "window-start/A");
    assert_eq!((start.seen, start.in_gaps), (9, 1));
}

#[derive(Default)]
struct Jobs(Vec<Job>);

impl Observer for Jobs {
    fn job(&mut self, job: &Job) {
        self.0.push(*job);
    }
}

/// Jobs of what happens to one task, instants in ns: `a`rrives, `r`uns, `i`dles, `c`ompletes, `g`ap.
fn jobs(task: TaskId, story: &[(u64, char)]) -> Vec<(Option<u64>, Option<u64>, bool)> {
    let (system, _) = crate::common::system();
    let mut rebuild = Rebuild::new(&system);
    let mut found = Jobs::default();
    for (at_ns, what) in story {
        let runs = |who| Happening::Runs { core: core(), who, leaves: None };
        let what = match what {
            'a' => Happening::Arrives { task, number: None },
            'c' => Happening::Completes { task, number: None },
            'r' => runs(Some(trace::seen::Who::Task(task))),
            'i' => runs(None),
            _ => Happening::Gap { core: None, ends: true },
        };
        rebuild.take(&Seen { at_ns: *at_ns, clock: Clock::exact(0), what }, &mut found);
    }
    found.0.iter().map(|job| (job.arrived_ns, job.completed_ns, job.whole)).collect()
}

#[test]
fn without_numbers_a_job_counts_once_nothing_can_be_left_over() {
    let story = [(10, 'a'), (11, 'r'), (15, 'c'), (15, 'i'), (20, 'a'), (21, 'r'), (25, 'c'), (25, 'i')];
    assert_eq!(jobs(work(), &story), [(Some(10), Some(15), false), (Some(20), Some(25), true)]);
}

#[test]
fn a_task_that_goes_on_by_itself_had_work_left_over() {
    // What completes at 15 may have arrived before the recording, and the job of 10 completes at 18 only.
    let story = [(10, 'a'), (11, 'r'), (15, 'c'), (16, 'r'), (18, 'c'), (18, 'i'), (20, 'a'), (21, 'r'), (25, 'c')];
    let found = jobs(log(), &story);
    assert_eq!(found, [(Some(10), Some(15), false), (None, Some(18), false), (Some(20), Some(25), true)]);
}

#[test]
fn after_a_gap_pairing_begins_anew() {
    let story =
        [(10, 'a'), (11, 'r'), (15, 'c'), (20, 'a'), (22, 'g'), (30, 'a'), (31, 'r'), (35, 'c'), (40, 'a'), (45, 'c')];
    let found = jobs(work(), &story);
    let expected =
        [(Some(10), Some(15), false), (Some(20), None, false), (Some(30), Some(35), false), (Some(40), Some(45), true)];
    assert_eq!(found, expected);
}

#[test]
fn numbers_pair_jobs_whatever_was_lost() {
    let (system, _) = crate::common::system();
    let mut rebuild = Rebuild::new(&system);
    let mut found = Jobs::default();
    let number = NonZeroU32::new;
    for (at_ns, what) in [
        (10, Happening::Arrives { task: work(), number: number(1) }),
        (20, Happening::Arrives { task: work(), number: number(2) }),
        (25, Happening::Completes { task: work(), number: number(2) }),
    ] {
        rebuild.take(&Seen { at_ns, clock: Clock::exact(0), what }, &mut found);
    }
    let found: Vec<_> = found.0.iter().map(|job| (job.arrived_ns, job.completed_ns, job.whole)).collect();
    assert_eq!(found, [(Some(10), None, false), (Some(20), Some(25), true)]);
}

#[derive(Default)]
struct Gaps(u64);

impl Observer for Gaps {
    fn seen(&mut self, seen: &Seen) {
        self.0 += u64::from(matches!(seen.what, Happening::Gap { .. }));
    }
}

/// Recordings of a real kernel: of one, lines of other programs were left out, so that 33 times a thread leaves the cpu that was
/// another's, counted by a script; of the other none was.
#[test]
fn switches_that_are_missing_without_a_mark_are_gaps() {
    let (system, _) = crate::common::system();
    let cases = [
        (include_str!("../recorded/ftrace.txt"), 33),
        (include_str!("../recorded/perf-loads.txt"), 0),
        (include_str!("../recorded/perf-switches.txt"), 0),
    ];
    for (text, expected) in cases {
        let reader = Box::new(LineReader::new(SchedulerText, 0));
        let source: Box<dyn Source> = Box::new(Stream::new(0, text.as_bytes(), reader));
        let mut gaps = Gaps::default();
        let taking = take(&system, &Map::default(), vec![source], vec![Fit::SAME], &mut gaps);
        let noted = taking.matters.iter().find(|found| found.matter == Matter::Unannounced);
        assert_eq!((noted.map_or(0, |found| found.count), gaps.0), (expected, expected));
    }
}
