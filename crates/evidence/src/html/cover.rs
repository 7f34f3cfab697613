//! The head of the report, what was not analysed, deviations, and the baseline at its end.

use super::claims::{anchor, link, links, status};
use super::names::{note, table};
use crate::deviation::Deviation;
use crate::dossier::{Dossier, PlanMatch};
use crate::show::{amount_or, capital, count, limit, rounded_percent};
use crate::svg::mark;
use maud::{Markup, html};

/// Hexadecimal digits of a digest that stand for it where it is only recognised.
const SHORT: usize = 12;

pub(super) fn name(dossier: &Dossier) -> &str {
    dossier.system().map_or("A system that could not be read", |system| &system.name.value)
}

/// The baseline in a few words.
pub(super) fn baseline_words(dossier: &Dossier) -> String {
    let digest = dossier.system_digest().map(|digest| digest.to_string());
    let short = digest.as_deref().and_then(|digest| digest.strip_prefix("sha256:")?.get(..SHORT).map(str::to_owned));
    short.map_or_else(|| "No baseline.".to_owned(), |short| format!("Baseline {short}"))
}

pub(super) fn head(dossier: &Dossier) -> Markup {
    let system = dossier.system();
    html! {
        header {
            p class="kicker" { "Evidence of partitioning" }
            h1 { (name(dossier)) }
            @if let Some(description) = system.and_then(|system| system.description.as_ref()) { p { (description) } }
            p class="verdict" { (dossier.sentence()) }
            (tally(dossier))
            (facts(dossier))
            (alerts(dossier))
        }
    }
}

fn tally(dossier: &Dossier) -> Markup {
    html! {
        ul class="tally" {
            @for (kind, n) in dossier.summary().rows() {
                li { b { (n) } span class={ "status " (kind.key()) } { (mark(kind)) (kind.words()) } }
            }
        }
    }
}

fn facts(dossier: &Dossier) -> Markup {
    let digest = dossier.system_digest().map_or_else(|| "none".to_owned(), |digest| digest.to_string());
    let tightest = dossier.tightest(3);
    html! {
        dl class="facts" {
            dt { "System" } dd { code { (digest) } }
            dt { "Plan" } dd { (plan_words(dossier.plan_match())) }
            @if let Some(shares) = dossier.demand_shares() {
                dt { "Provenance" }
                dd {
                    (rounded_percent(shares.unproven_ppm()))
                    " of the demand rests on estimates, assumptions or unknown sources"
                    @if shares.tasks_without_wcet > 0 {
                        "; " (count(shares.tasks_without_wcet, "task")) " without an execution time"
                    }
                }
            }
            @if !tightest.is_empty() {
                dt { "Tightest" }
                dd { (links(tightest.iter().map(|verdict| verdict.id.as_str()))) }
            }
        }
    }
}

const fn plan_words(plan_match: PlanMatch) -> &'static str {
    match plan_match {
        PlanMatch::NoPlan => "none",
        PlanMatch::NotSaid => "does not say which system it was made for",
        PlanMatch::Matches => "made for this system",
        PlanMatch::Differs => "made for another system, or for this one before a change",
    }
}

fn alerts(dossier: &Dossier) -> Markup {
    let errors = dossier.errors();
    html! {
        @if errors > 0 { p class="alert" { (count(errors, "error")) " in the input: this report is incomplete." } }
        @if dossier.plan_match() == PlanMatch::Differs {
            p class="alert" { "The plan was made for another system, or for this one before a change." }
        }
    }
}

/// What was not analysed: first of all.
pub(super) fn not_analysed(dossier: &Dossier) -> Markup {
    let entries = dossier.not_analysed();
    let rows = html! {
        @for entry in &entries {
            tr {
                th scope="row" { (capital(entry.kind.title())) }
                td class="n" { (entry.ids.len()) }
                td {
                    @for (reason, claims) in &entry.reasons {
                        div { (reason) @if entry.reasons.len() > 1 { " (" (claims) ")" } }
                    }
                    span class="why" { (links(entry.ids.iter().map(String::as_str))) }
                }
            }
        }
    };
    let without: Vec<_> = dossier.kinds_without_claims().into_iter().map(claim::Kind::title).collect();
    html! {
        @if entries.is_empty() {
            p { "Every claim below was analysed." }
        } @else {
            p { "Nothing is known about these claims. None of them counts as a pass." }
            (table("", &["Kind", "#Claims", "Which datum or analysis is missing"], rows))
        }
        @if !without.is_empty() { p { "There is no claim at all about: " (without.join(", ")) "." } }
    }
}

pub(super) fn deviations(dossier: &Dossier) -> Markup {
    if dossier.deviations().is_empty() {
        return note("No deviation is accepted.");
    }
    let rows = html! { @for deviation in dossier.deviations() { (deviation_row(dossier, deviation)) } };
    table("", &["Claim", "#Bound", "#Limit", "Status", "Accepted", "Until"], rows)
}

fn deviation_row(dossier: &Dossier, deviation: &Deviation) -> Markup {
    let verdict = dossier.verdicts().iter().find(|verdict| verdict.id == deviation.claim);
    html! {
        tr {
            th scope="row" {
                @if verdict.is_some() { (link(&deviation.claim)) } @else { span class="id" { (deviation.claim) } }
            }
            td class="n" { (verdict.map_or_else(|| "–".to_owned(), |v| amount_or(v.bound, v.unit, "no bound"))) }
            td class="n" { (verdict.map_or_else(|| "–".to_owned(), limit)) }
            td { @if let Some(known) = deviation.status { (status(known)) } @else { (deviation.status_words()) } }
            td {
                (deviation.reason) " – " (deviation.owner)
                @for remark in deviation.remarks() { span class="why" { strong { (remark) } } }
            }
            td class="keep" { (deviation.until) }
        }
    }
}

/// What identifies the inputs.
pub(super) fn baseline(dossier: &Dossier) -> Markup {
    let rows = html! {
        @if let Some(digest) = dossier.system_digest() { (digest_row("the system, as resolved", &digest.to_string())) }
        @if let Some(digest) = dossier.plan_made_for() {
            (digest_row("the system that the plan was made for", &digest.to_string()))
        }
        @for (name, digest) in dossier.input_digests() { (digest_row(name, &digest.to_string())) }
    };
    html! {
        (table("", &["Input", "Digest"], rows))
        p { "Made by Cofferdam " (dossier.tool_version()) ". The same inputs give the same bytes." }
    }
}

fn digest_row(name: &str, digest: &str) -> Markup {
    html! { tr id=(anchor(&format!("digest-{name}"))) { th scope="row" { (name) } td { code { (digest) } } } }
}
