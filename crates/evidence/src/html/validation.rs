//! The program itself against published examples.

use super::names::{note, table};
use crate::dossier::Dossier;
use crate::validation::ValidationRow;
use maud::{Markup, html};

pub(super) fn part(dossier: &Dossier) -> Markup {
    let rows = dossier.validation();
    if rows.is_empty() {
        return note("No validation table was handed in with this report.");
    }
    let agree = rows.iter().filter(|row| row.agrees).count();
    let body = html! { @for example in rows.chunk_by(|a, b| a.id == b.id) { (row(example)) } };
    html! {
        p { (agree) " of " (rows.len()) " values from published examples agree with what this program computes." }
        (table("", &["Example", "Source", "Values compared", "Agrees"], body))
    }
}

/// One example with all its values.
fn row(values: &[ValidationRow]) -> Markup {
    let first = &values[0];
    html! {
        tr {
            th scope="row" { span class="id" { (first.id) } span class="why" { (first.title) } }
            td { (first.source) span class="why" { (first.provenance) } }
            td class="values" { @for value in values { div { (compared(value)) } } }
            td { @if values.iter().all(|value| value.agrees) { "yes" } @else { strong { "NO" } } }
        }
    }
}

/// A value once where both agree, else both.
fn compared(value: &ValidationRow) -> Markup {
    html! {
        b { (value.what) @if value.kind != "published numbers" { " (" (value.kind) ")" } ": " }
        @if value.agrees { (value.expected) } @else { strong { "published " (value.expected) "; ours " (value.ours) } }
    }
}
