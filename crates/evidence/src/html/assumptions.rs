//! What the verdicts take for granted, and where the execution times come from.

use super::names::{compact_table, note, table};
use crate::dossier::Dossier;
use crate::provenance::{DemandShares, class_of, class_words};
use crate::register::{RegisterEntry, who_says_so};
use crate::show::{count, rounded_percent};
use crate::summary::{self, KindSummary};
use crate::svg::bar;
use claim::Status;
use maud::{Markup, html};
use model::System;
use model::system::{Provenance, ProvenanceClass};
use quantity::TaskId;

const SHARE_HEAD: [&str; 4] = ["Source of the execution times", "#Tasks", "#Of the sum of WCET / period", ""];

pub(super) fn part(dossier: &Dossier) -> Markup {
    html! {
        (register(dossier))
        @if let (Some(system), Some(shares)) = (dossier.system(), dossier.demand_shares()) {
            h3 { "Where the numbers come from" }
            (platform(system))
            (share_table(&shares))
            (task_table(system))
        }
    }
}

fn register(dossier: &Dossier) -> Markup {
    let register = dossier.register();
    if register.is_empty() {
        return note("No verdict rests on a listed assumption.");
    }
    let rows = html! { @for entry in &register { (entry_row(entry)) } };
    html! {
        p { "Each verdict holds only as long as what it takes for granted holds." }
        (table("", &["", "Assumption", "Who says so", "How it is watched"], rows))
    }
}

fn entry_row(entry: &RegisterEntry<'_>) -> Markup {
    let assumption = entry.assumption;
    let resting: Vec<_> = summary::by_kind(entry.verdicts.iter().copied()).iter().map(kind_words).collect();
    html! {
        tr id={ "assumption-" (assumption.id()) } {
            th scope="row" { strong { (assumption.id()) } }
            td { (assumption.text()) span class="why" { "What rests on it: " (resting.join(", ")) "." } }
            td { (who_says_so(assumption)) }
            td { (assumption.watch()) }
        }
    }
}

fn kind_words(summary: &KindSummary) -> String {
    format!("{} ({})", summary.kind.title(), summary.counts.total())
}

fn platform(system: &System) -> Markup {
    let source = system.platform.provenance.as_ref().map_or("not said", |source| &source.value);
    html! { p { "Overheads of the hypervisor: " (source) "." } }
}

fn share_table(shares: &DemandShares) -> Markup {
    let rows = html! {
        @for row in &shares.rows {
            tr {
                th scope="row" { (class_words(row.class)) }
                td class="n" { (row.tasks) }
                td class="n" { (rounded_percent(row.ppm)) }
                td { (bar(row.ppm / 1000, Status::Shown, "demand")) }
            }
        }
    };
    let tasks = count(shares.tasks_without_wcet, "task");
    html! {
        (compact_table("Share of the demand", &SHARE_HEAD, rows))
        @if shares.tasks_without_wcet > 0 {
            (note(&format!("{tasks} without an execution time: that demand is in no share.")))
        }
    }
}

fn task_table(system: &System) -> Markup {
    let rows = html! { @for id in system.task_ids() { (task_row(system, id)) } };
    table("Execution times", &["Task", "#WCET", "#Highest measured", "#Measurements", "Class", "Who says so"], rows)
}

fn task_row(system: &System, id: TaskId) -> Markup {
    let task = system.task(id);
    let provenance: Option<&Provenance> = task.provenance.as_ref().map(|provenance| &provenance.value);
    let weak = class_of(task).is_none_or(|class| class >= ProvenanceClass::Estimate);
    let dash = || "–".to_owned();
    html! {
        tr {
            th scope="row" { span class="id" { (system.task_label(id)) } }
            td class="n" { (task.wcet.map_or_else(|| "unknown".to_owned(), |wcet| wcet.value.to_string())) }
            td class="n" { (provenance.and_then(|p| p.measured_max).map_or_else(dash, |max| max.to_string())) }
            td class="n" { (provenance.and_then(|p| p.samples).map_or_else(dash, |samples| samples.to_string())) }
            td { @if weak { strong { (class_words(class_of(task))) } } @else { (class_words(class_of(task))) } }
            td { (provenance.and_then(|p| p.source.as_deref()).unwrap_or("–")) }
        }
    }
}
