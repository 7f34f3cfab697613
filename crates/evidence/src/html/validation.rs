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
    let body = html! { @for row in rows { (example(row)) } };
    html! {
        p { (agree) " of " (rows.len()) " values from published examples agree with what this program computes." }
        (table("", &["Example", "What", "Source", "#Published", "#Ours", "Agrees"], body))
    }
}

fn example(row: &ValidationRow) -> Markup {
    html! {
        tr {
            th scope="row" { span class="id" { (row.id) } }
            td { (row.what) }
            td { (row.source) span class="why" { (row.provenance) } }
            td class="n" { (row.expected) }
            td class="n" { (row.ours) }
            td { @if row.agrees { "yes" } @else { strong { "NO" } } }
        }
    }
}
