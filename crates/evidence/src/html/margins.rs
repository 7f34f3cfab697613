//! What is left, against the growth rules of the milestone.

use super::claims::of_verdicts;
use super::names::{compact_table, growth_subject, note};
use crate::dossier::Dossier;
use claim::{Kind, Verdict};
use maud::{Markup, html};
use model::System;
use model::system::GrowthRule;

/// The beginnings of ids, and what stands under them; the last takes the rest.
const GROUPS: [(&[&str], &str); 5] = [
    (
        &["margin/core/", "margin/ram", "margin/bandwidth", "margin/port/"],
        "Shares left: of cores, RAM, bandwidth, and of the depth of queues",
    ),
    (&["margin/partition/"], "Partitions: how far all execution times may grow together"),
    (&["margin/overhead/"], "Overheads: how far each may grow"),
    (&["margin/new_partition/"], "The largest new partition of each core"),
    (&[""], "Other margins"),
];

pub(super) fn part(dossier: &Dossier) -> Markup {
    let mut left: Vec<&Verdict> = dossier.of_kind(Kind::Margin).collect();
    let mut tables = Vec::new();
    for (beginnings, title) in GROUPS {
        let begins = |verdict: &&Verdict| beginnings.iter().any(|beginning| verdict.id.starts_with(beginning));
        let (mine, others): (Vec<_>, Vec<_>) = left.into_iter().partition(begins);
        left = others;
        tables.push(of_verdicts(dossier, title, &mine));
    }
    html! {
        @if let Some(system) = dossier.system() { (rules(system)) }
        @for table in tables { (table) }
    }
}

fn rules(system: &System) -> Markup {
    if system.growth_rules.is_empty() {
        return note("No growth rule is declared.");
    }
    let rows = html! { @for rule in &system.growth_rules { (rule_row(system, rule)) } };
    let now = system.milestone.as_ref().map_or("none is declared", |milestone| &milestone.value);
    html! {
        (compact_table("Growth rules", &["On", "#Left at least", "Milestone", "Judged now", "Source"], rows))
        (note(&format!("Milestone at which this system is judged: {now}.")))
    }
}

fn rule_row(system: &System, rule: &GrowthRule) -> Markup {
    let judged =
        system.growth_rule(rule.subject.value).is_some_and(|judged| judged.at_least.span == rule.at_least.span);
    html! {
        tr {
            th scope="row" { (growth_subject(system, rule.subject.value)) }
            td class="n" { "≥ " (rule.at_least.value) }
            td { (rule.milestone.as_ref().map_or("always", |milestone| &milestone.value)) }
            td { @if judged { "yes" } @else { "–" } }
            td { (rule.source.as_deref().unwrap_or("–")) }
        }
    }
}
