//! Tables of claims. Every claim stands in one of them, and its row is its anchor.

use super::names::{breakable, sentence, table_of};
use crate::dossier::Dossier;
use crate::show::{amount_or, capital, count, limit, percent, simulated, used_permille};
use crate::stretch::in_words;
use crate::svg::{bar, mark};
use crate::{concurrent, waiting};
use claim::{Assumption, Growth, Kind, Status, Verdict};
use maud::{Markup, html};
use quantity::Ppm;
use std::collections::{BTreeMap, BTreeSet};

/// The columns that a kind has beyond the common ones.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Extra {
    None,
    Growth,
}

impl Extra {
    const fn of(kind: Kind) -> Self {
        match kind {
            Kind::Response => Self::Growth,
            _ => Self::None,
        }
    }

    const fn titles(self) -> &'static [&'static str] {
        match self {
            Self::None => &[],
            Self::Growth => &["#Growth"],
        }
    }
}

/// The claims of some kinds, a table each, with what they rest on.
pub(super) fn of_kinds(dossier: &Dossier, kinds: &[Kind]) -> Markup {
    html! { @for kind in kinds { (of_kind(dossier, *kind)) } }
}

fn of_kind(dossier: &Dossier, kind: Kind) -> Markup {
    let verdicts: Vec<_> = dossier.of_kind(kind).collect();
    let title = format!("{}: {}", capital(kind.title()), count(verdicts.len(), "claim"));
    of_verdicts(dossier, &title, &verdicts)
}

/// Some claims of one kind in a table with what they rest on; nothing where there is none.
pub(super) fn of_verdicts(dossier: &Dossier, title: &str, verdicts: &[&Verdict]) -> Markup {
    let Some(first) = verdicts.first() else { return html! {} };
    let extra = Extra::of(first.kind);
    let common = ["Claim", "#Bound", "Exact", "#Limit"];
    let head: Vec<&str> =
        common.iter().chain(extra.titles()).chain(&["#Of the limit", "", "Status"]).copied().collect();
    let rows = html! { @for verdict in verdicts { (row(dossier, verdict, extra)) } };
    html! { h3 { (title) } (table_of("claims", "", &head, rows)) (bases(verdicts)) }
}

/// The anchor of a claim: its id, which holds no blank.
pub(super) fn anchor(id: &str) -> String {
    id.replace(char::is_whitespace, "_")
}

/// A link to a claim.
pub(super) fn link(id: &str) -> Markup {
    html! { a class="id" href={ "#" (anchor(id)) } { (breakable(id)) } }
}

/// Links to some claims, in a row.
pub(super) fn links<'v>(ids: impl Iterator<Item = &'v str>) -> Markup {
    html! { @for (at, id) in ids.enumerate() { @if at > 0 { ", " } (link(id)) } }
}

fn row(dossier: &Dossier, verdict: &Verdict, extra: Extra) -> Markup {
    if verdict.bound.is_some() || verdict.limit.is_some() {
        let cells = numbers(verdict, extra);
        let told = [waiting::of_verdict(verdict), concurrent::of_verdict(verdict)];
        let about = html! { @for words in told.iter().flatten() { span class="why" { (words) } } };
        return row_of(dossier, verdict, extra.titles().len() + 7, &cells, &about);
    }
    html! {
        tr id=(anchor(&verdict.id)) {
            th scope="row" { span class="id" { (breakable(&verdict.id)) } }
            td colspan=(extra.titles().len() + 5) { @if let Some(why) = why(dossier, verdict) { (small(why)) } }
            (status_cell(dossier, verdict))
        }
    }
}

/// The row of a claim with its `cells` between id and status, in a table of so many `columns`; below it what it is `about`,
/// why it is as it is, and what its bound is made of.
pub(super) fn row_of(dossier: &Dossier, verdict: &Verdict, columns: usize, cells: &Markup, about: &Markup) -> Markup {
    let why = why(dossier, verdict);
    let words =
        Some(in_words(&verdict.parts)).filter(|_| !has_waterfall(verdict.kind)).filter(|words| !words.is_empty());
    let parts = words.map(|words| format!("Parts: {words}."));
    let parts = parts.or_else(|| Some(format!("Not told by its parts: {}.", verdict.untold?)));
    let told = why.is_some() || parts.is_some() || !about.0.is_empty();
    html! {
        tr id=(anchor(&verdict.id)) class=[told.then_some("told")] {
            th scope="row" { span class="id" { (breakable(&verdict.id)) } }
            (cells)
            (status_cell(dossier, verdict))
        }
        @if told {
            tr {
                td colspan=(columns - 1) {
                    (about)
                    @if let Some(why) = why { (small(why)) }
                    @if let Some(parts) = parts { span class="why" { (parts) } }
                }
                td {}
            }
        }
    }
}

/// Whether claims of a kind have a drawing each, with the parts in words below it.
const fn has_waterfall(kind: Kind) -> bool {
    matches!(kind, Kind::Reaction | Kind::DataAge)
}

fn small(reason: &str) -> Markup {
    html! { span class="why" { (sentence(reason)) } }
}

fn status_cell(dossier: &Dossier, verdict: &Verdict) -> Markup {
    html! {
        td {
            (status(verdict.status))
            @if dossier.deviation(&verdict.id).is_some() { span class="why" { "accepted" } }
        }
    }
}

fn numbers(verdict: &Verdict, extra: Extra) -> Markup {
    let used = used_permille(verdict);
    html! {
        td class="n" { (amount_or(verdict.bound, verdict.unit, "none")) }
        td {
            @if verdict.exact { "yes" } @else { "–" }
            @if verdict.simulated.is_some() { span class="why" { "simulated: " (simulated(verdict)) } }
        }
        td class="n" { (limit(verdict)) }
        @match extra {
            Extra::None => {}
            Extra::Growth => { td class="n" { (verdict.growth.map_or_else(|| "–".to_owned(), growth)) } }
        }
        td class="n" { (used.map_or_else(String::new, percent)) }
        td { @if let Some(used) = used { (bar(used, verdict.status, "limit")) } }
    }
}

/// What a claim rests on, or why it is open; failures give their reason in a part of their own.
fn why<'v>(dossier: &Dossier, verdict: &'v Verdict) -> Option<&'v str> {
    let told_elsewhere =
        matches!(verdict.status, Status::Violated | Status::NotShown) && dossier.deviation(&verdict.id).is_none();
    verdict.reason.as_deref().filter(|_| !told_elsewhere)
}

/// The status: shape, colour and word.
pub(super) fn status(status: Status) -> Markup {
    html! { span class={ "status " (status.key()) } { (mark(status)) (status.words()) } }
}

/// By how much the charged time of one job alone can grow, rounded down to a tenth of a percent.
fn growth(growth: Growth) -> String {
    let more = growth.largest_charged_ns.checked_sub(growth.charged_ns);
    match more.and_then(|more| quantity::exact_ratio_ppm(more, growth.charged_ns)) {
        Some(ppm) => format!("+{}", Ppm::new(ppm.get() / 1000 * 1000)),
        None => "none".to_owned(),
    }
}

/// Which analyses the claims of a table come from, each with all that any of its claims takes for granted.
pub(super) fn bases(verdicts: &[&Verdict]) -> Markup {
    let mut bases: BTreeMap<(&str, &str), BTreeSet<Assumption>> = BTreeMap::new();
    for basis in verdicts.iter().map(|verdict| &verdict.basis) {
        bases.entry((basis.analysis, basis.source)).or_default().extend(&basis.assumptions);
    }
    html! {
        @for ((analysis, source), assumptions) in bases {
            p class="basis" {
                "Analysis " code { (analysis) } ". Source: " (source) "."
                @if !assumptions.is_empty() { " Takes for granted: " (assumption_links(&assumptions)) "." }
            }
        }
    }
}

fn assumption_links(assumptions: &BTreeSet<Assumption>) -> Markup {
    html! {
        @for (at, assumption) in assumptions.iter().enumerate() {
            @if at > 0 { ", " }
            a href={ "#assumption-" (assumption.id()) } { (assumption.id()) }
        }
    }
}
