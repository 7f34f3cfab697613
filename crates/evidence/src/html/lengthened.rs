//! The matrix of who lengthens whom.

use super::names::{head, note, table};
use crate::dossier::Dossier;
use crate::lengthened::{LEGEND, Most, of};
use crate::show::percent;
use maud::{Markup, html};

pub(super) fn matrix(dossier: &Dossier) -> Markup {
    let Some(lengthened) = of(dossier) else { return html! {} };
    let titles: Vec<&str> = std::iter::once("Partition").chain(lengthened.masters.iter().copied()).collect();
    let rows = html! {
        @for row in &lengthened.rows {
            tr {
                (head(row.partition, None))
                @for by in &row.by { (cell(*by)) }
            }
        }
    };
    html! {
        (table("Who lengthens whom, and by how much at the most", &titles, rows))
        (note(LEGEND))
    }
}

/// The darker, the more of a bound it is: a quarter for each shade.
fn cell(by: Option<Most<'_>>) -> Markup {
    match by {
        None => html! { td { "–" } },
        Some(most) => {
            let shade = (most.permille / 250).min(4);
            html! { td class={ "s" (shade) } { strong { (percent(most.permille)) } span class="why" { (most.words()) } } }
        }
    }
}
