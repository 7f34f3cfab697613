//! What was measured of others before, during and after a fault.

use crate::html::names::{note, table};
use crate::recording::{Compared, Pair, Victims, sentences, shift_words, shifts_word};
use crate::svg::three_spans;
use maud::{Markup, html};
use statistics::two_samples::Within;
use std::cmp::Reverse;

/// So many of those compared are drawn.
const MOST_DRAWN: usize = 24;

pub(super) fn victims(victims: &Victims) -> Markup {
    html! {
        h3 { (sentences::fault(victims)) }
        @if victims.rows.is_empty() { (note("Nothing was measured of anybody else once the fault had begun.")) }
        @else { (drawn(victims)) (differences(victims)) }
    }
}

/// Those that shift most first, as far as the data can tell.
fn worth_drawing(victims: &Victims) -> Vec<&Compared> {
    let mut rows: Vec<&Compared> = victims.rows.iter().collect();
    rows.sort_by_key(|row| {
        let shifts = || row.pairs.iter().flat_map(|pair| &pair.comparison.shifts);
        let violated = shifts().any(|shift| shift.within == Within::Violated);
        let observed = shifts().filter_map(|shift| shift.observed).map(i64::unsigned_abs).max();
        (Reverse(violated), Reverse(observed))
    });
    rows.truncate(MOST_DRAWN);
    rows
}

fn drawn(victims: &Victims) -> Markup {
    let rows = worth_drawing(victims);
    let others = victims.rows.len() - rows.len();
    html! {
        ul class="legend" {
            li { span class="swatch s3" {} "the middle eight tenths of the values" }
            li { span class="swatch s-supply" {} "median (upright)" }
            li { "thin line: from the least to the most, which is told behind it" }
        }
        div class="pairs-of-figures" {
            @for row in &rows { figure { figcaption { (row.name) } (three_spans(row)) } }
        }
        @if others > 0 { (note(&format!("{others} more, that shift less, are not drawn; the table lists all."))) }
    }
}

fn differences(victims: &Victims) -> Markup {
    let rows = html! {
        @for row in &victims.rows {
            @for (span, pair) in ["during", "after"].into_iter().zip(&row.pairs).filter(|(_, pair)| pair.comparison.values[1] > 0) {
                tr {
                    th scope="row" class="keep" { (row.name) }
                    td { (span) }
                    td class="n" { (pair.comparison.values[0]) " / " (pair.comparison.values[1]) }
                    td class="n" { (cell(pair, 0)) }
                    td class="n" { (cell(pair, 1)) }
                    td class="keep" { (shifts_word(&pair.comparison.shifts)) }
                }
            }
        }
    };
    html! {
        p { (sentences::differences(victims)) }
        (table("", &["Of whom", "Span", "#Values before / then", "#Median", "#Nine tenths", "Status"], rows))
        @for said in sentences::needed(victims) { (note(&said)) }
    }
}

fn cell(pair: &Pair, quantile: usize) -> String {
    pair.comparison.shifts.get(quantile).map(shift_words).unwrap_or_default()
}
