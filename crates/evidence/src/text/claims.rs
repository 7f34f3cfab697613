//! Tables of claims, and what stands under them.

use super::layout::{Align, Page};
use crate::dossier::Dossier;
use crate::headroom::Headroom;
use crate::provenance::class_words;
use crate::show::{
    amount_or, capital, count, limit, percent, rounded_percent, signed_percent, simulated, used_permille,
};
use crate::summary::KindSummary;
use crate::{concurrent, waiting};
use claim::Verdict;

const BAR: usize = 12;
/// As many of what breaks first are named.
const BREAKS_FIRST: usize = 5;

/// A line for each kind.
pub(super) fn kinds(page: &mut Page, dossier: &Dossier) {
    page.heading("Claims");
    let rows: Vec<_> = dossier.summary_by_kind().into_iter().map(kind_row).collect();
    page.table(2, &[Align::Left, Align::Right, Align::Left], &rows);
}

fn kind_row(summary: KindSummary) -> Vec<String> {
    let parts = summary.counts.rows().into_iter().filter(|(_, n)| *n > 0);
    let parts: Vec<_> = parts.map(|(status, n)| format!("{n} {}", status.words())).collect();
    vec![summary.kind.title().to_owned(), summary.counts.total().to_string(), parts.join(", ")]
}

/// Every claim, kind by kind.
pub(super) fn tables(page: &mut Page, dossier: &Dossier) {
    for summary in dossier.summary_by_kind() {
        page.heading(&format!("{} ({})", capital(summary.kind.title()), count(summary.counts.total(), "claim")));
        rows(page, &dossier.of_kind(summary.kind).collect::<Vec<_>>());
    }
}

/// What is gained where responses count only what other masters can ask for, and how close runs come in which nobody waits longer.
pub(super) fn waiting(page: &mut Page, dossier: &Dossier) {
    let told: Vec<_> = [waiting::in_short(dossier), concurrent::in_short(dossier)].into_iter().flatten().collect();
    if !told.is_empty() {
        page.heading("Waiting for memory");
        told.iter().for_each(|words| page.paragraph(2, words));
    }
}

/// The shown claims nearest to their limits.
pub(super) fn tightest(page: &mut Page, dossier: &Dossier) {
    let tightest = dossier.tightest(3);
    if tightest.is_empty() {
        return;
    }
    page.heading("Tightest of what is shown");
    rows(page, &tightest);
}

/// What may grow the least before a deadline is missed.
pub(super) fn breaks_first(page: &mut Page, dossier: &Dossier) {
    let rows: Vec<_> = dossier.what_breaks_first().iter().take(BREAKS_FIRST).map(headroom_row).collect();
    if rows.is_empty() {
        return;
    }
    page.heading("What breaks first, each growing alone");
    page.table(2, &[Align::Left, Align::Right, Align::Left], &rows);
    if let Some(words) = dossier.not_ranked() {
        page.paragraph(2, &words);
    }
}

fn headroom_row(headroom: &Headroom<'_>) -> Vec<String> {
    vec![headroom.verdict.id.clone(), signed_percent(headroom.ppm), headroom.grows.word().to_owned()]
}

/// What simulation saw stands behind, where there is room for it.
const ROOM_FOR_SIMULATED: usize = 80;

pub(super) fn rows(page: &mut Page, verdicts: &[&Verdict]) {
    let mut rows: Vec<_> = verdicts.iter().map(|verdict| row(page, verdict)).collect();
    if page.style.width >= ROOM_FOR_SIMULATED {
        rows.iter_mut().zip(verdicts).for_each(|(row, verdict)| row.push(simulated(verdict)));
    }
    let aligns = [Align::Left, Align::Right, Align::Right, Align::Left, Align::Right, Align::Left, Align::Left];
    let columns = rows.first().map_or(0, Vec::len);
    page.table(2, &aligns[..columns], &rows);
}

fn row(page: &Page, verdict: &Verdict) -> Vec<String> {
    let used = used_permille(verdict);
    vec![
        verdict.id.clone(),
        amount_or(verdict.bound, verdict.unit, "–"),
        limit(verdict),
        used.map_or_else(String::new, |used| page.bar(used, BAR)),
        used.map_or_else(String::new, percent),
        page.status(verdict.status),
    ]
}

/// The share of the demand by where its numbers come from.
pub(super) fn provenance(page: &mut Page, dossier: &Dossier) {
    let Some(shares) = dossier.demand_shares() else { return };
    let rows = shares.rows.iter().filter(|row| row.ppm > 0);
    let parts: Vec<_> = rows.map(|row| format!("{} {}", rounded_percent(row.ppm), class_words(row.class))).collect();
    if parts.is_empty() {
        return;
    }
    page.heading("Where the execution times come from");
    page.paragraph(2, &format!("Share of the demand: {}.", parts.join(", ")));
    if shares.tasks_without_wcet > 0 {
        let tasks = count(shares.tasks_without_wcet, "task");
        page.paragraph(2, &format!("{tasks} without an execution time: that demand is unknown."));
    }
}
