//! What is measured before, during and after a fault.

use crate::common::{frames, system, work};
use trace::names::Name;
use trace::rebuild::Rebuild;
use trace::seen::Happening;
use trace::spans::{Given, Measure, Spans, Values};

/// The responses of `A.work` in six frames, with the fault told in the recording from 2,050 us to 3,500 us, or given.
fn responses(told: bool, given: Given) -> Values {
    let recording = frames(6, |recording| {
        if told {
            recording.at(2_050, Happening::FaultBegins { fault: Name(0) });
            recording.at(3_500, Happening::FaultEnds { fault: Name(0) });
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
    let values = responses(true, Given::default());
    assert_eq!([values.before.len(), values.during.len(), values.after.len()], [2, 2, 2]);
    assert_eq!(values.before, [110_000, 110_000]);
    let given = Given { from_ns: Some(2_050_000), to_ns: Some(3_500_000) };
    assert_eq!(responses(false, given), values, "given or told is the same");
}

#[test]
fn without_a_fault_all_is_before_and_without_an_end_it_lasts() {
    let lengths = |values: Values| [values.before.len(), values.during.len(), values.after.len()];
    assert_eq!(lengths(responses(false, Given::default())), [6, 0, 0]);
    let given = Given { from_ns: Some(1_000_000), to_ns: None };
    assert_eq!(lengths(responses(false, given)), [1, 5, 0]);
}
