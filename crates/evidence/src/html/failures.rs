//! Claims that are violated or not shown: reason, witness, numbers.

use super::claims::{link, status};
use super::names::{note, sentence, table};
use crate::dossier::Dossier;
use crate::show::{amount_or, limit, overused_permille, percent};
use crate::svg::witness_timeline;
use claim::{Status, Verdict, Witness};
use maud::{Markup, html};
use quantity::Duration;

/// The witness's jobs that are listed; longer scenarios say how many more there are.
const MOST_JOBS: usize = 24;

pub(super) fn part(dossier: &Dossier) -> Markup {
    let open: Vec<_> = dossier.open(Status::Violated).chain(dossier.open(Status::NotShown)).collect();
    if open.is_empty() {
        return note("No claim is violated, and none is not shown, beyond the accepted deviations.");
    }
    html! { @for verdict in open { (failure(dossier, verdict)) } }
}

fn failure(dossier: &Dossier, verdict: &Verdict) -> Markup {
    html! {
        article class="failure" {
            h3 { (link(&verdict.id)) " " (status(verdict.status)) }
            p {
                (amount_or(verdict.bound, verdict.unit, "no bound")) ", where " (limit(verdict)) " is asked for"
                @if let Some(used) = overused_permille(verdict) { ": " (percent(used)) " of the limit" }
                "."
                @if let Some(reason) = &verdict.reason { " " (sentence(reason)) }
            }
            @if let Some(place) = dossier.place(verdict) { p class="note" { "Declared at " code { (place) } "." } }
            @if let Some(witness) = verdict.witness.as_ref().filter(|_| !verdict.is_own_witness()) { (scenario(verdict, witness)) }
        }
    }
}

fn scenario(verdict: &Verdict, witness: &Witness) -> Markup {
    html! {
        figure {
            @if let Some(drawing) = witness_timeline(verdict, witness) { (drawing) }
            figcaption {
                "Witness. " (sentence(&witness.summary))
                @if let Some(phase) = witness.phase_ns { " It begins " (Duration::from_ns(phase)) " into the frame." }
            }
        }
        @if !witness.releases.is_empty() { (jobs(witness)) }
    }
}

fn jobs(witness: &Witness) -> Markup {
    let rows = html! {
        @for release in witness.releases.iter().take(MOST_JOBS) {
            tr {
                th scope="row" { span class="id" { (release.task) } }
                td class="n" { (release.job) }
                td class="n" { (signed(release.arrival_ns)) }
                td class="n" { (signed(release.release_ns)) }
                td class="n" { (Duration::from_ns(release.execution_ns)) }
            }
        }
    };
    let more = witness.releases.len().saturating_sub(MOST_JOBS);
    html! {
        (table("", &["Task", "#Job", "#Arrival", "#Release", "#Execution"], rows))
        @if more > 0 { (note(&format!("{more} further jobs of the scenario are in the JSON answer."))) }
    }
}

/// A time that may lie before the scenario's beginning.
fn signed(ns: i64) -> String {
    let sign = if ns < 0 { "−" } else { "" };
    format!("{sign}{}", Duration::from_ns(ns.unsigned_abs()))
}
