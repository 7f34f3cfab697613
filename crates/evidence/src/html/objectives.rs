//! Objectives of standards with the claims that speak to them, open ones first.

use super::claims::{links, status};
use super::names::{note, table};
use crate::dossier::Dossier;
use crate::objectives::{CAUTION, ObjectiveRow};
use crate::show::count;
use maud::{Markup, html};

pub(super) fn part(dossier: &Dossier) -> Markup {
    let objectives = dossier.objectives();
    let rows = html! { @for row in &objectives { (objective(row)) } };
    html! {
        (table("", &["Objective", "Gist", "Claims about", "What they come to", "Asked for beside", "Status"], rows))
        (note(CAUTION))
    }
}

fn objective(row: &ObjectiveRow<'_>) -> Markup {
    let kinds = row.objective.needs.iter().chain(row.objective.also).map(|kind| kind.title());
    html! {
        tr {
            th scope="row" { (row.objective.key) span class="why" { (row.objective.source) } }
            td { (row.objective.gist) }
            td { @if row.objective.needs.is_empty() { "–" } @else { (kinds.collect::<Vec<_>>().join(", ")) } }
            td {
                (row.told())
                @if !row.open.is_empty() {
                    details {
                        summary { (count(row.open.len(), "claim")) " not shown" }
                        (links(row.open.iter().map(|verdict| verdict.id.as_str())))
                    }
                }
            }
            td { (row.objective.beside) }
            td { (status(row.status)) }
        }
    }
}
