//! Every published example of `corpus/published` against the analyses, and the validation table that comes of it.
//!
//! A case names the method that judges it; an unknown one fails, and so does an expected field that the method does
//! not answer. Expected values are the publication's: nothing here writes a case.

#![allow(clippy::disallowed_methods, reason = "the harness reads the corpus and keeps its tables")]
#![allow(clippy::disallowed_types, reason = "fits to tails are in floating point")]

mod case;
mod compare;
mod methods;
mod own;
mod self_check;
mod simulated;
mod table;
mod tasks;

use case::Case;
use compare::Row;
use std::collections::BTreeSet;

fn rows(cases: &[Case]) -> Vec<Row> {
    let judged = cases.iter().map(|case| {
        let answers = methods::answers(case).unwrap_or_else(|why| panic!("{}: {why}", case.id));
        compare::rows(case, &answers).unwrap_or_else(|why| panic!("{}: {why}", case.id))
    });
    judged.flatten().collect()
}

#[test]
fn every_published_value_agrees() {
    let cases = case::all();
    let rows = rows(&cases);
    for row in &rows {
        assert!(row.agrees, "{}: {} is {} there and {} here", row.id, row.what, row.expected, row.ours);
    }
    let judged: BTreeSet<_> = rows.iter().map(|row| row.id.clone()).collect();
    assert_eq!(judged, case::file_stems(), "every file of the folder is judged");
    let values: usize = cases.iter().map(Case::values_to_compare).sum();
    assert_eq!(rows.iter().map(|row| row.values).sum::<usize>(), values, "every expected value is compared");
}

#[test]
fn the_validation_table_is_current() {
    let cases = case::all();
    table::hold(&cases, &rows(&cases));
}
