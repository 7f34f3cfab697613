//! What is measured before, during and after a fault.

use crate::common::{frames, system, work};
use trace::names::Name;
use trace::rebuild::Rebuild;
use trace::seen::Happening;
use trace::spans::{Given, Measure, Spans, Values};

/// The responses of `A.work` in six frames, with faults told in the recording from one instant in us to another, or given.
fn responses(told: &[(u64, u64)], given: Given) -> Values {
    let recording = frames(6, |recording| {
        for (from, to) in told {
            recording.at(*from, Happening::FaultBegins { fault: Name(0), of: None });
            recording.at(*to, Happening::FaultEnds { fault: Name(0) });
        }
    });
    let (system, _) = system();
    let (mut rebuild, mut spans) = (Rebuild::new(&system), Spans::new(&system, given));
    recording.seen.iter().for_each(|seen| rebuild.take(seen, &mut spans));
    rebuild.finish(&mut spans);
    let found = spans.finish();
    let mine = found.into_iter().find(|(measure, _)| *measure == Measure::Response(work()));
    mine.expect("jobs of it were measured").1
}

#[test]
fn a_job_under_way_at_the_fault_counts_as_during_it() {
    // Frames 0 and 1 are over; the jobs of frames 2 and 3 overlap it; those of 4 and 5 arrive after it.
    let values = responses(&[(2_050, 3_500)], Given::default());
    assert_eq!([values.before.len(), values.during.len(), values.after.len()], [2, 2, 2]);
    assert_eq!(values.before, [110_000, 110_000]);
    let given = Given { from_ns: Some(2_050_000), to_ns: Some(3_500_000) };
    assert_eq!(responses(&[], given), values, "given or told is the same");
}

#[test]
fn what_lies_between_two_faults_counts_as_during_them() {
    // The jobs of frames 1 and 4 overlap the faults, those of 2 and 3 lie between.
    let values = responses(&[(1_050, 1_060), (4_050, 4_060)], Given::default());
    assert_eq!([values.before.len(), values.during.len(), values.after.len()], [1, 4, 1]);
}

#[test]
fn without_a_fault_all_is_before_and_without_an_end_it_lasts() {
    let lengths = |values: Values| [values.before.len(), values.during.len(), values.after.len()];
    assert_eq!(lengths(responses(&[], Given::default())), [6, 0, 0]);
    let given = Given { from_ns: Some(1_000_000), to_ns: None };
    assert_eq!(lengths(responses(&[], given)), [1, 5, 0]);
}
