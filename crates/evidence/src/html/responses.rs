//! Response times, margins and growth rules.

use super::claims::of_kinds;
use super::names::{compact_table, growth_subject, note};
use crate::dossier::Dossier;
use claim::Kind;
use maud::{Markup, html};
use model::System;

pub(super) fn part(dossier: &Dossier) -> Markup {
    html! {
        (of_kinds(dossier, &[Kind::Response]))
        (note("A bound is exact where a scenario attains it. Growth is that of the task's charged time alone which \
               keeps every deadline of its partition, rounded down."))
        (of_kinds(dossier, &[Kind::Margin]))
        @if let Some(system) = dossier.system() { (rules(system)) }
    }
}

fn rules(system: &System) -> Markup {
    if system.growth_rules.is_empty() {
        return note("No growth rule is declared.");
    }
    let rows = html! {
        @for rule in &system.growth_rules {
            tr {
                th scope="row" { (growth_subject(system, rule.subject.value)) }
                td class="n" { "≥ " (rule.at_least.value) }
                td { (rule.milestone.as_ref().map_or("always", |milestone| &milestone.value)) }
                td { (rule.source.as_deref().unwrap_or("–")) }
            }
        }
    };
    let now = system.milestone.as_ref().map_or("none is declared", |milestone| &milestone.value);
    html! {
        (compact_table("Growth rules", &["On", "#Left at least", "Milestone", "Source"], rows))
        (note(&format!("Milestone at which this system is judged: {now}.")))
    }
}
